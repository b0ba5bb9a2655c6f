package study

import (
	"fmt"
	"math"
)

// Precision is repeatability and reproducibility at one level, that is of one thing measured, or of all
// of them together.
type Precision struct {
	Name   string   `json:"name,omitempty"`
	Labs   int      `json:"labs"` // laboratories, operators or devices with a reading
	N      int      `json:"n"`    // readings
	Mean   *float64 `json:"mean,omitempty"`
	SRep   *float64 `json:"s_r,omitempty"` // repeatability SD: within a laboratory
	SLab   *float64 `json:"s_L,omitempty"` // SD between laboratories
	SRepro *float64 `json:"s_R,omitempty"` // reproducibility SD
	RepLim *float64 `json:"r,omitempty"`   // repeatability limit, 2.8 s_r
	ReproL *float64 `json:"R,omitempty"`   // reproducibility limit, 2.8 s_R
	freeR  float64  // degrees of freedom of s_r
	Why    string   `json:"why,omitempty"`
}

// limitFactor makes a limit of a standard deviation: 1.96 √2, rounded as ISO 5725-6 does.
const limitFactor = 2.8

// PrecisionOf works out repeatability and reproducibility at one level: labs holds the readings of each
// laboratory (operator, device), which need not be equally many. Missing ones (NaN) are left out.
//
//	s_r² = Σ (n_i - 1) s_i² / Σ (n_i - 1)
//	s_d² = Σ n_i (y_i - y)² / (p - 1),  n = (Σ n_i - Σ n_i² / Σ n_i) / (p - 1)
//	s_L² = (s_d² - s_r²) / n, not below 0;  s_R² = s_r² + s_L²
//
// Source: ISO 5725-2, basic method for the determination of repeatability and reproducibility (formulas
// from memory; they are those of the one-way random model).
func PrecisionOf(name string, labs [][]float64) Precision {
	p := Precision{Name: name}
	var within, free, sumN, sumN2, sum float64
	var means, counts []float64
	for _, lab := range labs {
		var x []float64
		for _, v := range lab {
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				x = append(x, v)
			}
		}
		if len(x) == 0 {
			continue
		}
		n := float64(len(x))
		m, variance := moments(x)
		if len(x) > 1 {
			within += (n - 1) * variance
			free += n - 1
		}
		means, counts = append(means, m), append(counts, n)
		sum, sumN, sumN2 = sum+n*m, sumN+n, sumN2+float64(n*n)
	}
	p.Labs, p.N = len(means), int(sumN)
	if p.N == 0 {
		p.Why = "no reading"
		return p
	}
	mean := sum / sumN
	p.Mean = &mean
	if free == 0 {
		p.Why = "nothing was measured twice by the same"
		return p
	}
	r2 := within / free
	p.freeR = free
	p.SRep = ptr(math.Sqrt(r2))
	p.RepLim = ptr(limitFactor * *p.SRep)
	if p.Labs < 2 {
		p.Why = "one operator or device alone tells nothing of reproducibility"
		return p
	}
	d2, q := 0.0, float64(p.Labs-1)
	for i, m := range means {
		d := m - mean
		d2 += counts[i] * float64(d*d) / q
	}
	p.between(r2, math.Max(0, (d2-r2)/((sumN-sumN2/sumN)/q)))
	return p
}

func (p *Precision) between(r2, lab2 float64) {
	p.SLab, p.SRepro = ptr(math.Sqrt(lab2)), ptr(math.Sqrt(r2+lab2))
	p.ReproL = ptr(limitFactor * *p.SRepro)
}

// Together pools levels into one: the variances' means, those of s_r weighted by their degrees of
// freedom, those of s_L alike. It holds where neither changes with the level, which the levels
// themselves show.
func Together(levels []Precision) Precision {
	all := Precision{Name: "all"}
	var r2, free, lab2, sum float64
	n := 0
	for _, p := range levels {
		all.N += p.N
		all.Labs = max(all.Labs, p.Labs)
		if p.Mean != nil {
			sum += *p.Mean * float64(p.N)
		}
		if p.SRep != nil {
			r2, free = r2+p.freeR**p.SRep**p.SRep, free+p.freeR
		}
		if p.SLab != nil {
			lab2, n = lab2+*p.SLab**p.SLab, n+1
		}
	}
	if all.N == 0 {
		all.Why = "no reading"
		return all
	}
	all.Mean = ptr(sum / float64(all.N))
	if free == 0 {
		all.Why = "nothing was measured twice by the same"
		return all
	}
	r2, all.freeR = r2/free, free
	all.SRep = ptr(math.Sqrt(r2))
	all.RepLim = ptr(limitFactor * *all.SRep)
	if n == 0 {
		all.Why = "no subject was measured by two operators or devices"
		return all
	}
	all.between(r2, lab2/float64(n))
	if n < len(levels) {
		all.Why = fmt.Sprintf("s_L from %d of %d subjects", n, len(levels))
	}
	return all
}

func ptr[T any](v T) *T { return &v }
