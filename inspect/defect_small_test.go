package inspect

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Voids of 0.8 to 1.0 mm in coarse, noisy scans: how many vertices must lie in the opening for one
// to be found, how well it is measured, and that nothing else is told. A void without a second
// vertex inside is the limit: one that lies low alone is what a bad vertex looks like.
func TestDefectsOfFewVertices(t *testing.T) {
	type count struct{ made, found int }
	var by [7]count // vertices in the opening, 6: and more
	var width, depth covered
	r := rand.New(rand.NewPCG(41, 1))
	scans := 6
	if testing.Short() {
		scans = 2
	}
	for k := range scans {
		spacing := 0.4 + 0.02*float64(k)
		var cuts []cut
		for x := -16.5; x < 18; x += 4.5 {
			for y := -11.5; y < 13; y += 4.5 {
				d := 0.8 + 0.2*r.Float64()
				cuts = append(cuts, cut{x: x + r.Float64(), y: y + r.Float64(), width: d, depth: d * (0.38 + 0.12*r.Float64())})
			}
		}
		m := field(trough).scan(cuts, spacing, 0.02, r)
		found := defectsOf(m, 0.02)
		used := 0
		for _, c := range cuts {
			at := Vec{X: c.x, Y: c.y, Z: trough(c.x, c.y)}
			inside := 0
			for _, p := range m.Pos {
				if p.Dist(at) < c.width/2 {
					inside++
				}
			}
			n := &by[min(inside, len(by)-1)]
			n.made++
			for _, d := range found {
				if d.Kind == Void && d.Centre.Dist(at) < c.width/2 {
					n.found++
					used++
					width.add(*d.DiameterMM-c.width, *d.DiameterUMM)
					depth.add(d.DepthMM-c.depth, d.DepthUMM)
				}
			}
		}
		if used != len(found) {
			t.Errorf("spacing %.2f: %d faults told, %d of them made", spacing, len(found), used)
		}
	}
	enough := count{}
	for i, n := range by {
		t.Logf("%d vertices in the opening: %d of %d found", i, n.found, n.made)
		if i >= 3 {
			enough.made, enough.found = enough.made+n.made, enough.found+n.found
		}
	}
	if float64(enough.found) < 0.9*float64(enough.made) {
		t.Errorf("of voids with three vertices and more %d of %d found", enough.found, enough.made)
	}
	for what, c := range map[string]covered{"width": width, "depth": depth} {
		t.Logf("%s: %.1f %% within the uncertainty", what, 100*c.share())
		if c.share() < 0.88 || math.IsNaN(c.share()) {
			t.Errorf("%s: %.1f %% within the uncertainty", what, 100*c.share())
		}
	}
}

// Noise alone makes no fault: the share of sound scans that are told one is stated.
func TestNoiseIsNoFault(t *testing.T) {
	r := rand.New(rand.NewPCG(42, 1))
	told := 0
	scans := 12
	if testing.Short() {
		scans = 3
	}
	for range scans {
		noise := 0.005 + 0.02*r.Float64()
		told += len(defectsOf(field(trough).scan(nil, 0.4+0.15*r.Float64(), noise, r), noise))
	}
	if told > 1 {
		t.Errorf("%d faults told on %d sound scans", told, scans)
	}
}
