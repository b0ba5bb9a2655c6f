package casefile

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
	"strconv"
)

// neutral stands where a scan's own header stood.
const neutral = "scan"

// The binary form of STL: a header of 80 bytes, a count, and 50 bytes a face.
const (
	headerBytes = 80
	countBytes  = 4
	faceBytes   = 50
)

// Header returns the free text of an STL file: the 80 bytes of a binary one without their
// padding, or all names of the solids of a text one. It reads nothing else.
func Header(stl []byte) string {
	if end := binaryEnd(stl); end > 0 {
		text := bytes.TrimRight(bytes.ToValidUTF8(stl[:headerBytes], nil), "\x00 ")
		return string(bytes.ReplaceAll(append(text, stl[end:]...), []byte{0}, []byte(" ")))
	}
	var names [][]byte
	for l := range lines(stl) {
		if name, found := solidName(l); found && len(name) > 0 {
			names = append(names, name)
		}
	}
	return string(bytes.Join(slices.CompactFunc(names, bytes.Equal), []byte("\n")))
}

// ScrubHeader returns an STL file with the same faces and without its free text: the header of a
// binary one, and what may stand behind its last face; the names of the solids of a text one.
// The faces' own bytes stay as they are. What is no STL is an error, since it could hold
// anything. O(bytes).
func ScrubHeader(stl []byte) ([]byte, error) {
	if end := binaryEnd(stl); end > 0 {
		out := slices.Clone(stl[:end])
		clear(out[:headerBytes])
		copy(out, neutral)
		return out, nil
	}
	var b bytes.Buffer
	b.Grow(len(stl))
	solids := 0
	for l := range lines(stl) {
		_, found := solidName(l)
		trimmed := bytes.ToLower(bytes.TrimSpace(l))
		switch {
		case found && bytes.HasPrefix(trimmed, []byte("end")):
			b.WriteString("endsolid scan\n")
		case found:
			solids++
			b.WriteString("solid scan\n")
		case len(trimmed) == 0 || grammar(trimmed):
			b.Write(l)
		default:
			return nil, fmt.Errorf("casefile: %q is no line of an STL file", l[:min(len(l), 40)])
		}
	}
	if solids == 0 {
		return nil, fmt.Errorf("casefile: neither a binary nor a text STL file")
	}
	return b.Bytes(), nil
}

// binaryEnd returns the offset behind the last face of a binary STL; 0 where it is none. A file
// that is shorter than its count says is none; one whose header begins with solid is binary
// where its length fits.
func binaryEnd(stl []byte) int {
	if len(stl) < headerBytes+countBytes {
		return 0
	}
	end := headerBytes + countBytes + faceBytes*int64(binary.LittleEndian.Uint32(stl[headerBytes:]))
	if end > int64(len(stl)) || end < int64(len(stl)) && bytes.HasPrefix(bytes.ToLower(bytes.TrimSpace(stl[:headerBytes])), []byte("solid")) {
		return 0
	}
	return int(end)
}

// lines yields the lines of a text with their ends, whether LF, CR LF or CR.
func lines(text []byte) func(func([]byte) bool) {
	return func(yield func([]byte) bool) {
		for len(text) > 0 {
			i := bytes.IndexAny(text, "\r\n")
			n := len(text)
			if i >= 0 {
				n = i + 1
				if text[i] == '\r' && n < len(text) && text[n] == '\n' {
					n++
				}
			}
			if !yield(text[:n]) {
				return
			}
			text = text[n:]
		}
	}
}

// solidName returns the name on a line that begins or ends a solid.
func solidName(l []byte) ([]byte, bool) {
	l = bytes.TrimSpace(bytes.TrimPrefix(bytes.TrimSpace(l), []byte("\uFEFF")))
	first, rest, _ := bytes.Cut(bytes.ReplaceAll(l, []byte("\t"), []byte(" ")), []byte(" "))
	if f := string(bytes.ToLower(first)); f != "solid" && f != "endsolid" {
		return nil, false
	}
	return bytes.TrimSpace(rest), true
}

// grammar reports whether a line, trimmed and in small letters, is one of a face.
func grammar(l []byte) bool {
	first, _, _ := bytes.Cut(bytes.ReplaceAll(l, []byte("\t"), []byte(" ")), []byte(" "))
	switch string(first) {
	case "facet", "outer", "vertex", "endloop", "endfacet":
		for _, w := range bytes.Fields(l)[1:] {
			if _, err := strconv.ParseFloat(string(w), 64); err != nil && string(w) != "normal" && string(w) != "loop" {
				return false
			}
		}
		return true
	}
	return false
}
