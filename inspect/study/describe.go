// Package study holds the statistics with which measurements of many scans are described and compared:
// descriptive figures, intraclass correlation, agreement of two methods, repeatability and
// reproducibility. It knows plain numbers alone; units are those of what is given.
//
// What cannot be worked out (too few values, no spread) is nil, with the reason beside it.
package study

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a confidence interval.
type Interval struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Summary describes the values of one group.
type Summary struct {
	N       int       `json:"n"`
	Missing int       `json:"missing"` // values that are not there
	Mean    *float64  `json:"mean,omitempty"`
	MeanCI  *Interval `json:"mean_ci,omitempty"` // by Student's t
	SD      *float64  `json:"sd,omitempty"`      // of a sample: n - 1
	SDCI    *Interval `json:"sd_ci,omitempty"`   // by chi square, for values spread as the normal law says
	Median  *float64  `json:"median,omitempty"`
	Q1      *float64  `json:"q1,omitempty"` // quartiles
	Q3      *float64  `json:"q3,omitempty"`
	Min     *float64  `json:"min,omitempty"`
	Max     *float64  `json:"max,omitempty"`
	Why     string    `json:"why,omitempty"` // why something is missing
}

// Describe describes values, of which NaN are counted as missing; level is that of the intervals, such
// as 0.95.
//
// Quartiles lie between the values in order as the seventh definition of Hyndman and Fan says (American
// Statistician 1996;50:361), which the usual statistics packages take too.
func Describe(values []float64, level float64) Summary {
	x := make([]float64, 0, len(values))
	for _, v := range values {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			x = append(x, v)
		}
	}
	s := Summary{N: len(x), Missing: len(values) - len(x)}
	if len(x) == 0 {
		s.Why = "no value"
		return s
	}
	slices.Sort(x)
	mean, variance := moments(x)
	s.Mean, s.Min, s.Max = &mean, &x[0], &x[len(x)-1]
	q1, q2, q3 := Quantile(x, 0.25), Quantile(x, 0.5), Quantile(x, 0.75)
	s.Q1, s.Median, s.Q3 = &q1, &q2, &q3
	if len(x) < 2 {
		s.Why = "one value has no spread"
		return s
	}
	sd, free := math.Sqrt(variance), float64(len(x)-1)
	s.SD = &sd
	half := tQuantile((1+level)/2, free) * sd / math.Sqrt(float64(len(x)))
	s.MeanCI = &Interval{mean - half, mean + half}
	chi := distuv.ChiSquared{K: free}
	s.SDCI = &Interval{sd * math.Sqrt(free/chi.Quantile((1+level)/2)), sd * math.Sqrt(free/chi.Quantile((1-level)/2))}
	return s
}

// moments returns mean and sample variance, both worked out twice, so that many digits before those
// that differ cost nothing (Chan, Golub & LeVeque, American Statistician 1983;37:242). NaN of no
// values, variance NaN of one.
func moments(x []float64) (mean, variance float64) {
	n := float64(len(x))
	for _, v := range x {
		mean += v / n
	}
	rest := 0.0
	for _, v := range x {
		rest += v - mean
	}
	mean += rest / n
	var sum, sum2 float64
	for _, v := range x {
		d := v - mean
		sum += d
		sum2 += float64(d * d)
	}
	if n == 0 {
		return math.NaN(), math.NaN()
	}
	return mean, (sum2 - float64(sum*sum)/n) / (n - 1)
}

// Quantile returns the p-quantile, 0 to 1, of values in rising order: between two of them in
// proportion. NaN of none.
func Quantile(sorted []float64, p float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	at := p * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

func tQuantile(p, free float64) float64 {
	return distuv.StudentsT{Sigma: 1, Nu: free}.Quantile(p)
}

func fQuantile(p, d1, d2 float64) float64 { return distuv.F{D1: d1, D2: d2}.Quantile(p) }
