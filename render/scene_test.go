package render

import (
	"math"
	"slices"
	"testing"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
)

func TestSceneTakesNumbersFromFindings(t *testing.T) {
	_, rep := fullReport(inspect.Upper)
	s := NewScene(rep)
	want := map[int]Kind{1: MarkHole, 2: MarkVoid, 3: MarkVoid, 4: MarkVoid, 5: MarkBleb, 6: MarkFold, 7: LineThin, 8: LineThick, 9: MarkPlace, 10: LinePlane}
	landmarks := 0
	for i, m := range s.Marks {
		if i > 0 && m.Rank < s.Marks[i-1].Rank {
			t.Errorf("mark %d of rank %d stands after one of rank %d", i, m.Rank, s.Marks[i-1].Rank)
		}
		if m.Kind == MarkLandmark {
			landmarks++
			continue
		}
		k, ok := want[m.Number]
		if !ok || k != m.Kind {
			t.Errorf("a mark of kind %d has number %d", m.Kind, m.Number)
		}
		delete(want, m.Number)
		if m.Kind == LinePlane {
			if f := rep.Frame.Local(m.At); math.Abs(f.Z+4) > 1e-9 || math.Abs(f.Y+15) > 1e-9 {
				t.Errorf("the finding about the plane is marked at %v, not at the front of the rim", f)
			}
			continue
		}
		if at, _ := middle(rep.Findings[m.Number-1].Where); m.At.Dist(at) > 1e-9 {
			t.Errorf("finding %d is marked %g mm off", m.Number, m.At.Dist(at))
		}
	}
	if len(want) > 0 || landmarks != len(rep.Landmarks) {
		t.Errorf("not marked: %v; %d landmarks of %d", want, landmarks, len(rep.Landmarks))
	}
	if m := s.Marks[0]; m.Severity != inspect.Fail || m.Label != "hole 3.0\u00a0mm" || m.Detail != "fail, buccal left" {
		t.Errorf("first mark: %+v", m)
	}
}

// A hole that no finding speaks of is ringed without a number, and takes no other's.
func TestSceneMarksWhatIsNotJudged(t *testing.T) {
	_, rep := fullReport(inspect.Upper)
	rep.Holes = append(rep.Holes, inspect.Hole{Centre: rep.Holes[0].Centre.Add(mesh.Vec{X: 2}), SpanMM: 1})
	n := 0
	for _, m := range NewScene(rep).Marks {
		if m.Kind == MarkHole && m.Number == 0 {
			n++
			if m.Label != "" {
				t.Errorf("label %q without a finding", m.Label)
			}
		}
	}
	if n != 1 {
		t.Errorf("%d holes without a number, want 1", n)
	}
}

func TestLandmarkWords(t *testing.T) {
	for name, want := range map[string]string{"hamular_notch_left": "hamular notch, left", "incisive_papilla": "incisive papilla",
		"pad_front_right": "pad front, right"} {
		if got := landmarkWords(name); got != want {
			t.Errorf("%s: %q, want %q", name, got, want)
		}
	}
}

// Seen from above with the front of the arch at the top, a maxilla has the patient's right at
// the right of the picture; a mandible seen from below has it at the left.
func TestViewsKeepThePatientsSides(t *testing.T) {
	for _, c := range []struct {
		jaw  inspect.Jaw
		want map[string][4]string // left, right, top, bottom
	}{
		{inspect.Upper, map[string][4]string{
			"tissue": {"patient's left", "patient's right", "front", "back"}, "oral": {"patient's right", "patient's left", "front", "back"},
			"front": {"patient's right", "patient's left", "tissue side", "oral side"}, "back": {"patient's left", "patient's right", "tissue side", "oral side"},
			"left": {"front", "back", "tissue side", "oral side"}, "right": {"back", "front", "tissue side", "oral side"}}},
		{inspect.Lower, map[string][4]string{
			"tissue": {"patient's right", "patient's left", "front", "back"}, "oral": {"patient's left", "patient's right", "front", "back"},
			"front": {"patient's right", "patient's left", "oral side", "tissue side"}, "back": {"patient's left", "patient's right", "oral side", "tissue side"},
			"left": {"front", "back", "oral side", "tissue side"}, "right": {"back", "front", "oral side", "tissue side"}}},
	} {
		rep := &inspect.Report{}
		rep.Jaw, rep.Frame, rep.Surface = c.jaw, frameAt(c.jaw), inspect.Impression
		for _, v := range views(rep) {
			l, r, u, d := sides(v.Camera, rep.Frame, [2]string{"tissue side", "oral side"})
			if got := [4]string{l, r, u, d}; got != c.want[v.Name] {
				t.Errorf("%s %s: %v, want %v", c.jaw, v.Name, got, c.want[v.Name])
			}
			if k := v.Camera; k.Right.Cross(k.Up).Dist(k.Toward) > 1e-12 {
				t.Errorf("%s %s is mirrored", c.jaw, v.Name)
			}
		}
	}
}

