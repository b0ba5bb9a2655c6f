package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

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
