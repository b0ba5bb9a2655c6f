package study

import (
	"math"
	"slices"
	"testing"
)

func close(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

func interval(t *testing.T, what string, got *Interval, low, high, within float64) {
	t.Helper()
	if got == nil {
		t.Errorf("%s: none", what)
		return
	}
	close(t, what+", low", got.Low, low, within)
	close(t, what+", high", got.High, high, within)
}

// NIST Statistical Reference Datasets, univariate summary statistics: NumAcc1 to NumAcc4, Michelson
// and Mavro; certified means and standard deviations. Sums of squares lose NumAcc3 and 4.
func TestMomentsOfReferenceData(t *testing.T) {
	alternating := func(base float64) []float64 {
		x := []float64{base + 0.2}
		for range 500 {
			x = append(x, base+0.1, base+0.3)
		}
		return x
	}
	with := func(base, scale float64, at ...int) (x []float64) {
		for _, v := range at {
			x = append(x, base+float64(v)/scale)
		}
		return x
	}
	mavro := with(2, 1e4, 18, 17, 18, 19, 18, 17, 15, 14, 15, 15, 17, 18, 18, 19, 19, 21, 20, 16, 14, 13, 13, 15, 15, 16, 15, 14, 13, 14, 15, 14, 15, 16, 15, 16, 19, 20, 20,
		21, 22, 23, 24, 25, 27, 26, 26, 26, 27, 26, 25, 24)
	michelson := with(299, 100, 85, 74, 90, 107, 93, 85, 95, 98, 98, 88, 100, 98, 93, 65, 76, 81, 100, 100, 96, 96, 96, 94, 96, 94, 88, 80, 85, 88, 90, 84, 83, 79, 81, 88, 88, 83,
		80, 79, 76, 80, 88, 88, 88, 86, 72, 72, 62, 86, 97, 95, 88, 91, 85, 87, 84, 84, 85, 84, 84, 84, 89, 81, 81, 82, 80, 77, 76, 74, 75, 76, 91, 92, 89, 86, 88, 72, 84, 85, 85, 78,
		89, 84, 78, 81, 76, 81, 79, 81, 82, 85, 87, 87, 81, 74, 81, 94, 95, 80, 81, 87)
	for _, c := range []struct {
		name     string
		x        []float64
		mean, sd float64
		within   float64 // relative, of the SD: what the digits of the data as stored leave
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, 1e-15},
		{"NumAcc2", alternating(1), 1.2, 0.1, 1e-14},
		{"NumAcc3", alternating(1000000), 1000000.2, 0.1, 1e-9},
		{"NumAcc4", alternating(10000000), 10000000.2, 0.1, 1e-8},
		{"Mavro", mavro, 2.001856, 0.000429123454003053, 1e-12},
		{"Michelson", michelson, 299.8524, 0.0790105478190518, 1e-12},
	} {
		mean, variance := moments(c.x)
		close(t, c.name+", mean", mean, c.mean, 1e-15*c.mean+1e-15)
		close(t, c.name+", SD", math.Sqrt(variance), c.sd, c.within*c.sd)
	}
}

// Student's t and chi square for four degrees of freedom at 97.5 %, from handbook tables: 2.776 and
// 11.143, and 0.484 at 2.5 %.
func TestDescribe(t *testing.T) {
	s := Describe([]float64{1, 2, math.NaN(), 4, 8, 10, math.Inf(1)}, 0.95)
	if s.N != 5 || s.Missing != 2 || *s.Min != 1 || *s.Max != 10 || *s.Median != 4 || *s.Q1 != 2 || *s.Q3 != 8 {
		t.Errorf("%+v", s)
	}
	sd := math.Sqrt((16 + 9 + 1 + 9 + 25) / 4.0)
	close(t, "mean", *s.Mean, 5, 1e-14)
	close(t, "SD", *s.SD, sd, 1e-14)
	half := 2.776 * sd / math.Sqrt(5)
	interval(t, "mean", s.MeanCI, 5-half, 5+half, 2e-3)
	interval(t, "SD", s.SDCI, sd*math.Sqrt(4/11.143), sd*math.Sqrt(4/0.484), 0.01)
	for _, c := range [][]float64{nil, {math.NaN()}, {3}} {
		if s := Describe(c, 0.95); s.Why == "" || s.SD != nil || s.MeanCI != nil {
			t.Errorf("%v: %+v", c, s)
		}
	}
	// Of 1 to 4 the quartiles are 1.75 and 3.25 (Hyndman and Fan's seventh).
	close(t, "quartile", Quantile([]float64{1, 2, 3, 4}, 0.25), 1.75, 1e-15)
	close(t, "quartile", Quantile([]float64{1, 2, 3, 4}, 0.75), 3.25, 1e-15)
}

