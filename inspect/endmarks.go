package inspect

// joinSine is the sine of the slope (about 39 degrees) with which tissue surface and rounded end
// may meet when the material stops half-way up a notch or down a pad.
const joinSine = 0.63

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
	share, level := notchShare, notchLevel
	if an.Jaw == Lower {
		sign, share, level = -1, padShare, padLevel
	}
	const step = 0.1
	// The steepest slope of the last stretch.
	var steepT float64
	for t := max(e.t[0], e.limit-18); t <= e.limit; t += step {
		if g := sign * e.slope(t); g > e.slopeAt {
			e.slopeAt, steepT = g, t
		}
	}
	if e.slopeAt < 0.15 {
		return // level to its end: neither notch nor pad is on the scan
	}
	// The rounded end joins the tissue surface where both have the same slope: for a rise
	// earlier than its top, for a fall later. What comes after is the end's own roundness.
	join := e.rear - e.roll*(1+sign*joinSine)
	reached := sign*e.slopeOver(join-2*slopeMM, join) < share*e.slopeAt
	for t := steepT; t < join-slopeMM && !reached; t += step {
		reached = sign*e.slope(t) < share*e.slopeAt
	}
	// The summit: where the slope has died out, or as near to it as the material comes.
	top := e.limit
	for t := steepT; t <= e.limit; t += step {
		if g := sign * e.slope(t); g <= level*e.slopeAt {
			top = t
			break
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
	e.reached, e.topT, e.kneeT = reached, top, knee
	p := func(t float64) Vec {
		q := e.base.Along(t, e.dir)
		q.Z = e.zAt(t)
		return q
	}
	if an.Jaw == Upper {
		an.found(sided(e.side, TuberosityLeft, TuberosityRight), p(knee), 2)
		if reached {
			an.found(sided(e.side, HamularNotchLeft, HamularNotchRight), p(top), 0.8)
		}
		return
	}
	an.found(sided(e.side, PadFrontLeft, PadFrontRight), p(knee), 1)
	if reached {
		an.found(sided(e.side, PadSummitLeft, PadSummitRight), p(top), 1.2)
	}
}
