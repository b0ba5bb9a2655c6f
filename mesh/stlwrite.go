package mesh

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"strconv"
)

// WriteSTL writes m as binary STL, faces in order, coordinates rounded to float32. The header
// is cut or filled with spaces to 80 bytes; it must not begin with "solid", as many programs
// would then take the file for text.
func WriteSTL(w io.Writer, m *Mesh, header string) error {
	if len(header) >= 5 && bytes.EqualFold([]byte(header[:5]), []byte("solid")) {
		return errors.New(`the header of a binary STL file must not begin with "solid"`)
	}
	buf := make([]byte, 0, stlHeader+stlRecord*4096)
	buf = append(buf, bytes.Repeat([]byte(" "), 80)...)
	copy(buf, header)
	buf = binary.LittleEndian.AppendUint32(buf, uint32(len(m.Tri)))
	for f := range m.Tri {
		a, b, c := m.Corners(FaceID(f))
		for _, p := range [4]Vec{m.FaceNormal(FaceID(f)), a, b, c} {
			buf = binary.LittleEndian.AppendUint32(buf, math.Float32bits(float32(p.X)))
			buf = binary.LittleEndian.AppendUint32(buf, math.Float32bits(float32(p.Y)))
			buf = binary.LittleEndian.AppendUint32(buf, math.Float32bits(float32(p.Z)))
		}
		buf = append(buf, 0, 0)
		if cap(buf)-len(buf) < stlRecord {
			if _, err := w.Write(buf); err != nil {
				return err
			}
			buf = buf[:0]
		}
	}
	_, err := w.Write(buf)
	return err
}

// WriteSTLASCII writes m as ASCII STL under a name without line ends, faces in order.
// Coordinates have the digits that bring back the same float64.
func WriteSTLASCII(w io.Writer, m *Mesh, name string) error {
	name = string(bytes.Join(bytes.Fields([]byte(name)), []byte(" ")))
	buf := make([]byte, 0, 1<<16)
	point := func(head string, p Vec) {
		buf = append(buf, head...)
		for _, x := range [3]float64{p.X, p.Y, p.Z} {
			buf = append(buf, ' ')
			buf = strconv.AppendFloat(buf, x, 'g', -1, 64)
		}
		buf = append(buf, '\n')
	}
	buf = append(append(append(buf, "solid "...), name...), '\n')
	for f := range m.Tri {
		a, b, c := m.Corners(FaceID(f))
		point("facet normal", m.FaceNormal(FaceID(f)))
		buf = append(buf, "outer loop\n"...)
		point("vertex", a)
		point("vertex", b)
		point("vertex", c)
		buf = append(buf, "endloop\nendfacet\n"...)
		if len(buf) > 1<<16-1024 {
			if _, err := w.Write(buf); err != nil {
				return err
			}
			buf = buf[:0]
		}
	}
	buf = append(append(append(buf, "endsolid "...), name...), '\n')
	_, err := w.Write(buf)
	return err
}
