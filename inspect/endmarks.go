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
	notchLevel = 0.08
	padLevel   = 0.25
)

// crownHalfMM is half the length of the parabola through the summit of a notch's ridge.
const crownHalfMM = 1.4

// endLandmarks reads the rear profile of one side: tuberosity and hamular notch in the upper
// jaw, front and summit of the retromolar pad in the lower.
//
// Along the crest the profile is level; then it leaves it (the knee) on a slope toward the
// tissue over the notch, away from it over the pad; the slope dies out at the summit. The knee
// is the point farthest from the chord between the level part and the summit. The material's
// own rounded end, whose radius is known from the far side, is no part of the profile: a
// slope that is still steep there has not reached its summit. Where the scan was cut off, what the
// profile shows is the crest's own waves, which look like a low pad.
func (an *Anatomy) endLandmarks(e *archEnd) {
	if e.cutOff {
		return
	}
	sign := 1.0
	level := notchLevel
	if an.Jaw == Lower {
		sign, level = -1, padLevel
	}
	// The steepest slope of the last stretch.
	var steepT float64
	for t := max(e.t[0], e.limit-18); t <= e.limit; t += gridMM {
		if g := sign * e.slope(t); g > e.slopeAt {
			e.slopeAt, steepT = g, t
		}
	}
	if e.slopeAt < leastSlope {
		return // level to its end: neither notch nor pad is on the scan
	}
	toward := func(t float64) float64 { return sign * e.slope(t) }
	// The summit: where the slope has died out, or as near to it as the material comes.
	top, level0 := passes(toward, steepT, e.limit, level*e.slopeAt)
	reached := false
	if an.Jaw == Upper {
		// A summit on the material is passed before the rounded end begins: there the surface
		// is level. Where the end cuts a rise short, its own curve is still steep that close to
		// its top.
		reached = e.slopeOver(e.limit-0.8, e.limit-0.2) < notchShare*e.slopeAt
		if !reached {
			_, reached = passes(toward, steepT, e.limit-slopeMM, 0)
		}
	} else {
		// A fall and the rounded end meet at the same slope, later than at its top. The slope
		// before that tells whether the summit is near or cut off.
		join := e.rear - e.roll*(1-joinSine)
		reached = -e.slopeOver(join-2*slopeMM, join) < padShare*e.slopeAt
		if !reached {
			_, reached = passes(toward, steepT, join-slopeMM, padShare*e.slopeAt)
		}
	}
	e.topU = an.summitU(e, sign, top)
	if an.Jaw == Upper && level0 {
		top = an.crown(e, top)
	}
	// Knee: farthest from the chord.
	t0 := max(e.t[0], top-20)
	knee := an.knee(e, sign, t0, top)
	if math.Abs(e.zAt(top)-e.zAt(knee)) < leastFallMM {
		return
	}
	e.reached, e.topT, e.kneeT = reached, top, knee
	if an.Jaw == Upper {
		e.kneeT = e.leaves(t0, knee, sign, an.grain.NoiseMM)
	}
	e.kneeU = an.kneeU(e, sign, t0)
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
	t, _ := passes(func(t float64) float64 { return sign * e.zAt(t) }, knee, t0, quantile(z, 0.1)+0.15+2*noise)
	return t
}

// chordBend is how far the profile stands off the chord between two of its places.
func (e *archEnd) chordBend(sign, t0, t1 float64) func(t float64) float64 {
	z0, z1 := e.zAt(t0), e.zAt(t1)
	return func(t float64) float64 { return sign * (z0 + (z1-z0)*(t-t0)/(t1-t0) - e.zAt(t)) }
}

// knee returns where the profile stands farthest off the chord from t0 to its summit.
func (an *Anatomy) knee(e *archEnd, sign, t0, top float64) float64 {
	bend := e.chordBend(sign, t0, top)
	var x, y []float64
	at, far := t0, 0.0
	for t := t0; t <= top; t += gridMM {
		d := bend(t)
		x, y = append(x, t), append(y, d)
		if d > far {
			far, at = d, t
		}
	}
	if f, ok := fitExtreme(x, y, nil, at, 2*slopeMM, -1); ok {
		return f.at
	}
	return at
}

// crown is the summit of a notch's ridge: the top of the parabola through the profile about where
// its slope has died out, up to the rounded end. Its uncertainty along the profile is that of the
// parabola's vertex, for the scan's grain and for the way to the tissue, which moves a flat top.
func (an *Anatomy) crown(e *archEnd, top float64) float64 {
	before := make([]float64, len(e.t))
	for i, t := range e.t {
		before[i] = max(0, min(1, (e.limit-t)/gridMM+0.5))
	}
	f, ok := fitExtreme(e.t, e.z, before, top, crownHalfMM, -1)
	if !ok || f.at > e.limit {
		return top
	}
	g := an.grain
	e.topU = math.Hypot(f.atU(f.density(g.ripple(1/math.Abs(2*f.c[2])), g.EdgeMM, crownHalfMM)), an.fm.AxisDeg*math.Pi/180/math.Abs(2*f.c[2]))
	return f.at
}

// summitU is the standard uncertainty along the profile of a summit that is where the slope passes
// a level: the slope's own error, that of a line through the noise, over how fast the slope
// changes there. A summit that the material's end cuts short may lie up to a slope's fit beyond.
func (an *Anatomy) summitU(e *archEnd, sign, at float64) float64 {
	g := an.grain
	n := max(3, 2*slopeMM/max(0.05, g.EdgeMM))
	slope := g.NoiseMM / (2 * slopeMM) * math.Sqrt(12/n)
	bend := math.Abs(e.slope(at-slopeMM)-e.slope(at)) / slopeMM
	top := g.EdgeMM / 2
	if bend > 0.01 {
		top = math.Hypot(top, slope/bend)
	}
	if at >= e.limit-1e-9 {
		top = math.Hypot(top, rectangle(2*slopeMM))
	}
	if an.Jaw == Lower { // a pad's summit is broad: anywhere from half the slope to level
		lo, hi := at, at
		for lo > e.t[0] && sign*e.slope(lo) < padShare*e.slopeAt {
			lo -= gridMM
		}
		for hi < e.limit && sign*e.slope(hi) > notchLevel*e.slopeAt {
			hi += gridMM
		}
		top = math.Hypot(top, rectangle(max(hi-at, at-lo, slopeMM)))
	}
	return top
}

// kneeU is the standard uncertainty of the knee along the profile: it is as uncertain as the
// stretch is long over which the profile is as far from the chord as there, but for noise and the
// step of a scan.
func (an *Anatomy) kneeU(e *archEnd, sign, t0 float64) float64 {
	g := an.grain
	far := e.chordBend(sign, t0, e.topT)
	best := far(e.kneeT) - 0.05 - g.NoiseMM
	lo, _ := passes(far, e.kneeT, t0, best)
	hi, _ := passes(far, e.kneeT, e.topT, best)
	u := math.Hypot(rectangle((hi-lo)/2), g.EdgeMM/2)
	if an.Jaw == Upper { // the tuberosity's summit is broad
		u = math.Hypot(u, rectangle(2*slopeMM))
	}
	return u
}

// off adds to a place along the profile how far the line itself may lie sideways there: its
// direction was taken from a short stretch of crest and the arch bends on.
func (e *archEnd) off(t, u float64) float64 {
	side := e.lineU + math.Max(0, t-e.lineT)*e.turnU
	return expanded(u, side)
}
