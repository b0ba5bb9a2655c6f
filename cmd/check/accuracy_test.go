package main

import (
	"bytes"
	"encoding/json"
	"io"
	"math"
	"strings"
	"testing"

	"fornix/inspect"
	"fornix/inspect/phantom"
)

// A dozen random phantoms, coarse so that they are quickly made, hold to hard thresholds. The
// full run is `go run ./cmd/check accuracy`.
func TestAccuracy(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a dozen impressions")
	}
	names := strings.Fields("301:upper 302:lower 303:upper 304:lower 305:upper 306:lower 307:upper 308:lower 309:upper 310:lower 311:upper 312:lower")
	var progress bytes.Buffer
	got := measureCases(names, inspect.DefaultProtocol(), func(p *phantom.Params) { p.Spacing, p.Decimate = 0.45, 0 }, "", &progress)
	if got.scans != len(names) {
		t.Fatalf("%d of %d phantoms were measured: %v", got.scans, len(names), got.fails)
	}
	for _, key := range []string{"jaw", "inside-out", "left", "hole", "notch", "summit", "rim", "rim kind"} {
		if got.count(key) == 0 || got.share(key) < 1 {
			t.Errorf("%s: %s", key, got.percent(key))
		}
	}
	for _, c := range []struct {
		key   string
		least float64
	}{{"cap", 0.85}, {"cover", 0.98}, {"landmark", 0.95}, {"verdict", 0.85}} {
		if !(got.share(c.key) >= c.least) {
			t.Errorf("%s: %s, not %.0f %%", c.key, got.percent(c.key), 100*c.least)
		}
	}
	for _, c := range []struct {
		key     string
		q, most float64
	}{
		{"left", 1, 3}, {"cap diameter", 0.5, 0.05}, {"cap depth", 0.5, 0.05}, {"thickness", 0.5, 0.05}, {"thickness", 0.95, 0.15},
		{"landmark", 0.5, 0.8}, {"plane tilt", 1, 0.05}, {"plane offset", 1, 0.03}, {"plane tilt hard", 1, 0.1}, {"extension", 1, 0.5},
	} {
		if v := got.quantile(c.key, c.q); !(v <= c.most) {
			t.Errorf("%s: quantile %.2f is %.3f, over %.3f", c.key, c.q, v, c.most)
		}
	}
	if n := got.count("hole invented"); n > 0 {
		t.Errorf("%d holes invented", n)
	}
	if n := got.count("cap invented"); n > 1 {
		t.Errorf("%d voids and blebs invented", n)
	}
	if t.Failed() {
		var b strings.Builder
		got.print(&b, got.rows(), nil, 20)
		t.Log(b.String())
	}
}

// What is wrong in a report is counted as wrong: a comparison that passes everything says nothing.
func TestComparisonSeesFaults(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a whole impression")
	}
	p := caseOf(5, "upper")
	p.Spacing, p.Decimate, p.TissueSide, p.Rim.Kind, p.Noise = 0.6, 0, false, "rim", 0
	p.ExtensionLeft, p.ExtensionRight = 2.5, 2.5
	p.Voids, p.Blebs, p.Folds, p.Stretch = []phantom.Cap{{X: 9, Y: 13, Diameter: 3, Depth: 1}}, nil, nil, nil
	p.Holes = []phantom.Hole{{X: 0, Y: 30, Radius: 2, Surface: "tissue"}}
	ph, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	protocol := inspect.DefaultProtocol()
	run := func(change func(*inspect.Report)) *tally {
		rep := inspect.Run(scanOf(ph.Mesh, "5:upper"), protocol, inspect.Options{}).Report
		change(rep)
		return compare("5:upper", p, ph, rep, &protocol.Limits)
	}
	sound := run(func(*inspect.Report) {})
	for _, key := range []string{"jaw", "left", "hole", "cap", "landmark", "notch", "rim"} {
		if sound.count(key) == 0 || sound.share(key) < 1 {
			t.Errorf("%s: %s", key, sound.percent(key))
		}
	}
	bad := run(func(r *inspect.Report) {
		r.Holes, r.InsideOut, r.Verdict = nil, !r.InsideOut, inspect.Send
		for i := range r.Defects {
			r.Defects[i].Centre = r.Defects[i].Centre.Add(vec{X: 9})
		}
		for name, l := range r.Landmarks {
			l.Point, l.UncertaintyMM = l.Point.Add(vec{Z: 5}), 0.1
			r.Landmarks[name] = l
		}
		for i := range r.Border.Stations {
			if s := &r.Border.Stations[i]; s.ThicknessMM != nil {
				v := *s.ThicknessMM + 1
				s.ThicknessMM = &v
			}
		}
		no := false
		r.Posterior.Left.ReachesNotch = &no
		r.Occlusal.Normal = r.Occlusal.Normal.Add(r.Frame.Left.Scale(0.1)).Unit()
	})
	for _, key := range []string{"hole", "inside-out", "cap", "notch", "landmark off", "u:landmark"} {
		if bad.count(key) == 0 || bad.share(key) == 1 {
			t.Errorf("%s is passed: %s", key, bad.percent(key))
		}
	}
	if bad.count("cap invented") == 0 || bad.quantile("thickness", 0.5) < 0.9 || bad.quantile("plane tilt", 1) < 5 && bad.quantile("plane tilt hard", 1) < 5 {
		t.Error("moved voids, thicker borders or a tilted plane are passed")
	}
	var b bytes.Buffer
	rows := bad.rows()
	if err := bad.encode(&b, 1, rows, nil); err != nil || !json.Valid(b.Bytes()) {
		t.Errorf("JSON: %v", err)
	}
}

