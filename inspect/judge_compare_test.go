package inspect

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// soundComparison is one with nothing wrong: everything within some hundredths, and a layer of 0.6 mm.
func soundComparison(p Purpose) *Comparison {
	dev := func() *Deviation {
		return &Deviation{AreaMM2: 3000, RMSMM: 0.012, AbsP95MM: 0.03, MeanMM: 0.002, Lowest: Extreme{MM: -0.1, At: Vec{X: 1}}, Highest: Extreme{MM: 0.09, At: Vec{Y: 1}}}
	}
	both := func(name string) BothWays { return BothWays{Region: name, AtA: dev(), AtB: dev()} }
	c := &Comparison{Purpose: p, Overall: both("all"), Zone: both(ZoneStable), Regions: []BothWays{both(PlacePalate), both(PlaceBorder)}}
	c.Alignment = Alignment{Method: ByGlobal, Zone: ZoneStable, PlaceUMM: num(0.01)}
	if p == AsLayer {
		c.Layer = &Layer{Parts: []LayerPart{{Kind: LayerAdded, AreaMM2: 3000, Thickest: &Extreme{MM: 0.7}, DiscUMM: num(0.01), Surface: OnTissue, Region: "palate"}}}
	}
	return c
}

func thinSpot(mm float64) func(c *Comparison) {
	return func(c *Comparison) {
		c.Layer.Thin = []ThinSpot{{AreaMM2: 12, DiameterMM: 3.9, ThinnestMM: mm, Region: "palate"}}
	}
}

func cutBack(mm float64) func(c *Comparison) {
	return func(c *Comparison) {
		c.Layer.Parts = append(c.Layer.Parts, LayerPart{Kind: LayerRemoved, AreaMM2: 50, CutBackMM: num(mm), Surface: OnBorder, Region: "labial"})
	}
}

func thick(mm float64) func(c *Comparison) {
	return func(c *Comparison) { c.Layer.Parts[0].Thickest.MM = mm }
}

func zoneRMS(mm float64) func(c *Comparison) { return func(c *Comparison) { c.Zone.AtB.RMSMM = mm } }
func zoneBand(mm float64) func(c *Comparison) {
	return func(c *Comparison) { c.Zone.AtA.AbsP95MM = mm }
}
func allRMS(mm float64) func(c *Comparison) { return func(c *Comparison) { c.Overall.AtA.RMSMM = mm } }
func meanOff(mm float64) func(c *Comparison) {
	return func(c *Comparison) { c.Overall.AtB.MeanMM = mm }
}
func loose(mm float64) func(c *Comparison) {
	return func(c *Comparison) { c.Alignment.PlaceUMM = num(mm) }
}
func border(mm float64) func(c *Comparison) {
	return func(c *Comparison) { c.Regions[1].AtA.AbsP95MM = mm }
}

// uncovered leaves a share of the zone of 3000 mm2 in % without its like.
func uncovered(share float64) func(c *Comparison) {
	return func(c *Comparison) { c.Zone.AtA.UncoveredMM2 = 3000 * share / (100 - share) }
}

