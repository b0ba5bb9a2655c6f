package inspect

import "math"

// doubt is the expanded uncertainty (k = 2) of a pit's numbers, mm and mm³.
type doubt struct{ width, depth, volume float64 }

// doubt propagates the scan's noise and what the vertices are off the fitted shapes through the
// fits: the covariance of the sphere is σ² (JᵀJ)⁻¹ over the vertices it rests on (of few vertices, what
// the caps that explain them leave open), and the height of the sound surface over the middle, in the gap of the
// ring it was fitted to, is known as the spline says; without one, like the mean of a twelfth of the
// ring's vertices, and to what another order of that surface would make of it. The misfit is part of σ, so that a form that is
// no sphere, and an opening that few vertices show, make the numbers less sure.
func (s *survey) doubt(p *pit) doubt {
	floor := math.Max(s.noise, 0.002) // single precision and the solver's own step
	out2 := (float64(floor*floor)+float64(p.around*p.around))*12/math.Max(12, float64(p.outer)) + float64(p.model*p.model)
	if p.gap != nil {
		out2 = float64(*p.gap * *p.gap)
	}
	da := (p.r - p.depth) / p.a
	// dV/da = π a h, dV/dh = π (a² + h²) / 2
	va, vh := math.Pi*p.a*p.depth, math.Pi*(float64(p.a*p.a)+float64(p.depth*p.depth))/2
	if p.few {
		aa, hh, ah := p.known[0]+float64(da*da)*out2, p.known[1]+out2, p.known[2]+float64(da*out2)
		return doubt{width: 4 * math.Sqrt(aa), depth: 2 * math.Sqrt(hh), volume: 2 * math.Sqrt(math.Max(0, float64(va*va*aa)+float64(vh*vh*hh)+float64(2*va*vh*ah)))}
	}
	n := float64(len(p.in))
	a := make([]float64, 20)
	inverse := [4][4]float64{}
	for k := range 4 {
		clear(a)
		for _, x := range p.in {
			d := p.flat(s.m.Pos[x].Sub(p.c)).Unit()
			j := [4]float64{-d.X, -d.Y, -d.Z, -1}
			for r := range 4 {
				for c := range 4 {
					a[r*5+c] += float64(j[r] * j[c])
				}
			}
		}
		for r := range 4 {
			a[r*5+r] += 1e-6 * n
		}
		a[k*5+4] = 1
		if !solve(a, 4) {
			return doubt{p.a, p.depth, capVolume(p.a, p.depth)}
		}
		for r := range 4 {
			inverse[r][k] = a[r*5+4]
		}
	}
	in2 := float64(floor*floor) + float64(p.off*p.off)*n/math.Max(1, n-4)
	// Depth = r - sign (c - foot)·axis; opening a² = depth (2r - depth).
	slope := func(dDepth, dR float64) [4]float64 {
		x := p.flat(p.axis.Scale(-p.sign * dDepth)) // where along a fold its cylinder lies says nothing
		return [4]float64{x.X, x.Y, x.Z, dDepth + dR}
	}
	spread := func(dDepth, dR float64) float64 {
		g, v := slope(dDepth, dR), float64(dDepth*dDepth)*out2
		for r := range 4 {
			for c := range 4 {
				v += float64(g[r]*inverse[r][c]*g[c]) * in2
			}
		}
		return 2 * math.Sqrt(math.Max(0, v))
	}
	dr := p.depth / p.a
	return doubt{width: 2 * spread(da, dr), depth: spread(1, 0), volume: spread(float64(va*da)+vh, float64(va*dr))}
}
