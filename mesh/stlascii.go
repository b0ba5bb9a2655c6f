package mesh

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
)

// maxToken is the longest word that is looked at; no number or keyword comes near it.
const maxToken = 1024

// scanner cuts a stream into words. White space is every byte up to ' ', so that NULs and
// end-of-file marks at the end of a file do no harm. LF, CR and CR LF end a line.
type scanner struct {
	r    io.Reader
	buf  []byte
	i, n int
	base int64 // offset of buf[0]
	line int
	cr   bool // the last byte was a CR
	err  error
}

// fill makes at least maxToken bytes available unless the file ends before.
func (s *scanner) fill() {
	if s.n-s.i >= maxToken || s.err != nil {
		return
	}
	s.base += int64(s.i)
	s.n = copy(s.buf, s.buf[s.i:s.n])
	s.i = 0
	for s.n < maxToken && s.err == nil {
		var m int
		m, s.err = s.r.Read(s.buf[s.n:])
		s.n += m
	}
}

// word returns the next word, empty at the end of the file. It is valid until the next call.
func (s *scanner) word() []byte {
	for {
		s.fill()
		for s.i < s.n && s.buf[s.i] <= ' ' {
			s.newline(s.buf[s.i])
			s.i++
		}
		if s.i < s.n || s.err != nil {
			break
		}
	}
	s.fill()
	from := s.i
	for s.i < s.n && s.buf[s.i] > ' ' && s.i-from < maxToken {
		s.i++
	}
	if s.i > from {
		s.cr = false
	}
	return s.buf[from:s.i]
}

func (s *scanner) newline(c byte) {
	if c == '\r' || c == '\n' && !s.cr {
		s.line++
	}
	s.cr = c == '\r'
}

// skipLine goes to the end of the line, before its end mark.
func (s *scanner) skipLine() {
	for {
		s.fill()
		for ; s.i < s.n; s.i++ {
			if c := s.buf[s.i]; c == '\n' || c == '\r' {
				return
			}
		}
		if s.err != nil {
			return
		}
	}
}

func (s *scanner) fail(format string, args ...any) error {
	if s.err != nil && !errors.Is(s.err, io.EOF) {
		return s.err
	}
	return &FormatError{Offset: s.base + int64(s.i), Line: s.line, Early: s.err != nil && s.i >= s.n, Reason: fmt.Sprintf(format, args...)}
}

// found names a word in an error.
func found(w []byte) string {
	if len(w) == 0 {
		return "the end of the file"
	}
	return strconv.Quote(string(w[:min(len(w), 40)]))
}

func is(w []byte, keyword string) bool {
	return string(w) == keyword || len(w) == len(keyword) && bytes.EqualFold(w, []byte(keyword))
}

// ascii reads what follows the first n bytes, which are in buf.
func (d *decoder) ascii(r io.Reader, buf []byte, n int) error {
	s := &scanner{r: r, buf: buf, n: n, line: 1}
	if bytes.HasPrefix(buf[:n], []byte("\xEF\xBB\xBF")) {
		s.i = 3
	}
	defer func() { d.stats.Bytes = s.base + int64(s.n) }()
	for {
		w := s.word()
		if len(w) == 0 {
			break
		}
		if !is(w, "solid") {
			return s.fail("expected solid or the end of the file after endsolid, found %s", found(w))
		}
		s.skipLine()
		d.stats.Solids++
		if err := d.solid(s); err != nil {
			return err
		}
	}
	if !errors.Is(s.err, io.EOF) {
		return s.err
	}
	if k := d.stats.Solids; k > 1 {
		d.stats.note("The file holds %d solids; their faces were read as one surface.", k)
	}
	return nil
}

// solid reads facets up to endsolid.
func (d *decoder) solid(s *scanner) error {
	for {
		w := s.word()
		switch {
		case is(w, "facet"):
			if err := d.facet(s); err != nil {
				return err
			}
		case is(w, "endsolid"):
			s.skipLine()
			return nil
		case len(w) == 0:
			return s.fail("the file ends early, after %d whole facets: no endsolid, so faces may be missing", d.stats.Faces)
		default:
			return s.fail("expected facet or endsolid, found %s", found(w))
		}
	}
}

