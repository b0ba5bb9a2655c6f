package study

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Correlation is one form of the intraclass correlation.
type Correlation struct {
	Form     string // "ICC(2,1)": model and number of judges whose mean is used, as Shrout and Fleiss write it
	Meaning  string
	Value    float64   // at most 1; below 0 judges disagree more than targets
	Interval *Interval // nil: see Why
	F        *float64  // tests that it is 0
	DF1, DF2 int
	P        *float64
	Why      string
}

// Correlations are the six forms and the mean squares that they are made from.
type Correlations struct {
	Targets, Judges                              int
	BetweenTargets, WithinTargets, BetweenJudges float64
	Residual                                     float64
	Forms                                        [6]Correlation // (1,1) (2,1) (3,1) (1,k) (2,k) (3,k)
}

// Correlate gives all six intraclass correlations of x[target][judge], which must be complete:
// leave out targets that some judge has not measured, and say how many.
//
// Model 1: each target has other judges; 2: judges are a sample of all judges, and agreement
// counts; 3: these judges are the only ones, and a constant difference between them does not count.
// Which model holds is a matter of the design and not of the numbers.
// Errors: fewer than two targets or judges; rows of unequal length; no variation at all. Where
// judges agree exactly the value is 1 and there is no interval.
// Source: Shrout PE, Fleiss JL. Psychol Bull 1979;86:420-428, whose tables name the mean squares
// BMS, WMS, JMS and EMS.
func Correlate(x [][]float64, confidence float64) (Correlations, error) {
	n := len(x)
	if n < 2 {
		return Correlations{}, fmt.Errorf("an intraclass correlation needs two targets, %d is complete", n)
	}
	k := len(x[0])
	if k < 2 {
		return Correlations{}, errors.New("an intraclass correlation needs two judges")
	}
	rows, columns := make([]float64, n), make([]float64, k)
	large := 0.0
	for i, r := range x {
		if len(r) != k {
			return Correlations{}, errors.New("a target was not measured by every judge")
		}
		if err := usable(r, confidence); err != nil {
			return Correlations{}, err
		}
		rows[i] = mean(r)
		for j, v := range r {
			columns[j] += v / float64(n)
			large = max(large, math.Abs(v))
		}
	}
	grand := mean(rows)
	var b, w, j, e float64
	for _, m := range rows {
		b += float64(k) * (m - grand) * (m - grand)
	}
	for _, m := range columns {
		j += float64(n) * (m - grand) * (m - grand)
	}
	for i, r := range x {
		for c, v := range r {
			w += (v - rows[i]) * (v - rows[i])
			d := v - rows[i] - columns[c] + grand
			e += d * d
		}
	}
	fn, fk := float64(n), float64(k)
	b, w, j, e = b/(fn-1), w/(fn*(fk-1)), j/(fk-1), e/((fn-1)*(fk-1))
	// What rounding alone leaves is nothing.
	nothing := large * large * 1e-28
	for _, s := range []*float64{&b, &w, &j, &e} {
		if *s <= nothing {
			*s = 0
		}
	}
	if b == 0 && w == 0 {
		return Correlations{}, errors.New("all values are equal")
	}
	out := Correlations{Targets: n, Judges: k, BetweenTargets: b, WithinTargets: w, BetweenJudges: j, Residual: e}
	m := squaresOf{n: n, k: k, b: b, w: w, j: j, e: e, alpha: 1 - confidence}
	out.Forms = m.forms()
	return out, nil
}

// squaresOf holds the mean squares of a table of n targets and k judges.
type squaresOf struct {
	n, k       int
	b, w, j, e float64
	alpha      float64
}

