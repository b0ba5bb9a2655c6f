package inspect

import (
	"fmt"
	"math"
)

// JudgeRelation holds a relation against the limits of a protocol, as Judge does a scan. It reads
// nothing but its arguments, so a stored relation can be judged anew.
func JudgeRelation(r *Relation, p Protocol) ([]Finding, Verdict) {
	j := &relateJudge{judge: judge{lim: &p.Limits}, r: r}
	j.planes()
	j.gap()
	j.midlines()
	j.room()
	j.height()
	j.references()
	j.order()
	return j.findings, verdictOf(j.findings)
}

type relateJudge struct {
	judge
	r *Relation
}

// planes judges whether the rims are parallel.
func (j *relateJudge) planes() {
	p := &j.r.Planes
	j.add(Finding{Code: "rims-unparallel"}, above(j.lim.RimsUnparallel), p.AngleDeg, p.AngleUDeg, func(do Verdict) string {
		var wider string
		switch f, s := p.ForeAftDeg, p.SidewaysDeg; {
		case math.Abs(f) >= math.Abs(s) && f > 0:
			wider = "in front"
		case math.Abs(f) >= math.Abs(s):
			wider = "behind"
		case s > 0:
			wider = "on the patient's left"
		default:
			wider = "on the patient's right"
		}
		return fmt.Sprintf("The planes of the rims stand at %.1f degrees to each other, wider %s: %s.", p.AngleDeg, wider,
			told(do, "look whether they meet flat", "trim or build up one rim until both meet flat"))
	})
}

// gap judges whether the rims meet, evenly and without running into each other.
func (j *relateJudge) gap() {
	g := &j.r.Gap
	if g.All.MedianMM == nil || g.SidesMM == nil || g.FrontMM == nil {
		j.rule("unmeasured-relation", j.lim.NoRelation, "The gap between the rims could not be measured on both sides and in front"+because(g.All.Unmeasured)+
			": scan both rims whole.")
	}
	widest := Where{Points: []Vec{g.Widest}}
	if m := g.All.MedianMM; m != nil {
		j.add(Finding{Code: "rims-apart", Where: widest}, above(j.lim.RimsApart), *m, known(g.All.UMM), func(do Verdict) string {
			return fmt.Sprintf("The rims are %.2f mm apart in the middle of their gap: %s.", *m,
				told(do, "a record may lie between them", "close them, or take off what keeps them apart"))
		})
	}
	j.add(Finding{Code: "gap-uneven", Where: widest}, above(j.lim.GapUneven), g.SpreadMM, g.SpreadUMM, func(do Verdict) string {
		return fmt.Sprintf("The gap between the rims differs by %.2f mm over them: %s.", g.SpreadMM, told(do, "they meet nearly flat", "level the rims so that they meet flat"))
	})
	if s := g.SidesMM; s != nil {
		j.add(Finding{Code: "gap-sides", Where: widest}, above(j.lim.GapSides), math.Abs(*s), known(g.SidesUMM), func(do Verdict) string {
			return fmt.Sprintf("The rims are %.2f mm farther apart on the patient's %s than on the %s: %s.", math.Abs(*s), leftOrRight(*s > 0), leftOrRight(*s < 0),
				told(do, "contact is a little uneven", "build up the open side or take off the other, until both meet at once"))
		})
	}
	if s := g.FrontMM; s != nil {
		open, shut := "in front", "behind"
		if *s < 0 {
			open, shut = shut, open
		}
		j.add(Finding{Code: "gap-front", Where: widest}, above(j.lim.GapFront), math.Abs(*s), known(g.FrontUMM), func(do Verdict) string {
			return fmt.Sprintf("The rims are %.2f mm farther apart %s than %s: %s.", math.Abs(*s), open, shut,
				told(do, "contact is a little uneven", "build up where they are open or take off where they touch"))
		})
	}
	j.add(Finding{Code: "rims-sunk", Where: Where{Points: []Vec{g.Closest}}}, above(j.lim.RimsSunk), g.SunkMM, g.SunkUMM, func(do Verdict) string {
		return fmt.Sprintf("The scans of the rims run %.2f mm into each other: %s.", g.SunkMM, told(do, "within what scans leave open", "scan the closed rims again"))
	})
}

