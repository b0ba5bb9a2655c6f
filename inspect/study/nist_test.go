package study

import (
	"math"
	"testing"
)

// Mavro and Michelso of the NIST Statistical Reference Datasets, univariate summary statistics.
// https://www.itl.nist.gov/div898/strd/univ/homepage.html
var (
	mavro = []float64{
		2.0018, 2.0017, 2.0018, 2.0019, 2.0018, 2.0017, 2.0015, 2.0014, 2.0015, 2.0015, 2.0017, 2.0018, 2.0018, 2.0019, 2.0019,
		2.0021, 2.0020, 2.0016, 2.0014, 2.0013, 2.0013, 2.0015, 2.0015, 2.0016, 2.0015, 2.0014, 2.0013, 2.0014, 2.0015, 2.0014,
		2.0015, 2.0016, 2.0015, 2.0016, 2.0019, 2.0020, 2.0020, 2.0021, 2.0022, 2.0023, 2.0024, 2.0025, 2.0027, 2.0026, 2.0026,
		2.0026, 2.0027, 2.0026, 2.0025, 2.0024,
	}
	michelso = []float64{
		299.85, 299.74, 299.90, 300.07, 299.93, 299.85, 299.95, 299.98, 299.98, 299.88, 300.00, 299.98, 299.93, 299.65, 299.76,
		299.81, 300.00, 300.00, 299.96, 299.96, 299.96, 299.94, 299.96, 299.94, 299.88, 299.80, 299.85, 299.88, 299.90, 299.84,
		299.83, 299.79, 299.81, 299.88, 299.88, 299.83, 299.80, 299.79, 299.76, 299.80, 299.88, 299.88, 299.88, 299.86, 299.72,
		299.72, 299.62, 299.86, 299.97, 299.95, 299.88, 299.91, 299.85, 299.87, 299.84, 299.84, 299.85, 299.84, 299.84, 299.84,
		299.89, 299.81, 299.81, 299.82, 299.80, 299.77, 299.76, 299.74, 299.75, 299.76, 299.91, 299.92, 299.89, 299.86, 299.88,
		299.72, 299.84, 299.85, 299.85, 299.78, 299.89, 299.84, 299.78, 299.81, 299.76, 299.81, 299.79, 299.81, 299.82, 299.85,
		299.87, 299.87, 299.81, 299.74, 299.81, 299.94, 299.95, 299.80, 299.81, 299.87,
	}
)

// numAcc is NumAcc2 to NumAcc4: a first value, then two others in turn, 1001 in all.
func numAcc(first float64) []float64 {
	v := []float64{first}
	whole := math.Trunc(first)
	for range 500 {
		v = append(v, whole+0.1, whole+0.3)
	}
	return v
}

// Certified means and standard deviations of NIST. The data sets with a large common part break
// sums of squares; what is left of NumAcc3 and 4 is how their values are rounded when stored.
func TestDescribeOfNIST(t *testing.T) {
	acc2 := numAcc(1.2)
	for i := 1; i < len(acc2); i += 2 {
		acc2[i], acc2[i+1] = 1.1, 1.3
	}
	for _, c := range []struct {
		name     string
		v        []float64
		mean, sd float64
		digits   float64 // of the SD
	}{
		{"Mavro", mavro, 2.001856, 0.000429123454003053, 12},
		{"Michelso", michelso, 299.8524, 0.0790105478190518, 12},
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, 15},
		{"NumAcc2", acc2, 1.2, 0.1, 14},
		{"NumAcc3", numAcc(1000000.2), 1000000.2, 0.1, 9},
		{"NumAcc4", numAcc(10000000.2), 10000000.2, 0.1, 8},
	} {
		s, err := Describe(c.v, 0.95)
		if err != nil {
			t.Fatal(c.name, err)
		}
		if d := math.Abs(s.Mean/c.mean - 1); d > 1e-15 {
			t.Errorf("%s: mean %.17g, certified %.17g", c.name, s.Mean, c.mean)
		}
		if d := -math.Log10(math.Abs(*s.SD/c.sd-1) + 1e-16); d < c.digits {
			t.Errorf("%s: SD %.17g, certified %.17g: %.1f digits, want %.0f", c.name, *s.SD, c.sd, d, c.digits)
		}
	}
}
