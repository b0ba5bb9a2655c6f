package main

import (
	"fmt"
	"strconv"
	"strings"

	"fornix/inspect/study"
)

// studyRow is one number of a study, as table, page and terminal tell it.
type studyRow struct {
	Code                  string // of its help page
	Analysis, Group, Name string
	Value                 *float64
	Interval              *study.Interval
	Note                  string
}

// brief writes a number with six digits that count, without an exponent.
func brief(v float64) string {
	short, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
	if err != nil {
		panic("fornix: a number does not read as it was written: " + err.Error())
	}
	return strconv.FormatFloat(short+0, 'f', -1, 64)
}

// chance writes a p-value as papers do: what lies below a ten-thousandth is not told apart.
func chance(p float64) string {
	if p < 1e-4 {
		return "p < 0.0001"
	}
	return fmt.Sprintf("p = %.4f", p)
}

// studyRows lists what is known of a quantity, and why the rest is not.
func studyRows(r study.Result, d study.Design) []studyRow {
	var out []studyRow
	add := func(code, analysis, group, name string, v *float64, i *study.Interval, note string) {
		out = append(out, studyRow{code, analysis, group, name, v, i, note})
	}
	number := func(v int) *float64 { f := float64(v); return &f }
	for i, g := range r.Groups {
		name, s := g.Name, g.Summary
		if i == 0 {
			name = "all"
		}
		add("study-count", "description", name, "n", number(s.N), nil, "")
		if i == 0 {
			add("study-count", "description", name, "missing", number(len(r.Gaps)), nil, "")
		}
		if s.N == 0 {
			add("study-mean", "description", name, "mean", nil, nil, s.Why)
			continue
		}
		add("study-mean", "description", name, "mean", &s.Mean, s.MeanInterval, s.Why)
		add("study-sd", "description", name, "SD", s.SD, s.SDInterval, s.Why)
		for _, q := range []struct {
			name string
			v    float64
		}{{"minimum", s.Min}, {"first quartile", s.Q1}, {"median", s.Median}, {"third quartile", s.Q3}, {"maximum", s.Max}} {
			add("study-quartiles", "description", name, q.name, &q.v, nil, "")
		}
	}
	if p := r.Precision; p != nil {
		note := fmt.Sprintf("%d subjects, %d values, %d degrees of freedom", p.Subjects, p.N, p.DF)
		add("repeatability-sd", "precision", "", "s_r, repeatability SD", &p.SR, p.SRInterval, note)
		add("repeatability-limit", "precision", "", "r = 2.8 s_r", &p.Limit, nil, "two repeats differ by less in 95 % of cases")
		note = r.PrecisionWhy
		if p.Negative {
			note = "its estimate lies below 0 and is taken as 0"
		}
		add("between-conditions", "precision", "", "s_L, between "+plural(d.Condition), p.SL, nil, note)
		add("reproducibility-sd", "precision", "", "s_R, reproducibility SD", p.SReproduced, nil, r.PrecisionWhy)
		add("reproducibility-limit", "precision", "", "R = 2.8 s_R", p.LimitR, nil, r.PrecisionWhy)
	} else {
		add("repeatability-sd", "precision", "", "s_r, repeatability SD", nil, nil, r.PrecisionWhy)
	}
	if c := r.Correlation; c != nil {
		note := fmt.Sprintf("%d subjects, %d readings of each", c.Targets, c.Judges)
		if r.Dropped > 0 {
			note += fmt.Sprintf("; left out for lack of a reading: %d", r.Dropped)
		}
		add("study-count", "correlation", "", "subjects", number(c.Targets), nil, note)
		for _, f := range c.Forms {
			v, note := &f.Value, f.Meaning
			if f.F != nil {
				note += fmt.Sprintf("; F %s with %d and %d degrees of freedom, %s", brief(*f.F), f.DF1, f.DF2, chance(*f.P))
			}
			if f.Why != "" {
				note += "; " + f.Why
				if f.Interval == nil && f.F == nil && f.Value == 0 {
					v = nil
				}
			}
			add(formCode(f.Form), "correlation", "", f.Form, v, f.Interval, note)
		}
	} else {
		add("icc-2-1", "correlation", "", "ICC", nil, nil, r.CorrelationWhy)
	}
	if g := r.Agreement; g != nil {
		note := fmt.Sprintf("%d pairs of %d subjects", g.N, g.Subjects)
		if r.Unpaired > 0 {
			note += fmt.Sprintf("; values without a partner: %d", r.Unpaired)
		}
		group := r.A + " - " + r.B
		add("agreement-bias", "agreement", group, "bias", &g.Bias, g.BiasInterval, note)
		add("agreement-sd", "agreement", group, "SD of differences", g.SD, nil, g.Why)
		if g.Limits != nil {
			low, high := g.Lower, g.Upper
			if low == nil {
				low, high = g.LowerBA, g.UpperBA
			}
			add("limits-of-agreement", "agreement", group, "lower limit, -1.96 SD", &g.Limits.Low, low, g.Why)
			add("limits-of-agreement", "agreement", group, "upper limit, +1.96 SD", &g.Limits.High, high, g.Why)
		}
		note = ""
		if g.SlopeP != nil {
			note = chance(*g.SlopeP)
		}
		add("agreement-slope", "agreement", group, "slope on the mean", g.Slope, nil, note)
	} else {
		add("agreement-bias", "agreement", "", "bias", nil, nil, r.AgreementWhy)
	}
	if p := r.Plan; p != nil {
		add("sample-mean", "plan", "", "subjects for a mean within ± "+brief(p.Half), number(p.Subjects), nil, "with the SD as it is here, and one value of each subject")
	}
	if p := r.LimitPlan; p != nil {
		add("sample-limits", "plan", "", "pairs for limits within ± "+brief(p.Half), number(p.Subjects), nil, "with the SD of differences as it is here, and one pair for each subject")
	}
	if r.RepeatPlan > 0 {
		add("sample-repeats", "plan", "", "repeats beyond each first for s_r within "+brief(study.PlanFactor)+" times", number(r.RepeatPlan), nil, "counted over all subjects together")
	}
	return out
}

func plural(condition string) string {
	if condition == "" {
		return "conditions"
	}
	return "levels of " + condition
}

// formCode is the help page of a form of the intraclass correlation, as ICC(2,1) or ICC(2,4).
func formCode(form string) string {
	code := "icc-" + form[4:5] + "-k"
	if strings.HasSuffix(form, ",1)") {
		code = "icc-" + form[4:5] + "-1"
	}
	return code
}
