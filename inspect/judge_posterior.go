package inspect

import (
	"fmt"
	"math"
)

// posterior judges how far back the material goes: past the hamular notches in the upper jaw,
// over the retromolar pads in the lower.
func (j *judge) posterior() {
	p := &j.res.Posterior
	if p.Left == nil && p.Right == nil {
		j.rule("unmeasured-posterior", j.lim.NoPosterior,
			"How far back the material goes could not be measured"+because(p.Unmeasured)+": scan the posterior end on both sides.")
		return
	}
	if j.res.Jaw == Lower {
		if noPad(p.Left) && noPad(p.Right) {
			f := Finding{Code: "pad-short", Region: "retromolar pads"}
			f.Where.Points = append(places(p.Right), places(p.Left)...)
			j.ruleAt(f, j.lim.PadsMissed, "Neither retromolar pad shows in the impression, so the material ends before both: "+
				tooShort(j.lim.PadsMissed.Action)+".")
			return
		}
		j.pad(p.Right, "right")
		j.pad(p.Left, "left")
		return
	}
	missed := func(s *PosteriorSide) bool { return s != nil && s.ReachesNotch != nil && !*s.ReachesNotch }
	if missed(p.Left) && missed(p.Right) && !j.doubtful(p.Left, "left") && !j.doubtful(p.Right, "right") {
		f := Finding{Code: "posterior-short", Region: "hamular notches"}
		f.Where.Points = append(places(p.Right), places(p.Left)...)
		f.Value, f.Unit = j.shortfall(p.Right, "right"), j.lim.PosteriorShort.Unit
		if l := j.shortfall(p.Left, "left"); f.Value == nil || l != nil && *l < *f.Value {
			f.Value = l
		}
		limit := j.lim.PosteriorShort.Fail
		f.Limit = &limit
		j.ruleAt(f, j.lim.NotchesMissed, "The material ends before both hamular notches"+
			byHowMuch(f.Value)+", so there is no posterior seal: "+tooShort(j.lim.NotchesMissed.Action)+".")
		return
	}
	j.notch(p.Right, "right", missed(p.Right))
	j.notch(p.Left, "left", missed(p.Left))
}

// noPad reports that the end was seen and nothing of a pad is on it.
func noPad(s *PosteriorSide) bool {
	return s != nil && s.PastPadFrontMM == nil && s.SummitReached != nil && !*s.SummitReached
}

func tooShort(do Verdict) string {
	if do == Retake {
		return "take a new impression with a longer tray"
	}
	return "lengthen the border there and wash again"
}

func (j *judge) notch(s *PosteriorSide, side string, missed bool) {
	name := "hamular notch " + side
	switch {
	case s == nil || s.ReachesNotch == nil || !missed && math.IsNaN(orNaN(s.ExtensionMM)):
		j.unmeasuredEnd(s, name)
		return
	case missed:
		limit := j.lim.PosteriorShort.Fail
		f := Finding{Code: "posterior-short", Region: name, Where: Where{Points: places(s)}, Limit: &limit, Unit: j.lim.PosteriorShort.Unit, Value: j.shortfall(s, side)}
		rule := j.lim.NotchMissed
		if u := j.endU(nil, "hamular_notch_"+side); j.doubtful(s, side) {
			rule.Severity, f.ValueU = Review, &u
		}
		j.ruleAt(f, rule, "The material ends before the "+name+byHowMuch(f.Value)+
			", so the posterior seal is open there: "+tooShort(rule.Action)+".")
		return
	}
	v, u := *s.ExtensionMM, j.endU(s.ExtensionUMM, "hamular_notch_"+side)
	f := Finding{Code: "posterior-short", Region: name, Where: Where{Points: places(s)}}
	j.add(f, below(j.lim.PosteriorShort), v, u, func(do Verdict) string {
		return fmt.Sprintf("The material goes only %s past the %s: %s.", mm(v), name,
			told(do, "watch it", "lengthen the border there and wash again"))
	})
	f.Code = "posterior-long"
	j.add(f, above(j.lim.PosteriorLong), v, u, func(do Verdict) string {
		return fmt.Sprintf("The material goes %s past the %s: %s.", mm(v), name,
			told(do, "watch it", "trim the excess, unless it lifts the material in front of it"))
	})
}

