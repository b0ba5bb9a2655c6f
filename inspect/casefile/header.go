package casefile

import (
	"bytes"
	"compress/flate"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"fornix/mesh"
)

// neutral stands where a scan's own header stood.
const neutral = "scan"

// The binary form of STL: a header of 80 bytes, a count, and 50 bytes a face.
const (
	headerBytes = 80
	countBytes  = 4
	faceBytes   = 50
)

// Header returns the free text of a scan, which may be its beginning alone: of STL the 80 bytes
// of a binary file without their padding, or the names of the solids; of PLY the comments; of OBJ
// comments and names; of a packed file its name and what stands in the scan. It reads nothing else.
func Header(scan []byte) string {
	if name, inside, packed := peek(scan); packed {
		return name + "\n" + Header(inside)
	}
	switch mesh.Tell(scan) {
	case mesh.PLYASCII:
		return remarks(scan, "comment", "obj_info")
	case mesh.OBJ:
		return remarks(scan, "#", "o", "g", "mtllib", "usemtl")
	}
	return stlHeader(scan)
}

// remarks returns what stands behind the words at the beginnings of lines, up to the end of the
// header of a PLY file.
func remarks(scan []byte, words ...string) string {
	var out [][]byte
	for l := range lines(scan) {
		l = bytes.TrimSpace(bytes.TrimPrefix(bytes.TrimSpace(l), []byte("\uFEFF")))
		if string(l) == "end_header" {
			break
		}
		for _, w := range words {
			if rest, found := bytes.CutPrefix(l, []byte(w)); found && (w == "#" || len(rest) == 0 || rest[0] <= ' ') {
				out = append(out, bytes.TrimSpace(rest))
			}
		}
	}
	return string(bytes.Join(slices.CompactFunc(out, bytes.Equal), []byte("\n")))
}

// peek looks into the beginning of a packed file: its name in there, and the beginning of the scan.
func peek(scan []byte) (name string, inside []byte, packed bool) {
	const enough = 1 << 16
	if z, err := gzip.NewReader(bytes.NewReader(scan)); err == nil {
		inside, _ = io.ReadAll(io.LimitReader(z, enough)) // it may end early, being a beginning
		return strings.TrimSpace(z.Name + "\n" + z.Comment), inside, true
	}
	// The head of an archive's first entry: APPNOTE.TXT of the ZIP format, 4.3.7.
	if len(scan) < 30 || !bytes.HasPrefix(scan, []byte("PK\x03\x04")) {
		return "", nil, false
	}
	from := 30 + int(binary.LittleEndian.Uint16(scan[26:]))
	to := from + int(binary.LittleEndian.Uint16(scan[28:]))
	if to > len(scan) {
		return "", nil, true
	}
	data := io.Reader(bytes.NewReader(scan[to:]))
	if binary.LittleEndian.Uint16(scan[8:]) == 8 {
		data = flate.NewReader(data)
	}
	inside, _ = io.ReadAll(io.LimitReader(data, enough))
	return path.Base(string(scan[30:from])), inside, true
}

// stlHeader is Header for STL.
func stlHeader(stl []byte) string {
	if mesh.Tell(stl) == mesh.STLBinary {
		text := bytes.TrimRight(bytes.ToValidUTF8(stl[:min(len(stl), headerBytes)], nil), "\x00 ")
		if end, _ := binaryEnd(stl); end < len(stl) {
			text = append(text, stl[end:]...)
		}
		return string(bytes.ReplaceAll(text, []byte{0}, []byte(" ")))
	}
	var names [][]byte
	for l := range lines(stl) {
		if name, found := solidName(l); found && len(name) > 0 {
			names = append(names, name)
		}
	}
	return string(bytes.Join(slices.CompactFunc(names, bytes.Equal), []byte("\n")))
}

// ScrubHeader returns a scan with the same surface, unpacked and without its free text, and the
// ending for its name.
//
// Of STL goes the header of a binary file, and what may stand behind its last face, or the names
// of the solids of a text one; the faces' own bytes stay as they are. PLY and OBJ can hold names
// nearly everywhere: they are read and written anew, with vertices and faces alone. What is no
// scan is an error, since it could hold anything. O(bytes).
func ScrubHeader(scan []byte) (out []byte, ending string, err error) {
	plain, err := mesh.Unpack(bytes.NewReader(scan))
	if err != nil {
		return nil, "", err
	}
	if f := mesh.Tell(plain); f != mesh.PLYASCII && f != mesh.OBJ {
		out, err = scrubSTL(plain)
		return out, ".stl", err
	}
	m, stats, err := mesh.Read(bytes.NewReader(plain), mesh.ReadOptions{})
	if err != nil {
		return nil, "", err
	}
	var b bytes.Buffer
	if stats.Format == mesh.OBJ {
		err = mesh.WriteOBJ(&b, m)
		return b.Bytes(), ".obj", err
	}
	err = mesh.WritePLY(&b, m, stats.Format, neutral)
	return b.Bytes(), ".ply", err
}

// scrubSTL is ScrubHeader for STL.
func scrubSTL(stl []byte) ([]byte, error) {
	if mesh.Tell(stl) == mesh.STLBinary {
		end, faces := binaryEnd(stl)
		if end > len(stl) {
			return nil, errors.New("casefile: the binary STL file ends early")
		}
		out := slices.Clone(stl[:end])
		clear(out[:headerBytes])
		copy(out, neutral)
		binary.LittleEndian.PutUint32(out[headerBytes:], faces)
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

// binaryEnd returns the offset behind the last face of a binary STL, which lies beyond what there is of a
// file that ends early or of a beginning, and the number of faces. A count of 0 or all ones stands for as
// many as follow, as mesh.Read takes it.
func binaryEnd(stl []byte) (end int, faces uint32) {
	if len(stl) < headerBytes+countBytes {
		return headerBytes + countBytes, 0
	}
	faces = binary.LittleEndian.Uint32(stl[headerBytes:])
	if faces == 0 || faces == math.MaxUint32 {
		faces = uint32((len(stl) - headerBytes - countBytes) / faceBytes)
	}
	return headerBytes + countBytes + faceBytes*int(faces), faces
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
