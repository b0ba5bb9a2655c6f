package inspect

import (
	"math"
	"strings"
	"testing"

	"fornix/mesh/shape"
)

func TestBorderOutsideIsTheLengthPastTheLimits(t *testing.T) {
	r := soundResults(Upper)
	thinned(r, 50, 70, 1.2) // 20 degrees on a circle of 30 mm
	Judge(r, DefaultProtocol())
	want := 20 * math.Pi / 180 * 30
	got := r.Border.Regions[2].OutsideMM
	if got == nil || math.Abs(*got-want) > 1e-9 {
		t.Errorf("outside %v, want %v", got, want)
	}
	if o := r.Border.Regions[0].OutsideMM; o == nil || *o != 0 {
		t.Errorf("the sound side is outside by %v", o)
	}
}

// ISO 14253-1: conformity is proven inside the limit by more than the uncertainty,
// non-conformity outside by more; between them neither is.
func TestGradeFollowsTheDecisionRule(t *testing.T) {
	lim := bound{Limit{Note: num(1), Review: 2, Fail: 4}, false}
	for _, c := range []struct {
		v, u float64
		want Severity
	}{
		{0.5, 0, ""}, {1.5, 0, Info}, {2.5, 0, Review}, {4.5, 0, Fail}, {4, 0, Review},
		{4.5, 0.4, Fail}, {4.5, 0.6, Review}, {3.9, 0.2, Review},
		{1.9, 2.0, Info}, {1.9, 2.2, Review}, {0.5, 3.4, ""}, {0.5, 3.6, Review},
		{math.NaN(), 0, Unmeasured}, {math.Inf(-1), 0, Unmeasured}, {0.5, math.NaN(), ""},
	} {
		if got, _ := lim.grade(c.v, c.u); got != c.want {
			t.Errorf("above, %v ± %v: %q, want %q", c.v, c.u, got, c.want)
		}
		mirrored := bound{Limit{Note: num(-1), Review: -2, Fail: -4}, true}
		if got, _ := mirrored.grade(-c.v, c.u); got != c.want {
			t.Errorf("below, %v ± %v: %q, want %q", -c.v, c.u, got, c.want)
		}
	}
}

// What is too near its limit says so, with the uncertainty, and keeps it in the finding.
func TestDoubtIsTold(t *testing.T) {
	r := soundResults(Upper)
	r.Defects = []Defect{void(3.1, 0.5)}
	r.Defects[0].DiameterUMM = num(0.2)
	findings, _ := Judge(r, DefaultProtocol())
	if len(findings) == 0 || findings[0].ValueU == nil || *findings[0].ValueU != 0.2 || !strings.HasSuffix(findings[0].Text, "known to 0.2 mm, so it may lie on either side of the limit of 3.") {
		t.Errorf("%+v", findings)
	}
	r.Defects[0] = void(2.5, 0.5)
	r.Defects[0].DiameterUMM = num(0.2)
	findings, _ = Judge(r, DefaultProtocol())
	if len(findings) == 0 || strings.Contains(findings[0].Text, "either side") {
		t.Errorf("not near its limit: %+v", findings)
	}
}

// The tissue surface is that of the faces all of whose vertices lie on it: here the upper side
// of a plate, 20 by 30 mm.
func TestTissueArea(t *testing.T) {
	m := shape.Plate(20, 30, 2, 1).Mesh
	lo, hi := bounds(m.Pos)
	an := &Anatomy{Part: make([]Part, len(m.Pos))}
	for v, p := range m.Pos {
		an.Part[v] = PartOuter
		if p.Z > (lo.Z+hi.Z)/2 {
			an.Part[v] = PartTissue
		}
	}
	if got := an.tissueArea(m); math.Abs(got-600) > 1e-9 {
		t.Errorf("%.3f mm2, want 600", got)
	}
}
