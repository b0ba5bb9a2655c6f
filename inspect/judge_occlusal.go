package inspect

import (
	"fmt"
	"math"
	"strings"
)

// NoRim begins the reason in OcclusalUnmeasured where the tray carries no rim. Any
// other reason means that a rim is there, or may be, and could not be measured.
const NoRim = "no rim"

// occlusal judges the plane of the rim. It is held against the reference that the user gave, else
// against the plane of hamular notches and papilla, else that of the crest.
func (j *judge) occlusal() {
	o := j.res.Occlusal
	if o == nil {
		switch {
		case j.res.Coverage == TissueSide: // told by scan-tissue-side-only
		case strings.HasPrefix(j.res.OcclusalUnmeasured, NoRim):
			j.rule("rim-missing", j.lim.RimMissing,
				"The tray carries no occlusion rim, so there is no occlusal plane: make the rim on a record base.")
		default:
			j.rule("unmeasured-rim", j.lim.NoRim,
				"The occlusal plane of the rim could not be measured"+because(j.res.OcclusalUnmeasured)+": scan the rim again.")
		}
		return
	}
	at := Where{Points: []Vec{o.Point}}
	name, tilt, found := o.Reference()
	if !found {
		j.rule("unmeasured-rim", j.lim.NoRim,
			"The tilt of the rim could not be measured, as there is no reference plane: give one, or scan the tissue side again.")
	} else {
		cant, pitch := math.Abs(tilt.CantDeg), math.Abs(tilt.PitchDeg)
		f := Finding{Code: "rim-canted", Region: "rim", Where: at}
		j.add(f, above(j.lim.RimCanted), cant, tilt.UDeg, func(do Verdict) string {
			return fmt.Sprintf("The rim is canted by %.1f degrees against the %s, higher on the patient's %s: %s.",
				cant, name, j.higher(tilt.CantDeg), told(do, "watch it", "level the rim on that side"))
		})
		f.Code = "rim-pitched"
		j.add(f, above(j.lim.RimPitched), pitch, tilt.UDeg, func(do Verdict) string {
			return fmt.Sprintf("The rim is pitched by %.1f degrees against the %s: %s.", pitch, name,
				told(do, "this angle is a weak sign, so compare with the ala-tragus line", "check it against the ala-tragus line and level the rim"))
		})
	}
	f := Finding{Code: "rim-uneven", Region: "rim", Where: at}
	j.add(f, above(j.lim.RimUneven), o.FlatnessMM, o.FlatnessUMM, func(do Verdict) string {
		return fmt.Sprintf("The flat of the rim is uneven by %.2f mm from its highest to its lowest place: %s.", o.FlatnessMM,
			told(do, "watch it", "flatten the rim on a warm plate"))
	})
	for i := range o.Chips {
		c := &o.Chips[i]
		f := Finding{Code: "rim-chipped", Region: "rim", Where: Where{Points: []Vec{c.Centre}, RadiusMM: math.Sqrt(math.Max(0, c.AreaMM2) / math.Pi)}}
		j.add(f, above(j.lim.RimChipped), c.AreaMM2, 0, func(do Verdict) string {
			return fmt.Sprintf("A piece of %.0f mm2 and %s deep is broken out of the rim: %s.", c.AreaMM2, mm(c.DepthMM),
				told(do, "the plane was fitted without it", "add wax there"))
		})
	}
	j.rimHeight(o)
}

func (j *judge) rimHeight(o *Occlusal) {
	h := o.RimHeight.Anterior
	if h == nil {
		j.ruleAt(Finding{Code: "unmeasured-rim", Region: "rim"}, Rule{Severity: Info},
			"The height of the rim in front could not be measured: measure it by hand.")
		return
	}
	usual := j.lim.RimHeight.UpperMM
	if j.res.Jaw == Lower {
		usual = j.lim.RimHeight.LowerMM
	}
	f := Finding{Code: "rim-height", Region: "rim", Where: Where{Points: []Vec{o.Point}}}
	j.add(f, above(j.lim.RimHeight.Limit), math.Abs(*h-usual), o.RimHeight.UMM, func(do Verdict) string {
		word := "lower"
		if *h > usual {
			word = "higher"
		}
		return fmt.Sprintf("The rim is %s high in front, %s than the usual %.0f mm: %s.", mm(*h), word, usual,
			told(do, "the patient's own height rules", "check lip support and height, and trim or add wax"))
	})
}

// Reference is the plane that the rim is held against, in words, and the tilt against it.
func (o *Occlusal) Reference() (name string, t Tilt, found bool) {
	for _, r := range []struct{ key, name string }{
		{"given", "given reference plane"},
		{"hamular-papilla", "plane of hamular notches and papilla"},
		{"crest", "plane of the ridge crest"},
	} {
		if t, found := o.Tilts[r.key]; found {
			return r.name, t, true
		}
	}
	return "", Tilt{}, false
}

// higher names the side on which the rim stands higher in the mouth. A positive cant means that
// the plane is nearer the tissue on the patient's left: up there in the upper jaw, down in the lower.
func (j *judge) higher(cantDeg float64) string {
	if (cantDeg > 0) == (j.res.Jaw == Upper) {
		return "left"
	}
	return "right"
}
