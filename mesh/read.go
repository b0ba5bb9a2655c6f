package mesh

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"runtime"
)

// Formats that Read tells apart, each by its open definition: STL (StereoLithography Interface
// Specification, 1988), PLY (Turk, The PLY Polygon File Format, 1994), OBJ (Wavefront, Object
// Files, appendix B1 of the Advanced Visualizer manual).
const (
	STLBinary = "stl-binary"
	STLASCII  = "stl-ascii"
	PLYASCII  = "ply-ascii"
	PLYLittle = "ply-binary-little-endian"
	PLYBig    = "ply-binary-big-endian"
	OBJ       = "obj"
)

// Ways in which a scan may be packed (ReadStats.Packed).
const (
	Gzip = "gzip" // RFC 1952
	Zip  = "zip"  // APPNOTE.TXT of the ZIP format
)

// MostFaces is how many faces a scan may have where ReadOptions does not say: 30 times those of
// a fine scan of both sides of a tray. At 350 bytes a face the whole run stays under 11 GB.
const MostFaces = 30_000_000

// A file of more than manyFaces has at least leastPerFace bytes for each: a triangle over half a
// vertex takes 7 as binary PLY with 16-bit indices and more in every other way. Polygons over
// few vertices can be shorter, and would make 40 times the file's size in memory and more.
const (
	manyFaces    = 100_000
	leastPerFace = 7
)

// ReadStats is what reading a file saw. Counts are of the file as it stands: nothing was
// repaired.
type ReadStats struct {
	Format   string // one of the formats above
	Packed   string // Gzip, Zip or empty
	Bytes    int64  // read, the whole file
	Faces    int    // in the file, in triangles; the mesh holds Faces - NonFinite
	Solids   int    // of an STL file; 1 for binary and for other formats
	Vertices int    // different positions

	NonFinite  int // faces with a NaN, an infinity or a number beyond 1e7: kept out of the mesh
	Degenerate int // faces with two equal vertices: kept
	Duplicate  int // faces beyond the first on the same three vertices, in any winding: kept

	Polygons int // faces of more than three corners, cut into triangles
	Unused   int // vertices that no face names: left out

	NormalsAgainstWinding int // STL: stored normal and winding point to opposite sides
	NormalsMissing        int // STL: stored normal zero, not finite, or not there: no fault of the surface
	TrailingBytes         int64

	Notes []string // sentences on what was odd and yet read
}

// ReadOptions bound what is read.
type ReadOptions struct {
	MostFaces int // more triangles than this are refused; 0: MostFaces
}

// A FormatError says where and why bytes are not a scan. Line is 0 for binary files. Of a packed
// file both count in what was unpacked.
type FormatError struct {
	Offset int64 // of the byte where reading stopped, from 0
	Line   int   // from 1
	Early  bool  // the file ended before the scan did: it may have been cut off, or more may come
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

// Read reads a scan in any of the formats, plain, gzip-compressed, or alone in a zip archive, all
// told apart by content.
//
// Equal coordinates become one vertex (-0 equals +0) and that is all: duplicate and degenerate
// faces stay. Vertices get their numbers in the order in which faces use them, so that one
// surface gives one mesh whatever its format. Faces with numbers that are not finite, or
// beyond 1e7, are counted and left out, as no measure could hold them. Faces of more than three corners are cut into
// triangles without new vertices.
//
// Refused with a *FormatError: an empty file, one with no faces or too many, one that ends before
// what it promised (a scan with faces missing would show holes that are not there), and
// whatever is no scan. What is odd and yet read stands in the notes.
//
// It reads to the end of r. Memory is in proportion to the bytes, of a packed file to those
// unpacked, which are bounded by those that came. A reader that tells its size (Len or Stat)
// saves growing. O(#F).
func Read(r io.Reader, opt ReadOptions) (*Mesh, ReadStats, error) {
	if size := SizeHint(r); size >= aheadFrom && runtime.GOMAXPROCS(0) > 1 {
		a := readAhead(r, size)
		defer a.stop()
		r = a
	}
	buf := make([]byte, blockBytes)
	n, err := readHead(r, buf)
	if err != nil {
		return nil, ReadStats{}, err
	}
	if how := packing(buf[:n]); how != "" {
		return readPacked(r, buf[:n], how, opt)
	}
	return readPlain(r, buf, n, opt)
}

// blockBytes is how much of a file is looked at at once: whole faces of a binary STL.
const blockBytes = stlHeader + stlRecord*4096

// readHead fills buf from the beginning of r.
func readHead(r io.Reader, buf []byte) (n int, err error) {
	for n < len(buf) && err == nil { // io.ReadFull would hide that a packed file was cut off
		var m int
		m, err = r.Read(buf[n:])
		n += m
	}
	switch {
	case err != nil && !errors.Is(err, io.EOF):
		return 0, err
	case n == 0:
		return 0, &FormatError{Early: true, Reason: "the file is empty"}
	}
	return n, nil
}

// readPlain reads an unpacked scan whose first n bytes are in buf.
func readPlain(r io.Reader, buf []byte, n int, opt ReadOptions) (*Mesh, ReadStats, error) {
	s := ReadStats{Solids: 1}
	d := &decoder{stats: &s, most: opt.MostFaces}
	if d.most <= 0 {
		d.most = MostFaces
	}
	var err error
	switch s.Format = Tell(buf[:n]); s.Format {
	case STLASCII:
		s.Solids = 0
		d.grow(SizeHint(r) / 250)
		err = d.ascii(r, buf, n)
	case PLYASCII: // or one of the binary ones: the header tells
		err = d.ply(r, buf, n)
	case OBJ:
		d.grow(SizeHint(r) / 80)
		err = d.obj(r, buf, n)
	default:
		err = d.binary(r, buf, n)
	}
	if err != nil {
		return nil, s, err
	}
	switch {
	case s.Faces == 0:
		return nil, s, &FormatError{Offset: s.Bytes, Early: s.Format == OBJ, Reason: "the file holds no faces"}
	case s.Faces == s.NonFinite:
		return nil, s, &FormatError{Offset: s.Bytes, Reason: "no face of the file has finite coordinates"}
	}
	if s.Faces > manyFaces && s.Bytes < leastPerFace*int64(s.Faces) {
		return nil, s, &FormatError{Offset: s.Bytes, Reason: fmt.Sprintf("%d faces in %d bytes: no scan has so many on so few vertices", s.Faces, s.Bytes)}
	}
	m := New(d.weld.pos, d.tri)
	if d.colours.any {
		m.Colour = d.colours.mesh
	}
	s.Vertices = len(m.Pos)
	s.Degenerate, s.Duplicate = m.countDegenerate(), m.countDuplicate()
	return m, s, nil
}

// Tell returns the format of an unpacked file by its first bytes, STLBinary where they are like
// nothing else. PLYASCII stands for all of PLY.
func Tell(head []byte) string {
	switch {
	case looksLikePLY(head):
		return PLYASCII
	case looksLikeASCII(head):
		return STLASCII
	case looksLikeOBJ(head):
		return OBJ
	}
	return STLBinary
}

// packing returns how a file is packed by its first bytes, empty where it is not.
func packing(head []byte) string {
	switch {
	case bytes.HasPrefix(head, []byte{0x1F, 0x8B, 8}): // RFC 1952, 2.3.1; 8 is deflate
		return Gzip
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("PK\x05\x06")):
		return Zip
	}
	return ""
}

