package study

import "math"

// perMM is how finely a MeanMap keeps distances.
const perMM = 1e9

// MeanMap averages signed distances at the vertices of a reference over scans. Its sums are whole numbers
// of a millionth of a micrometre, so that they are the same in whatever order the scans come.
type MeanMap struct {
	Covered []int32 // #V, scans that have a distance there
	Scans   int
	sum     []int64 // #V
}

// NewMeanMap is one of a reference with so many vertices, of no scan yet.
func NewMeanMap(vertices int) *MeanMap {
	return &MeanMap{Covered: make([]int32, vertices), sum: make([]int64, vertices)}
}

// Add adds a scan by its distances at the vertices, mm; NaN where it has none.
func (m *MeanMap) Add(dist []float64) {
	if len(dist) != len(m.sum) {
		panic("study: distances of another reference")
	}
	m.Scans++
	for v, d := range dist {
		if !math.IsNaN(d) {
			m.Covered[v]++
			m.sum[v] += int64(math.Round(d * perMM))
		}
	}
}

// Mean is the mean distance at each vertex over the scans that cover it, mm; NaN where none does.
func (m *MeanMap) Mean() []float64 {
	out := make([]float64, len(m.sum))
	for v, n := range m.Covered {
		out[v] = math.NaN()
		if n > 0 {
			out[v] = float64(m.sum[v]) / perMM / float64(n)
		}
	}
	return out
}
