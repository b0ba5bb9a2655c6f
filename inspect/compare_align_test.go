package inspect

import (
	"errors"
	"strings"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh/register"
)

// off is how far a pose is from the true one: its turn in degrees, and the farthest that a vertex moves.
func off(out *CompareOutcome, b made, truth *register.Pose) (deg, most float64) {
	var p register.Pose
	for i, row := range out.Comparison.Alignment.Pose[:3] {
		copy(p.R[i][:], row[:3])
	}
	p.T = Vec{X: out.Comparison.Alignment.Pose[0][3], Y: out.Comparison.Alignment.Pose[1][3], Z: out.Comparison.Alignment.Pose[2][3]}
	for _, q := range b.Mesh.Pos {
		most = max(most, p.Apply(q).Dist(truth.Apply(q)))
	}
	return truth.Inverse().Then(p).AngleDeg(), most
}

// aligned fails where a pose that was found with no start is farther off than 0.05 degrees or 0.03 mm.
func aligned(t *testing.T, out *CompareOutcome, a, b made, zone string) {
	t.Helper()
	al := &out.Comparison.Alignment
	deg, mm := off(out, b, b.onto(a))
	t.Logf("%s: off by %.4f degrees, %.4f mm; stated %.4f degrees, %.4f mm, %.4f mm at a place; fit %.4f, overlap %.2f", out.Comparison.Purpose, deg, mm, *al.TurnUDeg, *al.ShiftUMM, *al.PlaceUMM, *al.FitRMSMM, *al.OverlapShare)
	for _, f := range al.Freedoms {
		t.Logf("  %s: %.4f %s, held %v", f.Name, f.U, f.Unit, f.Held)
		if !f.Held || !(f.U > 0 && f.U < 0.05) {
			t.Errorf("%s is known to %.4f %s, held: %v", f.Name, f.U, f.Unit, f.Held)
		}
	}
	if deg > 0.05 || mm > 0.03 {
		t.Errorf("off by %.4f degrees, %.4f mm", deg, mm)
	}
	if al.Method != ByGlobal || al.Zone != zone || len(al.Freedoms) != 6 {
		t.Errorf("%+v", al)
	}
}

// Another impression of one mouth, in another tray, a border cut on one side: palate and crest align it
// and agree, and the border does not.
func TestRetakeAligns(t *testing.T) {
	a := sharedUpper()
	p := smallPhantom("upper")
	p.Spacing, p.Rim.Kind, p.Stretch = 0.55, "none", []phantom.Stretch{{Side: "buccal", From: 40, To: 80, Lower: 3}}
	b := mustMake(p, 23)
	out := compare(t, a, b, CompareOptions{Purpose: AsRetake})
	aligned(t, out, a, b, ZoneStable)
	c := out.Comparison
	if len(c.Findings) == 0 || c.Findings[0].Code != "retake-border" || c.Zone.AtA.RMSMM > 0.05 || c.Zone.AtB.UncoveredMM2 > 1 {
		t.Errorf("zone RMS %.3f, %.0f mm2 not seen: %+v", c.Zone.AtA.RMSMM, c.Zone.AtB.UncoveredMM2, c.Findings)
	}
}

// Landmarks of both replace the search. A jaw against its mirror image is refused, and so are landmarks
// that fix nothing.
func TestCompareFromLandmarks(t *testing.T) {
	a := sharedUpper()
	p := smallPhantom("upper")
	p.Spacing = 0.55
	b := mustMake(p, 30)
	names := []string{IncisivePapilla, HamularNotchLeft, HamularNotchRight}
	given := func(s made) Given {
		g := Given{Landmarks: map[string]Vec{}}
		for i, name := range names {
			g.Landmarks[name] = s.truth.Landmarks[name].Add(Vec{X: float64(i) - 1}) // set by hand
		}
		return g
	}
	opt := CompareOptions{Purpose: AsRepeat, GivenA: given(a), GivenB: given(b)}
	out := compare(t, a, b, opt)
	if deg, mm := off(out, b, b.onto(a)); deg > 0.05 || mm > 0.03 || out.Comparison.Alignment.Method != ByLandmarks || len(out.Comparison.Alignment.Landmarks) != 3 {
		t.Errorf("off by %.4f degrees, %.4f mm: %+v", deg, mm, out.Comparison.Alignment)
	}
	delete(opt.GivenB.Landmarks, IncisivePapilla)
	var u *Unlike
	if _, err := Compare(a.Scan, b.Scan, DefaultProtocol(), opt); !errors.As(err, &u) || !strings.Contains(u.Text, "2 landmarks are given") || u.Hint == "" {
		t.Errorf("two landmarks: %v", err)
	}

	mirror := motion{x: Vec{X: 1}, y: Vec{Y: 1}, z: Vec{Z: 1}, flip: true}
	m := aScan("mirrored.stl", mirror.moved(b.Mesh))
	if _, err := Compare(a.Scan, m, DefaultProtocol(), CompareOptions{Purpose: AsRepeat}); !errors.As(err, &u) || !strings.Contains(u.Text, "mirror image of mirrored.stl") || u.Hint == "" {
		t.Errorf("mirror image: %v", err)
	}
}
