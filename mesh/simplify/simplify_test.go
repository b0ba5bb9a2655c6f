package simplify

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"fornix/mesh"
	"fornix/mesh/shape"
	"fornix/mesh/tree"
)

// promised holds a result against every promise of Simplify.
func promised(t *testing.T, name string, m *mesh.Mesh, bound float64) Result {
	t.Helper()
	original := tree.New(m)
	start := time.Now()
	r := Simplify(m, bound, 2)
	took := time.Since(start)
	if err := r.Mesh.Validate(); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	for i, v := range r.Vertex {
		if r.Mesh.Pos[i] != m.Pos[v] {
			t.Fatalf("%s: vertex %d moved", name, v)
		}
	}
	lost, mid := Deviation(m, tree.New(r.Mesh))
	_, strays := Deviation(r.Mesh, original)
	t.Logf("%s: %d faces to %d in %.2f s; vertices within %.4f mm, middles of faces within %.4f, of new ones %.4f",
		name, len(m.Tri), len(r.Mesh.Tri), took.Seconds(), lost, mid, strays)
	if lost > bound*(1+1e-9) || strays > bound*(1+1e-9) {
		t.Errorf("%s: off by %g and %g, promised %g", name, lost, strays, bound)
	}
	was, is := m.Topology(), r.Mesh.Topology()
	if was.BoundaryEdges != is.BoundaryEdges || was.NonManifoldEdges != is.NonManifoldEdges || was.Euler != is.Euler {
		t.Errorf("%s: %+v became %+v", name, was, is)
	}
	if !slices.Equal(rims(m), rims(r.Mesh)) {
		t.Errorf("%s: boundary edges are not those of the original", name)
	}
	unturned(t, name, m, r)
	return r
}

// rims lists the ends of all boundary edges, in order.
func rims(m *mesh.Mesh) []string {
	var out []string
	for i, d := range m.Across {
		if c := mesh.Corner(i); d == mesh.OnBoundary {
			a, b := m.Pos[m.Vertex(c)], m.Pos[m.Vertex(c.Next())]
			out = append(out, key(a)+key(b))
		}
	}
	slices.Sort(out)
	return out
}

func key(p mesh.Vec) string {
	b, _ := p.MarshalJSON()
	return string(b)
}

// unturned checks that no new face shows its back where the original shows its front.
func unturned(t *testing.T, name string, m *mesh.Mesh, r Result) {
	t.Helper()
	old := make(map[[3]mesh.VertexID]bool, len(m.Tri))
	for _, f := range m.Tri {
		old[f] = true
	}
	sum := make([]mesh.Vec, len(m.Pos))
	for f := range m.Tri {
		a, b, c := m.Corners(mesh.FaceID(f))
		n := b.Sub(a).Cross(c.Sub(a))
		for _, v := range m.Tri[f] {
			sum[v] = sum[v].Add(n)
		}
	}
	for f, tri := range r.Mesh.Tri {
		v := [3]mesh.VertexID{r.Vertex[tri[0]], r.Vertex[tri[1]], r.Vertex[tri[2]]}
		if old[v] || old[[3]mesh.VertexID{v[1], v[2], v[0]}] || old[[3]mesh.VertexID{v[2], v[0], v[1]}] {
			continue
		}
		a, b, c := r.Mesh.Corners(mesh.FaceID(f))
		n := b.Sub(a).Cross(c.Sub(a))
		for _, u := range v {
			if n.Dot(sum[u]) <= 0 {
				t.Fatalf("%s: face %d is turned over", name, f)
			}
		}
	}
}

