package study

import (
	"math"
	"slices"
	"testing"
)

// By hand: means of the scans that cover a vertex, none where no scan does, and the same to the bit in
// every order of the scans.
func TestMeanMap(t *testing.T) {
	no := math.NaN()
	scans := [][]float64{{0.1, 0.3, no, no}, {-0.2, no, 0.05, no}, {0.7, 0.1, no, no}}
	want := []float64{0.2, 0.2, 0.05, no}
	for _, order := range [][]int{{0, 1, 2}, {2, 1, 0}, {1, 0, 2}, {2, 0, 1}} {
		m := NewMeanMap(4)
		for _, i := range order {
			m.Add(scans[i])
		}
		if m.Scans != 3 || !slices.Equal(m.Covered, []int32{3, 2, 1, 0}) {
			t.Errorf("%d scans, covered %v", m.Scans, m.Covered)
		}
		for v, x := range m.Mean() {
			if math.IsNaN(x) != math.IsNaN(want[v]) || math.Abs(x-want[v]) > 1e-9 {
				t.Errorf("vertex %d: %v, want %v", v, x, want[v])
			}
		}
	}
	// Sums of many thirds depend on their order in floating point, not here.
	up, down := NewMeanMap(1), NewMeanMap(1)
	for i := range 1000 {
		up.Add([]float64{1 / float64(3+i)})
		down.Add([]float64{1 / float64(1002-i)})
	}
	if up.Mean()[0] != down.Mean()[0] {
		t.Errorf("%v one way, %v the other", up.Mean()[0], down.Mean()[0])
	}
}