func leftOrRight(left bool) string {
	if left {
		return "left"
	}
	return "right"
}

// midlines judges the labial frena against each other.
func (j *relateJudge) midlines() {
	h := &j.r.Horizontal
	if h.MidlineMM == nil {
		return // frena are missing in some mouths
	}
	v := *h.MidlineMM
	j.add(Finding{Code: "midlines-apart", Where: Where{Points: h.MidlineAt}}, above(j.lim.MidlinesApart), math.Abs(v), known(h.MidlineUMM), func(do Verdict) string {
		return fmt.Sprintf("The lower labial frenum lies %.1f mm to the patient's %s of the upper one: %s.", math.Abs(v), leftOrRight(v > 0),
			told(do, "frena stand off the midline in many mouths", "check the midlines and the jaw relation"))
	})
}

// room judges whether there is space for teeth and bases between the crests, at its narrowest place.
func (j *relateJudge) room() {
	var least *SpaceAt
	for i := range j.r.Space {
		if s := &j.r.Space[i]; least == nil || s.MM < least.MM {
			least = s
		}
	}
	if least == nil {
		j.rule("unmeasured-relation", j.lim.NoRelation, "The room between the crests could not be measured: scan both ridges whole.")
		return
	}
	j.add(Finding{Code: "space-short", Region: least.Part, Where: Where{Points: []Vec{least.Upper, least.Lower}}}, below(j.lim.SpaceShort), least.MM, least.UMM, func(do Verdict) string {
		return fmt.Sprintf("The crests are only %.1f mm apart%s (%.1f above the rims' meeting and %.1f below): %s.", least.MM, in(least.Part), least.UpperMM, least.LowerMM,
			told(do, "choose low teeth there", "teeth and bases have too little room; check the height"))
	})
}

// height judges the distance from sulcus to sulcus in front against the usual one.
func (j *relateJudge) height() {
	for i := range j.r.Heights {
		h := &j.r.Heights[i]
		if h.Name != SulcusAnterior || h.MM == nil {
			continue
		}
		usual := j.lim.RimHeight.UpperMM + j.lim.RimHeight.LowerMM
		off := *h.MM - usual
		word := "more"
		if off < 0 {
			word = "less"
		}
		f := Finding{Code: "height-unusual", Where: Where{Path: h.Line}}
		j.add(f, above(j.lim.HeightUnusual), math.Abs(off), known(h.UMM), func(do Verdict) string {
			return fmt.Sprintf("From sulcus to sulcus in front it is %.1f mm, %.1f mm %s than usual: %s.", *h.MM, math.Abs(off), word,
				told(do, "the patient's own height rules", "check the vertical dimension on the patient"))
		})
	}
}

// references judges the occlusal plane against lines and planes of the face, where they were given.
func (j *relateJudge) references() {
	for i := range j.r.References {
		a := &j.r.References[i]
		if v := a.CantDeg; v != nil {
			j.add(Finding{Code: "face-canted"}, above(j.lim.FaceCanted), math.Abs(*v), known(a.CantUDeg), func(do Verdict) string {
				return fmt.Sprintf("The %s rim's plane is %.1f degrees higher on the patient's %s against the %s: %s.", a.Jaw, math.Abs(*v), leftOrRight(*v > 0), referenceWords(a.Reference),
					told(do, "look at it on the face", "level the rim on the face"))
			})
		}
		if v := a.ForeAftDeg; v != nil {
			end := "falls away from it in front"
			if *v < 0 {
				end = "comes nearer to it in front"
			}
			j.add(Finding{Code: "face-pitched"}, above(j.lim.FacePitched), math.Abs(*v), known(a.ForeAftUDeg), func(do Verdict) string {
				return fmt.Sprintf("Against the %s the %s rim's plane %s by %.1f degrees: %s.", referenceWords(a.Reference), a.Jaw, end, math.Abs(*v),
					told(do, "look at it on the face", "level the rim against it"))
			})
		}
	}
}

func referenceWords(name string) string {
	if name == Pupils {
		return "pupil line"
	}
	return "ala-tragus plane"
}
