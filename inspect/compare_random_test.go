package inspect

import (
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"fornix/inspect/phantom"
)

// randomPair draws two scans of one random jaw for a purpose, and the thickness of the layer between
// them.
func randomPair(t *testing.T, seed int64) (a, b made, purpose Purpose, layer float64) {
	t.Helper()
	r := rand.New(rand.NewPCG(uint64(seed), 99))
	in := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	p := phantom.Random(seed, []string{"upper", "lower"}[seed%2])
	p.InsideOut, p.TissueSide, p.Decimate, p.Holes = r.IntN(4) == 0, false, 0, nil
	p.Spacing = in(0.35, 0.6)
	purpose = []Purpose{AsLayer, AsRepeat, AsCast, AsRetake, AsReference}[r.IntN(5)]
	q := p
	q.Spacing, q.Noise, q.InsideOut = in(0.35, 0.6), in(0, 0.02), r.IntN(4) == 0
	switch purpose {
	case AsLayer:
		if layer = in(0.2, 1.2); r.IntN(3) == 0 {
			layer = -in(0.1, 0.5)
		}
		q.Layers = []phantom.Layer{{X: 18, Y: 20, Thickness: layer, Fade: 3}}
	case AsCast:
		q.Cast, q.Base, q.Rim.Kind, q.Handle, q.InsideOut = true, r.IntN(2) == 0, "none", false, false
	case AsRetake: // in another tray, with another border
		q.Rim.Kind, q.Handle, q.Stretch = "none", false, nil
		q.Border += in(-0.5, 0.5)
		q.Voids, q.Blebs, q.Folds = nil, nil, nil
	}
	return mustMake(p, uint64(seed)*7+1), mustMake(q, uint64(seed)*7+2), purpose, layer
}

// Random jaws, both kinds of surface, spacings, noise, faults and frames: each purpose lays its scans on
// each other within 0.05 degrees and 0.03 mm and finds no difference but the one that was made.
// FORNIX_PAIRS tries so many pairs instead of one.
func TestCompareRandomPairs(t *testing.T) {
	pairs := 1
	if n, err := strconv.Atoi(os.Getenv("FORNIX_PAIRS")); err == nil {
		pairs = n
	}
	for seed := int64(11); seed < int64(11+pairs); seed++ {
		a, b, purpose, layer := randomPair(t, seed)
		out := compare(t, a, b, CompareOptions{Purpose: purpose})
		parts(t, out)
		c := out.Comparison
		deg, mm := off(out, b, b.onto(a))
		t.Logf("%d: %s as %s: off by %.4f degrees, %.4f mm, stated %.4f and %.4f; zone RMS %.3f, 95 %% within %.3f, not seen %.0f of %.0f mm2, %s", seed, a.truth.Jaw, purpose,
			deg, mm, *c.Alignment.TurnUDeg, *c.Alignment.PlaceUMM, c.Zone.AtA.RMSMM, c.Zone.AtA.AbsP95MM, c.Zone.AtA.UncoveredMM2, c.Zone.AtA.AreaMM2, c.Verdict)
		if deg > 0.05 || mm > 0.03 {
			t.Errorf("%d: off by %.4f degrees, %.4f mm", seed, deg, mm)
		}
		if d := c.Zone.AtA; d.AbsP95MM > 0.06 || d.UncoveredMM2 > 0.1*d.AreaMM2 {
			t.Errorf("%d: 95 %% within %.3f mm, %.0f of %.0f mm2 not compared", seed, d.AbsP95MM, d.UncoveredMM2, d.AreaMM2)
		}
		if purpose != AsLayer {
			continue
		}
		crest := distances{pos: out.A.Pos, dist: out.Thickness, area: vertexAreas(out.A)}
		place := out.AnatomyA.placeOf()
		d := crest.deviation(func(v int) bool { return comparePlaces[place[v]] == PlaceCrest }, compareDoubt{})
		t.Logf("layer of %.3f: on the crest median %.4f, mean %.4f; %d pieces", layer, d.Percentiles.P50, d.MeanMM, len(c.Layer.Parts))
		near(t, "median of the layer on the crest", d.Percentiles.P50, layer, 0.02)
	}
}
