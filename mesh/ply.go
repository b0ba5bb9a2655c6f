package mesh

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// plyKind is a type of numbers in a PLY file; zero is none.
type plyKind struct {
	bytes int
	form  byte // 'i' signed, 'u' unsigned, 'f' floating
}

// The names of types: those of Turk 1994, and those with bit counts that later programs write.
var plyKinds = map[string]plyKind{
	"char": {1, 'i'}, "uchar": {1, 'u'}, "short": {2, 'i'}, "ushort": {2, 'u'}, "int": {4, 'i'}, "uint": {4, 'u'},
	"float": {4, 'f'}, "double": {8, 'f'},
	"int8": {1, 'i'}, "uint8": {1, 'u'}, "int16": {2, 'i'}, "uint16": {2, 'u'}, "int32": {4, 'i'}, "uint32": {4, 'u'},
	"float32": {4, 'f'}, "float64": {8, 'f'},
}

// plyElement is one element of the header: count rows of the properties.
type plyElement struct {
	name       string
	count      int64
	properties []plyProperty
}

type plyProperty struct {
	name  string
	kind  plyKind // of a list: of its items
	count plyKind // of a list: of its length; zero where it is no list
}

// find returns the index of the first property that has one of the names, -1 where none has.
func (e *plyElement) find(list bool, names ...string) int {
	for i, p := range e.properties {
		for _, n := range names {
			if p.name == n && (p.count.bytes > 0) == list {
				return i
			}
		}
	}
	return -1
}

// colour returns the indices of red, green and blue, and the value that is full: 255 or what else
// the type holds, 1 for floating numbers; 0 where there is no colour.
func (e *plyElement) colour() (rgb [3]int, most float64) {
	for i, n := range [3]string{"red", "green", "blue"} {
		if rgb[i] = e.find(false, n, "diffuse_"+n, n[:1]); rgb[i] < 0 {
			return [3]int{-1, -1, -1}, 0
		}
	}
	k := e.properties[rgb[0]].kind
	if k.form == 'f' {
		return rgb, 1
	}
	return rgb, math.Pow(2, float64(min(8*k.bytes, 16))) - 1
}

// looksLikePLY reports whether the head of a file is the word "ply" alone on its line.
func looksLikePLY(head []byte) bool {
	return len(head) > 3 && string(head[:3]) == "ply" && (head[3] == '\n' || head[3] == '\r' || head[3] == ' ')
}

// ply reads a PLY file whose first n bytes are in buf. Elements and properties that say nothing
// of the surface are passed over.
func (d *decoder) ply(r io.Reader, buf []byte, n int) error {
	format, elements, end, lines, err := plyHeader(buf[:n])
	if err != nil {
		return err
	}
	d.stats.Format = format
	var in plyValues
	if format == PLYASCII {
		s := &scanner{r: r, buf: buf, i: end, n: n, line: lines}
		in = &plyText{scanner: s}
	} else {
		in = &plyBinary{r: r, buf: buf, i: end, n: n, big: format == PLYBig}
	}
	vertices := int64(-1)
	for _, e := range elements {
		switch e.name {
		case "vertex":
			vertices = e.count
			room := min(e.count, (SizeHint(r)+int64(n))/6)
			d.pos, d.became = make([]Vec, 0, room), make([]int32, 0, room)
			err = d.plyVertices(in, &e)
		case "face":
			if vertices < 0 {
				return &FormatError{Line: lines, Reason: "the faces stand before the vertices; export the scan again"}
			}
			d.grow(min(e.count, (SizeHint(r)+int64(n))/10))
			err = d.plyFaces(in, &e)
		default:
			err = plySkip(in, &e)
		}
		if err != nil {
			return err
		}
	}
	if d.weld == nil {
		what := "no faces"
		for _, e := range elements {
			if e.name == "tristrips" {
				what = "strips of triangles"
			}
		}
		return &FormatError{Line: lines, Reason: fmt.Sprintf("the PLY file holds %s and %d points: export the scan as faces", what, max(vertices, 0))}
	}
	d.countUnused()
	if d.stats.Bytes, d.stats.TrailingBytes, err = in.end(); err != nil {
		return err
	}
	if t := d.stats.TrailingBytes; t > 0 {
		d.stats.note("%d bytes follow what the header promised and were not read.", t)
	}
	return nil
}

// plyVertices reads the positions.
func (d *decoder) plyVertices(in plyValues, e *plyElement) error {
	x, y, z := e.find(false, "x"), e.find(false, "y"), e.find(false, "z")
	if x < 0 || y < 0 || z < 0 {
		return &FormatError{Line: 1, Reason: "the vertices of the PLY file have no x, y and z"}
	}
	rgb, most := e.colour()
	for range e.count {
		if len(d.pos) == math.MaxInt32 {
			return in.fail("the file has more vertices than can be numbered")
		}
		var p Vec
		var c [3]float64
		for i, q := range e.properties {
			v, err := plyValue(in, q)
			if err != nil {
				return err
			}
			switch i {
			case x:
				p.X = v
			case y:
				p.Y = v
			case z:
				p.Z = v
			case rgb[0]:
				c[0] = v
			case rgb[1]:
				c[1] = v
			case rgb[2]:
				c[2] = v
			}
		}
		if most > 0 {
			d.colours.give(len(d.pos), colourOf(c, most))
		}
		d.vertex(p)
	}
	return nil
}

