package inspect

import "math"

// besideMM is how far to both sides of the labial frenum, or of the midline without one, the
// border is looked at for the rim's height in front.
const besideMM = 12.0

// levelMM is how far below its highest place the border beside the frenum still counts as level:
// no longer drawn in by the frenum, whose notch fades out.
const levelMM = 0.1

// rimApexes returns the border apexes to which rim heights are measured. At the sides it is the
// one farthest toward the tissue around half-way between buccal frenum and rear end, and there is none where
// the scan was cut off before that end. beside is
// how far the front's place is open, root mean square, mm.
func (an *Anatomy) rimApexes() (out map[string]Vec, beside float64) {
	out = map[string]Vec{}
	front := 0.0
	if l, ok := an.Landmarks[LabialFrenum]; ok {
		front, _ = an.chart.at(an.Frame.Local(l.Point))
	}
	if p, u, ok := an.besideFrenum(front); ok {
		out["anterior"], beside = an.Frame.World(p), u
	}
	for i, name := range [2]string{"right", "left"} {
		if e := an.ends[i]; e == nil || e.cutOff {
			continue
		}
		u := (an.bounds.frenum[i] + an.bounds.end[i]) / 2
		if i == 0 {
			u = -u
		}
		var at *apex
		for k := range an.slices {
			s := &an.slices[k]
			if s.outer != nil && math.Abs(s.u-u) <= besideMM/2 && (at == nil || s.outer.p.Z > at.p.Z) {
				at = s.outer
			}
		}
		if at != nil {
			out[name] = an.Frame.World(at.p)
		}
	}
	return out, beside
}

// besideFrenum returns the place of the border beside the labial frenum at u: the middle of
// apexes equally far from it on both sides, so that neither a cant nor a border that rises to one
// side counts, averaged over the distances at which that middle is level. spread is how far the
// middle stands below its highest place where the frenum hardly draws it in, root mean
// square: for which of its places is meant, convention does not say.
func (an *Anatomy) besideFrenum(front float64) (p Vec, spread float64, ok bool) {
	var mid []Vec
	for d := an.step; d <= besideMM; d += an.step {
		l, ok1 := an.outerAt(front + d)
		r, ok2 := an.outerAt(front - d)
		if ok1 && ok2 {
			mid = append(mid, l.Add(r).Scale(0.5))
		}
	}
	if len(mid) == 0 {
		return Vec{}, 0, false
	}
	top := 0
	for i := range mid {
		if mid[i].Z > mid[top].Z {
			top = i
		}
	}
	// By how much a place is level, so that none comes in or drops out at once.
	var n float64
	for i := range mid {
		if w := mid[i].Z - mid[top].Z + levelMM; w > 0 {
			p, n = p.Along(w, mid[i]), n+w
		}
	}
	p = p.Scale(1 / n)
	var sum, far float64
	for i := range mid {
		if float64(i+1)*an.step > frenumWindowMM {
			sum, far = sum+(mid[i].Z-mid[top].Z)*(mid[i].Z-mid[top].Z), far+1
		}
	}
	return p, math.Sqrt(sum / max(1, far)), true
}

// outerAt returns the outer border's apex at u, between the two sections on both sides of it.
func (an *Anatomy) outerAt(u float64) (Vec, bool) {
	for i := 1; i < len(an.slices); i++ {
		a, b := &an.slices[i-1], &an.slices[i]
		if a.u <= u && u < b.u {
			if a.outer == nil || b.outer == nil {
				return Vec{}, false
			}
			return a.outer.p.Along((u-a.u)/(b.u-a.u), b.outer.p.Sub(a.outer.p)), true
		}
	}
	return Vec{}, false
}
