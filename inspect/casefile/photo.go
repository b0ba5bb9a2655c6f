package casefile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"slices"
)

// errPhoto says that bytes are no photograph that can leave the house.
var errPhoto = errors.New("it is no JPEG or PNG picture, or one that is cut off")

// ScrubPhoto returns a photograph with the same picture and without what a camera or a program wrote
// beside it, such as place, time, names and small pictures of it, and the ending for its name. Of JPEG
// (ITU-T T.81) all segments go but those that the picture is decoded with; which side is up (Exif,
// JEITA CP-3451) stays. Of PNG (ISO/IEC 15948) all chunks go but the critical ones, transparency and gamma.
// What stands behind the picture's end goes too. The picture itself is copied bit for bit and not looked at.
func ScrubPhoto(photo []byte) (out []byte, ending string, err error) {
	switch {
	case bytes.HasPrefix(photo, []byte("\xff\xd8\xff")):
		out, err = scrubJPEG(photo)
		return out, ".jpg", err
	case bytes.HasPrefix(photo, []byte(pngHead)):
		out, err = scrubPNG(photo)
		return out, ".png", err
	}
	return nil, "", errPhoto
}

// Markers of JPEG, the second byte behind 0xff.
const (
	jpegSOI, jpegEOI, jpegSOS, jpegTEM = 0xd8, 0xd9, 0xda, 0x01
	jpegRST0, jpegRST7                 = 0xd0, 0xd7
	jpegAPP0, jpegAPP1, jpegAPP14      = 0xe0, 0xe1, 0xee
	jpegAPP15, jpegCOM                 = 0xef, 0xfe
)

func scrubJPEG(photo []byte) ([]byte, error) {
	out := []byte{0xff, jpegSOI}
	turn, turned := uint16(1), false
	for rest := photo[2:]; ; {
		for len(rest) > 1 && rest[0] == 0xff && rest[1] == 0xff { // fill bytes
			rest = rest[1:]
		}
		if len(rest) < 2 || rest[0] != 0xff {
			return nil, errPhoto
		}
		marker := rest[1]
		if marker == jpegEOI {
			return append(out, 0xff, jpegEOI), nil
		}
		if marker == jpegTEM || marker >= jpegRST0 && marker <= jpegRST7 {
			out, rest = append(out, rest[:2]...), rest[2:]
			continue
		}
		if len(rest) < 4 {
			return nil, errPhoto
		}
		n := 2 + int(binary.BigEndian.Uint16(rest[2:]))
		if n < 4 || n > len(rest) {
			return nil, errPhoto
		}
		segment := rest[:n]
		rest = rest[n:]
		switch {
		case marker == jpegAPP1:
			if t := exifTurn(segment[4:]); t > 1 && !turned {
				turn, turned = t, true
				out = append(out, exifOf(turn)...)
			}
		case marker == jpegAPP0 && bytes.HasPrefix(segment[4:], []byte("JFIF\x00")) && n >= 18:
			out = append(out, 0xff, jpegAPP0, 0, 16)
			out = append(append(out, segment[4:16]...), 0, 0) // without its small picture
		case marker == jpegAPP14 && n == 16 && bytes.HasPrefix(segment[4:], []byte("Adobe")):
			out = append(out, segment...) // how its colours are kept
		case marker >= jpegAPP0 && marker <= jpegAPP15 || marker == jpegCOM:
		default:
			out = append(out, segment...)
		}
		if marker == jpegSOS { // the picture's bits run up to the next marker that is none of a restart
			i := 0
			for ; i+1 < len(rest); i++ {
				if rest[i] == 0xff && rest[i+1] != 0 && (rest[i+1] < jpegRST0 || rest[i+1] > jpegRST7) {
					break
				}
			}
			if i+1 >= len(rest) {
				return nil, errPhoto
			}
			out, rest = append(out, rest[:i]...), rest[i:]
		}
	}
}

const exifHead = "Exif\x00\x00"

// exifTurn reads which side of a photograph is up, 1 to 8; 0 where that is not said.
func exifTurn(exif []byte) uint16 {
	tiff, found := bytes.CutPrefix(exif, []byte(exifHead))
	if !found || len(tiff) < 8 {
		return 0
	}
	var order binary.ByteOrder = binary.BigEndian
	if bytes.HasPrefix(tiff, []byte("II")) {
		order = binary.LittleEndian
	}
	at := uint64(order.Uint32(tiff[4:]))
	if at+2 > uint64(len(tiff)) {
		return 0
	}
	entries := tiff[at+2:]
	for range order.Uint16(tiff[at:]) {
		if len(entries) < 12 {
			return 0
		}
		if order.Uint16(entries) == 0x0112 && order.Uint16(entries[2:]) == 3 { // orientation, a short
			if t := order.Uint16(entries[8:]); t >= 1 && t <= 8 {
				return t
			}
			return 0
		}
		entries = entries[12:]
	}
	return 0
}

// exifOf is a segment that says which side is up, and nothing else.
func exifOf(turn uint16) []byte {
	body := []byte(exifHead + "MM\x00\x2a\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01")
	body = binary.BigEndian.AppendUint16(body, turn)
	body = append(body, 0, 0, 0, 0, 0, 0)
	out := []byte{0xff, jpegAPP1}
	return append(binary.BigEndian.AppendUint16(out, uint16(2+len(body))), body...)
}

const pngHead = "\x89PNG\r\n\x1a\n"

func scrubPNG(photo []byte) ([]byte, error) {
	out := []byte(pngHead)
	for rest := photo[len(pngHead):]; ; {
		if len(rest) < 12 {
			return nil, errPhoto
		}
		n := 12 + uint64(binary.BigEndian.Uint32(rest))
		if n > uint64(len(rest)) {
			return nil, errPhoto
		}
		kind := string(rest[4:8])
		if slices.Contains([]string{"IHDR", "PLTE", "IDAT", "IEND", "tRNS", "gAMA", "sRGB"}, kind) {
			out = append(out, rest[:n]...)
		}
		if kind == "IEND" {
			return out, nil
		}
		rest = rest[n:]
	}
}
