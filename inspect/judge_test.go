package inspect

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func num(v float64) *float64 { return &v }
func yes(v bool) *bool       { return &v }

// soundResults is an impression with nothing wrong: borders 3 mm, 2.9 mm past each notch or 6 mm
// over each pad, a flat rim at 9 degrees of pitch, which is no fault by itself.
func soundResults(jaw Jaw) *Results {
	r := &Results{
		Scan:      ScanInfo{File: "a.stl", Faces: 120000, Vertices: 60000, Unit: "mm", UnitToMM: 1},
		Jaw:       jaw,
		Surface:   Impression,
		Coverage:  TwoSided,
		Frame:     &Frame{Left: Vec{X: 1}, Posterior: Vec{Y: 1}, TowardTissue: Vec{Z: 1}},
		Quality:   Quality{EdgeMedianMM: 0.28, NoiseMM: num(0.012), Components: 1},
		Landmarks: map[string]Landmark{},
		Occlusal: &Occlusal{
			FlatnessMM: 0.1,
			Tilts:      map[string]Tilt{"hamular-papilla": {CantDeg: 0.4, PitchDeg: 9}},
			RimHeight:  RimHeight{Anterior: num(22), Left: num(18), Right: num(18)},
		},
	}
	for deg := -90; deg < 90; deg++ {
		a := float64(deg) * math.Pi / 180
		region := "labial"
		switch {
		case deg < -45:
			region = "buccal right"
		case deg > 45:
			region = "buccal left"
		}
		r.Border.Stations = append(r.Border.Stations, Station{
			SMM: 30 * a, Side: "outer", Apex: Vec{X: 30 * math.Sin(a), Y: -30 * math.Cos(a), Z: 10},
			ThicknessMM: num(3), HeightMM: num(10), Region: region,
		})
	}
	for _, name := range []string{"buccal right", "labial", "buccal left"} {
		r.Border.Regions = append(r.Border.Regions, BorderRegion{Region: name, LengthMM: 30, Measured: 50, MinMM: num(3), MedianMM: num(3), MaxMM: num(3)})
	}
	if jaw == Upper {
		side := func(x float64) *PosteriorSide {
			return &PosteriorSide{ReachesNotch: yes(true), ExtensionMM: num(2.9), Rearmost: &Vec{X: x, Y: 40}}
		}
		r.Posterior = Posterior{Left: side(25), Right: side(-25)}
		for name, x := range map[string]float64{"hamular_notch_left": 25, "hamular_notch_right": -25} {
			r.Landmarks[name] = Landmark{Point: Vec{X: x, Y: 37.1}, UncertaintyMM: 1.5}
		}
	} else {
		side := func() *PosteriorSide {
			return &PosteriorSide{PastPadFrontMM: num(6), SummitReached: yes(true), Rearmost: &Vec{Y: 40}}
		}
		r.Posterior = Posterior{Left: side(), Right: side()}
		r.Occlusal.Tilts = map[string]Tilt{"crest": {CantDeg: 0.4, PitchDeg: 2}}
		r.Occlusal.RimHeight.Anterior = num(18)
	}
	return r
}

// thinned sets the thickness over an arc of the border.
func thinned(r *Results, fromDeg, toDeg int, mm float64) {
	for i := range r.Border.Stations {
		if d := i - 90; d >= fromDeg && d < toDeg {
			r.Border.Stations[i].ThicknessMM = num(mm)
		}
	}
}

func hole(diameter float64, surface string) Hole {
	return Hole{AreaMM2: math.Pi / 4 * diameter * diameter, SpanMM: diameter, Surface: surface, Region: "palate"}
}

func void(diameter, depth float64) Defect {
	return Defect{Kind: Void, DiameterMM: num(diameter), DepthMM: depth, Surface: OnTissue, Region: "palate"}
}

