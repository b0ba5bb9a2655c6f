package inspect

import (
	"errors"
	"math"
	"testing"

	"fornix/mesh/register"
)

// levelPair is two level rims, gap apart, in a frame of its own: for what needs no surface.
func levelPair(gap float64) *pair {
	p := &pair{method: DefaultProtocol().Method.Relate}
	p.frame = RelationFrame{Left: Vec{X: 1}, Posterior: Vec{Y: 1}, Up: Vec{Z: 1}}
	for i, s := range []*seat{&p.upper, &p.lower} {
		*s = seat{jaw: []Jaw{Upper, Lower}[i], o: &Occlusal{}, pose: register.Identity(), x: Vec{X: 1}, y: Vec{Y: 1}, z: Vec{Z: 1}}
		s.plane = Plane{Point: Vec{Z: gap * (0.5 - float64(i))}, Normal: Vec{Z: 1}}
	}
	return p
}

// Numbers by hand: a point 80 mm in front of and 40 mm under the axis turns on a circle of radius
// 89.4427 mm; 2 mm down from 40 under it is 42 under it: asin(42/89.4427) - asin(40/89.4427) = 1.4416
// degrees.
func TestTurnDown(t *testing.T) {
	at, right, left := Vec{}, Vec{X: -50, Y: 80, Z: 40}, Vec{X: 50, Y: 80, Z: 40}
	turn, deg, ok := turnDown(at, right, left, 2)
	if !ok {
		t.Fatal("no turn")
	}
	near(t, "turn", deg, 1.441614, 1e-5)
	near(t, "down", turn.Apply(at).Z, -2, 1e-9)
	near(t, "stays on the axis", turn.Apply(left).Dist(left)+turn.Apply(right).Dist(right), 0, 1e-9)
	near(t, "the pose's own angle", turn.AngleDeg(), deg, 1e-9)
	if y := turn.Apply(at).Y; y < 0 || y > 2 {
		t.Errorf("the front goes back as it opens, by %.3f", y)
	}
	if _, deg, ok := turnDown(at, right, left, -2); !ok || deg >= 0 {
		t.Errorf("closing: %.3f %v", deg, ok)
	}
	if _, _, ok := turnDown(at, right, left, 200); ok {
		t.Error("turned farther down than the axis lets it")
	}
}

// Bonwill's triangle has three equal sides, and stands at Balkwill's angle to the plane.
func TestAverageHinge(t *testing.T) {
	p := levelPair(0)
	lean := 10 * math.Pi / 180
	p.lower.plane.Normal = Vec{Y: -math.Sin(lean), Z: math.Cos(lean)}
	front := Vec{X: 1, Y: -20}
	h, right, left := p.hinge(&face{}, front)
	near(t, "side", right.Dist(left), 101.6, 1e-9)
	near(t, "right", right.Dist(front), 101.6, 1e-9)
	near(t, "left", left.Dist(front), 101.6, 1e-9)
	mid := right.Add(left).Scale(0.5).Sub(front).Unit()
	near(t, "angle", degrees(math.Asin(mid.Dot(p.lower.plane.Normal))), 26, 1e-9)
	if h.How != "average" || h.Source == "" || left.X < right.X || mid.Y < 0 || mid.Z < 0 {
		t.Errorf("%+v", h)
	}
	given := &face{hinge: []Vec{{X: -55, Y: 70}, {X: 55, Y: 70}}}
	if h, r, _ := p.hinge(given, front); h.How != "given" || r != given.hinge[0] {
		t.Errorf("given: %+v", h)
	}
}

