package inspect

import (
	"math"
	"sync"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/shape"
	"fornix/mesh/tree"
)

// A phantom and what Measure makes of it, kept for the tests that ask for the same one.
type measured struct {
	truth phantom.Truth
	mesh  *mesh.Mesh
	res   Results
	an    *Anatomy
}

var kept sync.Map

func measureNamed(t *testing.T, name string) measured {
	t.Helper()
	if m, ok := kept.Load(name); ok {
		return m.(measured)
	}
	p, ok := phantom.Named(name)
	if !ok {
		t.Fatalf("no phantom %q", name)
	}
	p.Spacing = 0.5
	m := measure(t, p)
	kept.Store(name, m)
	return m
}

func measure(t *testing.T, p phantom.Params) measured {
	t.Helper()
	ph, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	s := &Scan{Mesh: ph.Mesh, Info: ScanInfo{Faces: len(ph.Mesh.Tri), Vertices: len(ph.Mesh.Pos), UnitToMM: 1}}
	res, an := Measure(s, DefaultProtocol().Method, Options{})
	return measured{ph.Truth, ph.Mesh, res, an}
}

func degreesApart(a, b Vec) float64 {
	return math.Acos(max(-1, min(1, a.Dot(b)))) * 180 / math.Pi
}

func TestLocateTellsWhatLiesWhere(t *testing.T) {
	for _, name := range []string{"upper-sound", "lower-sound", "upper-inside-out", "upper-tissue-side", "lower-tissue-side", "upper-cast", "lower-plate", "lower-one-pad-short", "upper-handle"} {
		m := measureNamed(t, name)
		if m.an == nil {
			t.Errorf("%s: no jaw found: %v", name, m.res.Decisions)
			continue
		}
		if string(m.an.Jaw) != m.truth.Jaw || m.an.Surface != m.truth.Surface || m.an.InsideOut != m.truth.InsideOut {
			t.Errorf("%s: %s %s inside out %v; truth %s %s %v", name, m.an.Jaw, m.an.Surface, m.an.InsideOut, m.truth.Jaw, m.truth.Surface, m.truth.InsideOut)
		}
		if one := m.an.Coverage == TissueSide; m.an.Surface == Impression && one != m.truth.OneSided {
			t.Errorf("%s: tissue side only %v, truth %v", name, one, m.truth.OneSided)
		}
		if d := degreesApart(m.an.Frame.Left, m.truth.Axes.Left); d > 3 {
			t.Errorf("%s: left is %.1f degrees off", name, d)
		}
		// Toward the tissue is the normal of the crest's plane, the truth's that of the rim.
		if d := degreesApart(m.an.Frame.TowardTissue, m.truth.Axes.TowardTissue); d > 8 {
			t.Errorf("%s: toward the tissue is %.1f degrees off", name, d)
		}
		f := m.an.Frame
		hand := f.Left.Cross(f.Posterior).Dot(f.TowardTissue)
		if want := map[Jaw]float64{Upper: 1, Lower: -1}[m.an.Jaw]; math.Abs(hand-want) > 1e-9 {
			t.Errorf("%s: left, posterior and toward the tissue have determinant %.6f, want %.0f", name, hand, want)
		}
	}
}

func TestNoJawInOtherThings(t *testing.T) {
	fm := DefaultProtocol().Method.Frame
	for name, m := range map[string]*mesh.Mesh{
		"sphere": shape.Icosphere(40, 4).Mesh,
		"plate":  shape.Plate(60, 60, 3, 1).Mesh,
	} {
		if an, why := Locate(m, Grain{}, fm, "", nil); an != nil || why == "" {
			t.Errorf("%s: taken for a jaw, or no reason given (%q)", name, why)
		}
	}
}

func TestGivenJawAndLandmarksOverride(t *testing.T) {
	m := measureNamed(t, "lower-sound")
	p := Vec{X: 1, Y: 2, Z: 3}
	an, why := Locate(m.mesh, Grain{}, DefaultProtocol().Method.Frame, Upper, map[string]Vec{LabialFrenum: p})
	if an == nil {
		t.Fatal(why)
	}
	if an.Jaw != Upper {
		t.Errorf("jaw %s, given upper", an.Jaw)
	}
	if l := an.Landmarks[LabialFrenum]; l.Point != p || l.Source != "given" {
		t.Errorf("given landmark came out as %+v", l)
	}
	// The other jaw is a mirror image: what was left is right.
	if d := degreesApart(an.Frame.Left, m.an.Frame.Left); d < 179 {
		t.Errorf("left turned by %.1f degrees with the jaw, want 180", d)
	}
}

