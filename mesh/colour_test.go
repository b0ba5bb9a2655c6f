package mesh_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// TestColours: each way in which a file may colour its vertices or faces. The names are those of
// Turk's own examples (red, green, blue; diffuse_red …); full is 255, 65535 or 1 by the type.
func TestColours(t *testing.T) {
	ply := func(vertex, face, body string) string {
		return plyHead + vertex + "element face 2\n" + face + "property list uchar int vertex_indices\nend_header\n" + body
	}
	const uchar = "property uchar red\nproperty uchar green\nproperty uchar blue\n"
	faces := "3 0 1 2\n3 0 2 3\n"
	four := func(a, b, c, d string) string {
		return "0 0 0 " + a + "\n1 0 0 " + b + "\n1 1 0 " + c + "\n0 1 0 " + d + "\n"
	}
	grey := mesh.Colour{200, 200, 200}
	want := []mesh.Colour{{255, 0, 0}, {0, 128, 0}, {0, 0, 255}, {1, 2, 3}}
	binaryFile := strings.Replace(ply(strings.ReplaceAll(uchar, "uchar", "ushort"), "", ""), "ascii", "binary_big_endian", 1)
	for i, c := range want {
		binaryFile += plyBytes(binary.BigEndian, []float32{float32(i), float32(i * i), 0}, []uint16{257 * uint16(c[0]), 257 * uint16(c[1]), 257 * uint16(c[2])})
	}
	binaryFile += plyBytes(binary.BigEndian, uint8(3), []int32{0, 1, 2}, uint8(3), []int32{0, 2, 3})
	for name, c := range map[string]struct {
		file string
		want []mesh.Colour
	}{
		"none":                 {plySmall, nil},
		"ply vertices":         {ply(uchar, "", four("255 0 0", "0 128 0", "0 0 255", "1 2 3")+faces), want},
		"ply vertices, 16 bit": {binaryFile, want},
		"ply vertices, floats": {ply("property float diffuse_red\nproperty float diffuse_green\nproperty float diffuse_blue\n", "", four("1 0 0", "0 .502 0", "0 0 9", "nan -1 .5")+faces),
			[]mesh.Colour{{255, 0, 0}, {0, 128, 0}, {0, 0, 255}, {0, 0, 128}}},
		"ply, red alone":           {ply("property uchar red\n", "", four("1", "2", "3", "4")+faces), nil},
		"ply faces":                {ply("", uchar, square+"9 8 7 3 0 1 2\n1 2 3 3 0 2 3\n"), []mesh.Colour{{9, 8, 7}, {9, 8, 7}, {9, 8, 7}, {1, 2, 3}}},
		"ply faces behind corners": {strings.Replace(ply("", "", square+"3 0 1 2 9 8 7\n3 0 2 3 1 2 3\n"), "end_header", uchar+"end_header", 1), []mesh.Colour{{9, 8, 7}, {9, 8, 7}, {9, 8, 7}, {1, 2, 3}}},
		"obj":                      {"v 0 0 0 1 0 0\nv 1 0 0\nv 1 1 0 0 0 1 # blue\nv 0 1 0 1.0\nf 1 2 3\nf 1 3 4\n", []mesh.Colour{{255, 0, 0}, grey, {0, 0, 255}, grey}},
	} {
		m, _, err := mesh.Read(strings.NewReader(c.file), mesh.ReadOptions{})
		if err != nil || !slices.Equal(m.Colour, c.want) {
			t.Errorf("%s: %v, %v", name, m, err)
		}
	}
}

// TestColoursAreKept: by writing and reading, and by turning the surface inside out.
func TestColoursAreKept(t *testing.T) {
	m := shape.Icosphere(10, 2).Mesh
	for i := range m.Pos {
		m.Colour = append(m.Colour, mesh.Colour{uint8(i), uint8(3 * i), uint8(7 * i)})
	}
	at := map[string]mesh.Colour{}
	for v, p := range m.Pos {
		at[fmt.Sprint(p)] = m.Colour[v]
	}
	for _, format := range []string{mesh.PLYASCII, mesh.PLYLittle, mesh.PLYBig, mesh.OBJ} {
		var b bytes.Buffer
		err := mesh.WriteOBJ(&b, m)
		if format != mesh.OBJ {
			b.Reset()
			err = mesh.WritePLY(&b, m, format, "")
		}
		if err != nil {
			t.Fatal(err)
		}
		got, _, err := mesh.Read(&b, mesh.ReadOptions{})
		if err != nil || len(got.Colour) != len(m.Pos) {
			t.Fatal(format, err)
		}
		for v, p := range got.Pos {
			if got.Colour[v] != at[fmt.Sprint(p)] {
				t.Fatalf("%s: %v is %v", format, p, got.Colour[v])
			}
		}
	}
	if f := m.Flip(); !slices.Equal(f.Colour, m.Colour) {
		t.Error("lost by Flip")
	}
}
