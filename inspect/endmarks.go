package inspect

import (
	"cmp"
	"math"
	"slices"
)

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

// levelHalfMM is half the length over which the bend is taken where a profile comes level.
const levelHalfMM = 1.0

// crownHalfMM is half the length of the parabola through the summit of a notch's ridge.
const crownHalfMM = 1.4

// endLandmarks reads the rear profile of one side: tuberosity and hamular notch in the upper
// jaw, front and summit of the retromolar pad in the lower.
//
// Along the crest the profile is level; then it leaves it on a slope toward the tissue over the
// notch, away from it over the pad; the slope dies out at the summit. The material's
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
		// Of an end that was scanned by half, where it begins is not known well: the bend of the surface
		// where it comes level must say the same.
		e.unsure = e.partial && reached == e.levelOnEnd(steepT)
		reached = reached && !e.unsure
	} else {
		// A fall and the rounded end meet at the same slope, later than at its top. The slope
		// before that tells whether the summit is near or cut off.
		join := e.rear - e.roll*(1-joinSine)
		reached = -e.slopeOver(join-2*slopeMM, join) < padShare*e.slopeAt
		if !reached {
			_, reached = passes(toward, steepT, join-slopeMM, padShare*e.slopeAt)
		}
	}
	e.topU = an.summitU(e, top)
	if an.Jaw == Upper && level0 {
		top = an.crown(e, top)
	}
	knee, level1 := steepT, 0.0
	if an.Jaw == Upper {
		knee, e.kneeU = an.leaves(e, toward, steepT)
		level1 = e.zAt(knee)
	} else {
		front, ok := an.padFront(e, steepT)
		if !ok {
			return
		}
		// The bend at the join reaches about as far ahead of it as the slope does behind it.
		knee, e.kneeU, level1 = front.at, front.u, e.zAt(max(e.t[0], 2*front.at-steepT))
	}
	if math.Abs(e.zAt(top)-level1) < leastFallMM {
		return
	}
	if an.Jaw == Lower && reached {
		if t, u, ok := an.padSummit(e, steepT); ok {
			top, e.topU = t, u
		}
	}
	e.reached, e.topT, e.kneeT = reached, top, knee
	p := func(t float64) Vec {
		q := e.base.Along(t, e.dir)
		q.Z = e.zAt(t)
		return q
	}
	if an.Jaw == Upper {
		an.found(sided(e.side, TuberosityLeft, TuberosityRight), p(e.kneeT), e.off(e.kneeT, e.kneeU))
		if reached {
			an.found(sided(e.side, HamularNotchLeft, HamularNotchRight), p(top), e.off(top, math.Hypot(e.topU, an.axisU()*e.topLean)))
		}
		return
	}
	an.found(sided(e.side, PadFrontLeft, PadFrontRight), p(e.kneeT), e.off(e.kneeT, e.kneeU))
	if reached {
		an.found(sided(e.side, PadSummitLeft, PadSummitRight), p(top), e.off(top, e.topU))
	}
}

// levelOnEnd tells whether the profile comes level behind its steepest place on the top of the
// material's own rounded end, where it bends as sharply as the end does, and not before, on the ridge of a
// notch, some 5 mm round.
func (e *archEnd) levelOnEnd(steepT float64) bool {
	slope := func(t float64) float64 { return e.slopeOver(t-slopeMM, t+slopeMM) }
	top, ok := passes(slope, steepT, e.t[len(e.t)-1]-slopeMM, 0)
	if !ok {
		return true
	}
	f, ok := fitLocal(e.t, e.z, nil, top, levelHalfMM)
	return !ok || -2*f.c[2]*e.roll > ownTop
}

// leaves is the rear of the tuberosity's summit: where the profile begins to rise out of the level
// crest, with its standard uncertainty. The level is that of the stretch ahead, its spread what it
// varies by. A rise that has the height h and the slope s set in 2h/s ahead if it is a parabola, at
// whatever height it has left the level for certain, and h/s ahead if it is straight from a corner on;
// it is taken for a parabola, and may be anything between, or turn within half a slope's length. Where
// the way to the tissue leans, so does the level.
func (an *Anatomy) leaves(e *archEnd, toward func(t float64) float64, steepT float64) (at, u float64) {
	g := an.grain
	t0 := max(e.t[0], steepT-endLevelMM)
	half, _ := passes(toward, steepT, t0, e.slopeAt/2)
	var z []float64
	for i := range e.t {
		if e.t[i] >= t0 && e.t[i] < half-3 {
			z = append(z, e.z[i])
		}
	}
	if len(z) < 5 {
		return half, rectangle(2 * slopeMM)
	}
	level, spread := quantile(z, 0.1), quantile(z, 0.5)-quantile(z, 0.1)
	t, _ := passes(e.zAt, half, t0, level+0.15+2*g.NoiseMM)
	h, slope := e.zAt(t)-level, toward(t)
	if !(slope > leastSlope/4) {
		return t, rectangle(2 * slopeMM)
	}
	u = math.Hypot(rectangle(max(h/slope, slopeMM/2)), math.Hypot(g.NoiseMM, rectangle(spread))*2/slope)
	return max(t0, t-2*h/slope), math.Hypot(u, 2*h/(slope*slope)*math.Hypot(an.slopeU(), an.axisU()))
}

