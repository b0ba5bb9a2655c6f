package tree

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// soup makes n scattered faces, some of them slivers, points and copies.
func soup(rng *rand.Rand, n int) *mesh.Mesh {
	var pos []mesh.Vec
	var tri [][3]mesh.VertexID
	for i := range n {
		c := gauss(rng, 20)
		k := mesh.VertexID(len(pos))
		pos = append(pos, c, c.Add(gauss(rng, 1)), c.Add(gauss(rng, 1)))
		switch i % 10 {
		case 6:
			pos[k+2] = pos[k+1].Add(gauss(rng, 1e-7)) // a needle
		case 7:
			pos[k+2] = pos[k].Along(0.3, pos[k+1].Sub(pos[k])) // no area
		case 8:
			pos[k+1], pos[k+2] = pos[k], pos[k]
		}
		tri = append(tri, [3]mesh.VertexID{k, k + 1, k + 2})
		if i%10 == 9 {
			tri[i] = tri[i/2]
		}
	}
	return mesh.New(pos, tri)
}

func gauss(rng *rand.Rand, s float64) mesh.Vec {
	return mesh.Vec{X: s * rng.NormFloat64(), Y: s * rng.NormFloat64(), Z: s * rng.NormFloat64()}
}

// meshes are a soup of several sizes, a solid, and faces that no plane tells apart.
func meshes(rng *rand.Rand) map[string]*mesh.Mesh {
	out := map[string]*mesh.Mesh{
		"nothing": mesh.New(nil, nil),
		"torus":   shape.Torus(25, 4, 90, 30).Mesh,
		"far":     shape.Map(shape.Icosphere(10, 3).Mesh, func(p mesh.Vec) mesh.Vec { return p.Add(mesh.Vec{X: 1e5, Y: -3e4, Z: 7}) }),
	}
	for _, n := range []int{1, 2, 4, 5, 9, 50, 2500} {
		out[fmt.Sprint("soup of ", n)] = soup(rng, n)
	}
	same := make([][3]mesh.VertexID, 2000)
	for i := range same {
		same[i] = [3]mesh.VertexID{0, 1, 2}
	}
	out["one face 2000 times"] = mesh.New([]mesh.Vec{{}, {X: 1}, {Y: 1}}, same)
	// Faces at 1, 1/2, 1/4 ...: every plane splits off only a few.
	var pos []mesh.Vec
	var tri [][3]mesh.VertexID
	for i := range 800 {
		x := math.Pow(0.9, float64(i))
		pos = append(pos, mesh.Vec{X: x}, mesh.Vec{X: x, Y: 0.1 * x}, mesh.Vec{X: x, Z: 0.1 * x})
		tri = append(tri, [3]mesh.VertexID{mesh.VertexID(3 * i), mesh.VertexID(3*i + 1), mesh.VertexID(3*i + 2)})
	}
	out["ever smaller"] = mesh.New(pos, tri)
	return out
}

// queries are points around and on m.
func queries(rng *rand.Rand, m *mesh.Mesh, n int) []mesh.Vec {
	var out []mesh.Vec
	for range n {
		if len(m.Tri) == 0 {
			return append(out, mesh.Vec{}, gauss(rng, 30))
		}
		p := m.Centroid(mesh.FaceID(rng.IntN(len(m.Tri))))
		out = append(out, p, p.Add(gauss(rng, 0.1)), p.Add(gauss(rng, 30)), m.Pos[rng.IntN(len(m.Pos))])
	}
	return out
}

func TestNearestAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	odd := func(f mesh.FaceID) bool { return f%2 == 1 }
	for name, m := range meshes(rng) {
		tr := New(m)
		cursor := tr.Cursor()
		for _, p := range queries(rng, m, 40) {
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
					t.Fatalf("%s: %v %v, want face %d at %v", name, hit, found, from, math.Sqrt(want))
				}
				if same, also := cursor.Nearest(p, math.Inf(1), accept); same != hit || also != found {
					t.Fatalf("%s: the cursor says %v, want %v", name, same, hit)
				}
				if found && hit.Dist > 0 {
					if _, far := tr.Nearest(p, 0.999*hit.Dist, accept); far {
						t.Fatalf("%s: found beyond the limit", name)
					}
				}
			}
		}
	}
	if _, found := New(soup(rng, 9)).Nearest(mesh.Vec{X: math.NaN()}, 1, nil); found {
		t.Error("found something near no point")
	}
}

