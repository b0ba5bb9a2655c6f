package mesh

import (
	"bytes"
	"errors"
	"io"
	"math"
	"strings"
)

// The words with which a line of an OBJ file may begin (Wavefront, Object Files, appendix B1).
// Of these v and f make the surface. What is in objNothing says nothing of it; what is in
// objOther makes other things, which a scan does not hold.
const (
	objNothing = " vt vn vp g o s mg usemtl mtllib usemap maplib bevel c_interp d_interp lod shadow_obj trace_obj "
	objOther   = " p l deg bmat step cstype curv curv2 surf parm trim hole scrv sp end con ctech stech "
)

// looksLikeOBJ reports whether the head is text of which the first line that is no comment begins
// like one of an OBJ file. The header of a binary STL file may be such a line; the numbers behind it
// are no text.
func looksLikeOBJ(head []byte) bool {
	if !isText(head[:min(len(head), 4096)]) {
		return false
	}
	head = bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF"))
	for len(head) > 0 {
		line := head
		if i := bytes.IndexAny(head, "\r\n"); i >= 0 {
			line, head = head[:i], head[i+1:]
		} else {
			head = nil
		}
		words := bytes.Fields(line)
		if len(words) == 0 || words[0][0] == '#' {
			continue
		}
		return objWord(words[0], " v f "+objNothing+objOther)
	}
	return false
}

func objWord(w []byte, list string) bool {
	return len(w) < 12 && strings.Contains(list, " "+string(w)+" ")
}

// obj reads an OBJ file whose first n bytes are in buf: polygons with indices from the first
// vertex or, negative, back from the last one. Textures, normals, groups and materials are passed
// over. An OBJ file does not say how long it is; one whose last line has no end is noted, as it
// may have been cut off.
func (d *decoder) obj(r io.Reader, buf []byte, n int) error {
	s := &scanner{r: r, buf: buf, n: n, line: 1}
	if bytes.HasPrefix(buf[:n], []byte("\xEF\xBB\xBF")) {
		s.i = 3
	}
	var corner []int32
	other := 0
	for {
		w := s.word()
		var err error
		switch {
		case len(w) == 0:
			if !errors.Is(s.err, io.EOF) {
				return s.err
			}
			d.stats.Bytes = s.base + int64(s.n)
			if other > 0 {
				d.stats.note("%d lines of points, lines, curves or curved surfaces were passed over.", other)
			}
			if last := s.n - 1; last >= 0 && s.buf[last] > ' ' {
				d.stats.note("The last line has no end: the file may have been cut off.")
			}
			d.countUnused()
			return nil
		case w[0] == '#':
			s.skipLine()
		case is(w, "v"):
			err = d.objVertex(s)
		case is(w, "f"), is(w, "fo"): // fo in early files
			corner, err = d.objFace(s, corner[:0])
		case objWord(w, objNothing):
			s.skipRest()
		case objWord(w, objOther):
			other++
			s.skipRest()
		default:
			return s.fail("expected a line of an OBJ file, found %s", found(w))
		}
		if err != nil {
			return err
		}
	}
}

// objVertex reads x, y and z. A weight may follow, or, by a common practice beyond the definition,
// red, green and blue from 0 to 1.
func (d *decoder) objVertex(s *scanner) error {
	var p Vec
	for _, x := range []*float64{&p.X, &p.Y, &p.Z} {
		w := s.lineWord()
		v, ok := number(w)
		if !ok {
			return s.fail("expected a coordinate, found %s", foundInLine(w))
		}
		*x = v
	}
	if len(d.pos) == math.MaxInt32 {
		return s.fail("the file has more vertices than can be numbered")
	}
	var more [4]float64
	n := 0
	for ; n < len(more); n++ {
		v, ok := number(s.lineWord())
		if !ok {
			break
		}
		more[n] = v
	}
	if n == 3 {
		d.colours.give(len(d.pos), colourOf([3]float64(more[:3]), 1))
	}
	d.vertex(p)
	s.skipRest()
	return nil
}

// objFace reads the corners of a face: v, v/vt, v//vn or v/vt/vn.
func (d *decoder) objFace(s *scanner, corner []int32) ([]int32, error) {
	for {
		w := s.lineWord()
		if len(w) == 0 || w[0] == '#' {
			break
		}
		k, ok := objIndex(w)
		if k < 0 {
			k += int64(len(d.pos)) + 1
		}
		if !ok {
			return nil, s.fail("expected a vertex of a face, found %s", found(w))
		}
		if k < 1 || k > int64(len(d.pos)) {
			return nil, s.fail("a face names vertex %s; %d came before it", w, len(d.pos))
		}
		if len(corner) == mostCorners {
			return nil, s.fail("a face has more than %d corners", mostCorners)
		}
		corner = append(corner, int32(k-1))
	}
	if len(corner) < 3 {
		return nil, s.fail("a face has %d corners", len(corner))
	}
	s.skipRest()
	d.polygon(corner)
	return corner, d.full(s.base+int64(s.i), s.line)
}

// objIndex reads the whole number before the first slash, which is not 0.
func objIndex(w []byte) (int64, bool) {
	i, neg, k := 0, false, int64(0)
	if len(w) > 0 && w[0] == '-' {
		i, neg = 1, true
	}
	from := i
	for ; i < len(w) && w[i]-'0' <= 9 && i-from < 11; i++ {
		k = 10*k + int64(w[i]-'0')
	}
	if i == from || i < len(w) && w[i] != '/' {
		return 0, false
	}
	if neg {
		k = -k
	}
	return k, true
}

// lineWord returns the next word of the line, empty at its end. A backslash at the end of a line
// goes on with the next one.
func (s *scanner) lineWord() []byte {
	for {
		s.fill()
		if s.i >= s.n {
			if s.err != nil {
				return nil
			}
			continue
		}
		switch c := s.buf[s.i]; {
		case c == '\n' || c == '\r':
			return nil
		case c <= ' ':
			s.i++
		case c == '\\' && s.i+1 < s.n && (s.buf[s.i+1] == '\n' || s.buf[s.i+1] == '\r'):
			s.i++
			if s.buf[s.i] == '\r' && s.i+1 < s.n && s.buf[s.i+1] == '\n' {
				s.i++
			}
			s.cr = false
			s.newline('\n')
			s.i++
		default:
			return s.word()
		}
	}
}

// skipRest goes to the end of the line and of those that continue it.
func (s *scanner) skipRest() {
	for len(s.lineWord()) > 0 {
	}
}

func foundInLine(w []byte) string {
	if len(w) == 0 {
		return "the end of the line"
	}
	return found(w)
}