var judged = []struct {
	name     string
	jaw      Jaw
	change   func(r *Results)
	code     string // that must be told; nothing graver may be. "": remarks only
	severity Severity
	verdict  Verdict
}{
	{"sound upper", Upper, func(r *Results) {}, "", "", Send},
	{"sound lower", Lower, func(r *Results) {}, "", "", Send},
	{"fair", Lower, func(r *Results) { r.Quality.EdgeMedianMM = 0.45 }, "scan-coarse", Info, Send},
	{"coarse", Upper, func(r *Results) { r.Quality.EdgeMedianMM = 0.7 }, "scan-coarse", Review, Rescan},
	{"no edge length", Upper, func(r *Results) { r.Quality.EdgeMedianMM = 0 }, "scan-coarse", Unmeasured, Rescan},
	{"noisy", Upper, func(r *Results) { r.Quality.NoiseMM = num(0.08) }, "scan-noisy", Fail, Rescan},
	{"noise of a good scan", Upper, func(r *Results) { r.Quality.NoiseMM = num(0.02) }, "", "", Send},
	{"noise not a number", Upper, func(r *Results) { r.Quality.NoiseMM = num(math.NaN()) }, "scan-noisy", Unmeasured, Rescan},
	{"noise unmeasured", Upper, func(r *Results) { r.Quality.NoiseMM = nil }, "unmeasured-noise", Info, Send},
	{"flawed", Upper, func(r *Results) { r.Quality.NonManifoldEdges = 3000 }, "scan-flawed", Fail, Rescan},
	{"crossing", Upper, func(r *Results) { r.Quality.SelfIntersections = 2000 }, "scan-flawed", Review, Rescan},
	{"pieces", Upper, func(r *Results) { r.Quality.Components = 2 }, "scan-pieces", Review, Rescan},
	{"specks", Upper, func(r *Results) { r.Quality.Components, r.Quality.SmallComponents = 5, 4 }, "", "", Send},
	{"inches", Upper, func(r *Results) { r.Scan.Unit = "inch" }, "scan-unit", Fail, Rescan},
	{"inches, told", Upper, func(r *Results) { r.Scan.Unit, r.Scan.UnitToMM = "inch", 25.4 }, "", "", Send},
	{"one side", Upper, func(r *Results) {
		r.Coverage, r.Occlusal, r.Border.ThicknessUnmeasured = TissueSide, nil, "the outer surface was not scanned"
		for i := range r.Border.Stations {
			r.Border.Stations[i].ThicknessMM = nil
		}
	}, "scan-tissue-side-only", Fail, Rescan},
	{"inside out", Lower, func(r *Results) { r.InsideOut = true }, "scan-inside-out", Info, Send},
	{"table", Lower, func(r *Results) { r.LeftOut = []LeftOut{{What: LeftTable, Pieces: 1, Faces: 9}} }, "scan-file", Info, Send},
	{"odd file", Lower, func(r *Results) { r.Scan.Note = "The file holds 2 solids." }, "scan-file", Info, Send},
	{"cast", Upper, func(r *Results) { r.Surface = Cast }, "not-impression", Fail, Rescan},
	{"no frame", Upper, func(r *Results) { r.Frame = nil }, "unmeasured-jaw", Unmeasured, Rescan},

	{"hole of 3 mm", Upper, func(r *Results) { r.Holes = []Hole{hole(3, OnTissue)} }, "hole", Review, Rescan},
	{"hole of 5 mm", Upper, func(r *Results) { r.Holes = []Hole{hole(5, OnTissue)} }, "hole", Fail, Rescan},
	{"hole on the border", Upper, func(r *Results) { r.Holes = []Hole{hole(1, OnBorder)} }, "hole", Review, Rescan},
	{"small hole", Upper, func(r *Results) { r.Holes = []Hole{hole(1, OnTissue)} }, "hole", Info, Send},
	{"hole outside", Upper, func(r *Results) { r.Holes = []Hole{hole(5, OnOuter)} }, "hole", Info, Send},
	{"hole at an unknown place", Upper, func(r *Results) { r.Holes = []Hole{hole(5, "")} }, "hole", Fail, Rescan},

	{"void of 2 mm", Upper, func(r *Results) { r.Defects = []Defect{void(2, 0.8)} }, "void", Review, Correct},
	{"void of 2 mm, deep", Upper, func(r *Results) { r.Defects = []Defect{void(2, 1.2)} }, "void", Fail, Correct},
	{"void of 6 mm", Upper, func(r *Results) { r.Defects = []Defect{void(6, 0.8)} }, "void", Fail, Retake},
	{"void of 1.2 mm", Upper, func(r *Results) { r.Defects = []Defect{void(1.2, 0.4)} }, "void", Info, Send},
	{"void of 1.2 mm on the crest", Upper, func(r *Results) {
		r.Defects, r.Crest = []Defect{void(1.2, 0.4)}, []Vec{{X: -5, Y: 1}, {X: 5, Y: 1}}
	}, "void", Review, Correct},
	{"void of unknown width", Upper, func(r *Results) {
		r.Defects = []Defect{{Kind: Void, DepthMM: 0.5, Surface: OnTissue}}
	}, "void", Unmeasured, Correct},
	{"many voids", Upper, func(r *Results) {
		r.TissueAreaMM2 = 3000
		for x := range 20 {
			d := void(1.2, 0.5)
			d.Centre = Vec{X: float64(4 * x)}
			r.Defects = append(r.Defects, d)
		}
	}, "void-share", Review, Correct},
	{"void as wide as its limit", Upper, func(r *Results) {
		d := void(3.1, 0.5)
		d.DiameterUMM = num(0.2)
		r.Defects = []Defect{d}
	}, "void", Review, Correct},
	{"void known to be wider than its limit", Upper, func(r *Results) {
		d := void(3.1, 0.5)
		d.DiameterUMM = num(0.05)
		r.Defects = []Defect{d}
	}, "void", Fail, Correct},
	{"void that may be deep", Upper, func(r *Results) {
		d := void(2, 1.05)
		d.DepthUMM = 0.1
		r.Defects = []Defect{d}
	}, "void", Review, Correct},
	{"deep void", Upper, func(r *Results) { r.Defects = []Defect{void(2, 1.05)} }, "void", Fail, Correct},
	{"fold as deep as its limit", Upper, func(r *Results) {
		r.Defects = []Defect{{Kind: Fold, LengthMM: num(8), DepthMM: 0.52, DepthUMM: 0.05, Surface: OnTissue}}
	}, "fold", Review, Correct},
	{"hole as wide as its limit", Upper, func(r *Results) {
		h := hole(3.1, OnTissue)
		h.AreaUMM2 = 0.2 * h.AreaMM2 // 10 % of the diameter
		r.Holes = []Hole{h}
	}, "hole", Review, Rescan},
	{"bleb", Upper, func(r *Results) { d := void(3.5, 0.7); d.Kind = Bleb; r.Defects = []Defect{d} }, "bleb", Fail, Correct},
	{"fold", Upper, func(r *Results) {
		r.Defects = []Defect{{Kind: Fold, LengthMM: num(8), WidthMM: num(1), DepthMM: 0.4, Surface: OnTissue}}
	}, "fold", Review, Correct},
	{"fold over the crest", Upper, func(r *Results) {
		r.Crest = []Vec{{X: -5}, {X: 5}}
		r.Defects = []Defect{{Kind: Fold, LengthMM: num(8), WidthMM: num(1), DepthMM: 1.1, Surface: OnTissue}}
	}, "fold", Fail, Retake},
	{"void on the outer surface", Lower, func(r *Results) { d := void(4, 1); d.Surface = OnOuter; r.Defects = []Defect{d} }, "", "", Send},

	{"thin border", Upper, func(r *Results) { thinned(r, 20, 40, 1.2) }, "border-thin", Review, Correct},
	{"very thin border", Lower, func(r *Results) { thinned(r, 20, 40, 0.8) }, "border-thin", Fail, Correct},
	{"border as thin as its limit", Lower, func(r *Results) {
		thinned(r, 20, 40, 0.95)
		for i := range r.Border.Stations {
			r.Border.Stations[i].ThicknessUMM = num(0.1)
		}
	}, "border-thin", Review, Correct},
	{"border too uncertain to pass", Lower, func(r *Results) {
		thinned(r, 20, 40, 1.6)
		for i := range r.Border.Stations {
			r.Border.Stations[i].ThicknessUMM = num(0.7)
		}
	}, "border-thin", Review, Correct},
	{"one thin station", Lower, func(r *Results) { thinned(r, 20, 22, 0.8) }, "", "", Send},
	{"thick border", Upper, func(r *Results) { thinned(r, 60, 80, 7) }, "border-thick", Review, Correct},
	{"thick border within its region", Upper, func(r *Results) { thinned(r, 60, 80, 5.2) }, "", "", Send},
	{"low border", Upper, func(r *Results) {
		for i := range 40 {
			r.Border.Stations[i].HeightMM = num(-1)
		}
	}, "border-short", Fail, Correct},
	{"border lower on one side", Upper, func(r *Results) {
		for i := 20; i < 40; i++ {
			r.Border.Stations[i].HeightMM = num(6)
		}
	}, "border-short", Review, Correct},
	{"a notch on one side", Upper, func(r *Results) {
		for i := 30; i < 38; i++ {
			r.Border.Stations[i].HeightMM = num(6)
		}
	}, "", "", Send},
	{"uneven border", Upper, func(r *Results) { r.Border.Regions[0].MedianMM = num(7.5) }, "border-uneven", Review, Correct},
	{"no border", Upper, func(r *Results) { r.Border = Border{Unmeasured: "no roll"} }, "unmeasured-border", Unmeasured, Rescan},
	{"half the border", Upper, func(r *Results) {
		for i := range 40 {
			r.Border.Stations[i].ThicknessMM = nil
		}
	}, "unmeasured-border", Unmeasured, Rescan},

	{"short on both sides", Upper, func(r *Results) {
		for _, s := range []*PosteriorSide{r.Posterior.Left, r.Posterior.Right} {
			s.ReachesNotch, s.ExtensionMM, s.Rearmost.Y = yes(false), nil, 33.1
		}
	}, "posterior-short", Fail, Retake},
	{"short on one side", Upper, func(r *Results) {
		r.Posterior.Left.ReachesNotch, r.Posterior.Left.ExtensionMM = yes(false), nil
	}, "posterior-short", Fail, Correct},
	{"perhaps short on both sides", Upper, func(r *Results) {
		for _, s := range []*PosteriorSide{r.Posterior.Left, r.Posterior.Right} {
			s.ReachesNotch, s.ExtensionMM, s.Rearmost.Y = yes(false), nil, 36.5
		}
	}, "posterior-short", Review, Correct},
	{"hardly past the notch", Upper, func(r *Results) { r.Posterior.Left.ExtensionMM = num(0.5) }, "posterior-short", Review, Correct},
	{"over-long", Upper, func(r *Results) { r.Posterior.Left.ExtensionMM = num(9) }, "posterior-long", Fail, Correct},
	{"notch unknown", Upper, func(r *Results) { r.Posterior.Left = nil }, "unmeasured-posterior", Unmeasured, Rescan},
	{"extension not a number", Upper, func(r *Results) { r.Posterior.Left.ExtensionMM = num(math.NaN()) }, "unmeasured-posterior", Unmeasured, Rescan},
	{"no posterior end", Lower, func(r *Results) { r.Posterior = Posterior{} }, "unmeasured-posterior", Unmeasured, Rescan},
	{"pad hardly covered", Lower, func(r *Results) { r.Posterior.Right.PastPadFrontMM = num(1.5) }, "pad-short", Fail, Correct},
	{"no pad on one side", Lower, func(r *Results) {
		r.Posterior.Right = &PosteriorSide{SummitReached: yes(false), Unmeasured: "no pad"}
	}, "pad-short", Fail, Correct},
	{"no pads", Lower, func(r *Results) {
		r.Posterior.Right = &PosteriorSide{SummitReached: yes(false)}
		r.Posterior.Left = &PosteriorSide{SummitReached: yes(false)}
	}, "pad-short", Fail, Retake},
	{"summit not covered", Lower, func(r *Results) { r.Posterior.Right.SummitReached = yes(false) }, "pad-short", Review, Correct},
	{"past the pad", Lower, func(r *Results) { r.Posterior.Right.PastPadFrontMM = num(20) }, "pad-long", Fail, Correct},

	{"cant of 3 degrees", Lower, func(r *Results) { r.Occlusal.Tilts["crest"] = Tilt{CantDeg: -3} }, "rim-canted", Review, Correct},
	{"cant of 5 degrees", Lower, func(r *Results) { r.Occlusal.Tilts["crest"] = Tilt{CantDeg: 5} }, "rim-canted", Fail, Correct},
	{"canted as far as its limit", Lower, func(r *Results) { r.Occlusal.Tilts["crest"] = Tilt{CantDeg: 4.1, UDeg: 0.3} }, "rim-canted", Review, Correct},
	{"uneven as far as its limit", Lower, func(r *Results) { r.Occlusal.FlatnessMM, r.Occlusal.FlatnessUMM = 1.02, 0.05 }, "rim-uneven", Review, Correct},
	{"level against what was given", Lower, func(r *Results) {
		r.Occlusal.Tilts["crest"], r.Occlusal.Tilts["given"] = Tilt{CantDeg: 5}, Tilt{}
	}, "", "", Send},
	{"pitched a little", Upper, func(r *Results) {}, "rim-pitched", Info, Send},
	{"pitched", Upper, func(r *Results) { r.Occlusal.Tilts["hamular-papilla"] = Tilt{PitchDeg: -16} }, "rim-pitched", Review, Correct},
	{"no reference", Upper, func(r *Results) { r.Occlusal.Tilts = nil }, "unmeasured-rim", Unmeasured, Rescan},
	{"wavy rim", Upper, func(r *Results) { r.Occlusal.FlatnessMM = 0.8 }, "rim-uneven", Review, Correct},
	{"chipped rim", Upper, func(r *Results) { r.Occlusal.Chips = []Chip{{AreaMM2: 12, DepthMM: 2}} }, "rim-chipped", Review, Correct},
	{"low rim", Upper, func(r *Results) { r.Occlusal.RimHeight.Anterior = num(12) }, "rim-height", Review, Correct},
	{"rim without a height", Lower, func(r *Results) { r.Occlusal.RimHeight.Anterior = nil }, "unmeasured-rim", Info, Send},
	{"no rim", Lower, func(r *Results) { r.Occlusal, r.OcclusalUnmeasured = nil, NoRim+": the oral surface is smooth" }, "rim-missing", Info, Send},
	{"rim lost", Upper, func(r *Results) { r.Occlusal, r.OcclusalUnmeasured = nil, "too few faces" }, "unmeasured-rim", Unmeasured, Rescan},
}