// TestClosestOnFace compares with a fine grid of points of the triangle.
func TestClosestOnFace(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 2))
	const n = 200
	for i := range 300 {
		a, b, c, p := gauss(rng, 1), gauss(rng, 1), gauss(rng, 1), gauss(rng, 2)
		switch i % 4 {
		case 1:
			c = a.Along(rng.Float64(), b.Sub(a)).Add(gauss(rng, 1e-9))
		case 2:
			c = a.Along(2*rng.Float64(), b.Sub(a))
		}
		got := ClosestOnFace(a, b, c, p).Dist(p)
		best := math.Inf(1)
		for j := range n + 1 {
			for k := range n + 1 - j {
				q := a.Along(float64(j)/n, b.Sub(a)).Along(float64(k)/n, c.Sub(a))
				best = min(best, q.Dist(p))
			}
		}
		// The grid is nowhere farther from the best point than a step of it.
		step := max(a.Dist(b), b.Dist(c), c.Dist(a)) / n
		if got > best+1e-9 || got < best-step {
			t.Errorf("%d: %v, grid %v ± %v", i, got, best, step)
		}
	}
}

func TestBallAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 3))
	for name, m := range meshes(rng) {
		tr := New(m)
		for _, p := range queries(rng, m, 10) {
			r := 3 * rng.Float64()
			var got, want []mesh.FaceID
			tr.Ball(p, r, func(f mesh.FaceID) bool { got = append(got, f); return true })
			for f := range m.Tri {
				a, b, c := m.Corners(mesh.FaceID(f))
				if ClosestOnFace(a, b, c, p).Sub(p).Norm2() <= r*r {
					want = append(want, mesh.FaceID(f))
				}
			}
			slices.Sort(got)
			if !slices.Equal(got, want) {
				t.Fatalf("%s: %d faces, want %d", name, len(got), len(want))
			}
			calls := 0
			tr.Ball(p, r, func(mesh.FaceID) bool { calls++; return false })
			if calls != min(1, len(want)) {
				t.Fatalf("%s: %d calls after the visitor had enough", name, calls)
			}
		}
	}
}

func TestRaysAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 4))
	for name, m := range meshes(rng) {
		if name == "ever smaller" {
			continue // faces so small that rounding alone decides whether far rays meet them
		}
		tr := New(m)
		for i, p := range queries(rng, m, 25) {
			d := gauss(rng, 1)
			if i%3 == 0 { // along an axis
				d = []mesh.Vec{{X: 1}, {Y: -2}, {Z: 1}}[i/3%3]
			}
			r, _ := newRay(p, d)
			first := RayHit{Face: -1, T: math.Inf(1)}
			var want, got []mesh.FaceID
			for f := range m.Tri {
				a, b, c := m.Corners(mesh.FaceID(f))
				if s, met := r.meet(a, b, c); met {
					want = append(want, mesh.FaceID(f))
					if s >= 1e-6 && s < first.T {
						first.Face, first.T = mesh.FaceID(f), s
					}
				}
			}
			tr.Rays(p, d, func(h RayHit) bool { got = append(got, h.Face); return true })
			slices.Sort(got)
			if !slices.Equal(got, want) {
				t.Fatalf("%s: ray from %v along %v meets %v, want %v", name, p, d, got, want)
			}
			hit, found := tr.Ray(p, d, 1e-6, math.Inf(1))
			if found != (first.Face >= 0) || found && (hit.Face != first.Face || hit.T != first.T) {
				t.Fatalf("%s: first %+v, want %+v", name, hit, first)
			}
		}
	}
}

// TestNoRaySlipsThrough shoots from the middle of a ball at its vertices, at points on its
// edges and anywhere: every ray meets the ball, at its distance.
func TestNoRaySlipsThrough(t *testing.T) {
	m := shape.Icosphere(10, 4).Mesh
	tr := New(m)
	rng := rand.New(rand.NewPCG(1, 5))
	longest := 0.0
	for f := range m.Tri {
		a, b, _ := m.Corners(mesh.FaceID(f))
		longest = max(longest, a.Dist(b))
	}
	sag := longest * longest / (6 * 10) // of a face whose corners are on the ball
	for i := range 20000 {
		v := m.Tri[i%len(m.Tri)]
		to := m.Pos[v[0]]
		switch i % 3 {
		case 1:
			to = to.Along(rng.Float64(), m.Pos[v[1]].Sub(to))
		case 2:
			to = gauss(rng, 1)
		}
		hit, found := tr.Ray(mesh.Vec{}, to, 0, math.Inf(1))
		if !found || math.Abs(hit.Point.Norm()-10) > sag {
			t.Fatalf("ray along %v: %+v %v", to, hit, found)
		}
	}
	if _, found := tr.Ray(mesh.Vec{}, mesh.Vec{}, 0, 1); found {
		t.Error("a ray with no direction met something")
	}
}

