package register

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// dots is a surface of points: faces whose corners are one.
func dots(p ...mesh.Vec) *Body {
	tri := make([][3]mesh.VertexID, len(p))
	for i := range tri {
		tri[i] = [3]mesh.VertexID{mesh.VertexID(i), mesh.VertexID(i), mesh.VertexID(i)}
	}
	return NewBody(mesh.New(p, tri))
}

// moments of the distances of points, each with its weight (nil: all alike).
func summary(d []Signed, weight []float64) (mean, rms, worst float64) {
	var w, s, ss float64
	for i, x := range d {
		k := 1.0
		if weight != nil {
			k = weight[i]
		}
		w, s, ss = w+k, s+k*x.MM, ss+k*x.MM*x.MM
		worst = max(worst, math.Abs(x.MM))
	}
	return s / w, math.Sqrt(ss / w), worst
}

func close(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.9g, not %.9g within %.2g", what, got, want, tolerance)
	}
}

// Two sets of three points, by hand: A's farthest is 1 from B, B's 2 from A.
func TestDistancesOfPointSets(t *testing.T) {
	a := []mesh.Vec{{}, {X: 1}, {Y: 1}}
	b := []mesh.Vec{{}, {X: 1}, {Y: 3}}
	mean, rms, h := summary(Distances(a, dots(b...), math.Inf(1), 1), nil)
	close(t, "A to B, mean", mean, 1.0/3, 1e-15)
	close(t, "A to B, RMS", rms, 1/math.Sqrt(3), 1e-15)
	close(t, "A to B, most", h, 1, 0)
	mean, rms, h = summary(Distances(b, dots(a...), math.Inf(1), 1), nil)
	close(t, "B to A, mean", mean, 2.0/3, 1e-15)
	close(t, "B to A, RMS", rms, 2/math.Sqrt(3), 1e-15)
	close(t, "B to A, most", h, 2, 0)
}

// sag is by how much the faces of a ball of radius r lie inside it, at most.
func sag(m *mesh.Mesh, r float64) float64 {
	worst := 0.0
	for f := range m.Tri {
		worst = max(worst, r-m.Centroid(mesh.FaceID(f)).Norm())
	}
	return worst
}

// thirds gives each vertex a third of the area of its faces.
func thirds(m *mesh.Mesh) []float64 {
	w := make([]float64, len(m.Pos))
	for f, t := range m.Tri {
		for _, v := range t {
			w[v] += m.FaceArea(mesh.FaceID(f)) / 3
		}
	}
	return w
}

// Equal spheres of radius R whose centres lie d apart, over one of them: signed mean d²/(3R), RMS
// d/√3, most d, exactly (integral over the sphere). Concentric ones: the difference of radii.
func TestDistancesOfSpheres(t *testing.T) {
	const r, d = 10, 0.3
	ball := shape.Icosphere(r, 5).Mesh
	b := NewBody(ball)
	off := sag(ball, r) // the faces lie inside by this: distances are longer outward by as much
	moved := make([]mesh.Vec, len(ball.Pos))
	for i, p := range ball.Pos {
		moved[i] = p.Add(mesh.Vec{Z: d})
	}
	mean, rms, most := summary(Distances(moved, b, math.Inf(1), 0), thirds(ball))
	close(t, "mean", mean, d*d/(3*r)+off/2, off/2)
	close(t, "RMS", rms, d/math.Sqrt(3), off)
	close(t, "most", most, d, off)
	for _, k := range []float64{0.9, 0.97, 1.02, 1.3} {
		at := make([]mesh.Vec, len(ball.Pos))
		for i, p := range ball.Pos {
			at[i] = p.Scale(k)
		}
		for _, s := range Distances(at, b, math.Inf(1), 0) {
			close(t, "concentric", s.MM, r*(k-1)+off/2, off/2+1e-12)
		}
	}
}

// A strip of length L tilted by a about its middle: RMS L sin a / √12, most L sin a / 2; with the
// points in the middles of n equal parts the square root of 1 - 1/n² less.
func TestDistancesOfTiltedStrip(t *testing.T) {
	const l, a, n = 50, math.Pi / 180, 1000
	plane := NewBody(shape.Grid(7, 5, false, false, func(u, v float64) mesh.Vec {
		return mesh.Vec{X: 60 * (u - 0.5), Y: 10 * (v - 0.5)}
	}))
	s, c := math.Sincos(a)
	strip := make([]mesh.Vec, n)
	for i := range strip {
		x := l * ((float64(i)+0.5)/n - 0.5)
		strip[i] = mesh.Vec{X: x * c, Z: x * s}
	}
	mean, rms, _ := summary(Distances(strip, plane, math.Inf(1), 0), nil)
	close(t, "mean", mean, 0, 1e-12)
	close(t, "RMS", rms, l*s/math.Sqrt(12)*math.Sqrt(1-1.0/n/n), 1e-12)
	end := Distances([]mesh.Vec{{X: l / 2 * c, Z: l / 2 * s}, {X: -l / 2 * c, Z: -l / 2 * s}}, plane, 1, 0)
	close(t, "most", end[0].MM, 0.436310, 5e-7)
	close(t, "least", end[1].MM, -0.436310, 5e-7)
	far := Distances([]mesh.Vec{{X: 33}, {Z: 2}, {X: math.NaN()}, {X: 12, Y: 3, Z: -1}}, plane, 1.5, 0)
	if far[0].Found || far[1].Found || far[2].Found || !math.IsNaN(far[0].MM) || !far[3].Found || far[3].OnBoundary {
		t.Errorf("beyond the limit: %+v", far)
	}
}