func TestCameraFits(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	b := Box{100, 50, 640, 480}
	for _, v := range views(rep) {
		c := v.Camera.fit(b, NewSurface(m, false))
		lo, hi := Point{math.Inf(1), math.Inf(1)}, Point{math.Inf(-1), math.Inf(-1)}
		for _, p := range m.Pos {
			x, y, _ := c.Project(p)
			lo, hi = Point{min(lo.X, x), min(lo.Y, y)}, Point{max(hi.X, x), max(hi.Y, y)}
		}
		const e = 1e-6
		if lo.X < b.X-e || lo.Y < b.Y-e || hi.X > b.X+b.W+e || hi.Y > b.Y+b.H+e {
			t.Errorf("%s leaves its box: %v %v", v.Name, lo, hi)
		}
		if hi.X-lo.X < b.W-e && hi.Y-lo.Y < b.H-e {
			t.Errorf("%s does not fill its box: %v %v", v.Name, lo, hi)
		}
	}
}

// A cast is seen from the mouth: an upper one from below, with the patient's right at the left
// of the picture, a lower one from above.
func TestCastsAreSeenFromTheMouth(t *testing.T) {
	for jaw, want := range map[inspect.Jaw]string{inspect.Upper: "patient's right", inspect.Lower: "patient's left"} {
		rep := &inspect.Report{}
		rep.Jaw, rep.Frame, rep.Surface = jaw, frameAt(jaw), inspect.Cast
		v := views(rep)[0]
		if left, _, up, _ := sides(v.Camera, rep.Frame, [2]string{"tissue side", "oral side"}); left != want || up != "front" || v.Camera.Toward.Dot(rep.Frame.TowardTissue) > 0 {
			t.Errorf("%s: %s at the left, %s at the top", jaw, left, up)
		}
	}
}

// The views are true of the anatomy and not of the frame's words alone: on a phantom of each
// jaw, a point that the phantom itself knows to be on the patient's left comes out on the side
// of the picture where the patient's left is written.
func TestPhantomsSides(t *testing.T) {
	for name, c := range map[string]struct {
		landmark string
		atLeft   bool // of the picture of the tissue side
	}{"upper-norim": {"hamular_notch_left", true}, "lower-norim": {"pad_front_left", false}} {
		par, found := phantom.Named(name)
		if !found {
			t.Fatalf("no phantom %s", name)
		}
		par.Spacing = 0.7
		ph, err := phantom.Make(par)
		if err != nil {
			t.Fatal(err)
		}
		rep := inspect.Run(&inspect.Scan{Mesh: ph.Mesh}, inspect.DefaultProtocol(), inspect.Options{}).Report
		if rep.Frame == nil {
			t.Fatal(rep.Decisions)
		}
		v := views(rep)[0]
		cam := v.Camera.fit(Box{0, 0, 1000, 1000}, NewSurface(ph.Mesh, rep.InsideOut))
		x, _, _ := cam.Project(ph.Truth.Landmarks[c.landmark])
		left, right, _, _ := sides(v.Camera, rep.Frame, [2]string{"tissue side", "oral side"})
		if (x < 500) != c.atLeft || (left == "patient's left") != c.atLeft || (right == "patient's left") == c.atLeft {
			t.Errorf("%s: %s at %.0f of 1000, with %s at the left and %s at the right", name, c.landmark, x, left, right)
		}
	}
}

