package register

import (
	"math"

	"fornix/mesh"
)

// choose searches over all poses and returns the best one drawn in. The error says what speaks
// against it, should its shape and overlap be in order.
func (a *aligner) choose() (trial, error) {
	ms, fs := a.ms, a.fs
	if a.o.MovingZone != nil {
		ms = newSampler(a.moving, nil, a.o.Opposed)
	}
	if a.o.FixedZone != nil {
		fs = newSampler(a.fixed, nil, false)
	}
	proper, mirror := search(ms, fs, a.workers)
	trials, mirrored := a.close(proper), a.close(mirror)
	a.settle(trials, mirrored)
	best, ok := a.best(trials)
	if !ok {
		return trial{}, ErrOverlap
	}
	if m, ok := a.best(mirrored); ok && a.overlap(&m, a.o.FitMM) >= a.least() {
		limit := a.telling(min(best.spread, m.spread))
		if a.overlap(&m, limit) > a.overlap(&best, limit)+clearly {
			return best, ErrMirror
		}
	}
	limit := a.telling(best.spread)
	f := frameOf(func(i int) mesh.Vec { return best.pairs[i].at }, len(best.pairs))
	for i := range trials {
		t := &trials[i]
		if f.apart(t.pose, best.pose) > max(1, 10*limit) && a.overlap(t, limit) > (1-clearly)*a.overlap(&best, limit) {
			return best, ErrAmbiguous
		}
	}
	return best, nil
}

// clearly is the share of the surface by which a fit must be better than another to be so
// clearly.
const clearly = 0.1

// telling is how far apart surfaces may lie that fit with the spread: three sigmas.
func (a *aligner) telling(spread float64) float64 { return min(3*spread, a.o.FitMM) }

// close draws in the first few candidates a few steps.
func (a *aligner) close(c []candidate) []trial {
	var out []trial
	for i := range c {
		if len(out) == contenders || c[i].score < c[0].score/2 {
			break
		}
		out = append(out, a.refine(a.some.ms, a.some.fs, c[i].pose, coarseTo*2, firstSteps))
	}
	return out
}

// settle draws in to the end those that do not lie far behind the best.
func (a *aligner) settle(proper, mirrored []trial) {
	most := 0.0
	for _, of := range [][]trial{proper, mirrored} {
		for i := range of {
			most = max(most, a.closeness(&of[i]))
		}
	}
	for _, of := range [][]trial{proper, mirrored} {
		for i := range of {
			if a.closeness(&of[i]) > most/2 {
				a.further(&of[i], a.some.ms, a.some.fs, settleSteps)
			}
		}
	}
}

// best returns the trial of which most lies near the other surface, and the nearer the better.
func (a *aligner) best(t []trial) (trial, bool) {
	best, most := -1, 0.0
	for i := range t {
		if s := a.closeness(&t[i]); s > most {
			best, most = i, s
		}
	}
	if best < 0 {
		return trial{}, false
	}
	return t[best], true
}

// closeness is the mean of overlap over all limits up to FitMM.
func (a *aligner) closeness(t *trial) float64 {
	sum := 0.0
	for k := 1; k <= 8; k++ {
		sum += a.overlap(t, a.o.FitMM*math.Pow(2, float64(k-8)))
	}
	return sum
}

// least is the overlap that must be.
func (a *aligner) least() float64 {
	if a.o.PartOf {
		return leastPart
	}
	return leastOverlap
}