// For every limit a value just inside and one just outside of it.
var judgedComparisons = []struct {
	name     string
	purpose  Purpose
	change   func(c *Comparison)
	code     string
	severity Severity
	verdict  Verdict
}{
	{"same", AsRepeat, func(*Comparison) {}, "", "", Send},
	{"sound retake", AsRetake, func(*Comparison) {}, "", "", Send},
	{"sound cast", AsCast, func(*Comparison) {}, "", "", Send},
	{"true", AsReference, func(*Comparison) {}, "", "", Send},
	{"sound layer", AsLayer, func(*Comparison) {}, "", "", Send},

	{"other bytes", AsRepeat, func(c *Comparison) { c.A.SHA256, c.B.SHA256 = "a1", "b2" }, "", "", Send},
	{"the same bytes", AsRepeat, func(c *Comparison) { c.A.SHA256, c.B.SHA256 = "a1", "a1" }, "same-scan", Review, Rescan},

	{"firm", AsRetake, loose(0.029), "", "", Send},
	{"fairly firm", AsRetake, loose(0.031), "alignment-loose", Info, Send},
	{"still firm", AsRetake, loose(0.099), "alignment-loose", Info, Send},
	{"loose", AsRetake, loose(0.101), "alignment-loose", Review, Rescan},
	{"nearly too loose", AsRetake, loose(0.199), "alignment-loose", Review, Rescan},
	{"too loose", AsRetake, loose(0.201), "alignment-loose", Fail, Rescan},
	{"firmness unknown", AsRetake, func(c *Comparison) { c.Alignment.PlaceUMM = nil }, "alignment-loose", Unmeasured, Rescan},
	{"given", AsRetake, func(c *Comparison) { c.Alignment = Alignment{Method: ByPose} }, "alignment-given", Info, Send},

	{"covered", AsRetake, uncovered(4.9), "", "", Send},
	{"hardly uncovered", AsRetake, uncovered(5.1), "compare-uncovered", Info, Send},
	{"fairly covered", AsRetake, uncovered(19.9), "compare-uncovered", Info, Send},
	{"uncovered", AsRetake, uncovered(20.1), "compare-uncovered", Review, Rescan},
	{"half covered", AsRetake, uncovered(49.9), "compare-uncovered", Review, Rescan},
	{"mostly uncovered", AsRetake, uncovered(50.1), "compare-uncovered", Fail, Rescan},
	{"nothing in common", AsRetake, func(c *Comparison) { c.Zone = BothWays{Unmeasured: "no place"} }, "unmeasured-comparison", Unmeasured, Rescan},

	{"impressions agree", AsRetake, zoneRMS(0.199), "", "", Send},
	{"impressions agree as is usual", AsRetake, zoneRMS(0.201), "retake-deviation", Info, Send},
	{"impressions agree well enough", AsRetake, zoneRMS(0.299), "retake-deviation", Info, Send},
	{"impressions differ", AsRetake, zoneRMS(0.301), "retake-deviation", Review, Retake},
	{"impressions differ much", AsRetake, zoneRMS(0.499), "retake-deviation", Review, Retake},
	{"impressions differ too much", AsRetake, zoneRMS(0.501), "retake-deviation", Fail, Retake},
	{"known to differ too much or not", AsRetake, func(c *Comparison) { c.Zone.AtB.RMSMM, c.Zone.AtB.RMSUMM = 0.51, 0.02 }, "retake-deviation", Review, Retake},
	{"borders agree", AsRetake, border(0.49), "", "", Send},
	{"borders differ a little", AsRetake, border(0.51), "retake-border", Info, Send},
	{"borders differ as is usual", AsRetake, border(1.49), "retake-border", Info, Send},
	{"borders differ", AsRetake, border(1.51), "retake-border", Review, Correct},
	{"borders differ much", AsRetake, border(2.99), "retake-border", Review, Correct},
	{"borders differ too much", AsRetake, border(3.01), "retake-border", Fail, Correct},

	{"good cast", AsCast, zoneRMS(0.049), "", "", Send},
	{"nearly good cast", AsCast, zoneRMS(0.051), "cast-deviation", Info, Send},
	{"cast still good", AsCast, zoneRMS(0.099), "cast-deviation", Info, Send},
	{"fair cast", AsCast, zoneRMS(0.101), "cast-deviation", Review, Rescan},
	{"cast still fair", AsCast, zoneRMS(0.199), "cast-deviation", Review, Rescan},
	{"bad cast", AsCast, zoneRMS(0.201), "cast-deviation", Fail, Rescan},
	{"even cast", AsCast, zoneBand(0.299), "", "", Send},
	{"uneven cast", AsCast, zoneBand(0.301), "cast-spread", Review, Rescan},
	{"quite uneven cast", AsCast, zoneBand(0.599), "cast-spread", Review, Rescan},
	{"too uneven cast", AsCast, zoneBand(0.601), "cast-spread", Fail, Rescan},

	{"precise", AsRepeat, allRMS(0.0299), "", "", Send},
	{"nearly precise", AsRepeat, allRMS(0.0301), "repeat-deviation", Info, Send},
	{"fairly precise", AsRepeat, allRMS(0.0499), "repeat-deviation", Info, Send},
	{"not precise", AsRepeat, allRMS(0.0501), "repeat-deviation", Review, Rescan},
	{"hardly precise", AsRepeat, allRMS(0.0999), "repeat-deviation", Review, Rescan},
	{"imprecise", AsRepeat, allRMS(0.1001), "repeat-deviation", Fail, Rescan},

	{"trueness", AsReference, allRMS(0.0499), "", "", Send},
	{"nearly true", AsReference, allRMS(0.0501), "reference-deviation", Info, Send},
	{"fairly true", AsReference, allRMS(0.0999), "reference-deviation", Info, Send},
	{"not true", AsReference, allRMS(0.1001), "reference-deviation", Review, Rescan},
	{"hardly true", AsReference, allRMS(0.1999), "reference-deviation", Review, Rescan},
	{"untrue", AsReference, allRMS(0.2001), "reference-deviation", Fail, Rescan},
	{"no bias", AsReference, meanOff(-0.0299), "", "", Send},
	{"a trace of bias", AsReference, meanOff(-0.0301), "reference-bias", Info, Send},
	{"little bias", AsReference, meanOff(0.0499), "reference-bias", Info, Send},
	{"biased", AsReference, meanOff(0.0501), "reference-bias", Review, Rescan},
	{"much biased", AsReference, meanOff(-0.0999), "reference-bias", Review, Rescan},
	{"too much biased", AsReference, meanOff(-0.1001), "reference-bias", Fail, Rescan},

	{"thin enough to list", AsLayer, thinSpot(0.151), "", "", Send},
	{"thin", AsLayer, thinSpot(0.149), "layer-thin", Review, Correct},
	{"hardly there", AsLayer, thinSpot(0.051), "layer-thin", Review, Correct},
	{"shows through", AsLayer, thinSpot(0.049), "layer-thin", Fail, Correct},
	{"no layer there", AsLayer, thinSpot(-0.01), "layer-thin", Fail, Correct},
	{"usual thickness", AsLayer, thick(1.49), "", "", Send},
	{"more than usual", AsLayer, thick(1.51), "layer-thick", Info, Send},
	{"still not thick", AsLayer, thick(2.99), "layer-thick", Info, Send},
	{"thick", AsLayer, thick(3.01), "layer-thick", Review, Correct},
	{"quite thick", AsLayer, thick(4.98), "layer-thick", Review, Correct},
	{"too thick", AsLayer, thick(5.02), "layer-thick", Fail, Correct},
	{"a rim was added", AsLayer, func(c *Comparison) { thick(12)(c); c.Layer.Parts[0].Surface = OnOuter }, "", "", Send},
	{"thickness unknown", AsLayer, func(c *Comparison) { c.Layer.Parts[0].Thickest = nil }, "layer-thick", Unmeasured, Rescan},
	{"touched", AsLayer, cutBack(0.19), "", "", Send},
	{"trimmed a little", AsLayer, cutBack(0.21), "cut-back", Info, Send},
	{"trimmed", AsLayer, cutBack(2.99), "cut-back", Info, Send},
	{"trimmed much", AsLayer, cutBack(3.01), "cut-back", Review, Correct},
	{"trimmed very much", AsLayer, cutBack(5.99), "cut-back", Review, Correct},
	{"cut away", AsLayer, cutBack(6.01), "cut-back", Fail, Correct},
	{"cut unmeasured", AsLayer, func(c *Comparison) { cutBack(1)(c); c.Layer.Parts[1].CutBackMM = nil }, "cut-back", Unmeasured, Rescan},
	{"no layer", AsLayer, func(c *Comparison) { c.Layer, c.LayerUnmeasured = nil, "no place in common" }, "unmeasured-layer", Unmeasured, Rescan},
}