// The side is right all around a box, whose edges and corners are nearest to most points.
func TestSignAtEdgesAndCorners(t *testing.T) {
	box := shape.Plate(4, 3, 2, 1)
	b := NewBody(box.Mesh)
	half := [3]float64{2, 1.5, 1}
	r := rand.New(rand.NewPCG(3, 1))
	var at []mesh.Vec
	var want []float64
	for range 5000 {
		p := [3]float64{7*r.Float64() - 3.5, 6*r.Float64() - 3, 5*r.Float64() - 2.5}
		var out float64
		in := math.Inf(-1)
		for k := range p {
			d := math.Abs(p[k]) - half[k]
			in = max(in, d)
			out += max(d, 0) * max(d, 0)
		}
		at = append(at, mesh.Vec{X: p[0], Y: p[1], Z: p[2]})
		want = append(want, math.Sqrt(out)+min(in, 0))
	}
	for i, s := range Distances(at, b, math.Inf(1), 0) {
		if math.Abs(s.MM-want[i]) > 1e-12 || s.OnBoundary {
			t.Fatalf("%v: %g, not %g", at[i], s.MM, want[i])
		}
	}
	// The side does not hang on how the faces beside an edge are wound against each other.
	other := slices.Clone(box.Tri)
	for f := range other {
		if f%2 == 1 {
			other[f][1], other[f][2] = other[f][2], other[f][1]
		}
	}
	m := mesh.New(box.Pos, other)
	edges := 0
	mixed := NewBody(m)
	for c, d := range m.Across {
		p, q := m.Pos[m.Vertex(mesh.Corner(c))], m.Pos[m.Vertex(mesh.Corner(c).Next())]
		if d < 0 || m.Vertex(mesh.Corner(c)) != m.Vertex(d) {
			continue
		}
		n, _ := mixed.facing(mesh.Corner(c).Face(), p.Add(q).Scale(0.5))
		want, _ := b.facing(mesh.Corner(c).Face(), p.Add(q).Scale(0.5))
		if mesh.Corner(c).Face()%2 == 1 {
			want = want.Scale(-1)
		}
		if n.Dist(want) > 1e-12 {
			t.Fatalf("edge normal %v, not %v", n, want)
		}
		edges++
	}
	if edges < 50 {
		t.Errorf("%d edges between unlike windings", edges)
	}
}

func TestBoundaryIsTold(t *testing.T) {
	disc := NewBody(shape.Cap(5, 1, 12).Mesh)
	for _, c := range []struct {
		x, z float64
		on   bool
	}{{0, 2, false}, {4.5, 0.5, false}, {5.5, 0, true}, {7, -1, true}, {5, -0.5, true}} {
		s := Distances([]mesh.Vec{{X: c.x, Y: 0.01, Z: c.z}}, disc, math.Inf(1), 0)[0]
		if s.OnBoundary != c.on || !s.Found {
			t.Errorf("%+v: %+v", c, s)
		}
	}
}

func TestDistancesSameForAnyWorkersAndOrder(t *testing.T) {
	b := NewBody(shape.Torus(20, 6, 80, 40).Mesh)
	r := rand.New(rand.NewPCG(9, 2))
	at := make([]mesh.Vec, 20000)
	for i := range at {
		at[i] = mesh.Vec{X: 60 * (r.Float64() - 0.5), Y: 60 * (r.Float64() - 0.5), Z: 14 * (r.Float64() - 0.5)}
	}
	want := Distances(at, b, math.Inf(1), 1)
	for _, workers := range []int{0, 2, 7} {
		if !slices.Equal(want, Distances(at, b, math.Inf(1), workers)) {
			t.Errorf("%d workers measure otherwise", workers)
		}
	}
	turned := slices.Clone(at)
	slices.Reverse(turned)
	got := Distances(turned, b, math.Inf(1), 0)
	slices.Reverse(got)
	if !slices.Equal(want, got) {
		t.Error("the order of points changes their distances")
	}
	for i, p := range at[:500] {
		if h, _ := b.Tree.Nearest(p, math.Inf(1), nil); h.Face != want[i].Face || h.Dist != math.Abs(want[i].MM) {
			t.Fatalf("%v: %+v against %+v", p, want[i], h)
		}
	}
}