func TestJudge(t *testing.T) {
	p := DefaultProtocol()
	for _, c := range judged {
		t.Run(c.name, func(t *testing.T) {
			r := soundResults(c.jaw)
			c.change(r)
			findings, verdict := Judge(r, p)
			if verdict != c.verdict {
				t.Errorf("verdict %q, want %q: %+v", verdict, c.verdict, findings)
			}
			told := c.code == ""
			for _, f := range findings {
				told = told || f.Code == c.code && f.Severity == c.severity
				if f.Severity.gravity() > max(c.severity.gravity(), Info.gravity()) {
					t.Errorf("graver than expected: %s %s", f.Severity, f.Code)
				}
			}
			if !told {
				t.Errorf("no %s %s in %+v", c.severity, c.code, findings)
			}
			again, _ := Judge(r, p)
			if d := cmp.Diff(findings, again); d != "" {
				t.Errorf("a second judgement differs: %s", d)
			}
			checkForm(t, findings)
		})
	}
}

// checkForm holds for the findings of every scan.
func checkForm(t *testing.T, findings []Finding) {
	number, gravity := 0, 99
	for _, f := range findings {
		if g := f.Severity.gravity(); g > gravity {
			t.Errorf("%s stands behind something lighter", f.Code)
		} else {
			gravity = g
		}
		drawn := len(f.Where.Points)+len(f.Where.Path) > 0
		if drawn {
			number++
		}
		if drawn && f.Number != number || !drawn && f.Number != 0 {
			t.Errorf("%s has number %d", f.Code, f.Number)
		}
		if !strings.HasSuffix(f.Text, ".") || strings.Contains(f.Text, "NaN") || strings.Contains(f.Text, "%!") {
			t.Errorf("%s says %q", f.Code, f.Text)
		}
		if (f.Severity == Info) != (f.Action == Send) {
			t.Errorf("%s of severity %s asks for %s", f.Code, f.Severity, f.Action)
		}
		if f.Severity == Unmeasured && f.Code[:4] != "unme" && f.Value != nil {
			t.Errorf("%s is unmeasured and has the value %v", f.Code, *f.Value)
		}
	}
}