func (m squaresOf) forms() [6]Correlation {
	n, k := float64(m.n), float64(m.k)
	one := m.form(1, 1, "other judges for each target, one judge", m.b-m.w, m.b+(k-1)*m.w)
	two := m.form(2, 1, "judges are a sample, agreement, one judge", m.b-m.e, m.b+(k-1)*m.e+k*(m.j-m.e)/n)
	three := m.form(3, 1, "these judges only, consistency, one judge", m.b-m.e, m.b+(k-1)*m.e)
	oneK := m.form(1, m.k, "other judges for each target, mean of all", m.b-m.w, m.b)
	twoK := m.form(2, m.k, "judges are a sample, agreement, mean of all", m.b-m.e, m.b+(m.j-m.e)/n)
	threeK := m.form(3, m.k, "these judges only, consistency, mean of all", m.b-m.e, m.b)
	for _, c := range []struct{ single, mean *Correlation }{{&one, &oneK}, {&two, &twoK}, {&three, &threeK}} {
		if c.single.Why == "" {
			c.single.Interval = m.interval(c.single.Form[4])
			c.mean.Interval = m.stepped(c.single.Interval)
			for _, f := range []*Correlation{c.single, c.mean} {
				if f.Interval == nil {
					f.Why = "the interval has no finite bounds"
				}
			}
		}
	}
	return [6]Correlation{one, two, three, oneK, twoK, threeK}
}

// form fills in a form's value and its F test.
func (m squaresOf) form(model, judges int, meaning string, above, below float64) Correlation {
	c := Correlation{Form: fmt.Sprintf("ICC(%d,%d)", model, judges), Meaning: meaning, DF1: m.n - 1}
	noise := m.e
	c.DF2 = (m.n - 1) * (m.k - 1)
	if model == 1 {
		noise, c.DF2 = m.w, m.n*(m.k-1)
	}
	switch {
	case !(below > 0):
		c.Why = "the targets do not differ"
		return c
	case noise == 0:
		c.Value, c.Why = above/below, "the judges agree to the last digit"
		return c
	}
	c.Value = above / below
	f := m.b / noise
	p := distuv.F{D1: float64(c.DF1), D2: float64(c.DF2)}.Survival(f)
	if finite(f, p) {
		c.F, c.P = &f, &p
	}
	return c
}

// interval is that of a single judge's correlation in a model.
func (m squaresOf) interval(model byte) *Interval {
	n, k := float64(m.n), float64(m.k)
	q := func(d1, d2 float64) float64 { return distuv.F{D1: d1, D2: d2}.Quantile(1 - m.alpha/2) }
	var i Interval
	switch model {
	case '1', '3':
		f, df := m.b/m.w, n*(k-1)
		if model == '3' {
			f, df = m.b/m.e, (n-1)*(k-1)
		}
		low, high := f/q(n-1, df), f*q(df, n-1)
		i = Interval{(low - 1) / (low + k - 1), (high - 1) / (high + k - 1)}
	case '2':
		r := (m.b - m.e) / (m.b + (k-1)*m.e + k*(m.j-m.e)/n)
		f := m.j / m.e
		rest := n*(1+(k-1)*r) - k*r
		v := (k - 1) * (n - 1) * sq(k*r*f+rest) / ((n-1)*sq(k*r*f) + sq(rest))
		below := k*m.j + (k*n-k-n)*m.e
		low, high := q(n-1, v), q(v, n-1)
		i = Interval{n * (m.b - low*m.e) / (low*below + n*m.b), n * (high*m.b - m.e) / (below + n*high*m.b)}
	}
	if !finite(i.Low, i.High) {
		return nil
	}
	return &i
}

// stepped is the interval for the mean of all judges, by the formula of Spearman and Brown.
func (m squaresOf) stepped(i *Interval) *Interval {
	if i == nil {
		return nil
	}
	k := float64(m.k)
	s := Interval{k * i.Low / (1 + (k-1)*i.Low), k * i.High / (1 + (k-1)*i.High)}
	if !finite(s.Low, s.High) || 1+(k-1)*i.Low <= 0 {
		return nil
	}
	return &s
}

func sq(x float64) float64 { return x * x }
