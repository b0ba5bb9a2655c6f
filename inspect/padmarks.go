package inspect

import "math"

const (
	frontMM   = 10.0 // how far ahead of its steepest place the profile is laid under two lines
	leastMM   = 0.5  // the least of the second line; of the first six times that
	shorter   = 0.7  // share of a length over which a fit is made again, to see whether it hangs on it
	summitMM  = 2.0  // half the length over which the bend of a pad's crown is taken
	longPadMM = endLevelMM
)

// lineJoin is where two straight lines meet that together lie closest to a course.
type lineJoin struct {
	at float64
	u  float64 // standard uncertainty of the place, of the samples' own errors
}

// fitJoin lays two lines that meet over evenly spaced samples between lo and hi, of which the
// second rises more, by least squares (two-phase regression: Hudson, J Am Stat Assoc 1966;61:1097;
// Hinkley, Biometrika 1969;56:495). sd is that of a sample and reach the length over which one
// error reaches; where the samples lie farther off the lines, that counts. ok is false where no
// place lies closer than both its neighbours.
func fitJoin(x, y []float64, lo, hi, sd, reach float64) (f lineJoin, ok bool) {
	var first, n int
	for first < len(x) && x[first] < lo {
		first++
	}
	for first+n < len(x) && x[first+n] <= hi {
		n++
	}
	x, y = x[first:first+n], y[first:first+n]
	if n < 8 {
		return f, false
	}
	ds := (x[n-1] - x[0]) / float64(n-1)
	mean := 0.0
	for _, v := range y {
		mean += v / float64(n)
	}
	// What the lines that meet at a place leave; their level there, slope before it and what the slope gains.
	at := func(t float64) (left float64, ok bool) {
		var a [3][3]float64
		var v, c [3]float64
		for i := range x {
			p := [3]float64{1, x[i] - t, max(0, x[i]-t)}
			q := y[i] - mean
			left += q * q
			for j := range p {
				v[j] += p[j] * q
				for k := range p {
					a[j][k] += p[j] * p[k]
				}
			}
		}
		inv, ok := inverse3(a)
		for j := range v {
			for k := range v {
				c[j] += inv[j][k] * v[k]
			}
			left -= c[j] * v[j]
		}
		return left, ok && c[2] > 0
	}
	best, bestT := math.Inf(1), 0.0
	for t := x[0] + 6*leastMM; t <= x[n-1]-leastMM; t += gridMM {
		if left, ok := at(t); ok && left < best {
			best, bestT = left, t
		}
	}
	if math.IsInf(best, 1) {
		return f, false
	}
	// What is left is a parabola about its least.
	before, ok1 := at(bestT - gridMM)
	after, ok2 := at(bestT + gridMM)
	bend := (before - 2*best + after) / (gridMM * gridMM)
	if !ok1 || !ok2 || before < best || after < best || !(bend > 0) {
		return f, false
	}
	f.at = bestT + (before-after)/(2*bend*gridMM)
	left, ok := at(f.at)
	if free := float64(n)*ds/max(reach, ds) - 4; free > 1 {
		sd = max(sd, math.Sqrt(max(0, left)/float64(n)*(free+4)/free))
	}
	f.u = sd * math.Sqrt(reach/(bend/2*ds))
	return f, ok
}

// padFront is where a pad begins: the join of two lines over the profile, one along the crest
// ahead and one down to the profile's steepest place. What lies behind that place, and so where the
// material ends, has no part in it.
//
// Its standard uncertainty is that of the join, and of how far it hangs on how much of crest and
// slope is looked at, for neither is quite straight. Where the slope is steepest where the
// material ends it may have gone on to a quarter of the longest pad, half-way up its bulge; that much
// more of it would move the join as what there is does.
func (an *Anatomy) padFront(e *archEnd, steepT float64) (f lineJoin, ok bool) {
	y := make([]float64, len(e.z))
	for i, z := range e.z {
		y[i] = -z
	}
	g := an.grain
	fit := func(lo, hi float64) (lineJoin, bool) {
		return fitJoin(e.t, y, lo, hi, g.NoiseMM, max(g.EdgeMM, gridMM))
	}
	lo := max(e.t[0], steepT-frontMM)
	f, ok = fit(lo, steepT)
	if !ok {
		return f, false
	}
	slope, crest := steepT-f.at, f.at-lo
	hangs := func(lo, hi, most float64) float64 {
		if h, ok := fit(lo, hi); ok {
			return min(most, math.Abs(h.at-f.at))
		}
		return most
	}
	bySlope := hangs(lo, f.at+shorter*slope, slope/2)
	byCrest := hangs(f.at-shorter*crest, steepT, slope/2)
	beyond := 0.0
	if steepT > e.limit-slopeMM {
		beyond = bySlope / ((1 - shorter) * slope) * max(0, longPadMM/4-slope)
	}
	f.u = math.Sqrt(f.u*f.u + (bySlope*bySlope+byCrest*byCrest+beyond*beyond)/3)
	return f, true
}

// padSummit is where the profile bends back the most behind its steepest place: the vertex of the
// pad's crown. A curve's curvature is the same whichever way the frame leans, and the slope of
// the ramus on which a pad stands has none. Its standard uncertainty is of the stretch over which
// the bend is as sharp but for its own error, and of how far the place hangs on the length over which a
// bend is taken. ok is false where nothing bends back before the material's rounded end.
func (an *Anatomy) padSummit(e *archEnd, steepT float64) (at, u float64, ok bool) {
	before := e.tissueShare()
	bend := func(t, half float64) (k, ku float64) {
		f, ok := fitLocal(e.t, e.z, before, t, half)
		if !ok {
			return math.NaN(), 0
		}
		turn := 2 / math.Pow(1+f.c[1]*f.c[1], 1.5)
		return f.c[2] * turn, math.Sqrt(f.density(an.grain.NoiseMM, max(an.grain.EdgeMM, gridMM), half)*f.cov[2][2]) * turn
	}
	sharpest := func(half float64) (at, k, ku float64) {
		k = 0
		for t := steepT; t <= e.limit-slopeMM; t += gridMM {
			if v, vu := bend(t, half); v > k {
				at, k, ku = t, v, vu
			}
		}
		return at, k, ku
	}
	at, k, ku := sharpest(summitMM)
	if k == 0 {
		return 0, 0, false
	}
	alike := func(t float64) float64 { v, _ := bend(t, summitMM); return v }
	lo, _ := passes(alike, at, steepT, k-ku)
	hi, cut := passes(alike, at, e.limit-slopeMM, k-ku)
	if !cut { // the bend may go on to grow under the rounded end
		hi += slopeMM
	}
	drift := summitMM / 2
	if s, ks, _ := sharpest(shorter * summitMM); ks > 0 {
		drift = min(drift, math.Abs(s-at))
	}
	return at, math.Hypot(rectangle(max(hi-at, at-lo)), rectangle(drift)), true
}

// tissueShare is how much of each sample's cell lies before the material's rounded end.
func (e *archEnd) tissueShare() []float64 {
	before := make([]float64, len(e.t))
	for i, t := range e.t {
		before[i] = max(0, min(1, (e.limit-t)/gridMM+0.5))
	}
	return before
}
