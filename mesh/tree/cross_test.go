package tree

import (
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

func TestSelfIntersectionsAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for name, m := range meshes(rng) {
		if len(m.Tri) > 3000 {
			continue
		}
		tr := New(m)
		var want [][2]mesh.FaceID
		for f := range m.Tri {
			for g := range f {
				if tr.facesCross(mesh.FaceID(f), mesh.FaceID(g)) {
					want = append(want, [2]mesh.FaceID{mesh.FaceID(g), mesh.FaceID(f)})
				}
			}
		}
		slices.SortFunc(want, comparePairs)
		n, got := tr.SelfIntersections(100)
		if n != len(want) || !slices.Equal(got, want[:min(len(want), 100)]) {
			t.Errorf("%s: %d crossings, want %d", name, n, len(want))
		}
	}
}

// TestTrianglesCross compares with another way to tell: the two triangles meet if some point on
// the line that both planes share is in both.
func TestTrianglesCross(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	crossed := 0
	for range 20000 {
		var p, q [3]mesh.Vec
		for i := range 3 {
			p[i], q[i] = gauss(rng, 1), gauss(rng, 1)
		}
		n, m := p[1].Sub(p[0]).Cross(p[2].Sub(p[0])), q[1].Sub(q[0]).Cross(q[2].Sub(q[0]))
		line := n.Cross(m)
		// Where each triangle is on that line, from where its edges pass the other's plane.
		span := func(a *[3]mesh.Vec, n, o mesh.Vec) (lo, hi float64, any bool) {
			for i := range 3 {
				u, v := a[i], a[(i+1)%3]
				du, dv := u.Sub(o).Dot(n), v.Sub(o).Dot(n)
				if du*dv < 0 {
					s := u.Along(du/(du-dv), v.Sub(u)).Dot(line)
					if !any {
						lo, hi, any = s, s, true
					}
					lo, hi = min(lo, s), max(hi, s)
				}
			}
			return lo, hi, any
		}
		l1, h1, any1 := span(&p, m, q[0])
		l2, h2, any2 := span(&q, n, p[0])
		want := any1 && any2 && max(l1, l2) < min(h1, h2)
		if got := trianglesCross(&p, &q); got != want {
			t.Fatalf("%v and %v: %v", p, q, got)
		}
		if want {
			crossed++
		}
	}
	if crossed < 1000 {
		t.Errorf("only %d of the pairs cross", crossed)
	}
}

func TestSelfIntersectionsOfSolids(t *testing.T) {
	ball := shape.Icosphere(5, 3).Mesh
	moved := shape.Map(ball, func(p mesh.Vec) mesh.Vec { return p.Add(mesh.Vec{X: 6.1, Y: 0.2, Z: 0.3}) })
	plate := shape.Plate(10, 10, 1, 1).Mesh
	beside := shape.Map(plate, func(p mesh.Vec) mesh.Vec { return p.Add(mesh.Vec{X: 10}) })
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		some bool
	}{
		{"ball", ball, false}, {"two balls", shape.Join(ball, moved), true}, {"shell", shape.SphericalShell(5, 4, 3).Mesh, false},
		{"plates that touch", shape.Join(plate, beside), false}, {"one plate twice", shape.Join(plate, plate), false},
	} {
		n, pairs := New(c.m).SelfIntersections(5)
		if (n > 0) != c.some || len(pairs) != min(n, 5) {
			t.Errorf("%s: %d crossings, %v", c.name, n, pairs)
		}
		for _, p := range pairs {
			if a, b := c.m.Centroid(p[0]), c.m.Centroid(p[1]); p[0] >= p[1] || a.Dist(b) > 2 {
				t.Errorf("%s: pair %v", c.name, p)
			}
		}
	}
}
