package study

import (
	"math"
	"math/rand/v2"
	"testing"
)

// What cannot be said is an error or nil with a reason, never NaN.
func TestNothingToSay(t *testing.T) {
	if s, err := Describe([]float64{3}, 0.95); err != nil || s.SD != nil || s.MeanInterval != nil || s.Why == "" || s.Median != 3 {
		t.Errorf("one value: %+v %v", s, err)
	}
	if s, err := Describe([]float64{2, 2, 2}, 0.95); err != nil || *s.SD != 0 || s.MeanInterval != nil || s.Why == "" {
		t.Errorf("equal values: %+v %v", s, err)
	}
	for name, v := range map[string][]float64{"none": nil, "NaN": {1, math.NaN()}, "infinite": {1, math.Inf(1)}} {
		if s, err := Describe(v, 0.95); err == nil {
			t.Errorf("%s: %+v", name, s)
		}
	}
	for _, c := range []float64{0, 1, -1, math.NaN()} {
		if _, err := Describe([]float64{1, 2}, c); err == nil {
			t.Errorf("confidence %g", c)
		}
	}
	if _, err := Precise([][][]float64{{{1}, {2}}}, 0.95); err == nil {
		t.Error("precision without repeats")
	}
	if p, err := Precise([][][]float64{{{1, 1}, {2, 2}}}, 0.95); err != nil || p.SR != 0 || p.SRInterval != nil || *p.SL == 0 {
		t.Errorf("equal repeats: %+v %v", p, err)
	}
	for name, x := range map[string][][]float64{"one target": {{1, 2}}, "one judge": {{1}, {2}}, "equal": {{1, 1}, {1, 1}}, "a gap": {{1, 2}, {1}}} {
		if c, err := Correlate(x, 0.95); err == nil {
			t.Errorf("correlation of %s: %+v", name, c)
		}
	}
	c, err := Correlate([][]float64{{0.1, 0.3}, {0.2, 0.4}, {0.7, 0.9}}, 0.95)
	if err != nil || c.Forms[2].Value != 1 || c.Forms[2].Interval != nil || c.Forms[2].F != nil || c.Forms[2].Why == "" || c.Forms[0].Interval == nil {
		t.Errorf("judges apart by a constant: %+v %v", c, err)
	}
	if g, err := Agree([]Pair{{"a", 1, 2}}, 0.95); err == nil {
		t.Errorf("one pair: %+v", g)
	}
	if g, err := Agree([]Pair{{"a", 1, 2}, {"a", 2, 2}}, 0.95); err == nil {
		t.Errorf("one subject: %+v", g)
	}
	if g, err := Agree([]Pair{{"a", 1, 2}, {"b", 3, 4}, {"c", 5, 6}}, 0.95); err != nil || *g.SD != 0 || g.Lower != nil || g.BiasInterval != nil || g.Why == "" {
		t.Errorf("equal differences: %+v %v", g, err)
	}
	// Many pairs: the interval by standard error alone.
	var many []Pair
	for i := range 400 {
		many = append(many, Pair{string(rune(0x4e00 + i)), float64(i % 7), 0})
	}
	if g, err := Agree(many, 0.95); err != nil || g.Lower != nil || g.LowerBA == nil || g.Why == "" {
		t.Errorf("many pairs: %+v %v", g, err)
	}
	for _, f := range []func() (int, error){
		func() (int, error) { return SizeForMean(0, 1, 0.95) },
		func() (int, error) { return SizeForMean(1, 0, 0.95) },
		func() (int, error) { return SizeForLimit(1, 1e-9, 0.95) },
		func() (int, error) { return SizeForSD(1, 0.95) },
	} {
		if n, err := f(); err == nil {
			t.Errorf("a size of %d", n)
		}
	}
}

