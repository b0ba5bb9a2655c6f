package casefile

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"
)

// segment is one of JPEG: marker, length, body (ITU-T T.81, B.1.1.4).
func segment(marker byte, body string) string {
	return string([]byte{0xff, marker, byte((len(body) + 2) >> 8), byte(len(body) + 2)}) + body
}

// A photograph keeps its picture to the bit and which side is up; place, names and what hangs behind go.
// All names are invented.
func TestScrubPhoto(t *testing.T) {
	img := image.NewRGBA(image.Rect(0, 0, 40, 30))
	for i := range 40 * 30 {
		img.Set(i%40, i/40, color.RGBA{uint8(6 * (i % 40)), uint8(8 * (i / 40)), 90, 255})
	}
	var b, p bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	if err := png.Encode(&p, img); err != nil {
		t.Fatal(err)
	}
	// Orientation 6 among other entries, little-endian, as cameras write it; then names.
	exif := "Exif\x00\x00II\x2a\x00\x08\x00\x00\x00\x02\x00" + "\x0f\x01\x02\x00\x10\x00\x00\x00\x26\x00\x00\x00" + "\x12\x01\x03\x00\x01\x00\x00\x00\x06\x00\x00\x00" + "\x00\x00\x00\x00Zara Quibbleton\x00"
	plain := b.Bytes()
	dirty := []byte("\xff\xd8" + segment(0xe0, "JFIF\x00\x01\x01\x00\x00\x01\x00\x01\x01\x01QUI") + segment(0xe1, exif) + segment(0xe1, "http://ns.adobe.com/xap/1.0/\x00<x>Quibbleton</x>") +
		segment(0xed, "Quibbleton") + segment(0xfe, "Quibbleton"))
	dirty = append(append(dirty, plain[2:]...), "Quibbleton behind the end"...)
	out, ending, err := ScrubPhoto(dirty)
	if err != nil || ending != ".jpg" || bytes.Contains(out, []byte("Quibble")) || bytes.Contains(out, []byte("QUI")) {
		t.Fatalf("%s %v: %q", ending, err, out)
	}
	if !bytes.HasSuffix(out, plain[2:]) {
		t.Error("the picture's own bytes changed")
	}
	if got, err := jpeg.Decode(bytes.NewReader(out)); err != nil || got.Bounds().Dx() != 40 {
		t.Errorf("%v", err)
	}
	if i := bytes.Index(out, []byte(exifHead)); i < 0 || exifTurn(out[i:]) != 6 {
		t.Error("which side is up was lost")
	}
	if again, _, err := ScrubPhoto(out); err != nil || !bytes.Equal(again, out) {
		t.Errorf("scrubbed twice, the bytes differ: %v", err)
	}
	// Every shorter file is refused, and none makes it panic.
	for n := range len(dirty) - len("Quibbleton behind the end") {
		if _, _, err := ScrubPhoto(dirty[:n]); err == nil {
			t.Fatalf("cut to %d bytes, it is taken", n)
		}
	}

	chunk := binary.BigEndian.AppendUint32(nil, 13)
	chunk = append(chunk, "tEXtQuibbleton\x00at"...)
	chunk = binary.BigEndian.AppendUint32(chunk, crc32.ChecksumIEEE(chunk[4:]))
	text := append(append(append([]byte{}, p.Bytes()[:33]...), chunk...), p.Bytes()[33:]...)
	out, ending, err = ScrubPhoto(append(text, "Quibbleton"...))
	if err != nil || ending != ".png" || !bytes.Equal(out, p.Bytes()) {
		t.Errorf("%s %v %d bytes of %d", ending, err, len(out), p.Len())
	}
	for n := range p.Len() {
		if _, _, err := ScrubPhoto(p.Bytes()[:n]); err == nil {
			t.Fatalf("a PNG cut to %d bytes is taken", n)
		}
	}
	for _, none := range []string{"", "GIF89a", "solid x", "%PDF", "<svg/>"} {
		if _, _, err := ScrubPhoto([]byte(none)); err == nil {
			t.Errorf("%q is taken for a photograph", none)
		}
	}
}