// Every code has a help page, every help page's code can be found, and every limit that a page
// names is in the protocol, each limit on some page.
func TestExplanationsMatchJudge(t *testing.T) {
	p := DefaultProtocol()
	found := map[string]bool{}
	for _, c := range judged {
		r := soundResults(c.jaw)
		c.change(r)
		findings, _ := Judge(r, p)
		for _, f := range findings {
			found[f.Code] = true
		}
	}
	for _, c := range judgedComparisons {
		r := soundComparison(c.purpose)
		c.change(r)
		findings, _ := JudgeComparison(r, p)
		for _, f := range findings {
			found[f.Code] = true
		}
	}
	for _, c := range judgedRelations {
		r := soundRelation()
		c.change(r)
		findings, _ := JudgeRelation(r, p)
		for _, f := range findings {
			found[f.Code] = true
		}
	}
	named := map[string]bool{}
	for _, e := range Explanations() {
		if !found[e.Code] {
			t.Errorf("no case finds %s", e.Code)
		}
		delete(found, e.Code)
		for _, s := range []string{e.Title, e.What, e.How, e.Reasons, e.CannotSee, e.Source} {
			if s == "" {
				t.Errorf("%s: a part of its page is missing", e.Code)
			}
		}
		for _, l := range e.Limits {
			named[l] = true
			if len(p.Limits.describe(l)) == 0 {
				t.Errorf("%s names the limit %s, which is none", e.Code, l)
			}
		}
	}
	for code := range found {
		t.Errorf("%s has no help page", code)
	}
	for _, l := range p.Limits.all() {
		if name, _, _ := strings.Cut(l.name, ".region."); !named[name] {
			t.Errorf("no help page names the limit %s", name)
		}
	}
	for _, r := range p.Limits.rules() {
		if !named[r.name] {
			t.Errorf("no help page names the rule %s", r.name)
		}
	}
}
