package study

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Pair is the same thing measured twice by different means. Pairs of one subject have its name.
type Pair struct {
	Subject string
	A, B    float64
}

// Agreement is what the differences A - B of pairs say, in the values' unit.
type Agreement struct {
	N, Subjects int
	Repeated    bool // some subjects have several pairs

	Bias         float64
	BiasInterval *Interval
	SD           *float64 // of the differences; with repeats between and within subjects together

	// Limits of agreement: bias ± 1.96 SD. The intervals of each limit, exact by the noncentral t
	// and as Bland and Altman had it by the standard error √(3 SD²/n).
	Limits           *Interval
	Lower, Upper     *Interval
	LowerBA, UpperBA *Interval

	Slope  *float64 // of the difference on the mean of A and B: 0 where the bias does not depend on the size
	SlopeP *float64
	Why    string // why something above is missing
}

// Agree compares two ways of measuring by their differences.
//
// One pair per subject: bias and SD are those of the differences, their limits lie 1.959964 SD to
// either side. The exact interval of a limit holds for differences that scatter normally:
// √n (limit - bias) / SD follows a noncentral t with n - 1 degrees of freedom and noncentrality
// ± 1.959964 √n. Several pairs per subject, as if the true value changed between them: the
// variance of a difference is that between subjects and that within them, from an analysis of
// variance; the bias and its interval are then those of the subjects' means, so that no subject
// counts more than another, and the limits have no interval.
// The slope is a plain regression over all pairs; with repeats its p-value is left out.
// Errors: fewer than two pairs or, with repeats, than two subjects; values that are not finite.
// Source: Bland JM, Altman DG. Lancet 1986;i:307-310 (single pairs); J Biopharm Stat 2007;17:571-582
// (repeats, true value varies); Carkeet A. Optom Vis Sci 2015;92:e71-e80 (exact intervals).
func Agree(pairs []Pair, confidence float64) (Agreement, error) {
	var g Agreement
	if len(pairs) < 2 {
		return g, fmt.Errorf("agreement needs two pairs, there is %d", len(pairs))
	}
	at := map[string]int{}
	var groups [][]float64
	var all, sizes []float64
	for _, p := range pairs {
		if err := usable([]float64{p.A, p.B}, confidence); err != nil {
			return g, err
		}
		i, known := at[p.Subject]
		if !known {
			i = len(groups)
			at[p.Subject] = i
			groups = append(groups, nil)
		}
		groups[i] = append(groups[i], p.A-p.B)
		all, sizes = append(all, p.A-p.B), append(sizes, (p.A+p.B)/2)
	}
	g.N, g.Subjects, g.Repeated = len(pairs), len(groups), len(groups) < len(pairs)
	if g.Subjects < 2 {
		return g, errors.New("all pairs are of one subject")
	}
	means := all
	if g.Repeated {
		means = nil
		for _, d := range groups {
			means = append(means, mean(d))
		}
	}
	s, err := Describe(means, confidence)
	if err != nil {
		return g, err
	}
	g.Bias, g.BiasInterval, g.Why = s.Mean, s.MeanInterval, s.Why
	sd := *s.SD
	if g.Repeated {
		l, err := oneLevel(groups, confidence)
		if err != nil {
			return g, err
		}
		within := l.ss / float64(l.df)
		sd = math.Sqrt(max(0, (l.meanSquare-within)/l.size) + within)
		g.Why = "with several pairs of a subject the limits have no interval"
	}
	g.SD = &sd
	z := distuv.UnitNormal.Quantile(0.975)
	g.Limits = &Interval{g.Bias - z*sd, g.Bias + z*sd}
	if sd > 0 && !g.Repeated {
		g.intervals(sd, z, confidence)
	}
	g.slope(all, sizes)
	return g, nil
}

// widestShift is the noncentrality up to which the distribution can be summed in double precision
// (Lenth, algorithm AS 243): 356 pairs. There the widths of the two
// kinds of interval differ by 1.2 %.
const widestShift = 37

// intervals fills in those of the limits.
func (g *Agreement) intervals(sd, z, confidence float64) {
	root := math.Sqrt(float64(g.N))
	g.Why = "with so many pairs the exact intervals of the limits are those by standard error"
	if t := (distuv.NoncentralT{Nu: float64(g.N - 1), Mu: z * root}); t.Mu < widestShift {
		near, far := t.Quantile((1-confidence)/2)*sd/root, t.Quantile((1+confidence)/2)*sd/root
		if finite(near, far) && near < far {
			g.Lower, g.Upper = &Interval{g.Bias - far, g.Bias - near}, &Interval{g.Bias + near, g.Bias + far}
			g.Why = ""
		}
	}
	half := studentQuantile(confidence, g.N-1) * sd * math.Sqrt(3) / root
	g.LowerBA = &Interval{g.Limits.Low - half, g.Limits.Low + half}
	g.UpperBA = &Interval{g.Limits.High - half, g.Limits.High + half}
}

// slope fills in how the differences depend on the size of what is measured.
func (g *Agreement) slope(d, x []float64) {
	mx, md := mean(x), mean(d)
	xx, xd := squares(x, mx), 0.0
	for i := range x {
		xd += (x[i] - mx) * (d[i] - md)
	}
	if xx == 0 || g.N < 3 {
		return
	}
	b := xd / xx
	g.Slope = &b
	rest := 0.0
	for i := range x {
		rest += sq(d[i] - md - b*(x[i]-mx))
	}
	if g.Repeated || rest == 0 {
		return
	}
	t := math.Abs(b) / math.Sqrt(rest/float64(g.N-2)/xx)
	p := 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(g.N - 2)}.Survival(t)
	if finite(p) {
		g.SlopeP = &p
	}
}
