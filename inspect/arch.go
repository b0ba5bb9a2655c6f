package inspect

import "math"

// arch is the fan of profiles across the dental arch in a height map: radial about a centre on
// the midline in front, square to the midline behind it.
type arch struct {
	g              *grid
	cx, cy         float64 // centre
	bx, by         float64 // posterior, in the grid's plane
	radius, length float64 // half the arch's width; from the centre back to the rear end
	bulge          float64 // how far the middle of the front stands before its sides
}

func newArch(g *grid, px, py, bx, by float64) *arch {
	a := &arch{g: g, bx: bx, by: by}
	var half []float64
	front := map[int]float64{} // foremost cell by lateral offset
	back := math.Inf(-1)
	for k := range g.top {
		if math.IsInf(g.top[k], -1) {
			continue
		}
		x, y := g.centre(k)
		t := (x-px)*bx + (y-py)*by
		u := -(x-px)*by + (y-py)*bx
		half = append(half, math.Abs(u))
		b := int(math.Round(u))
		if f, ok := front[b]; !ok || t < f {
			front[b] = t
		}
		back = max(back, t)
	}
	a.radius = quantile(half, 0.99)
	// The front of the arc is looked up half-way out on both sides, where no handle stands; a
	// circle of the arch's half width through those points has its centre 0.866 radii behind.
	q := int(math.Round(a.radius / 2))
	var f []float64
	for d := -2; d <= 2; d++ {
		for _, b := range []int{q + d, -q + d} {
			if t, ok := front[b]; ok {
				f = append(f, t)
			}
		}
	}
	t := median(f) + a.radius*math.Sqrt(3)/2
	a.cx, a.cy = px+t*bx, py+t*by
	a.length = back - t
	var mid, sides []float64
	for b, t := range front {
		switch d := math.Abs(float64(b)) / a.radius; {
		case d < 0.25:
			mid = append(mid, t)
		case d > 0.7 && d < 0.8:
			sides = append(sides, t)
		}
	}
	a.bulge = median(sides) - median(mid)
	return a
}

// relief sums up one side of the surface along the arch.
type relief struct {
	trough float64 // median depth of the basin across the arch, mm
	ridge  float64 // median height of the ridge across the arch, mm
	relief float64 // typical distance of the trough's bottom from its own smooth course in front, mm
}

func (r relief) score() float64 { return r.trough - r.ridge }

// relief looks at the arch along +axis (side 1: the highest surface) or -axis.
func (a *arch) relief(fm FrameMethod, side float64) relief {
	var troughs, ridges, floor []float64
	n := int(a.radius * math.Pi * 0.6)
	for i := -n; i <= n; i++ {
		z := a.profile(float64(i), fm, side)
		w, k := basin(z)
		troughs = append(troughs, w)
		for j := range z {
			z[j] = -z[j]
		}
		v, _ := basin(z)
		ridges = append(ridges, v)
		if k >= 0 && math.Abs(float64(i)) < a.radius { // behind, pads and notches bend the crest
			floor = append(floor, z[k])
		}
	}
	return relief{median(troughs), median(ridges), roughness(floor, 6)}
}

// profile samples heights outward along the fan's ray u (mm of arc on half the arch's radius;
// negative to one side), at the grid's spacing, from the core to the edge; empty cells are NaN.
func (a *arch) profile(u float64, fm FrameMethod, side float64) []float64 {
	var z []float64
	for rho := fm.CoreMM; rho < 1.6*a.radius; rho += a.g.cell {
		x, y := a.place(u, rho)
		top, bottom, ok := a.g.heights(x, y)
		switch {
		case !ok:
			z = append(z, math.NaN())
		case side > 0:
			z = append(z, top)
		default:
			z = append(z, -bottom)
		}
	}
	return z
}

// place returns the grid coordinates of the fan's ray u at distance rho.
func (a *arch) place(u, rho float64) (x, y float64) {
	half := a.radius * math.Pi / 2
	ang := u / a.radius
	var t, lat float64
	if math.Abs(u) <= half {
		t, lat = -rho*math.Cos(ang), rho*math.Sin(ang)
	} else {
		t, lat = math.Abs(u)-half, math.Copysign(rho, u)
	}
	return a.cx + t*a.bx - lat*a.by, a.cy + t*a.by + lat*a.bx
}

// basin returns the greatest depth of water that the profile would hold, and where; gaps (NaN)
// hold none. -1 where there is no depth.
func basin(z []float64) (depth float64, at int) {
	n := len(z)
	right := make([]float64, n+1)
	right[n] = math.Inf(-1)
	for i := n - 1; i >= 0; i-- {
		right[i] = right[i+1]
		if z[i] > right[i] {
			right[i] = z[i]
		}
	}
	left := math.Inf(-1)
	at = -1
	for i, v := range z {
		if v > left {
			left = v
		}
		if d := min(left, right[i]) - v; d > depth {
			depth, at = d, i
		}
	}
	return depth, at
}

