package inspect

import (
	"fmt"
	"math"
	"strings"
)

// defects judges voids and blebs by the diameter of their opening and folds by their depth.
// Near what makes the seal or carries the load the critical limits hold; a deep one is one band
// worse. A small one that passes is listed in the results and is no finding.
func (j *judge) defects() {
	for i := range j.res.Defects {
		d := &j.res.Defects[i]
		if j.res.Surface == Cast || d.Surface == OnOuter || d.Surface == OnRim || d.Surface == OnHandle {
			continue
		}
		f := Finding{Code: d.Kind, Region: d.Region, Where: Where{Points: []Vec{d.Centre}, Path: d.Path}}
		near := j.near(d)
		if d.Kind == Fold {
			lim := j.lim.Fold
			if near != "" {
				lim = j.lim.FoldCritical
			}
			if d.LengthMM != nil {
				f.Where.RadiusMM = *d.LengthMM / 2
			}
			j.add(f, above(lim), d.DepthMM, d.DepthUMM, func(do Verdict) string { return foldText(d, near, do) })
			continue
		}
		lim := j.lim.Void
		switch {
		case d.Kind == Bleb && near != "":
			lim = j.lim.BlebCritical
		case d.Kind == Bleb:
			lim = j.lim.Bleb
		case near != "":
			lim = j.lim.VoidCritical
		}
		v := orNaN(d.DiameterMM)
		f.Where.RadiusMM = math.Max(v, 0) / 2
		if math.IsNaN(v) {
			f.Where.RadiusMM = 0
		}
		b := above(lim)
		u := known(d.DiameterUMM)
		sev, limit := b.grade(v, u)
		switch deep := d.DepthMM - j.lim.Defect.DeepMM; {
		case deep > 0 && deep >= d.DepthUMM:
			sev = worse(sev)
		case deep > -d.DepthUMM && sev != Review: // not proven, so no worse than review
			sev = worse(sev)
		}
		j.put(f, b, sev, limit, v, u, func(do Verdict) string { return pitText(d, near, do) })
	}
	j.voidShare()
}

// voidShare judges the area of all voids of the tissue surface together, in percent of it.
func (j *judge) voidShare() {
	if j.res.Surface == Cast || !(j.res.TissueAreaMM2 > 0) {
		return
	}
	area, u2, n := 0.0, 0.0, 0
	for i := range j.res.Defects {
		d := &j.res.Defects[i]
		if d.Kind != Void || d.Surface != OnTissue || d.DiameterMM == nil {
			continue
		}
		u := math.Pi / 2 * *d.DiameterMM * known(d.DiameterUMM)
		area, u2, n = area+math.Pi/4**d.DiameterMM**d.DiameterMM, u2+u*u, n+1
	}
	share := 100 / j.res.TissueAreaMM2
	// Each of them is drawn as a finding of its own, so this one has no place.
	j.add(Finding{Code: "void-share"}, above(j.lim.VoidShare), area*share, math.Sqrt(u2)*share, func(do Verdict) string {
		return fmt.Sprintf("The %d voids together take %.1f %% of the tissue surface (%.0f of %.0f mm2): %s.", n, area*share, area, j.res.TissueAreaMM2,
			toDo(do, "few enough to leave", "wash it", "too many to wash, so take a new impression"))
	})
}

func pitText(d *Defect, near string, do Verdict) string {
	what, depth, mend := "void", "deep", "wash it, or let the laboratory trim the bump it leaves on the cast"
	if d.Kind == Bleb {
		what, depth, mend = "bleb", "high", "cut it off the impression"
	}
	size := "of unmeasured width and "
	if d.DiameterMM != nil {
		size = mm(*d.DiameterMM) + " wide and "
	}
	return fmt.Sprintf("A %s %s%s %s%s%s: %s.", what, size, mm(d.DepthMM), depth, in(d.Region), at(near, d.Region),
		toDo(do, "small enough to leave", mend, "too large to mend there, so take a new impression"))
}

func foldText(d *Defect, near string, do Verdict) string {
	size := ""
	if d.LengthMM != nil {
		size = mm(*d.LengthMM) + " long and "
	}
	return fmt.Sprintf("A fold %s%.2f mm deep%s%s: %s.", size, d.DepthMM, in(d.Region), at(near, d.Region),
		toDo(do, "shallow enough to leave", "make a new wash over it", "too deep to wash, so take a new impression"))
}

// at says what a fault is close to, unless the region says so already.
func at(near, region string) string {
	if near == "" || strings.Contains(region, near) {
		return ""
	}
	return ", close to the " + near
}

func toDo(do Verdict, leave, mend, retake string) string {
	switch do {
	case Send:
		return leave
	case Retake:
		return retake
	}
	return mend
}

// near names what a fault comes close to of the things that must be sound, or "".
func (j *judge) near(d *Defect) string {
	places := append([]Vec{d.Centre}, d.Path...)
	within := j.lim.Defect.NearMM
	for _, p := range places {
		switch {
		case d.Surface == OnBorder || j.nearBorder(p):
			return "border"
		case distanceToPath(p, j.res.Posterior.Path) <= within:
			return "posterior seal"
		case distanceToPath(p, j.res.Crest) <= within:
			return "ridge crest"
		}
		for _, name := range []string{"hamular_notch_left", "hamular_notch_right", "pad_front_left", "pad_front_right", "pad_summit_left", "pad_summit_right"} {
			if l, found := j.res.Landmarks[name]; found && l.Point.Dist(p) <= within {
				if strings.HasPrefix(name, "pad") {
					return "retromolar pad"
				}
				return "hamular notch"
			}
		}
	}
	return ""
}

func (j *judge) nearBorder(p Vec) bool {
	for i := range j.res.Border.Stations {
		if j.res.Border.Stations[i].Apex.Dist(p) <= j.lim.Defect.NearMM {
			return true
		}
	}
	return false
}

// distanceToPath is the distance from p to a polyline, infinite when there is none.
func distanceToPath(p Vec, path []Vec) float64 {
	nearest := math.Inf(1)
	for i, a := range path {
		nearest = math.Min(nearest, p.Dist(a))
		if i == 0 {
			continue
		}
		b := path[i-1]
		d := a.Sub(b)
		if n := d.Norm2(); n > 0 {
			t := math.Min(1, math.Max(0, p.Sub(b).Dot(d)/n))
			nearest = math.Min(nearest, p.Dist(b.Along(t, d)))
		}
	}
	return nearest
}
