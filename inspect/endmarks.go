package inspect

import "math"

// joinSine is the sine of the slope (about 39 degrees) with which tissue surface and rounded end
// may meet when the material stops half-way up a notch or down a pad.
const joinSine = 0.63

// leastSlope is that of the gentlest notch or pad; a level crest that runs into the rounded end
// seems to slope by less.
const (
	leastSlope  = 0.2
	leastFallMM = 0.8 // from knee to summit
)

// Shares of the steepest slope below which the surface counts as level: a notch's ridge has a
// top, the summit of a pad is broad.
const (
	notchLevel = 0.04
	padLevel   = 0.25
)

// endLandmarks reads the rear profile of one side: tuberosity and hamular notch in the upper
// jaw, front and summit of the retromolar pad in the lower.
//
// Along the crest the profile is level; then it leaves it (the knee) on a slope toward the
// tissue over the notch, away from it over the pad; the slope dies out at the summit. The knee
// is the point farthest from the chord between the level part and the summit. The material's
// own rounded end, whose radius is known from the far side, is no part of the profile: a
// slope that is still steep there has not reached its summit.
func (an *Anatomy) endLandmarks(e *archEnd) {
	sign := 1.0
	level := notchLevel
	if an.Jaw == Lower {
		sign, level = -1, padLevel
	}
	const step = 0.1
	// The steepest slope of the last stretch.
	var steepT float64
	for t := max(e.t[0], e.limit-18); t <= e.limit; t += step {
		if g := sign * e.slope(t); g > e.slopeAt {
			e.slopeAt, steepT = g, t
		}
	}
	if e.slopeAt < leastSlope {
		return // level to its end: neither notch nor pad is on the scan
	}
	reached := false
	if an.Jaw == Upper {
		// A summit on the material is passed before the rounded end begins: there the surface
		// is level. Where the end cuts a rise short, its own curve is still steep that close to
		// its top.
		reached = e.slopeOver(e.limit-0.8, e.limit-0.2) < notchShare*e.slopeAt
	} else {
		// A fall and the rounded end meet at the same slope, later than at its top. The slope
		// before that tells whether the summit is near or cut off.
		join := e.rear - e.roll*(1-joinSine)
		reached = -e.slopeOver(join-2*slopeMM, join) < padShare*e.slopeAt
		for t := steepT; t < join-slopeMM && !reached; t += step {
			reached = -e.slope(t) < padShare*e.slopeAt
		}
	}
	// The summit: where the slope has died out, or as near to it as the material comes.
	top := e.limit
	for t := steepT; t <= e.limit; t += step {
		if g := sign * e.slope(t); g <= level*e.slopeAt {
			top = t
			break
		}
	}
	if an.Jaw == Upper {
		for t := steepT; t <= e.limit && !reached; t += step {
			reached = e.slope(t) <= 0 && t < e.limit-slopeMM
		}
	}
	// Knee: farthest from the chord.
	t0 := max(e.t[0], top-20)
	z0, z1 := e.zAt(t0), e.zAt(top)
	knee, far := t0, 0.0
	for t := t0; t <= top; t += step {
		chord := z0 + (z1-z0)*(t-t0)/(top-t0)
		if d := sign * (chord - e.zAt(t)); d > far {
			far, knee = d, t
		}
	}
	if math.Abs(e.zAt(top)-e.zAt(knee)) < leastFallMM {
		return
	}
	e.reached, e.topT, e.kneeT = reached, top, knee
	if an.Jaw == Upper {
		e.kneeT = e.leaves(t0, knee, sign, an.grain.NoiseMM)
	}
	e.topU, e.kneeU = an.endUncertainty(e, sign, t0)
	p := func(t float64) Vec {
		q := e.base.Along(t, e.dir)
		q.Z = e.zAt(t)
		return q
	}
	if an.Jaw == Upper {
		an.found(sided(e.side, TuberosityLeft, TuberosityRight), p(e.kneeT), e.off(e.kneeT, e.kneeU))
		if reached {
			an.found(sided(e.side, HamularNotchLeft, HamularNotchRight), p(top), e.off(top, e.topU))
		}
		return
	}
	an.found(sided(e.side, PadFrontLeft, PadFrontRight), p(e.kneeT), e.off(e.kneeT, e.kneeU))
	if reached {
		an.found(sided(e.side, PadSummitLeft, PadSummitRight), p(top), e.off(top, e.topU))
	}
}

// leaves goes back from the knee to where the profile rises out of the level crest: the rear of
// the tuberosity's summit. The level is that of the stretch ahead, its spread what it varies by.
func (e *archEnd) leaves(t0, knee, sign, noise float64) float64 {
	var z []float64
	for i := range e.t {
		if e.t[i] >= t0 && e.t[i] < knee-3 {
			z = append(z, sign*e.z[i])
		}
	}
	if len(z) < 5 {
		return knee
	}
	low := quantile(z, 0.1)
	t := knee
	for t > t0 && sign*e.zAt(t) > low+0.15+2*noise {
		t -= 0.1
	}
	return t
}

// endUncertainty returns the standard uncertainties of summit and knee along the profile.
//
// The summit is where the slope passes a level: the slope's own error, that of a line through
// the noise, over how fast the slope changes there. A summit that the material's end cuts short
// may lie up to a slope's fit beyond. The knee is as uncertain as the stretch is long over which
// the profile is as far from the chord as at the knee, but for noise and the step of a scan.
func (an *Anatomy) endUncertainty(e *archEnd, sign, t0 float64) (top, knee float64) {
	g := an.grain
	n := max(3, 2*slopeMM/max(0.05, g.EdgeMM))
	slope := g.NoiseMM / (2 * slopeMM) * math.Sqrt(12/n)
	bend := math.Abs(e.slope(e.topT-slopeMM)-e.slope(e.topT)) / slopeMM
	top = g.EdgeMM / 2
	if bend > 0.01 {
		top = math.Hypot(top, slope/bend)
	}
	if e.topT >= e.limit-1e-9 {
		top = math.Hypot(top, rectangle(2*slopeMM))
	}
	if an.Jaw == Lower { // a pad's summit is broad: anywhere from half the slope to level
		lo, hi := e.topT, e.topT
		for lo > e.kneeT && sign*e.slope(lo) < padShare*e.slopeAt {
			lo -= 0.1
		}
		for hi < e.limit && sign*e.slope(hi) > notchLevel*e.slopeAt {
			hi += 0.1
		}
		top = math.Hypot(top, rectangle(max(hi-e.topT, e.topT-lo, slopeMM)))
	}
	z0, z1 := e.zAt(t0), e.zAt(e.topT)
	far := func(t float64) float64 { return sign * (z0 + (z1-z0)*(t-t0)/(e.topT-t0) - e.zAt(t)) }
	lo, hi := e.kneeT, e.kneeT
	if an.Jaw == Upper { // the tuberosity's summit is broad
		knee = math.Hypot(knee, rectangle(2*slopeMM))
	}
	best := far(e.kneeT) - 0.05 - g.NoiseMM
	for lo > t0 && far(lo) > best {
		lo -= 0.1
	}
	for hi < e.topT && far(hi) > best {
		hi += 0.1
	}
	return top, math.Hypot(knee, math.Hypot(rectangle((hi-lo)/2), g.EdgeMM/2))
}

// off adds to a place along the profile how far the line itself may lie sideways there: its
// direction was taken from a short stretch of crest and the arch bends on.
func (e *archEnd) off(t, u float64) float64 {
	side := e.lineU + math.Max(0, t-e.lineT)*e.turnU
	return expanded(u, side)
}
