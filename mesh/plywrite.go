package mesh

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
)

// WritePLY writes m as PLY in one of the three PLY formats, faces and vertices in order, with their
// colours where it has any, and a
// comment without line ends. Every coordinate comes back as the same float64: a binary file holds
// floats where they are enough, doubles where they are not.
func WritePLY(w io.Writer, m *Mesh, format, comment string) error {
	name, order, kind := "ascii", binary.AppendByteOrder(binary.LittleEndian), "float"
	exact := func(p Vec) bool {
		return p.X == float64(float32(p.X)) && p.Y == float64(float32(p.Y)) && p.Z == float64(float32(p.Z))
	}
	for _, p := range m.Pos {
		if !exact(p) {
			kind = "double"
			break
		}
	}
	switch format {
	case PLYASCII:
	case PLYLittle:
		name = "binary_little_endian"
	case PLYBig:
		name, order = "binary_big_endian", binary.BigEndian
	default:
		panic("mesh: " + format + " is no format of PLY")
	}
	out := writer{w: w}
	colour := ""
	if m.Colour != nil {
		colour = "property uchar red\nproperty uchar green\nproperty uchar blue\n"
	}
	out.text(fmt.Sprintf("ply\nformat %s 1.0\ncomment %s\nelement vertex %d\nproperty %s x\nproperty %s y\nproperty %s z\n%s"+
		"element face %d\nproperty list uchar int vertex_indices\nend_header\n",
		name, bytes.Join(bytes.Fields([]byte(comment)), []byte(" ")), len(m.Pos), kind, kind, kind, colour, len(m.Tri)))
	for v, p := range m.Pos {
		if format == PLYASCII {
			out.point("", p)
			if m.Colour != nil {
				c := m.Colour[v]
				out.buf = fmt.Appendf(out.buf, " %d %d %d", c[0], c[1], c[2])
			}
			out.text("\n")
			continue
		}
		for _, x := range [3]float64{p.X, p.Y, p.Z} {
			if kind == "double" {
				out.buf = order.AppendUint64(out.buf, math.Float64bits(x))
			} else {
				out.buf = order.AppendUint32(out.buf, math.Float32bits(float32(x)))
			}
		}
		if m.Colour != nil {
			out.buf = append(out.buf, m.Colour[v][:]...)
		}
		out.flush(1 << 16)
	}
	for _, t := range m.Tri {
		if format == PLYASCII {
			out.text(fmt.Sprintf("3 %d %d %d\n", t[0], t[1], t[2]))
			continue
		}
		out.buf = append(out.buf, 3)
		for _, v := range t {
			out.buf = order.AppendUint32(out.buf, uint32(v))
		}
		out.flush(1 << 16)
	}
	out.flush(0)
	return out.err
}

// WriteOBJ writes m as OBJ, faces and vertices in order, with colours behind the coordinates where
// it has any. Coordinates have the digits that bring
// back the same float64.
func WriteOBJ(w io.Writer, m *Mesh) error {
	out := writer{w: w}
	for v, p := range m.Pos {
		out.point("v ", p)
		if m.Colour != nil {
			for _, c := range m.Colour[v] {
				out.buf = fmt.Appendf(out.buf, " %.4f", float64(c)/255)
			}
		}
		out.text("\n")
	}
	for _, t := range m.Tri {
		out.text(fmt.Sprintf("f %d %d %d\n", t[0]+1, t[1]+1, t[2]+1))
	}
	out.flush(0)
	return out.err
}

// writer gathers what is written and keeps the first error.
type writer struct {
	w   io.Writer
	buf []byte
	err error
}

func (w *writer) text(s string) {
	w.buf = append(w.buf, s...)
	w.flush(1 << 16)
}

// point writes three numbers.
func (w *writer) point(head string, p Vec) {
	w.buf = append(w.buf, head...)
	for i, x := range [3]float64{p.X, p.Y, p.Z} {
		if i > 0 {
			w.buf = append(w.buf, ' ')
		}
		w.buf = strconv.AppendFloat(w.buf, x, 'g', -1, 64)
	}
}

// flush hands on what is there when it is more than least bytes.
func (w *writer) flush(least int) {
	if len(w.buf) <= least || w.err != nil {
		return
	}
	_, w.err = w.w.Write(w.buf)
	w.buf = w.buf[:0]
}
