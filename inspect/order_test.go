package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"fornix/mesh"
)

// The value at an index is that of the standard library's sorting.
func TestNth(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	for range 2000 {
		x := make([]float64, 1+r.IntN(40))
		for i := range x {
			x[i] = float64(r.IntN(12)) - 5 // with many alike
			if r.IntN(3) == 0 {
				x[i] = math.Inf(1 - 2*r.IntN(2))
			}
		}
		sorted := slices.Clone(x)
		slices.Sort(sorted)
		n := r.IntN(len(x))
		if got := nth(slices.Clone(x), n); got != sorted[n] {
			t.Fatalf("number %d of %v is %v", n, x, got)
		}
	}
}

// A line of symmetry that is given up could not have been the best, and one that is not has the same
// value as without giving up.
func TestAlikeGivesUpOnlyTheWorse(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 1))
	var pos []Vec
	var tri [][3]mesh.VertexID
	const n = 40
	for i := range n {
		for j := range n {
			x, y := float64(i)-20, float64(j)-20
			pos = append(pos, Vec{X: x, Y: y, Z: 3*math.Cos(x/5) + 0.1*y + 0.2*r.NormFloat64()})
			if i > 0 && j > 0 && x*x+y*y < 300 {
				v := mesh.VertexID(i*n + j)
				tri = append(tri, [3]mesh.VertexID{v - n - 1, v - 1, v}, [3]mesh.VertexID{v - n - 1, v, v - n})
			}
		}
	}
	body := make([]mesh.FaceID, len(tri))
	for f := range body {
		body[f] = mesh.FaceID(f)
	}
	g := newGrid(pos, tri, body, 0.7)
	var cells []int
	for k := range g.top {
		if !math.IsInf(g.top[k], -1) {
			cells = append(cells, k)
		}
	}
	full := g.held(cells)
	var so topmost
	given := 0
	for range 400 {
		angle, off := math.Pi*r.Float64(), 12*r.Float64()-6
		want, _ := g.alike(full, 0, 0, angle, off, 0.5, nil)
		before := so.value()
		got, done := g.alike(full, 0, 0, angle, off, 0.5, &so)
		switch {
		case done && got != want:
			t.Fatalf("%g where it is %g", got, want)
		case !done && want >= before:
			t.Fatalf("given up at %g, the best was %g", want, before)
		case !done:
			given++
		}
	}
	t.Logf("%d of 400 given up, the best %.3f", given, so.value())
	if given < 100 {
		t.Errorf("only %d of 400 were given up", given)
	}
}

// TestBell holds the table's exponential against the library's.
func TestBell(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	for range 200000 {
		x := -720 * rng.Float64() * rng.Float64() * rng.Float64()
		if got, want := bell(x), math.Exp(x); math.Abs(got-want) > 1e-15*want && x > -700 || got > 1 || x <= -700 && got != 0 {
			t.Fatalf("e^%v is %v, not %v", x, got, want)
		}
	}
	if bell(0) != 1 || bell(math.Inf(-1)) != 0 {
		t.Error("the ends of the bell")
	}
}

// TestMostUnder: where it says so, the median is no more than the limit.
func TestMostUnder(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 2))
	said := 0
	for range 20000 {
		x := make([]float64, 1+rng.IntN(40))
		for i := range x {
			x[i] = rng.Float64()
		}
		limit := rng.Float64()
		if mostUnder(x, limit) {
			said++
			if m := nth(x, len(x)/2); m > limit {
				t.Fatalf("median %v, limit %v", m, limit)
			}
		}
	}
	if said < 5000 {
		t.Errorf("said %d times only", said)
	}
}

// TestPlaceOnMiddleLine compares the nearest place on the middle line with the nearest of 300
// places on each of its parts.
func TestPlaceOnMiddleLine(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 3))
	for range 10 {
		w := &wave{u: Vec{X: 1}, v: Vec{Y: 1}}
		arc := 0.0
		for a := -110.0; a <= 110; a += 1 + 8*rng.Float64() {
			r := 20 + 6*rng.Float64()
			s, c := math.Sincos(a * math.Pi / 180)
			p := archPlace{x: r * s, y: r * c, angle: a * math.Pi / 180}
			if l := len(w.middle); l > 0 {
				way := math.Hypot(p.x-w.middle[l-1].x, p.y-w.middle[l-1].y)
				arc, p.half = arc+way, way/2
			}
			p.arc = arc
			w.middle = append(w.middle, p)
		}
		for range 30 {
			q := Vec{X: 70 * (rng.Float64() - 0.5), Y: 70 * (rng.Float64() - 0.5), Z: 3}
			least, last := math.Inf(1), len(w.middle)-1
			for i := 1; i <= last; i++ {
				a, b := w.middle[i-1], w.middle[i]
				lo, hi := 0.0, 1.0
				if i == 1 {
					lo = -20 // straight on beyond the ends
				}
				if i == last {
					hi = 20
				}
				for k := range 301 {
					s := lo + (hi-lo)*float64(k)/300
					least = min(least, math.Hypot(q.X-a.x-s*(b.x-a.x), q.Y-a.y-s*(b.y-a.y)))
				}
			}
			at := w.coordinates(q)
			// The place by its arc length: how far is it?
			got := math.Inf(1)
			for i := 1; i <= last; i++ {
				a, b := w.middle[i-1], w.middle[i]
				s := (at[aroundArc] - a.arc) / (b.arc - a.arc)
				if (s >= 0 || i == 1) && (s <= 1 || i == last) {
					got = min(got, math.Hypot(q.X-a.x-s*(b.x-a.x), q.Y-a.y-s*(b.y-a.y)))
				}
			}
			if got > least+1e-9 {
				t.Fatalf("%v lies %.4f mm from the place told, %.4f mm from the line", q, got, least)
			}
		}
	}
}

// TestSolve compares with gonum's solver for positive definite matrices.
func TestSolve(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 4))
	for range 500 {
		n := 1 + rng.IntN(15)
		half := mat.NewDense(n, n+3, nil)
		for i := range n {
			for j := range n + 3 {
				half.Set(i, j, rng.NormFloat64())
			}
		}
		var square mat.SymDense
		square.SymOuterK(1, half)
		right, a := mat.NewVecDense(n, nil), make([]float64, n*(n+1))
		for i := range n {
			right.SetVec(i, rng.NormFloat64())
			for j := range n {
				a[i*(n+1)+j] = square.At(i, j)
				if j < i {
					a[i*(n+1)+j] = math.NaN() // not read
				}
			}
			a[i*(n+1)+n] = right.AtVec(i)
		}
		var chol mat.Cholesky
		var want mat.VecDense
		if !chol.Factorize(&square) || chol.SolveVecTo(&want, right) != nil || chol.Cond() > 1e6 {
			continue
		}
		if !solve(a, n) {
			t.Fatal("told singular")
		}
		for i := range n {
			if got := a[i*(n+1)+n]; math.Abs(got-want.AtVec(i)) > 1e-9*mat.Norm(&want, 2) {
				t.Fatalf("unknown %d of %d is %v, want %v", i, n, got, want.AtVec(i))
			}
		}
	}
	if solve([]float64{1, 2, 1, 2, 4, 1}, 2) {
		t.Error("singular equations solved")
	}
}
