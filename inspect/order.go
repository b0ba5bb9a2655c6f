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

// nth returns the value that would stand at index n if x were sorted, and leaves x in another order. x
// has no NaN. By partition about the middle value (C. A. R. Hoare, "Algorithm 65: Find", CACM 4, 1961).
func nth(x []float64, n int) float64 {
	lo, hi := 0, len(x)-1
	for lo < hi {
		pivot := x[n]
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for pivot < x[j] {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i, j = i+1, j-1
			}
		}
		if j < n {
			lo = i
		}
		if n < i {
			hi = j
		}
	}
	return x[n]
}