// axisU is the standard uncertainty, in radians, of the way to the tissue.
func (an *Anatomy) axisU() float64 { return an.fm.AxisDeg * math.Pi / 180 }

// slopeU is the standard uncertainty of a slope of the profile: that of a line through the noise.
func (an *Anatomy) slopeU() float64 {
	g := an.grain
	n := max(3, 2*slopeMM/max(0.05, g.EdgeMM))
	return g.NoiseMM / (2 * slopeMM) * math.Sqrt(12/n)
}

// crown is the summit of a notch's ridge: the top of the parabola through the profile about where
// its slope has died out, up to the rounded end. Its uncertainty along the profile is that of the
// parabola's vertex, for the scan's grain; the way to the tissue moves it too, by the crown's radius per radian.
func (an *Anatomy) crown(e *archEnd, top float64) float64 {
	f, ok := fitExtreme(e.t, e.z, e.tissueShare(), top, crownHalfMM, -1)
	if !ok || f.at > e.limit {
		return top
	}
	g := an.grain
	e.topLean = 1 / math.Abs(2*f.c[2])
	e.topU = f.atU(f.density(g.ripple(e.topLean), g.EdgeMM, crownHalfMM))
	return f.at
}

// summitU is the standard uncertainty along the profile of a summit that is where the slope passes
// a level: the slope's own error, that of a line through the noise, over how fast the slope
// changes there. A summit that the material's end cuts short may lie up to a slope's fit beyond.
func (an *Anatomy) summitU(e *archEnd, at float64) float64 {
	g := an.grain
	slope := an.slopeU()
	bend := math.Abs(e.slope(at-slopeMM)-e.slope(at)) / slopeMM
	top := g.EdgeMM / 2
	if bend > 0.01 {
		top = math.Hypot(top, slope/bend)
	}
	if at >= e.limit-1e-9 {
		top = math.Hypot(top, rectangle(2*slopeMM))
	}
	return top
}

// off adds to a place along the profile how far the line itself may lie sideways there: the trough
// may lean, the line's direction was taken from a short stretch of crest, and the arch of a lower jaw may bend on
// as it does over that stretch, or not.
func (e *archEnd) off(t, u float64) float64 {
	d := math.Max(0, t-e.lineT)
	return expanded(u, e.lineU+d*e.turnU, e.bow*d*(d+endLineMM), e.leanU)
}

// bowOf is half the second derivative of the crest's course sideways along posterior.
func bowOf(pts []Vec) (bow float64, ok bool) {
	pts = slices.SortedFunc(slices.Values(pts), func(a, b Vec) int { return cmp.Compare(a.Y, b.Y) })
	x, y := make([]float64, len(pts)), make([]float64, len(pts))
	for i, p := range pts {
		x[i], y[i] = p.Y, p.X
	}
	f, ok := fitLocal(x, y, nil, (x[0]+x[len(x)-1])/2, endLineMM/2)
	return f.c[2], ok
}

// leans is how far sideways the bottom of a trough moves with the way to the tissue, which is known
// to AxisDeg only: that angle over the bend of the floor. NaN where the section shows no trough.
func (an *Anatomy) leans(s *slice) float64 {
	_, rho := an.chart.at(s.crest)
	var x, z []float64
	for i, v := range s.env {
		if r := (float64(i) + 0.5) * envBin; math.Abs(r-rho) < floorMM && !math.IsNaN(v) {
			x, z = append(x, r), append(z, v)
		}
	}
	f, ok := fitLocal(x, z, nil, rho, floorMM)
	if !ok || !(f.c[2] > 0) {
		return math.NaN()
	}
	return an.axisU() / (2 * f.c[2])
}
