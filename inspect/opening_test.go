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
