package inspect

import (
	"math"
	"sort"
)

// median returns the middle of x, NaN of nothing. x is not changed.
func median(x []float64) float64 { return quantile(x, 0.5) }

// quantile returns the q-quantile of x by linear interpolation between order statistics (type
// 7 of Hyndman & Fan 1996), NaN of nothing. x is not changed.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	s := append([]float64(nil), x...)
	sort.Float64s(s)
	h := q * float64(len(s)-1)
	i := int(h)
	if i+1 >= len(s) {
		return s[len(s)-1]
	}
	return s[i] + (h-float64(i))*(s[i+1]-s[i])
}