// facet reads one facet after its first word. The normal may be incomplete or missing.
func (d *decoder) facet(s *scanner) error {
	w := s.word()
	if is(w, "normal") {
		w = s.word()
	}
	var normal [3]float64
	k := 0
	for ; k < 3 && !is(w, "outer"); k++ {
		v, ok := number(w)
		if !ok {
			return s.fail("expected a number of the normal or outer loop, found %s", found(w))
		}
		normal[k] = v
		w = s.word()
	}
	if k < 3 {
		normal = [3]float64{}
	}
	if !is(w, "outer") {
		return s.fail("expected outer loop, found %s", found(w))
	}
	if w = s.word(); !is(w, "loop") {
		return s.fail("expected loop after outer, found %s", found(w))
	}
	var p [3]Vec
	for i := range p {
		if w = s.word(); !is(w, "vertex") {
			return s.fail("expected vertex %d of 3, found %s", i+1, found(w))
		}
		for _, x := range []*float64{&p[i].X, &p[i].Y, &p[i].Z} {
			w = s.word()
			v, ok := number(w)
			if !ok {
				return s.fail("expected a coordinate, found %s", found(w))
			}
			*x = v
		}
	}
	if w = s.word(); !is(w, "endloop") {
		return s.fail("expected endloop after three vertices, found %s", found(w))
	}
	if w = s.word(); !is(w, "endfacet") {
		return s.fail("expected endfacet, found %s", found(w))
	}
	d.face(Vec{normal[0], normal[1], normal[2]}, p[0], p[1], p[2])
	return d.full(s.base+int64(s.i), s.line)
}

var powersOfTen = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// number reads a decimal number correctly rounded. NaN and infinities, also as C libraries
// spell them (-1.#IND), are numbers that are not finite.
//
// Up to 15 digits and a power of ten up to 22 are both exact in float64, so that one product or
// quotient of them is rounded once (Clinger, PLDI 1990); the rest goes the slow way.
func number(w []byte) (v float64, ok bool) {
	i, neg := 0, false
	if len(w) > 0 && (w[0] == '-' || w[0] == '+') {
		i, neg = 1, w[0] == '-'
	}
	mant, digits, exp := uint64(0), 0, 0
	from := i
	for ; i < len(w) && w[i]-'0' <= 9; i++ {
		mant = mant*10 + uint64(w[i]-'0')
		digits++
	}
	if i < len(w) && w[i] == '.' {
		i++
		point := i
		for ; i < len(w) && w[i]-'0' <= 9; i++ {
			mant = mant*10 + uint64(w[i]-'0')
			digits++
		}
		exp = point - i
	}
	if digits == 0 {
		return notFinite(w[from:])
	}
	if i < len(w) && w[i]|' ' == 'e' {
		j := i + 1
		esign := 1
		if j < len(w) && (w[j] == '-' || w[j] == '+') {
			if w[j] == '-' {
				esign = -1
			}
			j++
		}
		e := 0
		from := j
		for ; j < len(w) && w[j]-'0' <= 9 && e < 10000; j++ {
			e = e*10 + int(w[j]-'0')
		}
		if j == from {
			return 0, false
		}
		exp += esign * e
		i = j
	}
	if i < len(w) {
		if w[i] == '#' {
			return math.NaN(), true
		}
		return 0, false
	}
	if digits > 15 || exp > 22 || exp < -22 {
		v, err := strconv.ParseFloat(string(w), 64)
		if err != nil && !errors.Is(err, strconv.ErrRange) {
			return 0, false
		}
		return v, true
	}
	v = float64(mant)
	if exp < 0 {
		v /= powersOfTen[-exp]
	} else {
		v *= powersOfTen[exp]
	}
	if neg {
		v = -v
	}
	return v, true
}

// notFinite reads the words for what is no finite number, without its sign.
func notFinite(w []byte) (float64, bool) {
	if len(w) < 3 {
		return 0, false
	}
	switch string(bytes.ToLower(w[:3])) {
	case "nan", "inf", "ind":
		return math.NaN(), true
	}
	return 0, false
}
