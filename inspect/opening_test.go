package inspect

import (
	"math"
	"testing"

	"fornix/inspect/phantom"
)

// Through an opening of the palate the bite plate shows, far below: no trough, and so no crest.
func TestCrestIsNotSeenThroughAnOpening(t *testing.T) {
	p := smallPhantom("upper")
	p.Rim.Kind = "plate"
	for _, at := range [][2]float64{{0, 12}, {1.6, 15}} {
		p.Holes = []phantom.Hole{{X: at[0], Y: at[1], Radius: 1.5, Surface: "tissue"}}
		m := mustMake(p, 7)
		an := Run(m.Scan, DefaultProtocol(), Options{}).Anatomy
		for i := range an.slices {
			s := &an.slices[i]
			if s.basin <= 0 || math.Abs(s.u) > 10 {
				continue
			}
			best := math.Inf(1)
			for _, q := range m.truth.Crest {
				best = min(best, q.Dist(an.Frame.World(s.crest)))
			}
			if best > 1 {
				t.Errorf("opening at %v: crest %.1f mm off at %.1f along the arch", at, best, s.u)
			}
		}
	}
}

// What is lowest beside an opening on the crest is the opening's edge, up to 2 mm over the crest that is
// missing: no crest is told there, and beside it the true one.
func TestEdgeOfAnOpeningIsNoCrest(t *testing.T) {
	p := smallPhantom("lower")
	p.Holes = []phantom.Hole{{X: -13.9, Y: 5.2, Radius: 2.4, Surface: "tissue"}}
	m := mustMake(p, 8)
	an := Run(m.Scan, DefaultProtocol(), Options{}).Anatomy
	told := 0
	for i := range an.slices {
		s := &an.slices[i]
		if s.basin <= 0 || math.Abs(s.u) > 30 {
			continue
		}
		told++
		best, high := math.Inf(1), 0.0
		for _, q := range m.truth.Crest {
			if d := an.Frame.Local(q).Sub(s.crest); math.Hypot(d.X, d.Y) < best {
				best, high = math.Hypot(d.X, d.Y), -d.Z
			}
		}
		if math.Abs(high) > 0.2 {
			t.Errorf("crest %.2f mm too high at %.1f along the arch", high, s.u)
		}
	}
	if told < 50 {
		t.Errorf("a crest in %d sections", told)
	}
}

// An opening over the papilla hides it: no pit behind that is taken for it.
func TestOpeningHidesThePapilla(t *testing.T) {
	for i, y := range []float64{5.6, 6.2, 6.8} { // about that of the default upper jaw
		p := smallPhantom("upper")
		p.Holes = []phantom.Hole{{X: 0.1, Y: y, Radius: 1.6, Surface: "tissue"}}
		m := mustMake(p, uint64(9+i))
		l, ok := Run(m.Scan, DefaultProtocol(), Options{}).Report.Landmarks[IncisivePapilla]
		if !ok {
			continue
		}
		if d := l.Point.Dist(m.truth.Landmarks[IncisivePapilla]); d > l.UncertaintyMM {
			t.Errorf("opening at %g: papilla off by %.2f, stated %.2f mm", y, d, l.UncertaintyMM)
		}
	}
}
