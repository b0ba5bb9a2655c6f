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
	// Where the scan was cut off, the material may go on: neither short nor long can be told.
	if e.cutOff {
		s.Unmeasured = "the scan stops before the material's rounded end"
		return s
	}
	if an.Jaw == Upper {
		name := sided(e.side, HamularNotchLeft, HamularNotchRight)
		reached, unsure := e.reached, e.unsure
		top := e.base.Along(e.topT, e.dir)
		top.Z = e.rearPoint.Z
		lean := e.topLean * e.dir.Y
		if l, ok := an.Landmarks[name]; ok {
			q := an.Frame.Local(l.Point)
			top.Z = q.Z
			if l.Source == "given" {
				t := q.Sub(e.base).Dot(e.dir)
				top.Y, lean, reached, unsure = e.base.Along(t, e.dir).Y, 0, t <= e.rear, false
			}
		}
		if unsure {
			s.Unmeasured = "the scan shows too little of the material's rounded end to tell whether it passes the notch"
			return s
		}
		s.ReachesNotch = &reached
		if reached {
			s.ExtensionMM, s.ExtensionUMM = an.behind(e, top, e.topU, lean)
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
	s.PastPadFrontMM, s.PastPadFrontUMM = an.behind(e, an.Frame.Local(front.Point), e.kneeU, 0)
	reached := e.reached
	if l, ok := an.Landmarks[sided(e.side, PadSummitLeft, PadSummitRight)]; ok && l.Source == "given" {
		reached = an.Frame.Local(l.Point).Sub(e.base).Dot(e.dir) <= e.limit
	}
	s.SummitReached = &reached
	return s
}

// behind is how far behind a place, in the frame, the material's rearmost point lies along posterior,
// and its expanded uncertainty: of both places, and of the way to the tissue. As that leans forward by a radian,
// the place moves ahead over the surface by lean, and the material behind it ahead by how much lower it lies.
func (an *Anatomy) behind(e *archEnd, p Vec, u, lean float64) (mm, uMM *float64) {
	return ptr(e.rearPoint.Y - p.Y), ptr(expanded(u, an.rearU(e), an.axisU()*(lean+e.rearPoint.Z-p.Z)))
}

// rearU is the standard uncertainty of the material's rearmost point: of its noise, by twice of which
// the farthest of some dozens of vertices stands out, and of the faces that cut off the rounded end.
func (an *Anatomy) rearU(e *archEnd) float64 {
	return math.Hypot(2*an.grain.NoiseMM, rectangle(an.grain.sag(max(0.5, e.roll))))
}