func TestLandmarksLieWithinWhatTheySay(t *testing.T) {
	found, all, within := 0, 0, 0
	for _, name := range []string{"upper-sound", "lower-sound", "upper-canted", "lower-pads-full", "upper-long", "lower-voids"} {
		m := measureNamed(t, name)
		for _, lm := range landmarkNames {
			p, ok := m.truth.Landmarks[lm]
			if !ok {
				continue
			}
			all++
			l, ok := m.res.Landmarks[lm]
			if !ok {
				t.Logf("%s: %s not found", name, lm)
				continue
			}
			found++
			d := l.Point.Dist(p)
			if d <= l.UncertaintyMM {
				within++
			}
			if d > 3 && d > l.UncertaintyMM {
				t.Errorf("%s: %s is %.2f mm off and says %.2f", name, lm, d, l.UncertaintyMM)
			}
		}
	}
	if found*100 < all*95 || within*100 < found*90 {
		t.Errorf("%d of %d landmarks found, %d within their uncertainty", found, all, within)
	}
}

func TestPosteriorEndsOfNamedImpressions(t *testing.T) {
	for _, name := range []string{"upper-sound", "upper-short", "upper-one-sided-short", "upper-long"} {
		m := measureNamed(t, name)
		sides := map[string]*PosteriorSide{"left": m.res.Posterior.Left, "right": m.res.Posterior.Right}
		want := map[string]float64{"left": m.truth.Extension.Left + 1.4, "right": m.truth.Extension.Right + 1.4}
		for side, s := range sides {
			w := want[side]
			if reach := w > 0; s.ReachesNotch == nil || *s.ReachesNotch != reach {
				t.Errorf("%s: %s notch reached wrongly told, extension is %.2f", name, side, w)
				continue
			}
			if w > 0 && math.Abs(*s.ExtensionMM-w) > 0.5 {
				t.Errorf("%s: %s extension %.2f, want %.2f", name, side, *s.ExtensionMM, w)
			}
		}
	}
	for _, name := range []string{"lower-sound", "lower-pads-short", "lower-pads-full", "lower-one-pad-short", "lower-voids"} {
		m := measureNamed(t, name)
		for side, s := range map[float64]*PosteriorSide{*m.truth.PadCoverLeft: m.res.Posterior.Left, *m.truth.PadCoverRight: m.res.Posterior.Right} {
			if s.SummitReached == nil || *s.SummitReached != (side > 0.5) {
				t.Errorf("%s: pad covered %.2f, summit reached wrongly told", name, side)
			}
		}
	}
}

func TestOpeningOnTheCrestIsNoOuterSurface(t *testing.T) {
	m := measureNamed(t, "lower-holes")
	for _, want := range m.truth.Holes {
		ok := false
		for _, h := range m.res.Holes {
			if h.Centre.Dist(want.Point) < want.Radius {
				ok = h.Surface == want.Surface
			}
		}
		if !ok {
			t.Errorf("the opening of radius %.1f on the %s surface is missing or told elsewhere", want.Radius, want.Surface)
		}
	}
}

// The section of a torus by a plane through its axis is two circles: length 2πr each, less the
// polygon's part (1 - π²/6n² for n sides).
func TestSectionOfATorus(t *testing.T) {
	const bigR, r, n = 25.0, 1.5, 48
	m := shape.Torus(bigR, r, 96, n).Mesh
	c := chart{cy: 0, radius: bigR}
	body := make([]mesh.FaceID, len(m.Tri))
	for i := range body {
		body[i] = mesh.FaceID(i)
	}
	secs := lay(c, m, body, m.Pos, 3).sections(1, -20, 20)
	if len(secs) != 41 {
		t.Fatalf("%d sections from -20 to 20 by 1, want 41", len(secs))
	}
	for _, s := range secs {
		if len(s.contours) != 1 || !s.contours[0].closed {
			t.Fatalf("u %.1f: %d contours", s.u, len(s.contours))
		}
		got := s.contours[0].length(0, len(s.contours[0].pts)-1, 1)
		got += s.contours[0].pts[0].Dist(s.contours[0].pts[len(s.contours[0].pts)-1])
		want := 2 * math.Pi * r
		if got > want || got < want*(1-3*math.Pi*math.Pi/(6*n*n)) {
			t.Errorf("u %.1f: circumference %.5f, want %.5f", s.u, got, want)
		}
	}
}

// The local thickness of a torus is its tube's diameter everywhere (exact solid).
func TestBallInsideATorus(t *testing.T) {
	bm := DefaultProtocol().Method.Border
	m := shape.Torus(25, 1.5, 192, 48).Mesh
	facing := newSmoothNormals(m, m.Normals(), 1)
	tr := tree.New(m)
	edge := 2 * math.Pi * 26.5 / 192
	for f := 0; f < len(m.Tri); f += 97 {
		p := m.Centroid(mesh.FaceID(f))
		n := meanNormal(tr, p, mesh.FaceID(f), bm.NormalMM, facing)
		d, ok := ballDiameter(tr, p, n, bm, facing)
		// Chords of both directions lie inside the tube: e²/8 over each radius, at both walls;
		// the normal of a coarse face adds as much again.
		if tol := 4 * (edge*edge/(8*26.5) + math.Pow(2*math.Pi*1.5/48, 2)/(8*1.5)); !ok || math.Abs(d-3) > tol {
			t.Fatalf("face %d: ball of %.4f in a tube of 3, tolerance %.4f", f, d, tol)
		}
	}
}
