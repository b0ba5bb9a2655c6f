package study

import (
	"math"
	"slices"
	"strings"
	"testing"

	"fornix/inspect"
)

// tableOf is a table of scans: path, subject, operator, status, reason, jaw.
func tableOf(t *testing.T, rows string) *Table {
	t.Helper()
	var b strings.Builder
	b.WriteString("path,subject,operator,status,reason,report,jaw,codes\n")
	for line := range strings.Lines(rows) {
		c := strings.Split(strings.TrimSpace(line), ",")
		b.WriteString(strings.Join([]string{c[0], c[1], c[2], c[3], c[4], "", c[5], ""}, ",") + "\n")
	}
	out, err := ReadTable(strings.NewReader(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

const scans = `a1,s1,ann,measured,,upper
a2,s1,ann,measured,,upper
a3,s1,ann,measured,,upper
b1,s1,bob,measured,,upper
b2,s1,bob,measured,,upper
l1,s1,ann,measured,,lower
x,,ann,measured,,upper
y,s2,,measured,,upper
z,s2,ann,failed,no scan,`

func said(jobs []Job) []string {
	var out []string
	for _, j := range jobs {
		text := strings.TrimPrefix(j.A.Path+" "+j.B.Path, " ") + " " + j.Condition
		if j.Why != "" {
			text += ": " + j.Why
		}
		out = append(out, text)
	}
	return out
}

func same(t *testing.T, what string, got, want []string) {
	t.Helper()
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("%s:\n%s\nwant\n%s", what, strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Three repeats make three pairs, two one; a jaw is a subject of its own; every scan that belongs to no
// pair says why.
func TestPairJobs(t *testing.T) {
	same(t, "pairs", said(PairJobs(tableOf(t, scans), Design{Subject: "subject", Condition: "operator"})), []string{
		"a1 a2 ann", "a1 a3 ann", "a2 a3 ann", "b1 b2 bob",
		"x ann: the table names no subject of it",
		"y : the table names no operator of it",
		"z ann: no scan",
		"l1 ann: there is no other scan of this subject and condition",
	})
}

func TestReferenceJobs(t *testing.T) {
	d := Design{Subject: "subject", Condition: "operator"}
	same(t, "scans and the reference of their subject", said(ReferenceJobs(tableOf(t, scans), d, "operator", "bob")), []string{
		"b1 a1 ann", "b1 a2 ann", "b1 a3 ann",
		"x ann: the table names no subject of it",
		"z ann: no scan",
		"b2 bob: another scan of its subject is the reference: the first in the table",
		"l1 ann: no scan of its subject has bob in the column operator",
		"y : no scan of its subject has bob in the column operator",
	})
	same(t, "scans and one reference", said(OneReferenceJobs(tableOf(t, scans), d, "r.stl")), []string{
		"r.stl y ", "r.stl a1 ann", "r.stl a2 ann", "r.stl a3 ann", "r.stl l1 ann", "r.stl x ann", "r.stl b1 bob", "r.stl b2 bob",
		"z ann: no scan",
	})
}

// compared is a comparison with the RMS of both ways and means, in mm.
func compared(j Job, rmsA, rmsB, mean float64) Compared {
	way := func(rms float64) *inspect.Deviation {
		return &inspect.Deviation{RMSMM: rms, MeanMM: mean, AbsP50MM: rms / 2, AbsP95MM: 2 * rms}
	}
	all := inspect.BothWays{Region: inspect.ZoneAll, AtA: way(rmsA), AtB: way(rmsB)}
	all.AtB.MeanMM = mean / 2
	rim := inspect.BothWays{Region: inspect.PlaceRim, AtA: way(rmsA), Unmeasured: "nothing there in common"}
	pad := inspect.BothWays{Region: inspect.PlaceOuter, AtA: way(10 * rmsA), AtB: way(rmsA)}
	return Compared{Job: j, Parts: []inspect.BothWays{all, rim, pad}}
}

func close(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) < 1e-12) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// By hand: of both ways the larger RMS, 3, 4 and 5; mean square (9 + 16 + 25)/3 = 50/3, so RMS
// 5 √(2/3) and s_r 5/√3. The mean of the medians is 2, that of the 95th percentiles 8. One pair of the other
// subject could not be compared and does not count: RMS 7 of one pair.
func TestPrecisionOverPairs(t *testing.T) {
	tab := tableOf(t, scans)
	jobs := PairJobs(tab, Design{Subject: "subject", Condition: "operator"})
	all := []Compared{compared(jobs[0], 3, 1, 0), compared(jobs[1], 2, 4, 0), compared(jobs[2], 5, 5, 0), {Job: jobs[3], Why: "too little fits"}}
	for _, j := range jobs[4:] {
		all = append(all, Compared{Job: j, Why: j.Why})
	}
	p := PrecisionTable(tab.User, all)
	if len(p.Rows) != 2 || p.Rows[0].Path != "s1 upper, ann: 3 of 3 pairs" || p.Rows[1].Failed != "too little fits" || p.Rows[0].Failed != "" {
		t.Fatalf("%+v", p.Rows)
	}
	same(t, "quantities", p.Numbers, []string{"precision_sr_mm", "precision_rms_mm", "precision_abs_p50_mm", "precision_abs_p95_mm",
		"precision_sr_outer_surface_mm", "precision_rms_outer_surface_mm", "precision_abs_p50_outer_surface_mm", "precision_abs_p95_outer_surface_mm"})
	v := p.Rows[0].Value
	close(t, "RMS", v["precision_rms_mm"], 5*math.Sqrt(2.0/3))
	close(t, "s_r", v["precision_sr_mm"], 5/math.Sqrt(3))
	close(t, "median distance", v["precision_abs_p50_mm"], 2)
	close(t, "95 %", v["precision_abs_p95_mm"], 8)
	close(t, "RMS of a part", v["precision_rms_outer_surface_mm"], math.Sqrt((900+400+2500)/3.0))
	over := OverPairs(all)["precision_rms_mm"]
	if !slices.Equal(over[""], []float64{3, 4, 5}) || !slices.Equal(over["ann"], []float64{3, 4, 5}) || len(over) != 2 {
		t.Errorf("over pairs %v", over)
	}
	r, err := Study(p, "precision_rms_mm", Design{Subject: "subject", Condition: "operator", Group: "operator"}, 0, 0.95)
	if err != nil || r.Groups[0].Summary.N != 1 || len(r.Gaps) != 1 || r.Gaps[0].Why != "too little fits" {
		t.Errorf("%v: %+v", err, r)
	}
	all[3] = compared(jobs[3], 7, 6, 0)
	all[0].Why, all[0].Parts = "gone", nil
	p = PrecisionTable(tab.User, all)
	if p.Rows[0].Path != "s1 upper, ann: 2 of 3 pairs" {
		t.Errorf("%q", p.Rows[0].Path)
	}
	close(t, "RMS without a pair", p.Rows[0].Value["precision_rms_mm"], math.Sqrt(41.0/2))
	close(t, "RMS of one pair", p.Rows[1].Value["precision_rms_mm"], 7)
}

// The variance of n values is half the mean square of the differences of their pairs: s_r over pairs is
// the standard deviation of NIST's set Lottery's first values, computed from them directly.
func TestPairsGiveTheStandardDeviation(t *testing.T) {
	x := []float64{162, 671, 933, 414, 788, 730, 817, 33, 536, 875}
	var jobs []Compared
	for i := range x {
		for j := i + 1; j < len(x); j++ {
			d := math.Abs(x[i] - x[j])
			jobs = append(jobs, compared(Job{Kind: OfRepeats, A: Row{Path: "a"}, B: Row{Path: "b"}}, d, d, 0))
		}
	}
	s, err := Describe(x, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if got := PrecisionTable(nil, jobs).Rows[0].Value["precision_sr_mm"]; math.Abs(got-*s.SD) > 1e-9 {
		t.Errorf("s_r %v, SD %v", got, *s.SD)
	}
}

// The signed mean is that of both ways, (0.04 + 0.02)/2; the scans without say why, the reference too.
func TestTruenessJoinsTheTable(t *testing.T) {
	tab := tableOf(t, scans)
	d := Design{Subject: "subject", Condition: "operator", Group: "operator"}
	var all []Compared
	for i, j := range ReferenceJobs(tab, d, "operator", "bob") {
		c := compared(j, 0.1, 0.2, 0.04)
		if i == 1 {
			c.Why = "a2: no such file"
		}
		if j.Why != "" {
			c = Compared{Job: j, Why: j.Why}
		}
		all = append(all, c)
	}
	AddTrueness(tab, all)
	close(t, "mean", tab.Rows[0].Value["trueness_mean_mm"], 0.03)
	close(t, "RMS", tab.Rows[2].Value["trueness_rms_mm"], 0.2)
	r, err := Study(tab, "trueness_mean_mm", d, 0, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	var gaps []string
	for _, g := range r.Gaps {
		gaps = append(gaps, g.Path+": "+g.Why)
	}
	same(t, "gaps", gaps, []string{
		"a2: a2: no such file", "b1: it is the reference", "b2: another scan of its subject is the reference: the first in the table",
		"l1: no scan of its subject has bob in the column operator", "x: the table names no subject of it",
		"y: no scan of its subject has bob in the column operator", "z: no scan",
	})
	if n := r.Groups[0].Summary.N; n != 2 {
		t.Errorf("%d values", n)
	}
	for _, q := range tab.Numbers {
		if strings.Contains(q, "rim") {
			t.Errorf("%s has no value", q)
		}
	}
}