func TestJudgeComparison(t *testing.T) {
	p := DefaultProtocol()
	for _, c := range judgedComparisons {
		t.Run(c.name, func(t *testing.T) {
			r := soundComparison(c.purpose)
			c.change(r)
			findings, verdict := JudgeComparison(r, p)
			if verdict != c.verdict {
				t.Errorf("verdict %q, want %q: %+v", verdict, c.verdict, findings)
			}
			told := c.code == ""
			for _, f := range findings {
				told = told || f.Code == c.code && f.Severity == c.severity
				if f.Severity.gravity() > max(c.severity.gravity(), Info.gravity()) || c.code == "" {
					t.Errorf("more than expected: %s %s", f.Severity, f.Code)
				}
			}
			if !told {
				t.Errorf("no %s %s in %+v", c.severity, c.code, findings)
			}
			again, _ := JudgeComparison(r, p)
			if d := cmp.Diff(findings, again); d != "" {
				t.Errorf("a second judgement differs: %s", d)
			}
			checkForm(t, findings)
		})
	}
}

// The larger of both ways is judged, and the farthest place of either is where it is shown.
func TestWorseOfBothWays(t *testing.T) {
	w := &BothWays{AtA: &Deviation{RMSMM: 0.2, RMSUMM: 0.01, MeanMM: 0.1, Highest: Extreme{MM: 0.5, At: Vec{X: 1}}},
		AtB: &Deviation{RMSMM: 0.1, MeanMM: -0.3, Lowest: Extreme{MM: -0.7, At: Vec{X: 2}}}}
	if v, u := Larger(w, rmsOf); v != 0.2 || u != 0.01 {
		t.Errorf("RMS %v ± %v", v, u)
	}
	if v, _ := Larger(w, meanOf); v != -0.3 {
		t.Errorf("mean %v", v)
	}
	if v, _ := Larger(&BothWays{AtA: w.AtA}, rmsOf); !math.IsNaN(v) {
		t.Errorf("one way only: %v", v)
	}
	if f := farthest(w); f.MM != -0.7 || f.At.X != 2 {
		t.Errorf("farthest %v", f)
	}
}

func TestComparisonSaysWhichSide(t *testing.T) {
	c := soundComparison(AsCast)
	c.Zone.AtB.RMSMM, c.Zone.AtA.Lowest = 0.3, Extreme{MM: -1.2}
	f, _ := JudgeComparison(c, DefaultProtocol())
	if len(f) == 0 || !strings.Contains(f[0].Text, "1.2 mm too high") {
		t.Errorf("%+v", f)
	}
	c = soundComparison(AsReference)
	c.Overall.AtA.MeanMM = -0.2
	f, _ = JudgeComparison(c, DefaultProtocol())
	if len(f) == 0 || !strings.Contains(f[0].Text, "0.200 mm inside") {
		t.Errorf("%+v", f)
	}
}
