package render

import (
	"bytes"
	"image/png"
	"testing"

	"fornix/inspect"
	"fornix/mesh"
)

// TestAsScanned: a scan in colour gets one picture more, in which the patient's left is as red, and
// the right as green, as the file says; the others stay what they are to the byte. Red and green are
// compared by which is the stronger: light and shade change how bright they are.
func TestAsScanned(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	opt := Options{Width: 800, Height: 600, CloseUps: 1}
	plain, err := Images(NewScan(m, rep), opt)
	if err != nil {
		t.Fatal(err)
	}
	c := *m
	for _, p := range m.Pos {
		colour := mesh.Colour{40, 180, 40}
		if rep.Frame.Local(p).X > 0 { // the patient's left
			colour = mesh.Colour{190, 40, 40}
		}
		c.Colour = append(c.Colour, colour)
	}
	got, err := Images(NewScan(&c, rep), opt)
	if err != nil || len(got) != len(plain)+1 {
		t.Fatal(len(got), err)
	}
	for i := range plain {
		if !bytes.Equal(plain[i].PNG, got[i].PNG) {
			t.Errorf("%s changed", plain[i].Name)
		}
	}
	last := got[len(plain)]
	if last.Name != "scanned.png" || last.Title != "As scanned" || last.Alt == "" {
		t.Errorf("%s, %s, %s", last.Name, last.Title, last.Alt)
	}
	img, err := png.Decode(bytes.NewReader(last.PNG))
	if err != nil {
		t.Fatal(err)
	}
	leftIsRight := rep.Frame.Left.Dot(views(rep)[0].Camera.Right) > 0
	var count, sum [2]int // of red and green pixels: how many, and their places across added up
	for y := range 600 {
		for x := range 800 {
			r, g, b, _ := img.At(x, y).RGBA()
			switch {
			case r > 2*g && r > 2*b:
				count[0]++
				sum[0] += x
			case g > 2*r && g > 2*b:
				count[1]++
				sum[1] += x
			}
		}
	}
	if count[0] < 5000 || count[1] < 5000 {
		t.Fatalf("%d red and %d green pixels", count[0], count[1])
	}
	if red, green := sum[0]/count[0], sum[1]/count[1]; (red > green) != leftIsRight {
		t.Errorf("red at %d, green at %d, left on the right: %v", red, green, leftIsRight)
	}
}