// SizeHint returns how many bytes r says it holds, 0 if it does not.
func SizeHint(r io.Reader) int64 {
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

// decoder gathers faces for all formats.
type decoder struct {
	weld  *welder
	tri   [][3]VertexID
	stats *ReadStats
	most  int // faces

	// Of formats with numbered vertices: those of the file, and the vertex of the mesh that each
	// became when a face first used it, plus 1.
	pos        []Vec
	became     []int32
	colours    colours
	faceColour *Colour // of the face that is being read; nil: none
	cutter     cutter
	free       chan *decoded // memory for faces of a binary STL
	foreseen   float64       // means nothing
}

// grow makes room for about n faces before the first.
func (d *decoder) grow(n int64) {
	n = max(n, 64)
	d.weld = newWelder(int(n/2 + n/64 + 64))
	d.tri = make([][3]VertexID, 0, n)
}

// full returns an error when the file has more faces than are read.
func (d *decoder) full(at int64, line int) error {
	if d.stats.Faces <= d.most {
		return nil
	}
	return &FormatError{Offset: at, Line: line, Reason: fmt.Sprintf(
		"the file has more than %d faces, which is more than fornix reads: export the scan with fewer faces", d.most)}
}

// vertex keeps a numbered vertex of the file, whose numbers may be anything.
func (d *decoder) vertex(p Vec) {
	d.pos = append(d.pos, p)
	d.became = append(d.became, 0)
}

// polygon adds a face of three corners or more, which are indices into pos that are there.
func (d *decoder) polygon(corner []int32) {
	if len(corner) > 3 {
		d.stats.Polygons++
	}
	d.stats.Faces += len(corner) - 2
	for _, k := range corner {
		if !inRange(d.pos[k]) {
			d.stats.NonFinite += len(corner) - 2
			return
		}
	}
	if len(corner) == 3 {
		d.tri = append(d.tri, d.triangle(corner[0], corner[1], corner[2]))
		return
	}
	for _, t := range d.cutter.cut(d.pos, corner) {
		d.tri = append(d.tri, d.triangle(corner[t[0]], corner[t[1]], corner[t[2]]))
	}
}

func (d *decoder) triangle(corner ...int32) (t [3]VertexID) {
	for i, k := range corner {
		if d.became[k] == 0 {
			v := d.weld.id(d.pos[k])
			d.became[k] = int32(v) + 1
			d.colours.use(k, v, d.faceColour)
		}
		t[i] = VertexID(d.became[k] - 1)
	}
	return t
}

// countUnused counts the numbered vertices that no face named.
func (d *decoder) countUnused() {
	for k, v := range d.became {
		if v == 0 && inRange(d.pos[k]) {
			d.stats.Unused++
		}
	}
	if d.stats.Unused > 0 {
		d.stats.note("%d points of the file belong to no face and were left out.", d.stats.Unused)
	}
	if d.stats.Polygons > 0 {
		d.stats.note("%d faces of more than three corners were cut into triangles.", d.stats.Polygons)
	}
}

// mostCorners is how many corners a face may have, since cutting takes time with their square: as
// many as a uchar counts, in which Turk writes the lengths of PLY's lists.
const mostCorners = 255

// farthest is the largest coordinate that is taken for one. From there on neighbouring float32
// numbers are 1 apart, so that no surface in any unit, even µm, could be told; numbers beyond it
// come from memory that was never filled.
const farthest = 1e7

// inRange reports whether a point's coordinates are numbers that a scan may hold.
func inRange(p Vec) bool {
	return math.Abs(p.X) <= farthest && math.Abs(p.Y) <= farthest && math.Abs(p.Z) <= farthest
}

func (s *ReadStats) note(format string, args ...any) {
	s.Notes = append(s.Notes, fmt.Sprintf(format, args...))
}
