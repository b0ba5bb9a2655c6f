package mesh

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
)

const (
	stlHeader = 84 // 80 bytes of anything, then the face count
	stlRecord = 50 // normal, three vertices as float32, two bytes of anything
)

// binary reads what follows the first n bytes, which are in buf.
func (d *decoder) binary(r io.Reader, buf []byte, n int) error {
	s := d.stats
	s.Bytes = int64(n)
	if n < stlHeader {
		return notBinary(buf[:n])
	}
	promised := int64(binary.LittleEndian.Uint32(buf[80:]))
	if head := buf[:min(n, 512)]; bytes.IndexByte(head, 0) < 0 && isText(head) {
		return notBinary(head)
	}
	// A writer that cannot go back leaves the count at 0 or all ones.
	open := promised == 0 || promised == math.MaxUint32
	left := promised
	if open {
		left = math.MaxInt64
	}
	d.grow(roomFor(SizeHint(r)+int64(n), promised, open))

	replaced := int64(0) // bytes that a text conversion would have added
	part := buf[stlHeader:n]
	for {
		replaced += 2 * int64(bytes.Count(part, []byte("\xEF\xBF\xBD")))
		whole := min(int64(len(part)/stlRecord), left)
		d.records(part[:whole*stlRecord])
		if err := d.full(s.Bytes, 0); err != nil {
			return err
		}
		left -= whole
		rest := part[whole*stlRecord:]
		if left == 0 {
			s.TrailingBytes += int64(len(rest))
			rest = nil
		}
		keep := copy(buf, rest)
		m, err := io.ReadFull(r, buf[keep:])
		s.Bytes += int64(m)
		if m == 0 {
			if err != nil && !errors.Is(err, io.EOF) {
				return err
			}
			return d.endBinary(promised, open, keep, replaced)
		}
		if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
			return err
		}
		part = buf[:keep+m]
	}
}

// endBinary judges the end of the file; partial bytes of a face are left over.
func (d *decoder) endBinary(promised int64, open bool, partial int, replaced int64) error {
	s := d.stats
	switch {
	case open && partial > 0:
		return &FormatError{Offset: s.Bytes, Early: true, Reason: fmt.Sprintf(
			"the face count is %d, and the %d bytes after it are not whole faces of %d bytes", promised, s.Bytes-stlHeader, stlRecord)}
	case open && s.Faces > 0:
		s.note("The face count in the file is %d; the %d whole faces that follow it were read.", promised, s.Faces)
	case !open && int64(s.Faces) < promised:
		return &FormatError{Offset: s.Bytes, Early: true, Reason: fmt.Sprintf(
			"the file ends early: %d faces promised (%d bytes), %d whole faces came (%d bytes)",
			promised, stlHeader+stlRecord*promised, s.Faces, s.Bytes)}
	case s.TrailingBytes > 6 && s.TrailingBytes <= replaced+replaced/8:
		return &FormatError{Offset: stlHeader, Reason: "the file was changed as if it were text (bytes replaced by EF BF BD); send it again as a binary file"}
	case s.TrailingBytes >= stlRecord && s.TrailingBytes%stlRecord == 0:
		s.note("%d bytes follow the %d promised faces and were not read: they have the length of %d more faces.",
			s.TrailingBytes, promised, s.TrailingBytes/stlRecord)
	case s.TrailingBytes > 0:
		s.note("%d bytes follow the %d promised faces and were not read.", s.TrailingBytes, promised)
	}
	return nil
}

// together is of how many faces of a binary STL the corners are fetched at once; batch is how many are
// decoded while those before them are welded.
const (
	together = 32
	batch    = 16 * together
)

// decoded are faces on their way from the bytes of a binary STL to the welder.
type decoded struct {
	face [batch]stlFace
	n    int
}

// records takes whole faces in. On several processors one decodes while another welds.
func (d *decoder) records(rec []byte) {
	if runtime.GOMAXPROCS(0) == 1 || len(rec) <= 2*batch*stlRecord {
		some := d.spare()
		for len(rec) > 0 {
			rec = some.take(rec)
			d.weldAll(some)
		}
		d.free <- some
		return
	}
	ready := make(chan *decoded, cap(d.free))
	go func() {
		for len(rec) > 0 {
			some := d.spare()
			rec = some.take(rec)
			ready <- some
		}
		close(ready)
	}()
	for some := range ready {
		d.weldAll(some)
		d.free <- some
	}
}

