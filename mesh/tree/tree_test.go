package tree

import (
	"math"
	"math/rand/v2"
	"testing"

	"fornix/mesh"
)

// soup makes n scattered faces, some of them slivers, points and copies.
func soup(rng *rand.Rand, n int) *mesh.Mesh {
	var pos []mesh.Vec
	var tri [][3]mesh.VertexID
	point := func(s float64) mesh.Vec {
		return mesh.Vec{X: s * rng.NormFloat64(), Y: s * rng.NormFloat64(), Z: s * rng.NormFloat64()}
	}
	for i := range n {
		c := point(20)
		k := mesh.VertexID(len(pos))
		pos = append(pos, c, c.Add(point(1)), c.Add(point(1)))
		switch i % 10 {
		case 7:
			pos[k+2] = pos[k].Along(0.3, pos[k+1].Sub(pos[k])) // no area
		case 8:
			pos[k+1], pos[k+2] = pos[k], pos[k]
		}
		tri = append(tri, [3]mesh.VertexID{k, k + 1, k + 2})
	}
	return mesh.New(pos, tri)
}

func TestNearestAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 2, 4, 5, 50, 3000} {
		m := soup(rng, n)
		tr := New(m)
		for range 300 {
			p := mesh.Vec{X: 30 * rng.NormFloat64(), Y: 30 * rng.NormFloat64(), Z: 30 * rng.NormFloat64()}
			odd := func(f mesh.FaceID) bool { return f%2 == 1 }
			for _, accept := range []func(mesh.FaceID) bool{nil, odd} {
				want, from := math.Inf(1), mesh.FaceID(-1)
				for f := range m.Tri {
					a, b, c := m.Corners(mesh.FaceID(f))
					d := ClosestOnFace(a, b, c, p).Sub(p).Norm2()
					if (accept == nil || accept(mesh.FaceID(f))) && d < want {
						want, from = d, mesh.FaceID(f)
					}
				}
				hit, found := tr.Nearest(p, math.Inf(1), accept)
				if found != (from >= 0) || found && (hit.Face != from || hit.Dist != math.Sqrt(want)) {
					t.Fatalf("n %d: %v %v, want face %d at %v", n, hit, found, from, math.Sqrt(want))
				}
				if found {
					if _, far := tr.Nearest(p, 0.999*hit.Dist, accept); far {
						t.Fatal("found beyond the limit")
					}
				}
			}
		}
	}
}