// plyFaces reads the faces.
func (d *decoder) plyFaces(in plyValues, e *plyElement) error {
	at := e.find(true, "vertex_indices", "vertex_index")
	if at < 0 {
		return &FormatError{Line: 1, Reason: "the faces of the PLY file have no vertex_indices"}
	}
	corner := make([]int32, 0, 16)
	rgb, most := e.colour()
	for range e.count {
		var c [3]float64
		for i, q := range e.properties {
			if i != at {
				v, err := plyValue(in, q)
				if err != nil {
					return err
				}
				for k := range rgb {
					if i == rgb[k] {
						c[k] = v
					}
				}
				continue
			}
			n, err := plyInteger(in, q.count, "a number of corners")
			if err != nil {
				return err
			}
			if n < 3 || n > mostCorners {
				return in.fail("a face has %d corners; from 3 to %d are read", n, mostCorners)
			}
			corner = corner[:0]
			for range n {
				k, err := plyInteger(in, q.kind, "a vertex")
				if err != nil {
					return err
				}
				if k < 0 || k >= int64(len(d.pos)) {
					return in.fail("a face names vertex %d of %d", k, len(d.pos))
				}
				corner = append(corner, int32(k))
			}
		}
		if most > 0 { // its place may be before the corners or behind them
			colour := colourOf(c, most)
			d.faceColour = &colour
		}
		d.polygon(corner)
		if err := d.full(0, 0); err != nil {
			return err
		}
	}
	return nil
}

// plySkip passes over an element. One without properties takes no room, however many there are.
func plySkip(in plyValues, e *plyElement) error {
	if len(e.properties) == 0 {
		return nil
	}
	for range e.count {
		for _, q := range e.properties {
			if _, err := plyValue(in, q); err != nil {
				return err
			}
		}
	}
	return nil
}

// plyValue reads one property and returns its value, that of a list being nothing.
func plyValue(in plyValues, q plyProperty) (float64, error) {
	if q.count.bytes == 0 {
		return in.value(q.kind)
	}
	n, err := plyInteger(in, q.count, "the length of a list")
	if err != nil {
		return 0, err
	}
	for range n {
		if _, err := in.value(q.kind); err != nil {
			return 0, err
		}
	}
	return 0, nil
}

// plyInteger reads a whole number.
func plyInteger(in plyValues, kind plyKind, what string) (int64, error) {
	v, err := in.value(kind)
	if err != nil {
		return 0, err
	}
	if v != float64(int64(v)) {
		return 0, in.fail("expected %s, found %v", what, v)
	}
	return int64(v), nil
}

// plyHeader reads the header, which must lie in head, and returns what it promises, the offset
// of the first byte behind it and the number of that byte's line.
func plyHeader(head []byte) (format string, elements []plyElement, end, line int, err error) {
	bad := func(reason string, args ...any) (string, []plyElement, int, int, error) {
		return "", nil, 0, 0, &FormatError{Line: line, Reason: fmt.Sprintf(reason, args...)}
	}
	// Lines end with LF or CR LF, even in one header both; with CR alone only where the first does.
	lone := head[3] == '\r' && (len(head) < 5 || head[4] != '\n')
	for line = 1; ; line++ {
		mark := byte('\n')
		if lone {
			mark = '\r'
		}
		n := bytes.IndexByte(head[end:], mark)
		if n < 0 {
			return "", nil, 0, 0, &FormatError{Line: line, Early: len(head) < blockBytes,
				Reason: fmt.Sprintf("the PLY header has no end_header in its first %d bytes", len(head))}
		}
		text := string(bytes.TrimSpace(head[end : end+n]))
		end += n + 1
		words := strings.Fields(text)
		switch {
		case line == 1 || len(words) == 0 || words[0] == "comment" || words[0] == "obj_info":
		case words[0] == "end_header":
			if format == "" {
				return bad("the PLY header names no format")
			}
			return format, elements, end, line + 1, nil
		case words[0] == "format" && len(words) >= 2:
			switch words[1] {
			case "ascii":
				format = PLYASCII
			case "binary_little_endian":
				format = PLYLittle
			case "binary_big_endian":
				format = PLYBig
			default:
				return bad("PLY format %q is not known", words[1])
			}
		case words[0] == "element" && len(words) == 3:
			count, err := strconv.ParseInt(words[2], 10, 64)
			if err != nil || count < 0 {
				return bad("expected a number of elements, found %q", words[2])
			}
			elements = append(elements, plyElement{name: words[1], count: count})
		case words[0] == "property" && len(elements) > 0:
			p, ok := plyPropertyOf(words[1:])
			if !ok {
				return bad("PLY property %q is not known", text)
			}
			e := &elements[len(elements)-1]
			e.properties = append(e.properties, p)
		default:
			return bad("expected a line of a PLY header, found %q", text[:min(len(text), 40)])
		}
	}
}

// plyPropertyOf reads what stands behind the word property.
func plyPropertyOf(words []string) (p plyProperty, ok bool) {
	switch {
	case len(words) == 2:
		p.kind, p.name = plyKinds[words[0]], words[1]
		return p, p.kind.bytes > 0
	case len(words) == 4 && words[0] == "list":
		p.count, p.kind, p.name = plyKinds[words[1]], plyKinds[words[2]], words[3]
		return p, p.kind.bytes > 0 && p.count.bytes > 0 && p.count.form != 'f'
	}
	return p, false
}
