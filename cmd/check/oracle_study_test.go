package main

import (
	"bytes"
	_ "embed"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"fornix/inspect/study"
)

//go:embed oracle/study.R
var studyScript []byte

// R (r-project.org) computes the same statistics from the same random tables.
func TestOracleStudyR(t *testing.T) {
	if !haveR() {
		t.Skip("no R here: go run ./cmd/check installs it")
	}
	for seed := range uint64(3) {
		r := rand.New(rand.NewPCG(seed, 3))
		n, k := 5+r.IntN(20), 2+r.IntN(3)
		dir := t.TempDir()
		var table, labs bytes.Buffer
		fmt.Fprintln(&table, "subject judge value")
		fmt.Fprintln(&labs, "lab value")
		x := make([][]float64, n)
		var pairs []study.Pair
		bias := r.NormFloat64()
		for i := range x {
			truth := 20 + 3*r.NormFloat64()
			for j := range k {
				v := truth + bias*float64(j) + r.NormFloat64()
				x[i] = append(x[i], v)
				fmt.Fprintf(&table, "s%03d j%d %.17g\n", i, j, v)
			}
			pairs = append(pairs, study.Pair{Subject: strconv.Itoa(i), A: x[i][0], B: x[i][1]})
		}
		groups := make([][]float64, 6)
		for i := range groups {
			at := 2 * r.NormFloat64()
			for range 1 + r.IntN(5) {
				v := 10 + at + r.NormFloat64()
				groups[i] = append(groups[i], v)
				fmt.Fprintf(&labs, "l%d %.17g\n", i, v)
			}
		}
		script, data, more := filepath.Join(dir, "study.R"), filepath.Join(dir, "table.txt"), filepath.Join(dir, "labs.txt")
		write(t, script, studyScript)
		write(t, data, table.Bytes())
		write(t, more, labs.Bytes())
		c := exec.Command("Rscript", "--vanilla", script, data, more)
		var stderr bytes.Buffer
		c.Stderr = &stderr
		out, err := c.Output()
		if err != nil {
			t.Fatalf("R: %v\n%s", err, stderr.Bytes())
		}
		ours := studied(t, x, pairs, groups)
		for line := range strings.Lines(string(out)) {
			f := strings.Fields(line)
			want, err := strconv.ParseFloat(f[1], 64)
			if err != nil {
				t.Fatal(line, err)
			}
			got, known := ours[f[0]]
			if !known {
				t.Errorf("R says %s, which is not compared", f[0])
			}
			delete(ours, f[0])
			if d := math.Abs(got - want); !(d <= 1e-9*max(1e-3, math.Abs(want))) {
				t.Errorf("seed %d, %d subjects, %d judges: %s is %.15g, R has %.15g", seed, n, k, f[0], got, want)
			}
		}
		for name := range ours {
			t.Errorf("R says nothing of %s", name)
		}
	}
}

// studied names the results as the script does.
func studied(t *testing.T, x [][]float64, pairs []study.Pair, groups [][]float64) map[string]float64 {
	var first []float64
	for _, r := range x {
		first = append(first, r[0])
	}
	s, err1 := study.Describe(first, 0.95)
	c, err2 := study.Correlate(x, 0.95)
	g, err3 := study.Agree(pairs, 0.95)
	p, err4 := study.Precise([][][]float64{groups}, 0.95)
	for _, err := range []error{err1, err2, err3, err4} {
		if err != nil {
			t.Fatal(err)
		}
	}
	out := map[string]float64{
		"mean": s.Mean, "sd": *s.SD, "median": s.Median, "q1": s.Q1, "q3": s.Q3,
		"mean.low": s.MeanInterval.Low, "mean.high": s.MeanInterval.High, "sd.low": s.SDInterval.Low, "sd.high": s.SDInterval.High,
		"bms": c.BetweenTargets, "jms": c.BetweenJudges, "ems": c.Residual, "wms": c.WithinTargets,
		"f1": *c.Forms[0].F, "p1": *c.Forms[0].P, "f3": *c.Forms[2].F, "p3": *c.Forms[2].P,
		"bias": g.Bias, "lower": g.Limits.Low, "upper.low": g.Upper.Low, "upper.high": g.Upper.High, "slope": *g.Slope, "slope.p": *g.SlopeP,
		"sr2": p.SR * p.SR, "sl2": *p.SL * *p.SL,
	}
	return out
}
