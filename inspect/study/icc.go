package study

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// The six forms of Shrout and Fleiss.
const (
	OneWay        = "ICC(1,1)" // each subject by judges of its own, one reading
	TwoWayRandom  = "ICC(2,1)" // the same judges for all subjects, drawn from many: absolute agreement
	TwoWayFixed   = "ICC(3,1)" // these judges alone: consistency
	OneWayMean    = "ICC(1,k)" // the same of the mean of all judges
	TwoWayMean    = "ICC(2,k)"
	TwoWayFixMean = "ICC(3,k)"
)

// ICC is one intraclass correlation.
type ICC struct {
	Form  string    `json:"form"`
	Value float64   `json:"value"`
	CI    *Interval `json:"ci,omitempty"`
	F     float64   `json:"f"` // of the test that subjects do not differ
	DF1   float64   `json:"df1"`
	DF2   float64   `json:"df2"`
	P     float64   `json:"p"`
}

// Anova is the two-way table of squares behind them: subjects by judges, one reading each.
type Anova struct {
	Subjects int     `json:"subjects"`
	Judges   int     `json:"judges"`
	Dropped  int     `json:"dropped"` // subjects that lack a reading
	BMS      float64 `json:"bms"`     // mean square between subjects
	WMS      float64 `json:"wms"`     // within subjects
	JMS      float64 `json:"jms"`     // between judges
	EMS      float64 `json:"ems"`     // what is left
	All      []ICC   `json:"icc"`
	Why      string  `json:"why,omitempty"`
}

// Intraclass works out the six intraclass correlations of readings, one row a subject, one column a
// judge (operator, device, repeat), with intervals and the test of their being zero. Subjects with a
// missing reading (NaN) are left out and counted.
//
// Source: Shrout & Fleiss, Psychological Bulletin 1979;86:420, all formulas; the degrees of freedom of
// ICC(2,1) are Satterthwaite's, as given there.
func Intraclass(rows [][]float64, level float64) Anova {
	a := Anova{}
	var full [][]float64
	k := 0
	for _, r := range rows {
		k = max(k, len(r))
	}
next:
	for _, r := range rows {
		if len(r) < k {
			a.Dropped++
			continue
		}
		for _, v := range r {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				a.Dropped++
				continue next
			}
		}
		full = append(full, r)
	}
	n := len(full)
	a.Subjects, a.Judges = n, k
	if n < 2 || k < 2 {
		a.Why = fmt.Sprintf("%d subjects with all of %d readings: two of each are needed", n, k)
		return a
	}
	a.squares(full)
	// Squares this far below those of the readings are the rounding of their digits.
	most := 0.0
	for _, r := range full {
		for _, v := range r {
			most = math.Max(most, math.Abs(v))
		}
	}
	for _, ms := range []*float64{&a.BMS, &a.WMS, &a.JMS, &a.EMS} {
		if *ms < 1e-26*most*most {
			*ms = 0
		}
	}
	if !(a.BMS > 0) {
		a.Why = "the subjects do not differ at all"
		return a
	}
	if !(a.WMS > 0) {
		a.Why = "the readings of each subject are all alike: nothing is left to test with"
		return a
	}
	a.All = a.forms(level)
	return a
}

// squares fills the mean squares, of deviations so that no digits are lost.
func (a *Anova) squares(x [][]float64) {
	n, k := float64(len(x)), float64(len(x[0]))
	judge := make([]float64, len(x[0]))
	subject := make([]float64, len(x))
	grand := 0.0
	for i, r := range x {
		for j, v := range r {
			subject[i] += v / k
			judge[j] += v / n
		}
		grand += subject[i] / n
	}
	var b, w, j2, e float64
	for i, r := range x {
		d := subject[i] - grand
		b += k * float64(d*d)
		for j, v := range r {
			d, e1 := v-subject[i], v-subject[i]-judge[j]+grand
			w += float64(d * d)
			e += float64(e1 * e1)
		}
	}
	for _, m := range judge {
		d := m - grand
		j2 += n * float64(d*d)
	}
	a.BMS, a.WMS, a.JMS, a.EMS = b/(n-1), w/(n*(k-1)), j2/(k-1), e/((n-1)*(k-1))
}

func (a *Anova) forms(level float64) []ICC {
	n, k := float64(a.Subjects), float64(a.Judges)
	b, w, j, e := a.BMS, a.WMS, a.JMS, a.EMS
	p := (1 + level) / 2
	// One reading and the mean of k: r of one becomes k r / (1 + (k-1) r) of the mean.
	single := func(q float64) float64 { return (q - 1) / (q + k - 1) }
	stepUp := func(r float64) float64 { return k * r / (1 + (k-1)*r) }

	f1, d1, d2 := b/w, n-1, n*(k-1)
	low, high := f1/fQuantile(p, d1, d2), f1*fQuantile(p, d2, d1)
	test := func(form string, v, f, df2 float64, ci *Interval) ICC {
		return ICC{Form: form, Value: v, CI: ci, F: f, DF1: d1, DF2: df2, P: distuv.F{D1: d1, D2: df2}.Survival(f)}
	}
	one := test(OneWay, (b-w)/(b+(k-1)*w), f1, d2, &Interval{single(low), single(high)})
	oneMean := test(OneWayMean, (b-w)/b, f1, d2, &Interval{1 - 1/low, 1 - 1/high})
	if !(e > 0) { // judges differ by steps that are the same for every subject
		return []ICC{one, oneMean}
	}

	f3, d3 := b/e, (n-1)*(k-1)
	low, high = f3/fQuantile(p, d1, d3), f3*fQuantile(p, d3, d1)
	three := test(TwoWayFixed, (b-e)/(b+(k-1)*e), f3, d3, &Interval{single(low), single(high)})
	threeMean := test(TwoWayFixMean, (b-e)/b, f3, d3, &Interval{1 - 1/low, 1 - 1/high})

	r := (b - e) / (b + (k-1)*e + k*(j-e)/n)
	fj := j / e
	u := n*(1+(k-1)*r) - k*r
	top := k*r*fj + u
	free := d3 * top * top / ((n-1)*float64(k*k)*float64(r*r)*float64(fj*fj) + u*u)
	var ci, ciMean *Interval
	if free > 0 && !math.IsInf(free, 0) {
		up, down := fQuantile(p, d1, free), fQuantile(p, free, d1)
		lo := n * (b - up*e) / (up*(k*j+(k*n-k-n)*e) + n*b)
		hi := n * (down*b - e) / (k*j + (k*n-k-n)*e + n*down*b)
		ci, ciMean = &Interval{lo, hi}, &Interval{stepUp(lo), stepUp(hi)}
	}
	two := test(TwoWayRandom, r, f3, d3, ci)
	twoMean := test(TwoWayMean, (b-e)/(b+(j-e)/n), f3, d3, ciMean)
	return []ICC{one, two, three, oneMean, twoMean, threeMean}
}