// roughness returns how far the values of a course typically lie from the median of those within h
// of them, as a standard deviation (median absolute deviation × 1.4826): a hole or a void in one place
// leaves it as it is, teeth all along do not.
func roughness(x []float64, h int) float64 {
	var off []float64
	for i := h; i+h < len(x); i++ {
		off = append(off, math.Abs(x[i]-median(x[i-h:i+h+1])))
	}
	if off == nil {
		return 0
	}
	return 1.4826 * median(off)
}

// palate returns which share of the middle of the arch, between the centre and half-way to the
// rear, is covered by surface that lies nearer the tissue than the crest does.
func (a *arch) palate(fm FrameMethod, up float64) float64 {
	var crest []float64
	for i := -int(a.radius); i <= int(a.radius); i++ {
		z := a.profile(float64(i), fm, up)
		if d, k := basin(z); d > 1 {
			crest = append(crest, z[k])
		} else {
			for j := range z {
				z[j] = -z[j]
			}
			if d, k := basin(z); d > 1 {
				crest = append(crest, -z[k])
			}
		}
	}
	level := median(crest)
	var in, all float64
	for t := 0.0; t < a.length/2; t++ {
		for lat := -a.radius / 5; lat <= a.radius/5; lat++ {
			all++
			k, ok := a.g.at(a.cx+t*a.bx-lat*a.by, a.cy+t*a.by+lat*a.bx)
			if !ok {
				continue
			}
			z := a.g.top[k]
			if up < 0 {
				z = -a.g.bottom[k]
			}
			if !(z < level+1) {
				in++
			}
		}
	}
	if all == 0 {
		return 0
	}
	return in / all
}

// crestNormal fits a plane to the bottom of the trough (or the top of the ridge) along the
// front and sides of the arch, robustly, and returns its normal on the side of o.up.
func crestNormal(s *sight, o *orientation, fm FrameMethod) (Vec, bool) {
	px, py := o.centre.Sub(s.mid).Dot(s.e1), o.centre.Sub(s.mid).Dot(s.e2)
	bx, by := o.back.Dot(s.e1), o.back.Dot(s.e2)
	a := &arch{g: s.g, cx: px, cy: py, bx: bx, by: by, radius: o.radius}
	up := 1.0
	if o.up.Dot(s.axis) < 0 {
		up = -1
	}
	side, sign := up, 1.0
	if o.surface == Cast {
		side, sign = -up, -1 // the ridge is seen from the other side
	}
	var pts []Vec
	n := int(a.radius * (math.Pi/2 + 0.6))
	for i := -n; i <= n; i++ {
		z := a.profile(float64(i), fm, side)
		for j := range z {
			z[j] *= sign
		}
		if d, k := basin(z); d > fm.BasinMM {
			x, y := a.place(float64(i), fm.CoreMM+float64(k)*a.g.cell)
			pts = append(pts, Vec{X: x, Y: y, Z: side * sign * z[k]})
		}
	}
	nrm, ok := robustPlane(pts)
	if !ok {
		return Vec{}, false
	}
	w := s.e1.Scale(nrm.X).Add(s.e2.Scale(nrm.Y)).Add(s.axis.Scale(nrm.Z)).Unit()
	if w.Dot(o.up) < 0 {
		w = w.Scale(-1)
	}
	// A crest plane steep to the line of sight is no crest plane.
	return w, w.Dot(o.up) > math.Cos(25*math.Pi/180)
}

// robustPlane fits z = ax + by + c by iterated weights (Tukey's biweight) and returns the normal.
func robustPlane(p []Vec) (Vec, bool) {
	if len(p) < 12 {
		return Vec{}, false
	}
	w := make([]float64, len(p))
	for i := range w {
		w[i] = 1
	}
	var a, b, c float64
	for it := 0; it < 30; it++ {
		var sx, sy, sz, s, sxx, sxy, syy, sxz, syz float64
		for i, q := range p {
			s += w[i]
			sx += w[i] * q.X
			sy += w[i] * q.Y
			sz += w[i] * q.Z
		}
		sx, sy, sz = sx/s, sy/s, sz/s
		for i, q := range p {
			x, y, z := q.X-sx, q.Y-sy, q.Z-sz
			sxx += w[i] * x * x
			sxy += w[i] * x * y
			syy += w[i] * y * y
			sxz += w[i] * x * z
			syz += w[i] * y * z
		}
		det := sxx*syy - sxy*sxy
		if !(det > 1e-9*sxx*syy) {
			return Vec{}, false
		}
		a, b = (sxz*syy-syz*sxy)/det, (syz*sxx-sxz*sxy)/det
		c = sz - a*sx - b*sy
		res := make([]float64, len(p))
		for i, q := range p {
			res[i] = math.Abs(q.Z - a*q.X - b*q.Y - c)
		}
		scale := 1.4826*median(res) + 0.1
		for i, r := range res {
			t := r / (4.685 * scale)
			w[i] = 0
			if t < 1 {
				w[i] = (1 - t*t) * (1 - t*t)
			}
		}
	}
	return Vec{X: -a, Y: -b, Z: 1}.Unit(), true
}
