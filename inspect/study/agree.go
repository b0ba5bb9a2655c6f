package study

import (
	"fmt"
	"math"
)

// Agreement is how two methods, or two readings, agree on the same subjects.
type Agreement struct {
	N       int       `json:"n"`       // pairs
	Missing int       `json:"missing"` // pairs of which one is not there
	Bias    *float64  `json:"bias,omitempty"`
	BiasCI  *Interval `json:"bias_ci,omitempty"`
	SD      *float64  `json:"sd,omitempty"` // of the differences
	Lower   *float64  `json:"lower_limit,omitempty"`
	LowerCI *Interval `json:"lower_limit_ci,omitempty"`
	Upper   *float64  `json:"upper_limit,omitempty"`
	UpperCI *Interval `json:"upper_limit_ci,omitempty"`
	Within  *float64  `json:"within_sd,omitempty"` // within-subject SD, taking the two for repeats of one method
	Slope   *float64  `json:"slope,omitempty"`     // of the differences on the means
	SlopeCI *Interval `json:"slope_ci,omitempty"`  // without 0 in it, bias changes with size and one pair of limits misleads
	Why     string    `json:"why,omitempty"`
	Means   []float64 `json:"-"` // of the pairs that are there
	Diffs   []float64 `json:"-"`
}

// Agree compares readings a with b of the same subjects, pair by pair; a pair with NaN is left out and
// counted. The differences are a - b.
//
// What: bias (mean difference) and 95 % limits of agreement (bias ± 1.96 SD). How: intervals of the bias
// by Student's t; those of the limits take the limits' standard error for √(3 s²/n), as the source does.
// Each subject may stand for one pair only: repeated pairs of one subject make the intervals too narrow,
// which the caller must tell.
//
// Source: Bland & Altman, Lancet 1986;i:307; the slope is the least-squares one of Bland & Altman, Stat
// Methods Med Res 1999;8:135.
func Agree(a, b []float64, level float64) Agreement {
	if len(a) != len(b) {
		panic("study: Agree: readings are not pairs")
	}
	g := Agreement{}
	for i := range a {
		d := a[i] - b[i]
		if math.IsNaN(d) || math.IsInf(d, 0) {
			g.Missing++
			continue
		}
		g.Diffs, g.Means = append(g.Diffs, d), append(g.Means, a[i]/2+b[i]/2)
	}
	g.N = len(g.Diffs)
	if g.N < 3 {
		g.Why = fmt.Sprintf("%d pairs: at least 3 are needed", g.N)
		return g
	}
	n := float64(g.N)
	mean, variance := moments(g.Diffs)
	sd := math.Sqrt(variance)
	t := tQuantile((1+level)/2, n-1)
	about := func(x, half float64) (*float64, *Interval) { return &x, &Interval{x - half, x + half} }
	g.SD = &sd
	g.Bias, g.BiasCI = about(mean, t*sd/math.Sqrt(n))
	half := t * math.Sqrt(3*variance/n)
	g.Lower, g.LowerCI = about(mean-limitSDs*sd, half)
	g.Upper, g.UpperCI = about(mean+limitSDs*sd, half)
	sum := 0.0
	for _, d := range g.Diffs {
		sum += float64(d * d)
	}
	within := math.Sqrt(sum / (2 * n))
	g.Within = &within
	g.slope(level)
	return g
}

// limitSDs is how many SD the limits lie from the bias: the paper's own rounding of the normal law's
// 97.5 % point.
const limitSDs = 1.96

func (g *Agreement) slope(level float64) {
	n := float64(g.N)
	mx, vx := moments(g.Means)
	my, vy := moments(g.Diffs)
	if !(vx > 0) {
		return
	}
	xy := 0.0
	for i := range g.Means {
		xy += (g.Means[i] - mx) * (g.Diffs[i] - my)
	}
	sxx := vx * (n - 1)
	b := xy / sxx
	rest := math.Max(0, vy*(n-1)-b*xy)
	half := tQuantile((1+level)/2, n-2) * math.Sqrt(rest/(n-2)/sxx)
	g.Slope, g.SlopeCI = &b, &Interval{b - half, b + half}
}

// PairsFor returns how many pairs make the interval of a limit of agreement no wider than half to each
// side, at a spread of the differences of sd: n = 3 (t sd / half)², with Student's t for that n.
//
// Source: the standard error √(3 s²/n) of Bland & Altman 1986.
func PairsFor(half, sd, level float64) (int, bool) {
	if !(half > 0) || !(sd >= 0) || math.IsInf(sd, 0) {
		return 0, false
	}
	n := 3
	for range 100 {
		t := tQuantile((1+level)/2, float64(n-1))
		want := 3 * (t * sd / half) * (t * sd / half)
		if want > 1e9 {
			return 0, false
		}
		next := max(3, int(math.Ceil(want)))
		if next == n || next == n-1 {
			return max(next, n), true
		}
		n = (n + next + 1) / 2
	}
	return n, true
}
