package inspect

import (
	"errors"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh/register"
)

// Two scans each in its own frame and one of both closed in a third: brought together they stand as
// they were made, to the targets for pairs and within what is stated.
func TestRelateThroughClosedScan(t *testing.T) {
	p := phantom.RandomPair(11)
	p.Upper.Spacing, p.Lower.Spacing, p.Apart, p.Closed = 0.6, 0.6, true, true
	pr, err := phantom.MakePair(p)
	if err != nil {
		t.Fatal(err)
	}
	u, l, both := scanOf(t, pr.Upper.Mesh, "upper"), scanOf(t, pr.Lower.Mesh, "lower"), scanOf(t, pr.Closed, "closed")
	out, err := Relate(u, l, DefaultProtocol(), RelateOptions{Closed: both})
	if err != nil {
		t.Fatal(err)
	}
	r := out.Relation
	want := poseOf(pr.Truth.LowerToUpper).Then(poseOf(pr.Truth.UpperToClosed))
	lower := r.Shared.Lower.pose()
	at := out.Lower.Report.Occlusal.Point
	t.Logf("rim off by %.4f mm, turned by %.4f deg; %+v, turn %.4f, offset %.4f", lower.Apply(at).Dist(want.Apply(at)), want.Inverse().Then(lower).AngleDeg(), r.Shared.Fits, r.Shared.TurnUDeg, r.Shared.OffsetUMM)
	k := &pairTally{t: t, inside: map[string][2]int{}, worst: map[string]float64{}, verbose: true}
	k.see("angle", r.Planes.AngleDeg, pr.Truth.AngleDeg, r.Planes.AngleUDeg)
	k.see("fore-aft", r.Planes.ForeAftDeg, pr.Truth.ForeAftDeg, r.Planes.ForeAftUDeg)
	k.see("sideways", r.Planes.SidewaysDeg, pr.Truth.SidewaysDeg, r.Planes.SidewaysUDeg)
	k.see("least gap", *r.Gap.All.MinMM, pr.Truth.MinMM, *r.Gap.All.MinUMM)
	k.see("widest gap", *r.Gap.All.P95MM, pr.Truth.P95MM, *r.Gap.All.UMM)
	for what, off := range k.worst {
		if most := map[string]float64{"angle": 0.05, "fore-aft": 0.05, "sideways": 0.05, "least gap": 0.03, "widest gap": 0.03}[what]; off > most {
			t.Errorf("%s off by %.4f, more than %.2f", what, off, most)
		}
		if n := k.inside[what]; n[0] < n[1] {
			t.Errorf("%s is not within its stated uncertainty", what)
		}
	}
	if r.Shared.How != ClosedScan || len(r.Shared.Fits) != 2 || r.Shared.Closed.File != "closed.stl" {
		t.Errorf("%+v", r.Shared)
	}

	// A scan that shows only one of the two is no bridge.
	if _, err := RelateInspected(out.Upper, out.Lower, DefaultProtocol(), RelateOptions{Closed: u}); !errors.Is(err, ErrNotShared) {
		t.Errorf("the upper alone as the scan of both: %v", err)
	} else {
		t.Log(err, errors.Is(err, register.ErrOverlap))
	}
}