// TestShellThickness: a ray inward from the outer ball meets the inner one 2 mm away.
func TestShellThickness(t *testing.T) {
	m := shape.SphericalShell(20, 18, 5).Mesh
	tr := New(m)
	for f := mesh.FaceID(0); f < 5000; f += 7 {
		hit, found := tr.Ray(m.Centroid(f), m.FaceNormal(f).Scale(-1), 1e-6, 5)
		if !found || math.Abs(hit.T-2) > 0.02 {
			t.Fatalf("face %d: %+v", f, hit)
		}
	}
}

func TestSectionAgainstTheWholeMesh(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 6))
	for name, m := range meshes(rng) {
		tr := New(m)
		for _, p := range queries(rng, m, 5) {
			n := gauss(rng, 3).Unit()
			got, want := tr.Section(p, n, math.Inf(1)), mesh.Section(m, p, n)
			if len(got) != len(want) {
				t.Fatalf("%s: %d lines, want %d", name, len(got), len(want))
			}
			for i := range got {
				if !slices.Equal(got[i].Pts, want[i].Pts) || !slices.Equal(got[i].Faces, want[i].Faces) {
					t.Fatalf("%s: line %d differs", name, i)
				}
			}
		}
	}
	torus := New(shape.Torus(25, 4, 90, 30).Mesh)
	if near := torus.Section(mesh.Vec{X: 25}, mesh.Vec{Y: 1}, 6); len(near) != 1 || !near[0].Closed {
		t.Errorf("%d lines within 6 mm of the tube, want 1", len(near))
	}
}

// TestSameForAnyNumberOfWorkers compares the trees themselves.
func TestSameForAnyNumberOfWorkers(t *testing.T) {
	m := shape.Torus(25, 4, 400, 80).Mesh
	bent := shape.Map(m, func(p mesh.Vec) mesh.Vec { return mesh.Vec{X: p.X, Y: p.Y, Z: p.Z * math.Cos(p.X)} })
	want := New(bent)
	n, pairs := want.SelfIntersections(50)
	for _, workers := range []int{1, 3} {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(workers))
		got := New(bent)
		if !slices.Equal(got.node, want.node) || !slices.Equal(got.face, want.face) {
			t.Errorf("another tree with %d workers", workers)
		}
		if k, p := got.SelfIntersections(50); k != n || !slices.Equal(p, pairs) {
			t.Errorf("%d crossings with %d workers, want %d", k, workers, n)
		}
	}
}

func TestQueriesDoNotAllocate(t *testing.T) {
	tr := New(shape.Torus(25, 4, 90, 30).Mesh)
	p := mesh.Vec{X: 24, Y: 3, Z: 1}
	count := 0
	visit := func(mesh.FaceID) bool { count++; return true }
	all := func(RayHit) bool { count++; return true }
	if n := testing.AllocsPerRun(20, func() {
		tr.Nearest(p, 9, nil)
		tr.Ray(p, mesh.Vec{Z: 1}, 0, 9)
		tr.Ball(p, 9, visit)
		tr.Rays(p, mesh.Vec{Z: 1}, all)
	}); n > 0 || count == 0 {
		t.Errorf("%v allocations", n)
	}
}

func TestConcurrentQueries(t *testing.T) {
	tr := New(shape.Torus(25, 4, 90, 30).Mesh)
	var wg sync.WaitGroup
	for g := range 4 {
		wg.Go(func() {
			rng := rand.New(rand.NewPCG(uint64(g), 0))
			for range 200 {
				if h, found := tr.Nearest(gauss(rng, 20), 200, nil); !found {
					t.Errorf("nothing near: %+v", h)
				}
			}
		})
	}
	wg.Wait()
}
