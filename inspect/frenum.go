package inspect

import "math"

// notch is a dip of the border's apex line.
type notch struct {
	p            Vec
	u            float64
	depth, width float64
}

// notches finds the dips of a border's apex line: where it lies below its own closing (a moving
// maximum followed by a moving minimum, which bridges what is narrower than the window).
func notches(s []slice, pick func(*slice) *apex) []notch {
	var p []Vec
	var u []float64
	for i := range s {
		if a := pick(&s[i]); a != nil {
			p = append(p, a.p)
			u = append(u, s[i].u)
		}
	}
	n := len(p)
	if n < 3 {
		return nil
	}
	h := int(math.Round(frenumWindowMM / ((u[n-1] - u[0]) / float64(n-1))))
	top := make([]float64, n)
	for i := range p {
		top[i] = math.Inf(-1)
		for j := max(0, i-h); j <= min(n-1, i+h); j++ {
			top[i] = max(top[i], p[j].Z)
		}
	}
	closed := make([]float64, n)
	for i := range p {
		closed[i] = math.Inf(1)
		for j := max(0, i-h); j <= min(n-1, i+h); j++ {
			closed[i] = min(closed[i], top[j])
		}
	}
	depth := make([]float64, n)
	for i := range p {
		depth[i] = closed[i] - p[i].Z
	}
	var out []notch
	for i := 0; i < n; i++ {
		if depth[i] < frenumDepthMM {
			continue
		}
		best, j := i, i
		for ; j < n && depth[j] >= frenumDepthMM; j++ {
			if depth[j] > depth[best] {
				best = j
			}
		}
		lo, hi := best, best
		for lo > 0 && depth[lo-1] > depth[best]/2 {
			lo--
		}
		for hi < n-1 && depth[hi+1] > depth[best]/2 {
			hi++
		}
		flat := p[hi].Sub(p[lo])
		flat.Z = 0
		out = append(out, notch{p: p[best], u: u[best], depth: depth[best], width: flat.Norm()})
		i = j
	}
	return out
}

// frenum takes the deepest notch whose place along the crest lies between lo and hi.
//
// Its bottom is that of a parabola through the apexes of finer sections, over the share of the
// notch's width that is nearly one: a single lowest apex is the one that noise lowers most.
// What is left open: along the border the scan's noise and, as a border that leans moves
// the lowest place of a flat notch, the way to the tissue; across it the top of the roll, alike.
func (an *Anatomy) frenum(name string, n []notch, lo, hi float64, inner bool, fine func(u, half float64) []section) {
	best := -1
	for i := range n {
		if n[i].width <= frenumWidestMM && n[i].u >= lo && n[i].u <= hi && (best < 0 || n[i].depth > n[best].depth) {
			best = i
		}
	}
	if best < 0 {
		return
	}
	dip := &n[best]
	half := max(2*an.step, frenumShare*dip.width)
	_, rho := an.chart.at(an.crestNear(dip.u))
	var u []float64
	var p [3][]float64
	for _, sec := range fine(dip.u, 2*half) {
		s := slice{section: sec}
		a := s.apexIn(rho, math.Inf(1), an.fm.ApexMM)
		if inner {
			a = s.apexIn(0, rho, an.fm.ApexMM)
		}
		if a != nil {
			u = append(u, s.u)
			p[0], p[1], p[2] = append(p[0], a.p.X), append(p[1], a.p.Y), append(p[2], a.p.Z)
		}
	}
	g := an.grain
	l := Landmark{Source: "found", WidthMM: dip.width, DepthMM: dip.depth}
	// Both flanks of a notch are read between sections; its bottom and its shoulder are two points.
	l.WidthUMM = expanded(rectangle(an.step), rectangle(an.step), g.NoiseMM*dip.width/dip.depth)
	l.DepthUMM = expanded(g.NoiseMM, g.NoiseMM, rectangle(2*g.sag(rollRadiusMM)))
	axis := an.fm.AxisDeg * math.Pi / 180
	across := math.Hypot(axis*rollRadiusMM, g.topU(rollRadiusMM, an.fm.ApexMM, half))
	z, ok := fitExtreme(u, p[2], nil, dip.u, half, 1)
	if ok {
		x, ok1 := fitLocal(u, p[0], nil, z.at, half)
		y, ok2 := fitLocal(u, p[1], nil, z.at, half)
		ok = ok1 && ok2
		at := Vec{X: x.c[0], Y: y.c[0], Z: z.c[0]}
		pace := math.Hypot(x.c[1], y.c[1]) // mm along the border for one of u
		density := z.density(g.ripple(rollRadiusMM), g.EdgeMM/pace, half)
		along := math.Hypot(z.atU(density)*pace, axis*pace*pace/(2*z.c[2]))
		l.Point, l.UncertaintyMM = an.Frame.World(at), expanded(along, across, z.valueU(density))
	}
	if !ok {
		// An opening, or a flat floor, leaves no bottom: anywhere between the flanks.
		l.Point, l.UncertaintyMM = an.Frame.World(dip.p), expanded(rectangle(dip.width/2), across)
	}
	an.keep(name, l)
}
