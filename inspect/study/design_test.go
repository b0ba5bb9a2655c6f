package study

import (
	"fmt"
	"strings"
	"testing"
)

// Two operators measure three subjects, one of them twice each; one scan failed and one value is
// missing. Column _u_ is an uncertainty.
const small = `path,subject,operator,status,reason,report,jaw,codes,gap_mm,gap_u_mm,rim_cant_deg
a,s1,ann,measured,,reports/a,upper,,1,0.1,5
b,s1,bob,measured,,reports/b,upper,,3,0.1,5
c,s2,ann,measured,,reports/c,upper,,4,0.1,5
d,s2,bob,measured,,reports/d,upper,,6,0.1,
e,s1,ann,measured,,reports/e,upper,,2,0.1,5
f,s1,bob,measured,,reports/f,upper,,5,0.1,5
g,s3,ann,failed,no scan,,,,,,
h,s3,bob,measured,,reports/h,upper,,9,0.1,5
`

// Half of the interval of a limit of agreement asks for about four times as many pairs, and a few more than
// four times fewer, as Student's t shrinks with their number.
func TestPlanOfLimits(t *testing.T) {
	text := strings.SplitAfter(small, "\n")[0]
	for i := range 12 {
		for k, who := range []string{"ann", "bob"} {
			text += fmt.Sprintf("p%d%s,s%d,%s,measured,,reports/x,upper,,%d,0.1,5\n", i, who, i, who, 3+i%5*(2*k-1)+k*i%3)
		}
	}
	tab, err := ReadTable(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Study(tab, "gap_mm", Guess(tab), 0, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if g := s.Agreement; g == nil || g.N != 12 || s.LimitPlan == nil || s.LimitPlan.Subjects < 36 || s.LimitPlan.Subjects > 48 {
		t.Errorf("%+v %+v", s.Agreement, s.LimitPlan)
	}
	if s, err = Study(tab, "gap_mm", Guess(tab), 0.5, 0.95); err != nil || s.LimitPlan.Half != 0.5 || s.Plan.Half != 0.5 {
		t.Errorf("%+v %+v %v", s.Plan, s.LimitPlan, err)
	}
}

func TestStudyOfTable(t *testing.T) {
	tab, err := ReadTable(strings.NewReader(small))
	if err != nil {
		t.Fatal(err)
	}
	d := Guess(tab)
	if d != (Design{"operator", "subject", "operator"}) || len(tab.Numbers) != 2 || Unit(tab.Numbers[0]) != "mm" || Unit("x_per_mm2") != "1/mm²" || Unit("hole_count") != "" {
		t.Errorf("%+v %v", d, tab.Numbers)
	}
	s, err := Study(tab, "gap_mm", d, 0, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Gaps) != 1 || s.Gaps[0] != (Gap{"g", "no scan"}) || len(s.Groups) != 3 || s.Groups[0].Summary.N != 7 || s.Groups[1].Name != "ann" || s.Groups[1].Summary.N != 3 {
		t.Errorf("%+v", s)
	}
	near(t, "mean of ann", s.Groups[1].Summary.Mean, 7.0/3, 1e-12)
	// Within s1: ann 1 2, bob 3 5: squares 0.5 + 2 over 2 degrees of freedom.
	near(t, "s_r²", s.Precision.SR*s.Precision.SR, 1.25, 1e-12)
	if s.Precision.DF != 2 || s.Dropped != 1 || s.Correlation.Targets != 2 || s.Correlation.Judges != 2 {
		t.Errorf("%+v %+v", s.Precision, s.Correlation)
	}
	// Pairs a-b, e-f, c-d; h has none. Differences of s1: -2, -3, of s2: -2; bias is that of the means.
	if s.A != "ann" || s.B != "bob" || s.Unpaired != 1 || !s.Agreement.Repeated || s.Pairs[1].B.Path != "f" {
		t.Errorf("%+v", s)
	}
	near(t, "bias", s.Agreement.Bias, (-2.5-2)/2, 1e-12)
	if s.Plan == nil || s.Plan.Subjects <= 7 {
		t.Errorf("plan %+v", s.Plan)
	}
	// The interval of a standard deviation: with 50 degrees of freedom chi-square's lower 2.5 % point is
	// 32.357 (NIST/SEMATECH handbook 1.3.6.7.4), so its upper end is √(50/32.357) = 1.243 times the estimate.
	if s.RepeatPlan < 46 || s.RepeatPlan > 50 || s.LimitPlan != nil {
		t.Errorf("repeats planned: %d, limits of pairs that depend on each other: %+v", s.RepeatPlan, s.LimitPlan)
	}
	// A quantity that is the same for all.
	s, err = Study(tab, "rim_cant_deg", d, 0, 0.95)
	if err != nil || s.CorrelationWhy == "" || s.Plan != nil || len(s.Gaps) != 2 {
		t.Errorf("%+v %v", s, err)
	}
	// Nothing at all, and no subject.
	s, err = Study(&Table{}, "gap_mm", Design{}, 0, 0.95)
	if err != nil || s.Groups[0].Summary.Why == "" || s.PrecisionWhy == "" {
		t.Errorf("%+v %v", s, err)
	}
	for _, bad := range []string{"", "a,b\n1,2\n", strings.Replace(small, ",1,0.1,", ",NaN,0.1,", 1), strings.Replace(small, ",1,0.1,", ",x,0.1,", 1)} {
		if _, err := ReadTable(strings.NewReader(bad)); err == nil {
			t.Errorf("%.20q is a table", bad)
		}
	}
}
