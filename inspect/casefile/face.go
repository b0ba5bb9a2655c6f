package casefile

import (
	"fmt"
	"math"
)

// Face holds widths measured on the face, mm.
type Face struct {
	NoseWidthMM  *float64 `toml:"nose_width_mm" say:"Width of the nose across the wings." like:"36.0"`
	MouthWidthMM *float64 `toml:"mouth_width_mm" say:"Width of the mouth at rest, corner to corner." like:"50.0"`
}

// WidthRange is a range of a width of the upper front teeth that a face measure leaves open.
type WidthRange struct {
	What         string  // which width
	FromMM, ToMM float64 // holds about 95 of 100 people, if the studied people are like this one
	From         string  // measure and rule
	Honesty      string  // how much the rule knows
}

// FrontTeeth turns face measures into ranges for the upper front teeth. They are wide because
// the rules are weak: where a face measure and a tooth width correlate with r, the width
// still spreads about the rule by SD·√(1 − r²), and the range is twice that to both sides.
//
//   - Nose: six upper front teeth on the curve = 1.31 × nose width (Hoffman et al., J Prosthet
//     Dent 1986, ratio from memory); r 0.25 (Hossain et al. 2012, Bangladesh; Sinavarat et al., J Adv
//     Prosthodont 2013;5:369, Thailand: none); SD 3.1 mm of 451 casts.
//   - Mouth: tip to tip of the canines = 0.758 × mouth width (Stephan and Henneberg, n = 93); r 0.43
//     (Sinavarat 2013); SD 2.05 mm (Bonakdarchian and Ghorbanipour, J Dent Anthropol 2010).
//
// A range and never a mould: marks on the rim at the corners of the mouth and old photographs
// tell more.
func (f Face) FrontTeeth() []WidthRange {
	rule := func(what, from string, at, r, sd float64) WidthRange {
		d := 2 * sd * math.Sqrt(1-r*r)
		return WidthRange{what, at - d, at + d, from,
			fmt.Sprintf("correlation %.2f: %.0f %% of the difference between people is not explained", r, 100*(1-r*r))}
	}
	var out []WidthRange
	if f.NoseWidthMM != nil {
		out = append(out, rule("six upper front teeth, on the curve", fmt.Sprintf("nose %.1f mm × 1.31", *f.NoseWidthMM), 1.31**f.NoseWidthMM, 0.25, 3.1))
	}
	if f.MouthWidthMM != nil {
		out = append(out, rule("upper canines, tip to tip", fmt.Sprintf("mouth %.1f mm × 0.758", *f.MouthWidthMM), 0.758**f.MouthWidthMM, 0.43, 2.05))
	}
	return out
}