func TestShapes(t *testing.T) {
	const bound = 0.016
	ball := shape.Icosphere(10, 5)
	promised(t, "torus", shape.Torus(20, 4, 60, 200).Mesh, bound)
	promised(t, "trough", shape.Trough(8, 40, 50, 100).Mesh, bound)
	promised(t, "shell", shape.SphericalShell(9, 8.5, 5).Mesh, bound)
	hole := shape.Keep(ball.Mesh, func(f mesh.FaceID) bool {
		a, _, _ := ball.Corners(f)
		return a.Z < 9.5 && (a.X-3)*(a.X-3)+a.Y*a.Y > 1
	})
	promised(t, "ball with holes", hole, bound)

	// A vertex over the middle of an equilateral face with corners on a sphere of radius R stands
	// e²/6R above it for an edge e (sagitta), so no face is wider than that says; within the
	// bound on both sides of a smooth surface no fewer faces can do. Greedy work needs some more.
	r := promised(t, "ball", ball.Mesh, bound)
	edge2 := 6 * 10 * bound
	least := ball.Area / (math.Sqrt(3) / 4 * edge2)
	if n := float64(len(r.Mesh.Tri)); n > 3*least {
		t.Errorf("%g faces on the ball, %g for equilateral ones that use up the bound", n, least)
	}

	// On a flat plate hardly anything is needed: some faces for each cell of space, of which there
	// are 8 by 6 on each side, and those at the edges.
	p := shape.Plate(30, 20, 2, 0.25)
	if r := promised(t, "plate", p.Mesh, bound); len(r.Mesh.Tri) > len(p.Tri)/15 {
		t.Errorf("%d of %d faces left on a plate", len(r.Mesh.Tri), len(p.Tri))
	}
}

// Noise is what keeps a real scan from getting small: each removed vertex must still be near.
func TestNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 9))
	for _, sd := range []float64{0.005, 0.02} {
		m := shape.Map(shape.Torus(12, 3, 90, 240).Mesh, func(p mesh.Vec) mesh.Vec {
			return p.Along(sd, mesh.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
		})
		promised(t, fmt.Sprintf("noise %g mm", sd), m, 0.016)
	}
}

// Whatever the number of workers, the result is the same.
func TestWorkersAgree(t *testing.T) {
	m := shape.Torus(20, 4, 60, 160).Mesh
	many := Simplify(m, 0.01, 4)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	if one := Simplify(m, 0.01, 1); !slices.Equal(one.Vertex, many.Vertex) || !slices.Equal(one.Mesh.Tri, many.Mesh.Tri) {
		t.Error("one worker and many differ")
	}
}

func TestNoBoundChangesNothing(t *testing.T) {
	m := shape.Torus(10, 3, 20, 40).Mesh
	if r := Simplify(m, 0, 2); !slices.Equal(r.Mesh.Tri, m.Tri) {
		t.Error("faces went without a bound")
	}
	if r := Simplify(mesh.New(nil, nil), 1, 2); len(r.Mesh.Tri) != 0 {
		t.Error("faces came from nothing")
	}
}

// Edges of three faces, faces without inside and faces wound against each other stay or go as
// is said, and nothing breaks.
func TestOddMeshes(t *testing.T) {
	grid := func(at func(u, v float64) mesh.Vec) *mesh.Mesh { return shape.Grid(20, 20, false, false, at) }
	flat := grid(func(u, v float64) mesh.Vec { return mesh.Vec{X: 4 * u, Y: 4 * v} })
	wall := grid(func(u, v float64) mesh.Vec { return mesh.Vec{X: 2, Y: 4 * v, Z: 4*u + 1e-12} })
	low := grid(func(u, v float64) mesh.Vec { return mesh.Vec{X: 2, Y: 4 * v, Z: -4 * u} })
	fins := shape.Weld(shape.Join(flat, wall, low, shape.Map(flat, func(p mesh.Vec) mesh.Vec { return mesh.Vec{X: p.X + 4, Y: p.Y} })))
	promised(t, "fins", fins, 0.01)

	tri := slices.Clone(flat.Tri)
	for f := 0; f < len(tri); f += 7 {
		tri[f][0], tri[f][1] = tri[f][1], tri[f][0]
	}
	tri = append(tri, [3]mesh.VertexID{5, 5, 6}, [3]mesh.VertexID{9, 9, 9})
	m := mesh.New(flat.Pos, tri)
	r := Simplify(m, 0.01, 2)
	if lost, _ := Deviation(m, tree.New(r.Mesh)); lost > 0.01 {
		t.Errorf("off by %g", lost)
	}
	if n := r.Mesh.Topology().DegenerateFaces; n > 0 {
		t.Errorf("%d faces without inside left", n)
	}
}

func BenchmarkSimplify(b *testing.B) {
	t := shape.Torus(20, 4, 500, 1000).Mesh
	for b.Loop() {
		Simplify(t, 0.016, runtime.GOMAXPROCS(0))
	}
}