// A tissue side wound inside out may be told as the jaw itself, whose surface it is; nothing else may.
func TestJawItselfIsToldOfTissueSidesInsideOutAlone(t *testing.T) {
	for _, c := range []struct{ oneSided, insideOut, told, right bool }{ // told: inside out
		{true, true, false, true}, {true, false, false, false}, {false, true, false, false}, {true, true, true, false},
	} {
		var ph phantom.Phantom
		ph.Truth.Jaw, ph.Truth.Surface, ph.Truth.OneSided, ph.Truth.InsideOut = "upper", inspect.Impression, c.oneSided, c.insideOut
		rep := &inspect.Report{}
		rep.Jaw, rep.Surface, rep.Coverage, rep.InsideOut = inspect.Upper, inspect.Cast, inspect.TissueSide, c.told
		got := compare("x", phantom.Params{}, &ph, rep, nil)
		if right := got.share("surface") == 1 && got.count("told as the jaw itself") == 1 && len(got.fails) == 0; right != c.right {
			t.Errorf("%+v: counted as right: %v", c, right)
		}
	}
}

// Where a notch draws thin border down beside the wax, edges of a scan cut the corner between them, and the
// ball there grows by what they fill: the coarser the scan, the more. The truth leaves out just those places.
func TestThicknessBesideWax(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a whole impression")
	}
	got := measureCases([]string{"91127025:lower"}, inspect.DefaultProtocol(), nil, "", io.Discard)
	if n, most := len(got.errors["thickness"]), got.quantile("thickness", 1); n < 550 || !(most < 0.1) {
		t.Errorf("thickness at %d stations, off by up to %.3f mm; want 550 or more, within 0.1", n, most)
	}
}

// Beside the labial frenum means where its notch has run out: not in the notch of the buccal frenum where
// that one is near, but midway between two that are alike.
func TestFrontHeightBetweenNotches(t *testing.T) {
	const edge, width, depth, next = 3, 4.6, 2, 14
	half := width/2 + 0.4*edge
	bell := func(x float64) float64 { return depth * math.Exp2(-(x/half)*(x/half)) }
	z := func(x float64) float64 { return 10 - bell(x) - bell(x-next) - bell(x+2*next) }
	at := func(x float64) vec { return vec{X: x, Y: -5, Z: z(x)} }
	truth := phantom.Truth{Axes: phantom.Axes{Left: vec{X: 1}, Posterior: vec{Y: 1}, TowardTissue: vec{Z: 1}},
		Crest: []vec{{X: -40}, {X: 40}}, Plane: &phantom.PlaneTruth{Normal: vec{Z: 1}},
		Landmarks: map[string]vec{"labial_frenum": at(0), "buccal_frenum_left": at(next), "buccal_frenum_right": at(-2 * next)}}
	b := phantom.BorderTruth{Side: "buccal"}
	for x := -38.0; x < 38; x += 0.1 {
		b.Deg, b.Apex = append(b.Deg, x), append(b.Apex, at(x))
		b.Thickness, b.Edge, b.Joint = append(b.Thickness, edge), append(b.Edge, edge), append(b.Joint, false)
	}
	truth.Border = []phantom.BorderTruth{b}
	notch := phantom.Notch{Depth: depth, Width: width}
	c := comparison{tally: newTally(), p: phantom.Params{LabialFrenum: notch, BuccalFrenum: notch}, truth: &truth}
	if got, want := c.frontHeight(), (z(next/2)+z(-2.6*half))/2; !(math.Abs(got-want) < 0.02) {
		t.Errorf("the rim is %.3f high in front, want %.3f", got, want)
	}
}

// Match pairs the nearest, each once.
func TestMatch(t *testing.T) {
	truth := []vec{{X: 0}, {X: 2}, {X: 50}}
	found := []vec{{X: 1.9}, {X: 0.8}, {X: 20}}
	pairs, extra := match(truth, found, func(int) float64 { return 3 })
	if len(pairs) != 3 || pairs[0].found != 1 || pairs[1].found != 0 || pairs[2].found != -1 || len(extra) != 1 || extra[0] != 2 {
		t.Errorf("%v, extra %v", pairs, extra)
	}
}

func TestTallyAdds(t *testing.T) {
	a, b := newTally(), newTally()
	a.ask("x", true)
	b.ask("x", false)
	b.err("y", 3)
	b.err("y", 1)
	b.err("y", 2)
	a.add(b)
	if a.share("x") != 0.5 || a.quantile("y", 0.5) != 2 || a.within("y", 2) != 2.0/3 || !math.IsNaN(a.share("z")) {
		t.Error("sums are wrong")
	}
}

// Of a fold that takes an edge off nothing is asked, of any other all.
func TestFoldsAlongAnEdge(t *testing.T) {
	for _, turn := range []float64{edgeTurnDeg - 1, edgeTurnDeg + 1} {
		f := phantom.FoldTruth{Length: 6, Width: 1.2, Depth: 0.5, Turn: turn}
		c := comparison{tally: newTally(), truth: &phantom.Truth{Folds: []phantom.FoldTruth{f, f}}}
		c.truth.Folds[1].Middle.X = 20
		half := 3.0
		c.folds([]vec{{}}, []*inspect.Defect{{LengthMM: &half}})
		asked, left := 2, 0
		if turn > edgeTurnDeg {
			asked, left = 0, 2
		}
		if c.count("fold") != asked || len(c.errors["fold length"]) != asked/2 || c.count("fold along an edge") != left || c.count("fold invented") != 0 {
			t.Errorf("turn %g: %d asked, %d left out, %d invented", turn, c.count("fold"), c.count("fold along an edge"), c.count("fold invented"))
		}
	}
}
