package mesh_test

import (
	"bytes"
	"io"
	"slices"
	"strings"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// FuzzRead: never a panic, and what is read is sound and stays the same when written again.
func FuzzRead(f *testing.F) {
	f.Add([]byte(oneSolid))
	f.Add(binarySTL("solid", 2, face1, bad))
	f.Add([]byte("\xEF\xBB\xBFSOLID\rfacet outer loop vertex 1e300 -.5 +3 vertex nan(ind) 1 1.#INF"))
	f.Add([]byte(plySmall))
	f.Add([]byte(strings.ReplaceAll(plySmall, "\n", "\r")))
	f.Add([]byte(objSmall))
	f.Add([]byte("v 0 0 0\nv 2 0 0\nv 2 2 0\nv 1 .5 0 \\\n1\nv 0 2 0\nl 1 2\nf 1 2/1 3//1 -2 -1\n"))
	m := shape.Icosphere(1, 0).Mesh
	for _, write := range []func(io.Writer) error{
		func(w io.Writer) error { return mesh.WriteSTLASCII(w, m, "") },
		func(w io.Writer) error { return mesh.WritePLY(w, m, mesh.PLYLittle, "a") },
		func(w io.Writer) error { return mesh.WritePLY(w, m, mesh.PLYBig, "b") },
		func(w io.Writer) error { return mesh.WriteOBJ(w, m) },
	} {
		var file bytes.Buffer
		if err := write(&file); err != nil {
			f.Fatal(err)
		}
		f.Add(file.Bytes())
	}
	f.Add([]byte(packGzip(plySmall)))
	f.Add([]byte(packZip("a.obj", objSmall)))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, stats, err := mesh.Read(bytes.NewReader(b), mesh.ReadOptions{MostFaces: 100_000})
		if err != nil {
			return
		}
		if err := m.Validate(); err != nil {
			t.Fatal(err)
		}
		if stats.Bytes != int64(len(b)) || len(m.Tri) != stats.Faces-stats.NonFinite || len(m.Pos) != stats.Vertices {
			t.Fatalf("%+v of %d bytes", stats, len(b))
		}
		if m.Colour != nil && len(m.Colour) != len(m.Pos) {
			t.Fatalf("%d colours of %d vertices", len(m.Colour), len(m.Pos))
		}
		for v := range m.Pos {
			if len(m.CornersAt(mesh.VertexID(v))) == 0 {
				t.Fatal("a vertex without a face")
			}
		}
		var out bytes.Buffer
		if err := mesh.WriteSTLASCII(&out, m, "again"); err != nil {
			t.Fatal(err)
		}
		again, _, err := mesh.Read(&out, mesh.ReadOptions{})
		if err != nil || !slices.Equal(again.Tri, m.Tri) || !slices.Equal(again.Pos, m.Pos) {
			t.Fatalf("changed by writing: %v", err)
		}
	})
}

// FuzzLoops: any faces at all make a sound table, loops that keep their promises and pieces that
// hold every face. Each byte is a vertex.
func FuzzLoops(f *testing.F) {
	f.Add([]byte{0, 1, 2, 2, 1, 3, 0, 1, 4})
	f.Add([]byte{0, 1, 2, 2, 1, 3, 1, 1, 2, 0, 2, 3, 5, 5, 5})
	f.Add([]byte{0, 1, 2, 0, 3, 4, 0, 5, 6, 1, 3, 5, 2, 4, 6})
	f.Fuzz(func(t *testing.T, b []byte) {
		var tri [][3]mesh.VertexID
		for ; len(b) >= 3; b = b[3:] {
			tri = append(tri, [3]mesh.VertexID{mesh.VertexID(b[0] % 16), mesh.VertexID(b[1] % 16), mesh.VertexID(b[2] % 16)})
		}
		m := build(16, tri...)
		if err := m.Validate(); err != nil {
			t.Fatal(err)
		}
		checkLoops(t, m, m.Loops())
		label, parts := m.Components()
		sum := 0
		for i, p := range parts {
			sum += p.Faces
			if label[p.First] != int32(i) {
				t.Fatal("the first face of a part has another label")
			}
		}
		if sum != len(tri) {
			t.Fatalf("%d faces in parts of %d", sum, len(tri))
		}
		for i, d := range m.Across {
			if c := mesh.Corner(i); d >= 0 && label[c.Face()] != label[d.Face()] {
				t.Fatal("neighbours in different parts")
			}
		}
		m.Topology()
		mesh.Section(m, mesh.Vec{X: 0.5, Y: 0.5, Z: 0.5}, mesh.Vec{X: 1, Y: 1})
	})
}