// Shrout & Fleiss, Psychological Bulletin 1979;86:420: six subjects, four judges; mean squares, the six
// coefficients as published to two digits and worked exactly as fractions, intervals, F and p.
func TestIntraclassWorkedExample(t *testing.T) {
	rows := [][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}}
	a := Intraclass(append(slices.Clone(rows), []float64{1, math.NaN(), 3, 4}, []float64{1, 2}), 0.95)
	if a.Subjects != 6 || a.Judges != 4 || a.Dropped != 2 || a.Why != "" {
		t.Errorf("%+v", a)
	}
	close(t, "BMS", a.BMS, 1349.0/120, 1e-12)
	close(t, "WMS", a.WMS, 451.0/72, 1e-12)
	close(t, "JMS", a.JMS, 2339.0/72, 1e-12)
	close(t, "EMS", a.EMS, 367.0/360, 1e-12)
	for i, c := range []struct {
		form             string
		v, low, high     float64
		f, df2, p, print float64
	}{
		{OneWay, 448.0 / 2703, -0.132932, 0.722560, 1.794678, 18, 0.164769, 0.17},
		{TwoWayRandom, 184.0 / 635, 0.018787, 0.761084, 11.027248, 15, 0.00013457, 0.29},
		{TwoWayFixed, 920.0 / 1287, 0.342465, 0.945858, 11.027248, 15, 0.00013457, 0.71},
		{OneWayMean, 1792.0 / 4047, -0.884442, 0.912415, 1.794678, 18, 0.164769, 0.44},
		{TwoWayMean, 736.0 / 1187, 0.071137, 0.927232, 11.027248, 15, 0.00013457, 0.62},
		{TwoWayFixMean, 3680.0 / 4047, 0.675675, 0.985892, 11.027248, 15, 0.00013457, 0.91},
	} {
		got := a.All[i]
		if got.Form != c.form || got.DF1 != 5 || got.DF2 != c.df2 {
			t.Errorf("%+v", got)
		}
		close(t, c.form, got.Value, c.v, 1e-12)
		close(t, c.form+" as published", got.Value, c.print, 0.005)
		interval(t, c.form, got.CI, c.low, c.high, 1e-6)
		close(t, c.form+", F", got.F, c.f, 1e-6)
		close(t, c.form+", p", got.P, c.p, 1e-6*math.Max(1, c.p/1e-3))
	}
	// Laws: adding to all, and scaling, changes none; adding to one judge changes consistency not at all.
	moved := make([][]float64, len(rows))
	for i, r := range rows {
		for j, v := range r {
			moved[i] = append(moved[i], 1e6+3*v+map[bool]float64{true: 30}[j == 2])
		}
	}
	b := Intraclass(moved, 0.95)
	close(t, "ICC(3,1) with one judge stricter", b.All[2].Value, a.All[2].Value, 1e-9)
	if b.All[1].Value >= a.All[1].Value {
		t.Errorf("agreement grew: %g", b.All[1].Value)
	}
	for _, bad := range [][][]float64{nil, {{1, 2}}, {{1}, {2}}, {{1, 2}, {1, 2}}, {{1, 1}, {2, 2}}} {
		if a := Intraclass(bad, 0.95); a.Why == "" || a.All != nil {
			t.Errorf("%v: %+v", bad, a)
		}
	}
	// Judges a step apart: without anything left over, consistency cannot be tested and is left out.
	if a := Intraclass([][]float64{{1, 2}, {3, 4}, {7, 8}}, 0.95); len(a.All) != 2 {
		t.Errorf("%+v", a)
	}
}

