package inspect

import (
	"bytes"
	"errors"
	"math"
	"sync"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/register"
)

// scanOf is a mesh as a scan that was read from a file.
func scanOf(t *testing.T, m *mesh.Mesh, name string) *Scan {
	t.Helper()
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, m, name); err != nil {
		t.Fatal(err)
	}
	s, err := Read(&b, name+".stl", ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func poseOf(rows [3][4]float64) register.Pose {
	var p register.Pose
	for i, r := range rows {
		p.R[i] = [3]float64{r[0], r[1], r[2]}
	}
	p.T = Vec{X: rows[0][3], Y: rows[1][3], Z: rows[2][3]}
	return p
}

// pairTally compares a relation with the truth.
type pairTally struct {
	t       *testing.T
	inside  map[string][2]int
	worst   map[string]float64
	verbose bool
}

func (k *pairTally) see(what string, got, want, u float64) {
	d := math.Abs(got - want)
	k.worst[what] = max(k.worst[what], d)
	n := k.inside[what]
	n[1]++
	if d <= u {
		n[0]++
	}
	k.inside[what] = n
	if k.verbose {
		k.t.Logf("%-14s %9.4f want %9.4f off %7.4f u %.4f", what, got, want, got-want, u)
	}
}

func (k *pairTally) relation(out *RelateOutcome, tr phantom.PairTruth, lower *mesh.Mesh) {
	r := out.Relation
	k.see("angle", r.Planes.AngleDeg, tr.AngleDeg, r.Planes.AngleUDeg)
	k.see("fore-aft", r.Planes.ForeAftDeg, tr.ForeAftDeg, r.Planes.ForeAftUDeg)
	k.see("sideways", r.Planes.SidewaysDeg, tr.SidewaysDeg, r.Planes.SidewaysUDeg)
	g := &r.Gap
	k.see("area", g.All.AreaMM2, tr.AreaMM2, g.All.AreaUMM2)
	k.see("min", *g.All.MinMM, tr.MinMM, *g.All.MinUMM)
	k.see("median", *g.All.MedianMM, tr.MedianMM, *g.All.UMM)
	k.see("p95", *g.All.P95MM, tr.P95MM, *g.All.UMM)
	for i := range ContactsMM {
		k.see("contact", g.All.ContactMM2[i], tr.ContactMM2[i], g.All.ContactUMM2[i])
	}
	k.see("sunk volume", g.SunkMM3, tr.SunkMM3, g.SunkUMM3)
	to := poseOf(tr.LowerToUpper)
	for _, at := range tr.Places {
		best, least := -1, math.Inf(1)
		for v, x := range out.LowerGap {
			if !math.IsNaN(x) {
				d := to.Apply(lower.Pos[v]).Sub(at.At)
				if d = d.Along(-d.Dot(tr.Up), tr.Up); d.Norm2() < least {
					best, least = v, d.Norm2()
				}
			}
		}
		if best >= 0 && least < 0.25 {
			// The gap's slope over the distance to the vertex is known from the planes.
			d := to.Apply(lower.Pos[best]).Sub(at.At)
			lean := math.Tan(tr.SidewaysDeg*math.Pi/180)*d.Dot(tr.Left) - math.Tan(tr.ForeAftDeg*math.Pi/180)*d.Dot(tr.Posterior)
			k.see("place", out.LowerGap[best], at.MM+lean, g.UMM)
		}
	}
	for i, want := range []float64{tr.SulcusMM, tr.CrestMM, tr.CrestRightMM, tr.CrestLeftMM} {
		if h := r.Heights[i]; h.MM != nil {
			k.see(h.Name, *h.MM, want, *h.UMM)
		} else {
			k.t.Errorf("%s: %s", h.Name, h.Unmeasured)
		}
	}
	h := &r.Horizontal
	if h.LeftMM == nil || h.RightMM == nil || h.ForwardMM == nil || h.MidlineMM == nil {
		k.t.Fatalf("horizontal: %+v", h)
	}
	k.see("left", *h.LeftMM, tr.OverLeftMM, h.UMM)
	k.see("right", *h.RightMM, tr.OverRightMM, h.UMM)
	k.see("forward", *h.ForwardMM, tr.OverForwardMM, h.UMM)
	k.see("midline", *h.MidlineMM, tr.MidlineMM, *h.MidlineUMM)
}

// closedPair makes the pair that the tests share: each scan in a frame of its own.
var closedPair = sync.OnceValues(func() (*phantom.Pair, error) {
	p := phantom.RandomPair(6)
	p.Upper.Spacing, p.Lower.Spacing, p.Apart = 0.5, 0.6, true
	return phantom.MakePair(p)
})

// Targets for pairs: angles to 0.05 degrees, gaps to 0.03 mm; heights within what they state.
func TestRelatePair(t *testing.T) {
	pr, err := closedPair()
	if err != nil {
		t.Fatal(err)
	}
	pose := MotionOf(poseOf(pr.Truth.LowerToUpper))
	u, l := scanOf(t, pr.Upper.Mesh, "upper"), scanOf(t, pr.Lower.Mesh, "lower")
	out, err := Relate(u, l, DefaultProtocol(), RelateOptions{Pose: &pose, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	k := &pairTally{t: t, inside: map[string][2]int{}, worst: map[string]float64{}, verbose: true}
	k.relation(out, pr.Truth, pr.Lower.Mesh)
	for what, most := range map[string]float64{"angle": 0.05, "fore-aft": 0.05, "sideways": 0.05, "min": 0.03, "p95": 0.03, "place": 0.03} {
		if k.worst[what] > most {
			t.Errorf("%s off by %.4f, more than %.3f", what, k.worst[what], most)
		}
	}
	for what, n := range k.inside {
		if n[0] < n[1] && what != "place" {
			t.Errorf("%s: %d of %d within the stated uncertainty", what, n[0], n[1])
		}
	}
	if n := k.inside["place"]; n[1] < 10 {
		t.Errorf("only %d places compared", n[1])
	}

	// Without a pose the two do not share a frame, and it is said; nor are two of a kind a pair.
	if _, err := RelateInspected(out.Upper, out.Lower, DefaultProtocol(), RelateOptions{}); !errors.Is(err, ErrNotShared) {
		t.Errorf("scans apart: %v", err)
	}
	if _, err := RelateInspected(out.Lower, out.Upper, DefaultProtocol(), RelateOptions{}); !errors.Is(err, ErrNotPair) {
		t.Errorf("scans in the wrong order: %v", err)
	}
	// Beside each other, far apart, one in the other.
	for _, wrong := range []Vec{pr.Truth.Left.Scale(40), pr.Truth.Up.Scale(-25), pr.Truth.Up.Scale(7)} {
		bad := pose
		bad.Translation = bad.Translation.Add(wrong)
		if _, err := RelateInspected(out.Upper, out.Lower, DefaultProtocol(), RelateOptions{Pose: &bad}); !errors.Is(err, ErrNotShared) {
			t.Errorf("moved by %v: %v", wrong, err)
		}
	}

	// The same bytes for any number of workers.
	again, err := RelateInspected(out.Upper, out.Lower, DefaultProtocol(), RelateOptions{Pose: &pose, Workers: 3})
	if err != nil {
		t.Fatal(err)
	}
	var one, two bytes.Buffer
	if err := errors.Join(WriteRelationJSON(&one, out.Relation), WriteRelationJSON(&two, again.Relation)); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(one.Bytes(), two.Bytes()) {
		t.Error("one worker and three give different bytes")
	}
}
