package tree

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

const benchQueries = 200_000

// benchAll runs over tori of the size of a jaw.
func benchAll(b *testing.B, run func(*testing.B, *mesh.Mesh)) {
	for _, n := range []int{50_000, 300_000, 1_000_000} {
		around := int(math.Sqrt(float64(2 * n)))
		m := shape.Torus(25, 8, around, around/4).Mesh
		b.Run(fmt.Sprintf("%dk", n/1000), func(b *testing.B) {
			b.ReportAllocs()
			run(b, m)
		})
	}
}

// near returns points off the surface by at most d, in random order.
func near(m *mesh.Mesh, d float64) []mesh.Vec {
	rng := rand.New(rand.NewPCG(3, 4))
	out := make([]mesh.Vec, benchQueries)
	for i := range out {
		f := mesh.FaceID(rng.IntN(len(m.Tri)))
		out[i] = m.Centroid(f).Along(d*(2*rng.Float64()-1), m.FaceNormal(f))
	}
	return out
}

func BenchmarkBuild(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		for b.Loop() {
			New(m)
		}
	})
}

// BenchmarkNearest asks 200 thousand points within 0.05 mm of the surface, one core.
func BenchmarkNearest(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		t, points := New(m), near(m, 0.05)
		for b.Loop() {
			for _, p := range points {
				t.Nearest(p, 10, nil)
			}
		}
	})
}

func BenchmarkNearestOff(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		t, points := New(m), near(m, 1.6)
		for b.Loop() {
			for _, p := range points {
				t.Nearest(p, 10, nil)
			}
		}
	})
}

// BenchmarkRay shoots 200 thousand rays inward from the surface, one core.
func BenchmarkRay(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		t := New(m)
		for b.Loop() {
			for i := range benchQueries {
				f := mesh.FaceID(i * (len(m.Tri) / benchQueries) % len(m.Tri))
				t.Ray(m.Centroid(f), m.FaceNormal(f).Scale(-1), 1e-6, 100)
			}
		}
	})
}

func BenchmarkSelfIntersections(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		t := New(m)
		for b.Loop() {
			t.SelfIntersections(100)
		}
	})
}

func BenchmarkSection(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		t := New(m)
		for b.Loop() {
			t.Section(mesh.Vec{X: 25}, mesh.Vec{Y: 1}, 10)
		}
	})
}

// BenchmarkCursor asks for 200 thousand points in the order of the faces, 0.05 mm off.
func BenchmarkCursor(b *testing.B) {
	benchAll(b, func(b *testing.B, m *mesh.Mesh) {
		c := New(m).Cursor()
		for b.Loop() {
			for i := range benchQueries {
				f := mesh.FaceID(i % len(m.Tri))
				c.Nearest(m.Centroid(f).Along(0.05, m.FaceNormal(f)), 10, nil)
			}
		}
	})
}