// Bland & Altman, Lancet 1986;i:307: peak flow of 17 people by two meters, each read twice.
func TestAgreementWorkedExample(t *testing.T) {
	w1 := []float64{494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427}
	w2 := []float64{490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421}
	m1 := []float64{512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451}
	m2 := []float64{525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443}
	g := Agree(append(slices.Clone(w1), math.NaN()), append(slices.Clone(m1), 1), 0.95)
	if g.N != 17 || g.Missing != 1 {
		t.Errorf("%d pairs, %d missing", g.N, g.Missing)
	}
	close(t, "bias", *g.Bias, -2.1176470588, 1e-9)
	close(t, "SD", *g.SD, 38.7651298736, 1e-9)
	interval(t, "bias", g.BiasCI, -22.048838, 17.813544, 1e-6)
	close(t, "lower limit", *g.Lower, -78.0973, 6e-5)
	close(t, "upper limit", *g.Upper, 73.8620, 6e-5)
	interval(t, "lower limit", g.LowerCI, -78.0973-2.119905299*16.284612, -78.0973+2.119905299*16.284612, 1e-3)
	interval(t, "upper limit", g.UpperCI, 73.8620-2.119905299*16.284612, 73.8620+2.119905299*16.284612, 1e-3)
	// Repeats of one meter: within-subject SD; twice the SD of the differences about 0 as published,
	// 43.2 and 56.4, which the data give as 43.3 and 56.3.
	for _, c := range []struct {
		a, b            []float64
		within, printed float64
	}{{w1, w2, 15.306669, 43.2}, {m1, m2, 19.910831, 56.4}} {
		r := Agree(c.a, c.b, 0.95)
		close(t, "within-subject SD", *r.Within, c.within, 1e-6)
		close(t, "repeatability", 2*math.Sqrt2**r.Within, c.printed, 0.1)
	}
	if g := Agree([]float64{1, 2}, []float64{1, 3}, 0.95); g.Why == "" || g.Bias != nil {
		t.Errorf("%+v", g)
	}
	// Differences that grow with size: the slope is told, exactly, where nothing scatters.
	h := Agree([]float64{11, 22, 33, 44}, []float64{10, 20, 30, 40}, 0.95)
	close(t, "slope", *h.Slope, 1/10.5, 1e-12)
	if h.SlopeCI.Low <= 0 {
		t.Errorf("slope from %g", h.SlopeCI.Low)
	}
}

// The pairs asked for give about the half width asked for, by the formula worked forward.
func TestPairsFor(t *testing.T) {
	for _, c := range [][2]float64{{0.05, 0.1}, {0.02, 0.1}, {0.2, 0.1}, {1, 0.01}} {
		n, ok := PairsFor(c[0], c[1], 0.95)
		half := func(n int) float64 { return tQuantile(0.975, float64(n-1)) * c[1] * math.Sqrt(3/float64(n)) }
		if !ok || half(n) > c[0] || n > 4 && half(n-2) < c[0] {
			t.Errorf("%v: %d pairs, half width %.4f", c, n, half(n))
		}
	}
	if _, ok := PairsFor(0, 1, 0.95); ok {
		t.Error("a width of nothing")
	}
}

// ISO 5725-2's formulas worked by hand. Two laboratories read 1, 3 and 5, 7, 9: variances 2 and 4, so
// s_r² = (2 + 2·4)/3 = 10/3; means 2 and 7 about 5, so s_d² = 2·9 + 3·4 = 30; n = 5 - 13/5 = 2.4;
// s_L² = (30 - 10/3)/2.4 = 100/9; s_R² = 130/9.
func TestPrecisionWorkedByHand(t *testing.T) {
	p := PrecisionOf("plate", [][]float64{{1, 3}, {5, 7, 9, math.NaN()}, nil})
	if p.Labs != 2 || p.N != 5 {
		t.Errorf("%+v", p)
	}
	close(t, "mean", *p.Mean, 5, 1e-14)
	close(t, "s_r", *p.SRep, math.Sqrt(10.0/3), 1e-14)
	close(t, "s_L", *p.SLab, 10.0/3, 1e-14)
	close(t, "s_R", *p.SRepro, math.Sqrt(130)/3, 1e-14)
	close(t, "r", *p.RepLim, 2.8*math.Sqrt(10.0/3), 1e-14)
	close(t, "R", *p.ReproL, 2.8*math.Sqrt(130)/3, 1e-14)
	// Laboratories closer together than their own scatter: no negative variance between them.
	q := PrecisionOf("", [][]float64{{1, 9}, {2, 8}})
	if *q.SLab != 0 || *q.SRepro != *q.SRep {
		t.Errorf("%+v", q)
	}
	// Together with a level of two equal laboratories 0, 2 | 4, 6: s_r² 2 with 2 degrees, s_L² = (16 - 2)/2.
	r := Together([]Precision{p, PrecisionOf("cast", [][]float64{{0, 2}, {4, 6}})})
	close(t, "s_r of both", *r.SRep, math.Sqrt((10.0/3*3+2*2)/5), 1e-14)
	close(t, "s_L of both", *r.SLab, math.Sqrt((100.0/9+7)/2), 1e-14)
	for _, bad := range [][][]float64{nil, {{1}, {2}}, {{1, 2}}} {
		if p := PrecisionOf("", bad); p.Why == "" || p.SRepro != nil {
			t.Errorf("%v: %+v", bad, p)
		}
	}
	if a := Together(nil); a.Why == "" {
		t.Errorf("%+v", a)
	}
}
