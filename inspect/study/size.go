package study

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// most is the largest sample that is thought about.
const most = 1_000_000

// SizeForMean is the smallest number of subjects whose mean has an interval no wider than half
// to either side, where their values scatter by sd: t s/√n ≤ half.
//
// It is a plan: sd is itself uncertain, and half of all studies of that size get a wider
// interval.
// Errors: numbers that are not above 0; more than a million needed.
func SizeForMean(sd, half, confidence float64) (int, error) {
	return smallest(sd, half, confidence, 1)
}

// SizeForLimit does so for the limits of agreement, whose standard error is √(3 s²/n).
// Source: Bland JM, Altman DG. Lancet 1986;i:307-310.
func SizeForLimit(sd, half, confidence float64) (int, error) {
	return smallest(sd, half, confidence, math.Sqrt(3))
}

func smallest(sd, half, confidence, factor float64) (int, error) {
	if !(sd > 0) || !(half > 0) || !(confidence > 0 && confidence < 1) || !finite(sd, half) {
		return 0, errors.New("a sample size needs a scatter, a width and a confidence above 0")
	}
	enough := func(n int) bool {
		return studentQuantile(confidence, n-1)*factor*sd/math.Sqrt(float64(n)) <= half
	}
	if !enough(most) {
		return 0, errors.New("no million subjects would do")
	}
	low, high := 1, most // low is not enough, high is
	for high-low > 1 {
		if mid := (low + high) / 2; enough(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high, nil
}

// SizeForSD is the smallest number of degrees of freedom with which a standard deviation has an
// interval whose upper end is no more than factor times the estimate: so many repeats beyond the
// first of each subject. Errors as SizeForMean; factor is above 1.
func SizeForSD(factor, confidence float64) (int, error) {
	if !(factor > 1) || !(confidence > 0 && confidence < 1) || !finite(factor) {
		return 0, errors.New("a number of repeats needs a factor above 1 and a confidence between 0 and 1")
	}
	enough := func(df int) bool {
		return math.Sqrt(float64(df)/distuv.ChiSquared{K: float64(df)}.Quantile((1-confidence)/2)) <= factor
	}
	low, high := 0, 1
	for !enough(high) {
		if low, high = high, 2*high; high > most {
			return 0, errors.New("no million repeats would do")
		}
	}
	for high-low > 1 {
		if mid := (low + high) / 2; enough(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high, nil
}
