package inspect

import (
	"fmt"
	"math"
)

// holes judges openings in the scan by the diameter of the circle with their area.
//
// An opening on the tissue surface or border hides what the cast is made from; one on the outer
// surface, the rim or the handle hides nothing of it, so it is a remark until it is so wide that
// the border loses its outer wall. An opening of unknown place is judged as on the tissue surface.
func (j *judge) holes() {
	for i := range j.res.Holes {
		h := &j.res.Holes[i]
		d := 2 * math.Sqrt(h.AreaMM2/math.Pi)
		if !(h.AreaMM2 > 0) {
			d = h.SpanMM
		}
		lim := j.lim.Hole
		switch {
		case h.Surface == OnOuter || h.Surface == OnRim || h.Surface == OnHandle:
			lim = j.lim.HoleOuter
		case h.Surface == OnBorder || j.nearBorder(h.Centre):
			lim = j.lim.HoleBorder
		}
		u := h.SpanUMM
		if h.AreaMM2 > 0 {
			u = 2 * h.AreaUMM2 / (math.Pi * d) // d² = 4 A / pi
		}
		f := Finding{Code: "hole", Region: h.Region, Where: Where{Points: []Vec{h.Centre}, Path: h.Rim, RadiusMM: h.SpanMM / 2}}
		j.add(f, above(lim), d, u, func(do Verdict) string {
			return fmt.Sprintf("The scan has an opening %s wide in the %s%s: %s.", mm(d), surfaceWord(h.Surface), in(h.Region),
				told(do, "it hides nothing that decides", "scan this place again, and do not fill it by software"))
		})
	}
}

func surfaceWord(s string) string {
	switch s {
	case OnBorder:
		return "border"
	case OnOuter:
		return "outer surface"
	case OnRim:
		return "rim"
	case OnHandle:
		return "handle"
	}
	return "tissue surface"
}
