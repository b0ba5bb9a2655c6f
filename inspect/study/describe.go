// Package study does the statistics of tables of measurements: groups, precision, agreement.
//
// It takes plain numbers and knows no scan. Nothing that it returns is NaN or infinite: what
// cannot be said is nil, with the reason beside it, or an error. Quantiles and p-values are
// those of gonum's distributions.
package study

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a two-sided confidence interval.
type Interval struct {
	Low, High float64
}

// Summary describes one group of values, in the values' unit.
type Summary struct {
	N                        int
	Mean, Median             float64
	Q1, Q3                   float64 // quartiles, by linear interpolation between order statistics
	Min, Max                 float64
	SD                       *float64  // of a sample, n - 1 below; nil: fewer than two values
	MeanInterval, SDInterval *Interval // nil: see Why
	Why                      string    // why something above is missing
}

// Describe summarises values; their order does not matter and they are not changed.
//
// The mean's interval is that of Student's t and the SD's that of chi squared, both for values
// that scatter normally and independently of each other: repeats of one subject do not, and make
// intervals too narrow. Deviations are taken from the mean before they are squared, so that a
// large common part costs no digits.
// Errors: no values, a value that is not finite, a confidence outside 0..1.
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.1, 1.3.5.2 and 7.2.3.1; the
// quartiles are Hyndman and Fan 1996, type 7.
func Describe(values []float64, confidence float64) (Summary, error) {
	if err := usable(values, confidence); err != nil {
		return Summary{}, err
	}
	v := slices.Clone(values)
	slices.Sort(v)
	n := len(v)
	s := Summary{N: n, Median: quantile(v, 0.5), Q1: quantile(v, 0.25), Q3: quantile(v, 0.75), Min: v[0], Max: v[n-1]}
	s.Mean = mean(v)
	if n < 2 {
		s.Why = "one value has no scatter"
		return s, nil
	}
	sd := math.Sqrt(squares(v, s.Mean) / float64(n-1))
	s.SD = &sd
	if sd == 0 {
		s.Why = "all values are equal"
		return s, nil
	}
	t := studentQuantile(confidence, n-1)
	half := t * sd / math.Sqrt(float64(n))
	s.MeanInterval = &Interval{s.Mean - half, s.Mean + half}
	s.SDInterval = sdInterval(sd, float64(n-1), confidence)
	return s, nil
}

// usable tells what keeps values from being counted with.
func usable(values []float64, confidence float64) error {
	if len(values) == 0 {
		return errors.New("no values")
	}
	if !(confidence > 0 && confidence < 1) {
		return fmt.Errorf("a confidence of %g is not between 0 and 1", confidence)
	}
	for _, x := range values {
		if !(math.Abs(x) < 1e150) { // its square is finite
			return fmt.Errorf("%g is no measured value", x)
		}
	}
	return nil
}

// mean corrects the plain mean by that of the deviations from it, which is what rounding left.
func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	m := sum / float64(len(v))
	rest := 0.0
	for _, x := range v {
		rest += x - m
	}
	return m + rest/float64(len(v))
}

// squares is the sum of squared deviations from m.
func squares(v []float64, m float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += (x - m) * (x - m)
	}
	return sum
}

// quantile of sorted values, by linear interpolation of order statistics.
func quantile(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// studentQuantile is the factor of a two-sided interval of Student's t.
func studentQuantile(confidence float64, df int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(df)}.Quantile((1 + confidence) / 2)
}

// sdInterval is that of a standard deviation with df degrees of freedom, by chi squared; nil
// where a bound is not finite.
func sdInterval(sd, df, confidence float64) *Interval {
	c := distuv.ChiSquared{K: df}
	i := &Interval{sd * math.Sqrt(df/c.Quantile((1+confidence)/2)), sd * math.Sqrt(df/c.Quantile((1-confidence)/2))}
	if !finite(i.Low, i.High) {
		return nil
	}
	return i
}

// finite says that all of the numbers are.
func finite(v ...float64) bool {
	for _, x := range v {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}
