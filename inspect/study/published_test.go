package study

import (
	"math"
	"testing"
)

// near reports a value that is not what a source says.
func near(t *testing.T, name string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.9g, source %.9g", name, got, want)
	}
}

// Shrout and Fleiss 1979, table 2: six targets, four judges.
var shroutFleiss = [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}}

// Mean squares and values are exact fractions of the table; the paper prints two digits of them
// (.17 .29 .71 .44 .62 .91). Intervals are known to six digits from general statistics packages.
func TestCorrelateOfShroutFleiss(t *testing.T) {
	c, err := Correlate(shroutFleiss, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "BMS", c.BetweenTargets, 1349.0/120, 1e-12)
	near(t, "WMS", c.WithinTargets, 451.0/72, 1e-12)
	near(t, "JMS", c.BetweenJudges, 2339.0/72, 1e-12)
	near(t, "EMS", c.Residual, 367.0/360, 1e-12)
	for i, w := range []struct {
		form      string
		value     float64
		printed   float64
		low, high float64
	}{
		{"ICC(1,1)", 448.0 / 2703, .17, -0.132932, 0.722560},
		{"ICC(2,1)", 184.0 / 635, .29, 0.018787, 0.761084},
		{"ICC(3,1)", 920.0 / 1287, .71, 0.342465, 0.945858},
		{"ICC(1,4)", 1792.0 / 4047, .44, -0.884442, 0.912415},
		{"ICC(2,4)", 736.0 / 1187, .62, 0.071137, 0.927232},
		{"ICC(3,4)", 3680.0 / 4047, .91, 0.675675, 0.985892},
	} {
		f := c.Forms[i]
		if f.Form != w.form || f.Interval == nil {
			t.Fatalf("form %q with interval %v, want %q", f.Form, f.Interval, w.form)
		}
		near(t, f.Form, f.Value, w.value, 1e-12)
		near(t, f.Form+" as printed", math.Round(100*f.Value)/100, w.printed, 1e-12)
		near(t, f.Form+" low", f.Interval.Low, w.low, 6e-7)
		near(t, f.Form+" high", f.Interval.High, w.high, 6e-7)
	}
	near(t, "F of model 1", *c.Forms[0].F, 1.794678, 6e-7)
	near(t, "p of model 1", *c.Forms[0].P, 0.164769, 6e-7)
	near(t, "F of model 3", *c.Forms[2].F, 11.027248, 6e-7)
	near(t, "p of model 3", *c.Forms[2].P, 0.00013457, 6e-9)
	if f := c.Forms[0]; f.DF1 != 5 || f.DF2 != 18 {
		t.Errorf("model 1 with %d and %d degrees of freedom", f.DF1, f.DF2)
	}
	if f := c.Forms[2]; f.DF1 != 5 || f.DF2 != 15 {
		t.Errorf("model 3 with %d and %d degrees of freedom", f.DF1, f.DF2)
	}
}

// Bland and Altman 1986: 17 people blow twice through a large meter and twice through a small
// one, litres per minute.
var (
	large1 = []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	large2 = []float64{490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421}
	small1 = []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	small2 = []float64{525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443}
)

func TestAgreeOfBlandAltman(t *testing.T) {
	var pairs []Pair
	for i := range large1 {
		pairs = append(pairs, Pair{string(rune('a' + i)), large1[i], small1[i]})
	}
	g, err := Agree(pairs, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bias", g.Bias, -2.1176470588, 1e-10)
	near(t, "SD", *g.SD, 38.7651298736, 1e-10)
	near(t, "lower limit", g.Limits.Low, -78.0959055, 1e-7)
	near(t, "upper limit", g.Limits.High, 73.8606114, 1e-7)
	near(t, "bias, low", g.BiasInterval.Low, -22.048838, 1e-6)
	near(t, "bias, high", g.BiasInterval.High, 17.813544, 1e-6)
	// The source's intervals lie about mean ± 2 SD: -114.1697 to -45.1261 and 40.8908 to 109.9344.
	rest := 2**g.SD - (g.Limits.High - g.Bias)
	near(t, "lower limit, low", g.LowerBA.Low-rest, -114.1697, 6e-5)
	near(t, "lower limit, high", g.LowerBA.High-rest, -45.1261, 6e-5)
	near(t, "upper limit, low", g.UpperBA.Low+rest, 40.8908, 6e-5)
	near(t, "upper limit, high", g.UpperBA.High+rest, 109.9344, 6e-5)
}

// Two repeats are a one-way table: the within-subject SD of the paper's table 2.
func TestPreciseOfBlandAltman(t *testing.T) {
	for _, c := range []struct {
		name string
		a, b []float64
		want float64
	}{{"large", large1, large2, 15.306669}, {"small", small1, small2, 19.910831}} {
		var v [][][]float64
		for i := range c.a {
			v = append(v, [][]float64{{c.a[i], c.b[i]}})
		}
		p, err := Precise(v, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.name+" meter, within-subject SD", p.SR, c.want, 1e-6)
		if p.Subjects != 17 || p.DF != 17 || p.SL != nil || p.Why == "" {
			t.Errorf("%s meter: %+v", c.name, p)
		}
	}
}

// A table worked by hand through the formulas of ISO 5725-2:1994, 7.4.5, with unequal numbers.
//
//	laboratory  results      n  mean  sum of squares
//	1           10 12        2  11    2
//	2           13 14 15     3  14    2
//	3           16           1  16    0
//	s_r² = 4/3; mean of all (22+42+16)/6 = 40/3
//	s_d² = (2 (7/3)² + 3 (2/3)² + (8/3)²)/2 = (98+12+64)/18 = 29/3
//	n = (6 - 14/6)/2 = 11/6; s_L² = (29/3 - 4/3)·6/11 = 50/11; s_R² = 50/11 + 4/3 = 194/33
func TestPreciseByHand(t *testing.T) {
	p, err := Precise([][][]float64{{{10, 12}, {13, 14, 15}, nil, {16}}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "s_r²", p.SR*p.SR, 4.0/3, 1e-12)
	near(t, "s_L²", *p.SL**p.SL, 50.0/11, 1e-12)
	near(t, "s_R²", *p.SReproduced**p.SReproduced, 194.0/33, 1e-12)
	near(t, "r", p.Limit, 2.8*math.Sqrt(4.0/3), 1e-12)
	near(t, "R", *p.LimitR, 2.8*math.Sqrt(194.0/33), 1e-12)
	if p.Conditions != 3 || p.N != 6 || p.DF != 3 || p.Negative {
		t.Errorf("%+v", p)
	}
	// Conditions whose means are equal: s_L² is below 0 and told.
	p, err = Precise([][][]float64{{{1, 3}, {0, 4}}}, 0.95)
	if err != nil || !p.Negative || *p.SL != 0 || *p.SReproduced != p.SR {
		t.Errorf("%+v %v", p, err)
	}
}
