package inspect

import "math"

// MeasurePosterior measures how far back the material goes.
//
// What: upper: whether the summit of the ridge that each hamular notch leaves is on the
// material, and how far behind it the material's rearmost point lies along the patient's
// posterior direction; lower: how far past the front of each retromolar pad, and whether the
// pad's summit is covered. How: the profile of the tissue surface on the line that continues
// the crest. What it cannot see: a notch beyond the material's end, so a short impression is
// told short without saying by how much.
func MeasurePosterior(an *Anatomy) Posterior {
	p := Posterior{Path: []Vec{}}
	if an.Surface != Impression {
		p.Unmeasured = "the surface shows the jaw itself; it has no posterior border of an impression"
		return p
	}
	sides := [2]*PosteriorSide{}
	for i, e := range an.ends {
		sides[i] = an.posteriorSide(e)
	}
	p.Right, p.Left = sides[0], sides[1]
	for i := range an.rear {
		p.Path = append(p.Path, an.Frame.World(an.rear[i].outer.p))
	}
	if l, ok := an.Landmarks[PosteriorMidline]; ok {
		if q, ok := an.Landmarks[IncisivePapilla]; ok {
			d := an.Frame.Local(l.Point).Y - an.Frame.Local(q.Point).Y
			p.MidlineMM = &d
			p.MidlineUMM = ptr(math.Hypot(l.UncertaintyMM, q.UncertaintyMM))
		}
	}
	return p
}

func (an *Anatomy) posteriorSide(e *archEnd) *PosteriorSide {
	s := &PosteriorSide{}
	if e == nil {
		s.Unmeasured = "the crest could not be followed to its rear end"
		return s
	}
	rear := an.Frame.World(e.rearPoint)
	s.Rearmost = &rear
	along := e.dir.Y // posterior part of the line's direction
	// Where the scan was cut off, the material may go on: neither short nor long can be told.
	if e.cutOff {
		s.Unmeasured = "the scan stops before the material's rounded end"
		return s
	}
	if an.Jaw == Upper {
		name := sided(e.side, HamularNotchLeft, HamularNotchRight)
		reached := e.reached
		top := e.topT
		if l, ok := an.Landmarks[name]; ok && l.Source == "given" {
			q := an.Frame.Local(l.Point)
			top = q.Sub(e.base).Dot(e.dir)
			reached = top <= e.rear
		}
		s.ReachesNotch = &reached
		if reached {
			d := (e.rear - top) * along
			s.ExtensionMM = &d
			s.ExtensionUMM = ptr(expanded(e.topU, an.rearU(e)))
		} else {
			s.Unmeasured = "the notch lies beyond the material"
		}
		return s
	}
	front, ok := an.Landmarks[sided(e.side, PadFrontLeft, PadFrontRight)]
	if !ok {
		no := false
		s.SummitReached = &no
		s.Unmeasured = "no retromolar pad is on the scan: the crest is level to its end"
		return s
	}
	f := an.Frame.Local(front.Point).Sub(e.base).Dot(e.dir)
	d := (e.rear - f) * along
	s.PastPadFrontMM = &d
	s.PastPadFrontUMM = ptr(expanded(e.kneeU, an.rearU(e)))
	reached := e.reached
	if l, ok := an.Landmarks[sided(e.side, PadSummitLeft, PadSummitRight)]; ok && l.Source == "given" {
		reached = an.Frame.Local(l.Point).Sub(e.base).Dot(e.dir) <= e.limit
	}
	s.SummitReached = &reached
	return s
}

// rearU is the standard uncertainty of the material's rearmost point: of its noise, and of the
// faces that cut off the rounded end.
func (an *Anatomy) rearU(e *archEnd) float64 {
	return math.Hypot(an.grain.NoiseMM, rectangle(an.grain.sag(max(0.5, e.roll))))
}
