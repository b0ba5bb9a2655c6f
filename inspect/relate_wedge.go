package inspect

import (
	"math"
	"slices"
)

// meeting is the plane on which the rims are to meet, in local coordinates: that of the rim that
// stays, else the plane halfway between both.
func (p *pair) meeting(keep Jaw) func(x, y float64) float64 {
	switch keep {
	case Upper:
		return p.upper.planeAt
	case Lower:
		return p.lower.planeAt
	}
	return func(x, y float64) float64 { return (p.upper.planeAt(x, y) + p.lower.planeAt(x, y)) / 2 }
}

// wedge tells what one rim (0 upper, 1 lower) must gain or lose all over its flat to end on the
// target, and the same at its vertices. A rim that stays gains nothing.
func (p *pair) wedge(f *common, jaw int, target func(x, y float64) float64, stays bool, workers int) (Wedge, []float64) {
	s, sign := &p.upper, -1.0 // the upper grows downward
	if jaw == 1 {
		s, sign = &p.lower, 1
	}
	var pixels []int
	for at, on := range f.on[jaw] {
		if on {
			pixels = append(pixels, at)
		}
	}
	if stays {
		return Wedge{}, p.atVertices(f, s, pixels, func(int) float64 { return 0 })
	}
	z, se := s.heights(f, pixels, p.method.MeanMM, workers)
	wax := make([]float64, len(pixels))
	w := Wedge{LeastMM: math.Inf(1), MostMM: math.Inf(-1)}
	parts := map[string][]float64{}
	px := p.method.PixelMM * p.method.PixelMM
	for i, at := range pixels {
		x, y := f.xy(at)
		v := sign * (target(x, y) - z[i])
		wax[i] = v
		w.LeastMM, w.MostMM = min(w.LeastMM, v), max(w.MostMM, v)
		w.AddMM3 += px * max(0, v)
		w.RemoveMM3 += px * max(0, -v)
		part, _ := p.part(f, x, y)
		parts[part] = append(parts[part], v)
	}
	if len(pixels) == 0 {
		return Wedge{}, p.atVertices(f, s, nil, nil)
	}
	slices.Sort(se)
	far := math.Hypot(0.5*(f.rear-f.front), 0.5*p.widthOf(f))
	w.UMM = expanded(quantileOf(se, 0.9), p.turn()*far, p.poseU.at(far), rectangle(p.sag()))
	middle := func(part string) *float64 {
		v := parts[part]
		if len(v) == 0 {
			return nil
		}
		slices.Sort(v)
		return ptr(quantileOf(v, 0.5))
	}
	w.FrontMM, w.RightMM, w.LeftMM = middle("anterior"), middle("molar right"), middle("molar left")
	return w, p.atVertices(f, s, pixels, func(i int) float64 { return wax[i] })
}
