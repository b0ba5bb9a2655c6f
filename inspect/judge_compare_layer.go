package inspect

import (
	"fmt"
	"math"
)

// layer judges what came on and what was taken off.
func (j *compareJudge) layer() {
	l := j.c.Layer
	if l == nil {
		j.rule("unmeasured-layer", j.lim.NoLayer, "The layer could not be measured"+because(j.c.LayerUnmeasured)+": scan the same part before and after.")
		return
	}
	for i := range l.Thin {
		s := &l.Thin[i]
		f := Finding{Code: "layer-thin", Region: s.Region, Where: Where{Points: []Vec{s.Centre}, RadiusMM: s.DiameterMM / 2}}
		v := math.Max(0, s.ThinnestMM)
		j.add(f, below(j.lim.LayerThin), v, s.UMM, func(do Verdict) string {
			return fmt.Sprintf("The layer is %.2f mm thick at a place %s wide%s, and what is under it shows through: %s.", v, mm(s.DiameterMM), in(s.Region),
				told(do, "watch it", "relieve the tray there and wash again"))
		})
	}
	for i := range l.Parts {
		p := &l.Parts[i]
		if p.Kind == LayerRemoved {
			j.removed(p)
		} else {
			j.added(p)
		}
	}
}

// added judges a layer on the fitting surface; elsewhere, as of a rim, it is only told.
func (j *compareJudge) added(p *LayerPart) {
	if p.Surface != OnTissue && p.Surface != OnBorder {
		return
	}
	f := Finding{Code: "layer-thick", Region: where(p)}
	v, u := math.NaN(), known(p.DiscUMM)
	if p.Thickest != nil {
		v, f.Where.Points = p.Thickest.MM, []Vec{p.Thickest.At}
	}
	j.add(f, above(j.lim.LayerThick), v, u, func(do Verdict) string {
		return fmt.Sprintf("The layer is up to %s thick%s: %s.", mm(v), in(where(p)),
			told(do, "watch it", "the tray was not seated, so take the layer off and wash again"))
	})
}

func (j *compareJudge) removed(p *LayerPart) {
	f := Finding{Code: "cut-back", Region: where(p), Where: Where{Points: []Vec{p.Centre}}}
	j.add(f, above(j.lim.CutBack), orNaN(p.CutBackMM), known(p.CutBackUMM), func(do Verdict) string {
		return fmt.Sprintf("Over %.0f mm2%s the material was cut back by up to %s: %s.", p.AreaMM2, in(where(p)), mm(*p.CutBackMM),
			told(do, "see that it was meant", "see that it was meant, else add border material and wash again"))
	})
}

// where names the place of a part: its region, else its surface.
func where(p *LayerPart) string {
	if p.Region != "" {
		return p.Region
	}
	if p.Surface == "" {
		return ""
	}
	return p.Surface + " surface"
}