// With repeats a subject counts by its mean, and the variance of one difference is that between
// and within: by hand, subjects 1 3 | 4 4 | 8 6: means 2 4 7, bias 13/3, MSB = 2·38/6 = 38/3,
// MSW = 4/3, within 4/3, between (38/3 - 4/3)/2 = 17/3, SD² = 7.
func TestAgreeWithRepeats(t *testing.T) {
	g, err := Agree([]Pair{{"a", 1, 0}, {"b", 4, 0}, {"a", 3, 0}, {"b", 4, 0}, {"c", 8, 0}, {"c", 6, 0}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bias", g.Bias, 13.0/3, 1e-12)
	near(t, "variance", *g.SD**g.SD, 7, 1e-12)
	if !g.Repeated || g.Subjects != 3 || g.N != 6 || g.LowerBA != nil || g.Why == "" || g.SlopeP != nil {
		t.Errorf("%+v", g)
	}
}

// A sample as large as planned keeps the width, and one less does not.
func TestSizes(t *testing.T) {
	for _, half := range []float64{0.05, 0.3, 2} {
		n, err := SizeForMean(1, half, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		width := func(n int) float64 { return studentQuantile(0.95, n-1) / math.Sqrt(float64(n)) }
		if width(n) > half || n > 2 && width(n-1) <= half {
			t.Errorf("half %g: %d", half, n)
		}
	}
	// Bland and Altman's √(3 s²/n) for ± 0.34 s asks for about 100 (Bland's own note on sample size, from memory:
	// 1.96 √(3/100) = 0.34), a few more by Student's t.
	if n, err := SizeForLimit(1, 0.34, 0.95); err != nil || n < 100 || n > 104 {
		t.Errorf("%d %v", n, err)
	}
	// s lies within 1.35 s at 30 degrees of freedom: 30/16.791 = 1.3367² (tables of chi squared).
	if n, err := SizeForSD(1.3367, 0.95); err != nil || n != 30 {
		t.Errorf("%d %v", n, err)
	}
}

// Intervals hold as often as they say, on random data whose truth is known.
func TestIntervalsCover(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 7))
	const runs, n = 2000, 8
	var hitMean, hitSD, hitLimit int
	for range runs {
		v := make([]float64, n)
		pairs := make([]Pair, n)
		for i := range v {
			v[i] = 3 + 2*r.NormFloat64()
			pairs[i] = Pair{string(rune('a' + i)), v[i], 0}
		}
		s, err := Describe(v, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		g, err := Agree(pairs, 0.9)
		if err != nil || g.Upper == nil {
			t.Fatal(err, g)
		}
		in := func(i *Interval, x float64) int {
			if i.Low <= x && x <= i.High {
				return 1
			}
			return 0
		}
		hitMean += in(s.MeanInterval, 3)
		hitSD += in(s.SDInterval, 2)
		hitLimit += in(g.Upper, 3+2*1.959963984540054)
	}
	for name, hits := range map[string]int{"mean": hitMean, "SD": hitSD, "limit": hitLimit} {
		// Four standard errors of a share of 0.9 in 2000.
		if share := float64(hits) / runs; math.Abs(share-0.9) > 4*math.Sqrt(0.9*0.1/runs) {
			t.Errorf("%s: %.3f of the intervals hold the truth, said 0.9", name, share)
		}
	}
}

// What a column's name ends in is its unit, in the dictionary's own names.
func TestUnitsOfColumns(t *testing.T) {
	for column, want := range map[string][2]string{
		"rim_height_anterior_mm": {"rim height anterior", "mm"}, "hole_area_max_mm2": {"hole area max", "mm²"}, "void_volume_mm3": {"void volume", "mm³"},
		"rim_cant_crest_deg": {"rim cant crest", "°"}, "faces_per_mm2": {"faces", "1/mm²"}, "void_count": {"void count", ""},
	} {
		if w, u := Words(column), Unit(column); w != want[0] || u != want[1] {
			t.Errorf("%s: %q in %q", column, w, u)
		}
	}
}