func (j *judge) pad(s *PosteriorSide, side string) {
	name := "retromolar pad " + side
	if noPad(s) {
		j.ruleAt(Finding{Code: "pad-short", Region: name, Where: Where{Points: places(s)}}, j.lim.PadMissed,
			"Nothing of the "+name+" shows in the impression, so the material ends before it: "+tooShort(j.lim.PadMissed.Action)+".")
		return
	}
	if s == nil || math.IsNaN(orNaN(s.PastPadFrontMM)) {
		j.unmeasuredEnd(s, name)
		return
	}
	v, u := *s.PastPadFrontMM, j.endU(s.PastPadFrontUMM, "pad_front_"+side)
	f := Finding{Code: "pad-short", Region: name, Where: Where{Points: places(s)}}
	before := len(j.findings)
	j.add(f, below(j.lim.PadShort), v, u, func(do Verdict) string {
		return fmt.Sprintf("The material covers only %s of the %s from its front: %s.", mm(math.Max(0, v)), name,
			told(do, "watch it", "lengthen the border over the pad and wash again"))
	})
	if len(j.findings) == before && s.SummitReached != nil && !*s.SummitReached {
		f.Value, f.Unit = &v, j.lim.PadShort.Unit
		j.ruleAt(f, j.lim.SummitMissed, fmt.Sprintf(
			"The material covers %s of the %s and ends before its summit: lengthen the border over the pad and wash again.", mm(v), name))
	}
	f = Finding{Code: "pad-long", Region: name, Where: f.Where}
	j.add(f, above(j.lim.PadLong), v, u, func(do Verdict) string {
		return fmt.Sprintf("The material goes %s past the front of the %s, farther than a pad is long: %s.", mm(v), name,
			told(do, "watch it", "trim the excess behind the pad"))
	})
}

func (j *judge) unmeasuredEnd(s *PosteriorSide, name string) {
	reason := ""
	if s != nil {
		reason = s.Unmeasured
	}
	j.ruleAt(Finding{Code: "unmeasured-posterior", Region: name}, j.lim.NoPosterior,
		"How far the material goes at the "+name+" could not be measured"+because(reason)+": scan that end again.")
}

func places(s *PosteriorSide) []Vec {
	if s.Rearmost == nil {
		return nil
	}
	return []Vec{*s.Rearmost}
}

// endU is the uncertainty of an extension: its own, else that of the landmark it starts from.
func (j *judge) endU(u *float64, landmark string) float64 {
	if u != nil {
		return known(u)
	}
	return j.res.Landmarks[landmark].UncertaintyMM
}

// shortfall is how far the material ends before a notch that was found or given; negative,
// nil where the notch or the end is not known.
func (j *judge) shortfall(s *PosteriorSide, side string) *float64 {
	notch, found := j.res.Landmarks["hamular_notch_"+side]
	if !found || s.Rearmost == nil {
		return nil
	}
	v := s.Rearmost.Sub(notch.Point).Dot(j.res.Frame.Posterior)
	if math.IsNaN(v) || v >= 0 {
		return nil
	}
	return &v
}

// doubtful reports whether the material ends nearer to a notch that it does not reach than the
// notch is known.
func (j *judge) doubtful(s *PosteriorSide, side string) bool {
	v := j.shortfall(s, side)
	return v != nil && -*v < j.endU(nil, "hamular_notch_"+side)
}

func byHowMuch(v *float64) string {
	if v == nil {
		return ""
	}
	return fmt.Sprintf(" by about %s", mm(-*v))
}
