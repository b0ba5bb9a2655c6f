package render

import (
	"bytes"
	"image"
	"image/png"
	"math/rand/v2"
	"testing"
)

// The standard library's decoder reads back every pixel, of pictures of any size, one after the other.
func TestPNG(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for _, size := range [][2]int{{1, 1}, {300, 5}, {300, 7}, {7, 300}, {1600, 1200}} {
		img := image.NewRGBA(image.Rect(0, 0, size[0], size[1]))
		for i := range img.Pix {
			if img.Pix[i] = 255; i%4 < 3 {
				img.Pix[i] = uint8(i>>6 + rng.IntN(3))
			}
		}
		data, err := encode(img)
		if err != nil {
			t.Fatal(err)
		}
		got, err := png.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatalf("%v: %v", size, err)
		}
		if got.Bounds() != img.Rect {
			t.Fatalf("%v, not %v", got.Bounds(), img.Rect)
		}
		for y := range size[1] {
			for x := range size[0] {
				r, g, b, a := got.At(x, y).RGBA()
				if c := img.RGBAAt(x, y); uint8(r>>8) != c.R || uint8(g>>8) != c.G || uint8(b>>8) != c.B || a != 0xffff {
					t.Fatalf("%v: pixel %d %d: %d %d %d, not %v", size, x, y, r>>8, g>>8, b>>8, c)
				}
			}
		}
	}
}