// spare waits for memory for decoded faces.
func (d *decoder) spare() *decoded {
	if d.free == nil {
		d.free = make(chan *decoded, 3)
		for range cap(d.free) {
			d.free <- new(decoded)
		}
	}
	return <-d.free
}

// take decodes some of the faces of rec and returns the rest.
func (f *decoded) take(rec []byte) (rest []byte) {
	f.n = min(batch, len(rec)/stlRecord)
	for i := range f.n {
		b := (*[stlRecord]byte)(rec[i*stlRecord:])
		at := func(k int) float64 { return float64(math.Float32frombits(binary.LittleEndian.Uint32(b[4*k:]))) }
		f.face[i].set(Vec{at(0), at(1), at(2)}, Vec{at(3), at(4), at(5)}, Vec{at(6), at(7), at(8)}, Vec{at(9), at(10), at(11)})
	}
	return rec[f.n*stlRecord:]
}

// weldAll adds the faces that were decoded.
func (d *decoder) weldAll(some *decoded) {
	var hashes [3 * together]uint64
	for lo := 0; lo < some.n; lo += together {
		faces := some.face[lo:min(lo+together, some.n)]
		for i := range faces {
			copy(hashes[3*i:], faces[i].hash[:])
		}
		d.foreseen += d.weld.foresee(hashes[:3*len(faces)])
		for i := range faces {
			d.add(&faces[i])
		}
	}
}

// stlFace is a face of an STL file with the hashes of its corners.
type stlFace struct {
	corner [3]Vec
	hash   [3]uint64
	finite bool
	normal normalSays
}

// normalSays is what a stored normal says of the winding.
type normalSays uint8

const (
	normalWith normalSays = iota
	normalAgainst
	normalNothing
)

func (f *stlFace) set(normal, a, b, c Vec) {
	a, b, c = unsigned(a), unsigned(b), unsigned(c)
	f.corner, f.hash = [3]Vec{a, b, c}, [3]uint64{hashPoint(a), hashPoint(b), hashPoint(c)}
	f.finite = inRange(a) && inRange(b) && inRange(c)
	switch {
	case !(normal.Norm2() > 0) || !normal.Finite():
		f.normal = normalNothing
	case b.Sub(a).Cross(c.Sub(a)).Dot(normal) < 0:
		f.normal = normalAgainst
	default:
		f.normal = normalWith
	}
}

// face adds one face of an STL file.
func (d *decoder) face(normal, a, b, c Vec) {
	var f stlFace
	f.set(normal, a, b, c)
	d.add(&f)
}

func (d *decoder) add(f *stlFace) {
	d.stats.Faces++
	if !f.finite {
		d.stats.NonFinite++
		return
	}
	w := d.weld
	d.tri = append(d.tri, [3]VertexID{w.idOf(f.corner[0], f.hash[0]), w.idOf(f.corner[1], f.hash[1]), w.idOf(f.corner[2], f.hash[2])})
	switch f.normal {
	case normalNothing:
		d.stats.NormalsMissing++
	case normalAgainst:
		d.stats.NormalsAgainstWinding++
	}
}

// roomFor returns for how many faces memory is taken at once: never more than the bytes that are
// known to be there can hold, as the count may be anything.
func roomFor(size, promised int64, open bool) int64 {
	fit := max(size-stlHeader, 0) / stlRecord
	if open {
		return fit
	}
	return min(promised, fit)
}

// notBinary says why bytes that are nothing else cannot be a binary STL either.
func notBinary(head []byte) error {
	if isText(head) {
		word := bytes.Fields(head)
		first := ""
		if len(word) > 0 {
			first = string(word[0][:min(len(word[0]), 20)])
		}
		return &FormatError{Line: 1, Early: len(head) < stlHeader, Reason: fmt.Sprintf("text that begins with %q, as no scan in STL, PLY or OBJ does", first)}
	}
	return &FormatError{Offset: int64(len(head)), Early: true, Reason: fmt.Sprintf(
		"the file ends early: a binary STL file has at least %d bytes, this has %d", stlHeader, len(head))}
}

// isText reports whether b holds no control characters but white space.
func isText(b []byte) bool {
	for _, c := range b {
		if c < ' ' && (c < '\t' || c > '\r') {
			return false
		}
	}
	return true
}
