package mesh

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
)

// Formats that ReadSTL tells apart.
const (
	STLBinary = "stl-binary"
	STLASCII  = "stl-ascii"
)

// ReadStats is what reading a file saw. Counts are of the file as it stands: nothing was
// repaired.
type ReadStats struct {
	Format   string // STLBinary or STLASCII
	Bytes    int64  // read, the whole file
	Faces    int    // in the file; the mesh holds Faces - NonFinite
	Solids   int    // 1 for binary
	Vertices int    // different positions

	NonFinite  int // faces with a NaN, an infinity or a number beyond float32: kept out of the mesh
	Degenerate int // faces with two equal vertices: kept
	Duplicate  int // faces beyond the first on the same three vertices, in any winding: kept

	NormalsAgainstWinding int // stored normal and winding point to opposite sides
	NormalsMissing        int // stored normal zero, not finite, or not there: no fault of the surface
	TrailingBytes         int64

	Notes []string // sentences on what was odd and yet read
}

// A FormatError says where and why bytes are not a scan. Line is 0 for binary files.
type FormatError struct {
	Offset int64 // of the byte where reading stopped, from 0
	Line   int   // from 1
	Reason string
}

// Error gives the place, then the reason.
func (e *FormatError) Error() string {
	switch {
	case e.Line > 0:
		return fmt.Sprintf("line %d: %s", e.Line, e.Reason)
	case e.Offset > 0:
		return fmt.Sprintf("byte %d: %s", e.Offset, e.Reason)
	}
	return e.Reason
}

// ReadSTL reads a binary or ASCII STL file, told apart by content: text that begins with the
// word "solid" is ASCII; a binary file may begin with it too, but has a zero byte in its header
// or face count.
//
// Equal coordinates become one vertex (-0 equals +0) and that is all: duplicate and degenerate
// faces stay. Faces with numbers that are not finite are counted and left out, as no measure
// could hold them. Stored normals are compared with the winding and then forgotten.
//
// Refused with a *FormatError: an empty file, a file with no faces, a file that ends before the
// faces it promised or before endsolid (a scan with faces missing would show holes that are not
// there), a facet with other than three vertices, and whatever is no STL. Read, with a note:
// bytes after the last promised face; a face count of zero or 2^32-1 before whole faces, as
// written by programs that could not go back to fill it in; normals that are missing.
//
// It reads to the end of r, in one pass and with memory in proportion to the bytes that came.
// A reader that tells its size (Len or Stat) saves growing. O(#F).
func ReadSTL(r io.Reader) (*Mesh, ReadStats, error) {
	var s ReadStats
	buf := make([]byte, stlHeader+stlRecord*4096)
	n, err := io.ReadFull(r, buf)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, s, err
	}
	if n == 0 {
		return nil, s, &FormatError{Reason: "the file is empty"}
	}
	d := &decoder{stats: &s}
	if looksLikeASCII(buf[:n]) {
		s.Format = STLASCII
		d.grow(sizeHint(r) / 250)
		err = d.ascii(r, buf, n)
	} else {
		s.Format = STLBinary
		err = d.binary(r, buf, n)
	}
	if err != nil {
		return nil, s, err
	}
	switch {
	case s.Faces == 0:
		return nil, s, &FormatError{Offset: s.Bytes, Reason: "the file holds no faces"}
	case s.Faces == s.NonFinite:
		return nil, s, &FormatError{Offset: s.Bytes, Reason: "no face of the file has finite coordinates"}
	}
	m := New(d.weld.pos, d.tri)
	s.Vertices = len(m.Pos)
	s.Degenerate, s.Duplicate = m.countDegenerate(), m.countDuplicate()
	return m, s, nil
}

// looksLikeASCII reports whether the head of a file is text that begins with "solid". The last
// byte of a binary face count is zero below 16.7 million faces, if none before it is.
func looksLikeASCII(head []byte) bool {
	head = bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF"))
	word := bytes.TrimLeft(head, " \t\r\n\v\f")
	if len(word) < 5 || !bytes.EqualFold(word[:5], []byte("solid")) {
		return false
	}
	if len(word) > 5 && word[5] > ' ' {
		return false
	}
	return len(head) < stlHeader || bytes.IndexByte(head[:stlHeader], 0) < 0
}

// sizeHint returns how many bytes r says it holds, 0 if it does not.
func sizeHint(r io.Reader) int64 {
	switch r := r.(type) {
	case interface{ Len() int }:
		return int64(r.Len())
	case interface{ Stat() (fs.FileInfo, error) }:
		if info, err := r.Stat(); err == nil && info.Mode().IsRegular() {
			return info.Size()
		}
	}
	return 0
}

// decoder gathers faces for both formats.
type decoder struct {
	weld  *welder
	tri   [][3]VertexID
	stats *ReadStats
}

// grow makes room for about n faces before the first.
func (d *decoder) grow(n int64) {
	n = max(n, 64)
	d.weld = newWelder(int(n/2 + n/64 + 64))
	d.tri = make([][3]VertexID, 0, n)
}

// face adds one face of the file. Bad numbers are told by ok.
func (d *decoder) face(normal, a, b, c Vec, ok bool) {
	d.stats.Faces++
	if !ok {
		d.stats.NonFinite++
		return
	}
	d.tri = append(d.tri, [3]VertexID{d.weld.id(a), d.weld.id(b), d.weld.id(c)})
	if !(normal.Norm2() > 0) || !normal.Finite() {
		d.stats.NormalsMissing++
	} else if b.Sub(a).Cross(c.Sub(a)).Dot(normal) < 0 {
		d.stats.NormalsAgainstWinding++
	}
}

func (s *ReadStats) note(format string, args ...any) {
	s.Notes = append(s.Notes, fmt.Sprintf(format, args...))
}
