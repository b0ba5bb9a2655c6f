package mesh_test

import (
	"bytes"
	"fmt"
	"io"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// sizes are the numbers of faces of all benchmarks.
var sizes = []int{50_000, 300_000, 1_000_000}

// benchTube is a torus of the size of a jaw with about n faces.
func benchTube(n int) *mesh.Mesh {
	around := 1
	for 2*around*around/4 < n {
		around++
	}
	return shape.Torus(25, 8, around, around/4).Mesh
}

func benchAll(b *testing.B, run func(*testing.B, *mesh.Mesh)) {
	for _, n := range sizes {
		m := benchTube(n)
		b.Run(fmt.Sprintf("%dk", n/1000), func(b *testing.B) {
			b.ReportAllocs()
			run(b, m)
		})
	}
}

func BenchmarkReadBinary(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		var file bytes.Buffer
		if err := mesh.WriteSTL(&file, m, ""); err != nil {
			b.Fatal(err)
		}
		b.SetBytes(int64(file.Len()))
		for b.Loop() {
			if _, _, err := mesh.Read(bytes.NewReader(file.Bytes()), mesh.ReadOptions{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkReadASCII(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		var file bytes.Buffer
		if err := mesh.WriteSTLASCII(&file, m, "tube"); err != nil {
			b.Fatal(err)
		}
		b.SetBytes(int64(file.Len()))
		for b.Loop() {
			if _, _, err := mesh.Read(bytes.NewReader(file.Bytes()), mesh.ReadOptions{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkWriteBinary(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			if err := mesh.WriteSTL(io.Discard, m, ""); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkNew(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			mesh.New(m.Pos, m.Tri)
		}
	})
}

func BenchmarkTopology(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			m.Topology()
		}
	})
}

func BenchmarkLoops(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		open := shape.Keep(m, func(f mesh.FaceID) bool { return int(f) > len(m.Tri)/2 && f%5000 != 0 })
		for b.Loop() {
			open.Loops()
		}
	})
}

func BenchmarkComponents(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			b.StopTimer()
			m := mesh.New(m.Pos, m.Tri) // which keeps its pieces once they are found
			b.StartTimer()
			m.Components()
		}
	})
}

func BenchmarkNormals(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			m.Normals()
		}
	})
}

// BenchmarkCurvature fits over three edge lengths, about 28 vertices.
func BenchmarkCurvature(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		p, q, _ := m.Corners(0)
		for b.Loop() {
			mesh.Curvature(m, 3*p.Dist(q))
		}
	})
}

func BenchmarkSection(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			mesh.Section(m, mesh.Vec{X: 3}, mesh.Vec{X: 1, Y: 0.2})
		}
	})
}