// A plane that falls 5 degrees in front against the ala-tragus plane, and a pupil line that drops 2
// degrees to the patient's left, by points and by record.
func TestFaceAngles(t *testing.T) {
	p := levelPair(1)
	up := math.Tan(5 * math.Pi / 180)
	drop := math.Tan(2 * math.Pi / 180)
	r := References{
		Camper: []Vec{{X: -60, Y: 60, Z: 30 - 60*up}, {X: 60, Y: 60, Z: 30 - 60*up}, {X: -15, Y: -40, Z: 30 + 40*up}, {X: 15, Y: -40, Z: 30 + 40*up}},
		Pupils: []Vec{{X: -32, Y: -10, Z: 80}, {X: 32, Y: -10, Z: 80 - 64*drop}}, UMM: 1,
	}
	f, err := p.face(r)
	if err != nil {
		t.Fatal(err)
	}
	got := f.angles(p)
	if len(got) != 4 {
		t.Fatalf("%d angles", len(got))
	}
	near(t, "fore and aft", *got[0].ForeAftDeg, 5, 1e-9)
	near(t, "cant", *got[0].CantDeg, 0, 1e-9)
	near(t, "against the pupils", *got[1].CantDeg, 2, 1e-9)
	// Four points at 50 mm fore and aft of their middle, known to 1 mm: 1/(50·2) radians.
	near(t, "its uncertainty", *got[0].ForeAftUDeg, degrees(0.01), 1e-9)

	lower := 1.0 * math.Pi / 180 // the lower falls one degree more in front
	p.lower.plane.Normal = Vec{Y: -math.Sin(lower), Z: math.Cos(lower)}
	f, err = p.face(References{CamperDeg: num(3), PupilsDeg: num(-1), UDeg: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	got = f.angles(p)
	near(t, "recorded", *got[0].ForeAftDeg, 3, 1e-12)
	near(t, "the lower's", *got[2].ForeAftDeg, 4, 1e-9)
	near(t, "recorded cant", *got[3].CantDeg, -1, 1e-9)

	for _, bad := range []References{
		{Camper: []Vec{{X: 1}, {X: 2}, {X: 3}}},
		{Camper: []Vec{{}, {X: 50, Z: 50}, {Y: 50, Z: 100}}},
		{Pupils: []Vec{{X: 30}, {X: -30}}},
		{Pupils: []Vec{{}, {X: 1}}},
		{Hinge: []Vec{{}, {Y: 50}}},
	} {
		if _, err := p.face(bad); !errors.Is(err, ErrReference) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	// Points in the lower scan's coordinates go along with it.
	p.lower.pose.T = Vec{Z: -7}
	f, err = p.face(References{In: Lower, Hinge: []Vec{{X: -50, Z: 7}, {X: 50, Z: 7}}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "moved", f.hinge[0].Z, 0, 1e-12)
}

// On a pair: what is raised straight stands as much higher everywhere; the wax closes what is open.
func TestChangedHeights(t *testing.T) {
	pr, err := closedPair()
	if err != nil {
		t.Fatal(err)
	}
	pose := MotionOf(poseOf(pr.Truth.LowerToUpper))
	out, err := Relate(scanOf(t, pr.Upper.Mesh, "upper"), scanOf(t, pr.Lower.Mesh, "lower"), DefaultProtocol(), RelateOptions{Pose: &pose,
		Changes: []Change{{FrontMM: 2, Keep: Upper}, {FrontMM: -1}, {FrontMM: 3, Turn: true, Keep: Lower}}})
	if err != nil {
		t.Fatal(err)
	}
	r := out.Relation
	for i, by := range []float64{2, -1} {
		w := &r.WhatIf[i]
		near(t, "median", *w.Gap.All.MedianMM, *r.Gap.All.MedianMM+by, 1e-6)
		near(t, "least", *w.Gap.All.MinMM, *r.Gap.All.MinMM+by, 1e-6)
		for k, h := range w.Heights {
			near(t, h.Name, *h.MM, *r.Heights[k].MM+by, 1e-6)
		}
		near(t, "planes", w.SidewaysDeg, r.Planes.SidewaysDeg, 1e-9)
	}
	// The upper stays: the lower gains the gap that there will be, wherever one lies over the other.
	kept := &r.WhatIf[0]
	n := 0
	for v, gap := range out.LowerGap {
		if wax := out.LowerWax[0][v]; !math.IsNaN(gap) && !math.IsNaN(wax) {
			n++
			if math.Abs(wax-gap-2) > 0.05 {
				t.Fatalf("vertex %d: gap %.3f raised by 2, wax %.3f", v, gap, wax)
			}
		}
	}
	if n < 500 || kept.Upper.MostMM != 0 || kept.Upper.AddMM3 != 0 || kept.Lower.RemoveMM3 != 0 {
		t.Errorf("%d vertices, upper %+v, lower %+v", n, kept.Upper, kept.Lower)
	}
	near(t, "wax on the right less that on the left", *kept.Lower.RightMM-*kept.Lower.LeftMM, -*r.Gap.SidesMM, 0.6)
	// Midway, each gains or loses half of the planes' lean.
	half := &r.WhatIf[1]
	near(t, "halves", *half.Upper.RightMM-*half.Upper.LeftMM, *half.Lower.RightMM-*half.Lower.LeftMM, 0.3)
	// A turn leaves its axis where it was, and opens more in front than behind.
	turned := &r.WhatIf[2]
	m := turned.Motion.pose()
	for _, at := range []Vec{turned.Axis.Right, turned.Axis.Left} {
		near(t, "axis", m.Apply(at).Dist(at), 0, 1e-9)
	}
	near(t, "turn", m.AngleDeg(), *turned.TurnDeg, 1e-9)
	near(t, "fore and aft", turned.ForeAftDeg-r.Planes.ForeAftDeg, *turned.TurnDeg, 0.05)
	near(t, "sulcus in front", *turned.Heights[0].MM-*r.Heights[0].MM, 3, 0.5)
	if turned.Lower.MostMM != 0 {
		t.Errorf("the lower stays: %+v", turned.Lower)
	}
}
