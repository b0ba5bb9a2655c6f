package study

import (
	"errors"
	"math"
)

// Precision is what repeated measurements of the same thing say, in the values' unit.
//
// A condition is whatever changes between groups of repeats (a laboratory in ISO 5725's words,
// here mostly an operator or a device).
type Precision struct {
	Conditions, N int // groups and values that count
	Subjects      int // things measured
	DF            int // of SR

	SR         float64   // s_r, repeatability: within a condition
	SRInterval *Interval // chi squared; nil: SR is 0
	Limit      float64   // r = 2.8 s_r: two repeats differ by less in 95 % of cases

	SL          *float64 // s_L, between conditions; nil: see Why
	SReproduced *float64 // s_R, reproducibility: within and between
	LimitR      *float64 // R = 2.8 s_R
	Negative    bool     // the estimate of s_L² was below 0 and is taken as 0
	Why         string
}

// limitFactor of ISO 5725-6 (clause 4.1.4, from memory): 1.96 √2, rounded as the standard does.
const limitFactor = 2.8

// Precise gives repeatability and reproducibility from values[subject][condition][repeat].
//
// For one subject they are ISO 5725-2:1994, 7.4.5, in the form that allows for unequal numbers of
// repeats: s_r² pools the variances within conditions by their degrees of freedom,
// s_d² = Σ n_i (y_i - y)² / (p - 1), n = (Σ n_i - Σ n_i² / Σ n_i) / (p - 1),
// s_L² = (s_d² - s_r²) / n and s_R² = s_L² + s_r². Over several subjects, each being a level of
// its own, s_r² is pooled by degrees of freedom and s_L² is the mean of the levels' estimates, as
// 7.5.2 does where precision does not depend on the level. Whether it does is not tested here. A
// negative s_L² becomes 0.
// Outliers are neither tested for nor removed. Groups that hold no value do not count.
// Errors: no condition has two repeats; a value that is not finite.
func Precise(values [][][]float64, confidence float64) (Precision, error) {
	var p Precision
	within, between := 0.0, 0.0
	levels := 0
	conditions := 0
	for _, level := range values {
		l, err := oneLevel(level, confidence)
		if err != nil {
			return p, err
		}
		if l.n == 0 {
			continue
		}
		p.Subjects++
		p.N += l.n
		p.DF += l.df
		within += l.ss
		conditions = max(conditions, l.groups)
		if l.groups > 1 && l.df > 0 {
			levels++
			between += (l.meanSquare - l.ss/float64(l.df)) / l.size
		}
	}
	p.Conditions = conditions
	if p.DF == 0 {
		return p, errors.New("nothing was measured twice under one condition")
	}
	v := within / float64(p.DF)
	p.SR = math.Sqrt(v)
	p.Limit = limitFactor * p.SR
	if p.SR > 0 {
		p.SRInterval = sdInterval(p.SR, float64(p.DF), confidence)
	}
	if levels == 0 {
		p.Why = "nothing was measured under two conditions, one of them twice"
		return p, nil
	}
	between /= float64(levels)
	if between < 0 {
		p.Negative, between = true, 0
	}
	sl, sr := math.Sqrt(between), math.Sqrt(between+v)
	limit := limitFactor * sr
	p.SL, p.SReproduced, p.LimitR = &sl, &sr, &limit
	return p, nil
}

// level holds the sums of one analysis of variance by one factor.
type level struct {
	n, groups, df int
	mean          float64
	ss            float64 // within groups
	meanSquare    float64 // between groups, s_d²; 0 for one group
	size          float64 // the mean number in a group that unequal groups are worth, n of ISO 5725-2
}

func oneLevel(groups [][]float64, confidence float64) (level, error) {
	var l level
	var means, sizes []float64
	sum, sizes2 := 0.0, 0.0
	for _, g := range groups {
		if len(g) == 0 {
			continue
		}
		if err := usable(g, confidence); err != nil {
			return l, err
		}
		m := mean(g)
		l.n += len(g)
		l.groups++
		l.df += len(g) - 1
		l.ss += squares(g, m)
		n := float64(len(g))
		means, sizes = append(means, m), append(sizes, n)
		sum += n * m
		sizes2 += n * n
	}
	if l.n == 0 {
		return l, nil
	}
	l.mean = sum / float64(l.n)
	if l.groups > 1 {
		for i, m := range means {
			l.meanSquare += sizes[i] * (m - l.mean) * (m - l.mean)
		}
		l.meanSquare /= float64(l.groups - 1)
		l.size = (float64(l.n) - sizes2/float64(l.n)) / float64(l.groups-1)
	}
	return l, nil
}