// A crumb far away does not shrink the impression, a second large piece is shown.
func TestCrumbsDoNotShrinkTheView(t *testing.T) {
	m := sphere(10, 20)
	scale := func(radius float64) float64 {
		far := sphere(radius, 8)
		pos, tri := slices.Clone(m.Pos), slices.Clone(m.Tri)
		for _, p := range far.Pos {
			pos = append(pos, p.Add(mesh.Vec{X: 300}))
		}
		for _, f := range far.Tri {
			n := mesh.VertexID(len(m.Pos))
			tri = append(tri, [3]mesh.VertexID{f[0] + n, f[1] + n, f[2] + n})
		}
		c := Look(mesh.Vec{Z: 1}, mesh.Vec{Y: 1}).fit(Box{0, 0, 1000, 1000}, NewSurface(mesh.New(pos, tri), false))
		return c.Scale
	}
	alone := Look(mesh.Vec{Z: 1}, mesh.Vec{Y: 1}).fit(Box{0, 0, 1000, 1000}, NewSurface(m, false)).Scale
	if got := scale(0.5); got != alone {
		t.Errorf("%.1f pixels a mm with a crumb, %.1f without", got, alone)
	}
	if got := scale(8); got > alone/10 {
		t.Errorf("%.1f pixels a mm: the other piece is not in the picture", got)
	}
}

func TestCloseUpsGravestFirst(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	s := NewSurface(m, false)
	var names []string
	for _, v := range closeUps(rep, s, 4) {
		names = append(names, v.Name)
		// The slab's upper side faces the tissue, so that is where a place on it is seen from.
		if v.Camera.Toward.Dot(rep.Frame.TowardTissue) < 0.5 {
			t.Errorf("%s looks from %v", v.Name, rep.Frame.Local(rep.Frame.Origin.Add(v.Camera.Toward)))
		}
	}
	if want := []string{"finding-1", "finding-7", "finding-9", "finding-2"}; !equal(names, want) {
		t.Errorf("close-ups %v, want %v", names, want)
	}
}

func equal(a, b []string) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// In a narrow trough the normal of a wall points at the opposite wall; the close-up looks in
// from the open side.
func TestCloseUpLooksIntoATrough(t *testing.T) {
	var pos []mesh.Vec
	var tri [][3]mesh.VertexID
	wall := func(x float64) {
		base := mesh.VertexID(len(pos))
		for i := range 41 {
			for j := range 21 {
				pos = append(pos, mesh.Vec{X: x, Y: float64(i) / 2, Z: float64(j) / 2})
			}
		}
		for i := range 40 {
			for j := range 20 {
				a := base + mesh.VertexID(i*21+j)
				if x < 0 {
					tri = append(tri, [3]mesh.VertexID{a, a + 21, a + 22}, [3]mesh.VertexID{a, a + 22, a + 1})
				} else {
					tri = append(tri, [3]mesh.VertexID{a, a + 22, a + 21}, [3]mesh.VertexID{a, a + 1, a + 22})
				}
			}
		}
	}
	wall(-3)
	wall(3)
	s := NewSurface(mesh.New(pos, tri), false)
	f := &inspect.Frame{Left: mesh.Vec{X: 1}, Posterior: mesh.Vec{Y: 1}, TowardTissue: mesh.Vec{Z: 1}}
	at := mesh.Vec{X: -3, Y: 10, Z: 5}
	n := s.facing([]mesh.Vec{at}, 1)
	if n.Dist(mesh.Vec{X: 1}) > 1e-6 {
		t.Fatalf("normal %v", n)
	}
	d := s.clear(at, n, 1, f)
	if s.before(at, n, 1, 1000) == 0 || s.before(at, d, 1, 1000) != 0 || d.Z <= 0.5 || d.X < 0 {
		t.Errorf("looks from %v", d)
	}
}
