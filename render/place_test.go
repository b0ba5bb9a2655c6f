package render

import (
	"math/rand/v2"
	"testing"
)

func TestPlacedLabelsNeverOverlap(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	left, right := Box{0, 100, 280, 900}, Box{1320, 100, 280, 900}
	dropped := 0
	for range 400 {
		n := 1 + rng.IntN(40)
		equal := rng.IntN(2) == 0
		cs := make([]Callout, n)
		for i := range cs {
			cs[i] = Callout{At: Point{300 + 1000*rng.Float64(), 80 + 960*rng.Float64()}, W: 100 + 180*rng.Float64(), H: 30, Rank: i / 3}
			if !equal {
				cs[i].H = 24 + 80*rng.Float64()
			}
			if rng.IntN(3) == 0 {
				cs[i].Lean = 80 * (rng.Float64() - 0.5)
			}
			if rng.IntN(4) == 0 && i > 0 {
				cs[i].At = cs[i-1].At // crowded, even equal points
			}
		}
		out := Place(cs, left, right, 6)
		for i, p := range out {
			if !p.OK {
				dropped++
				continue
			}
			if !inside(p.Box, left) && !inside(p.Box, right) {
				t.Fatalf("label %d of %d leaves its column: %+v", i, n, p.Box)
			}
			for j, q := range out {
				if p.Box.Contains(cs[j].At) {
					t.Fatalf("label %d covers point %d", i, j)
				}
				if j < i && q.OK {
					if p.Box.Overlaps(q.Box) {
						t.Fatalf("labels %d and %d of %d overlap: %+v %+v", i, j, n, p.Box, q.Box)
					}
					if equal && p.From.X == q.From.X && crosses(p.From, cs[i].At, q.From, cs[j].At) {
						t.Fatalf("leaders %d and %d of %d cross", i, j, n)
					}
				}
			}
		}
	}
	if dropped == 0 {
		t.Error("the columns never filled up, so dropping was not tried")
	}
}

func inside(a, b Box) bool {
	const e = 1e-9
	return a.X >= b.X-e && a.Y >= b.Y-e && a.X+a.W <= b.X+b.W+e && a.Y+a.H <= b.Y+b.H+e
}

// With room for all, labels far enough apart stand level with their points.
func TestPlaceMovesNoLabelWithoutNeed(t *testing.T) {
	cs := []Callout{{At: Point{400, 500}, W: 50, H: 20, Lean: 30}, {At: Point{420, 200}, W: 50, H: 20}, {At: Point{1200, 210}, W: 50, H: 20}}
	for i, p := range Place(cs, Box{0, 0, 100, 800}, Box{1500, 0, 100, 800}, 5) {
		if !p.OK || p.From.Y != cs[i].At.Y+cs[i].Lean {
			t.Errorf("label %d stands at %v for a point at %v", i, p.From, cs[i].At)
		}
	}
}

// When the columns are full, the lowest ranks stay.
func TestPlaceDropsTheLastRanks(t *testing.T) {
	cs := make([]Callout, 9)
	for i := range cs {
		cs[i] = Callout{At: Point{500, 50}, W: 50, H: 40, Rank: 9 - i}
	}
	for i, p := range Place(cs, Box{0, 0, 100, 100}, Box{900, 0, 100, 100}, 10) {
		if want := i >= 5; p.OK != want {
			t.Errorf("label %d of rank %d: placed %v, want %v", i, cs[i].Rank, p.OK, want)
		}
	}
}
