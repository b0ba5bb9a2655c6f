package phantom

import (
	"math"
)

// solid is the impression: balls on a sheet, wax, handle and blebs put together, voids and folds
// taken out. Its value is negative inside and never changes faster than the distance does, so
// it bounds the distance to the surface from below.
type solid struct {
	sheet  *sheet
	tissue float64
	wax    *wax
	handle *box
	blebs  []ball
	voids  []ball
	folds  []chain
	lo, hi vec
}

// chain is a tube: all points within r of a polyline.
type chain struct {
	p      []vec
	r      float64
	lo, hi vec
}

func (c *chain) nearest(p vec) vec {
	best, at := math.Inf(1), vec{}
	for i := 1; i < len(c.p); i++ {
		d := c.p[i].Sub(c.p[i-1])
		t := math.Max(0, math.Min(1, p.Sub(c.p[i-1]).Dot(d)/d.Norm2()))
		q := c.p[i-1].Along(t, d)
		if r := p.Sub(q).Norm2(); r < best {
			best, at = r, q
		}
	}
	return at
}

// Parts of a solid to which a point of its surface belongs.
const (
	partSheet uint8 = iota
	partWax
	partHandle
	partBleb
	partVoid
	partFold
)

// boxDist is the distance from p to a box, 0 inside.
func boxDist(p, lo, hi vec) float64 {
	return vec{}.Max(lo.Sub(p)).Max(p.Sub(hi)).Norm()
}

// at returns the solid's value at p with its gradient and the part it comes from.
func (s *solid) at(p vec) (f float64, g vec, part uint8) {
	ft := s.sheet.nearest(p)
	f, g = ft.f, p.Sub(ft.c)
	// Well inside the sheet wax and handle change neither sign nor bound.
	if (s.wax != nil || s.handle != nil) && ft.f > -0.3 {
		if v, of := s.standing(p, &ft, ft.f); v < f {
			f, part = v, of
		}
	}
	for i := range s.blebs {
		if v := p.Dist(s.blebs[i].c) - s.blebs[i].r; v < f {
			f, g, part = v, p.Sub(s.blebs[i].c), partBleb
		}
	}
	for i := range s.voids {
		if v := s.voids[i].r - p.Dist(s.voids[i].c); v > f {
			f, g, part = v, s.voids[i].c.Sub(p), partVoid
		}
	}
	for i := range s.folds {
		c := &s.folds[i]
		if boxDist(p, c.lo, c.hi) > c.r-f {
			continue
		}
		q := c.nearest(p)
		if v := c.r - p.Dist(q); v > f {
			f, g, part = v, q.Sub(p), partFold
		}
	}
	switch part {
	case partWax:
		g = slopeOf(func(q vec) float64 { return s.wax.at(q, math.Inf(1)) }, p)
	case partHandle:
		g = slopeOf(s.handle.at, p)
	}
	return f, g.Unit(), part
}

// standing is the value of wax and handle at p, whose nearest ball is ft, and which of them it comes from.
// They stand on the oral side of the sheet only. Wax plainly farther than limit counts as infinitely far.
func (s *solid) standing(p vec, ft *foot, limit float64) (f float64, part uint8) {
	f = math.Inf(1)
	var j jet
	s.sheet.at(ft.a, ft.b, &j)
	if p.Sub(ft.c).Dot(j.normal())*s.tissue >= 0 {
		return f, part
	}
	// The sheet's middle bounds them.
	mid := -ft.f - ft.r
	if s.wax != nil {
		f, part = math.Max(s.wax.at(p, limit), mid), partWax
	}
	if s.handle != nil {
		if h := math.Max(s.handle.at(p), mid); h < f {
			f, part = h, partHandle
		}
	}
	return f, part
}

func slopeOf(f func(vec) float64, p vec) vec {
	const h = 1e-5
	d := func(v vec) float64 { return f(p.Add(v)) - f(p.Sub(v)) }
	return vec{X: d(vec{X: h}), Y: d(vec{Y: h}), Z: d(vec{Z: h})}
}

// project moves p to the surface along the gradient. Where gradients turn abruptly, at creases,
// it closes in on the last change of sign instead.
func (s *solid) project(p vec) (q, n vec, f float64) {
	var in, out vec
	var haveIn, haveOut bool
	q = p
	for it := 0; it < 12; it++ {
		f, n, _ = s.at(q)
		if math.Abs(f) < 1e-6 {
			return q, n, f
		}
		if f < 0 {
			in, haveIn = q, true
		} else {
			out, haveOut = q, true
		}
		q = q.Along(-f, n)
	}
	// Look for the other side on growing steps.
	for d := 0.002; d < 1 && !(haveIn && haveOut); d *= 2 {
		o := q.Along(-math.Copysign(d, f), n)
		if v, _, _ := s.at(o); v < 0 {
			in, haveIn = o, true
		} else {
			out, haveOut = o, true
		}
	}
	if !haveIn || !haveOut {
		return q, n, f
	}
	for it := 0; it < 40 && math.Abs(f) > 1e-6; it++ {
		q = in.Add(out).Scale(0.5)
		f, n, _ = s.at(q)
		if f < 0 {
			in = q
		} else {
			out = q
		}
	}
	return q, n, f
}

// hit follows the line through (x, y) along z, from outside the tissue (down) or from the oral
// side (up), to the surface.
func (s *solid) hit(x, y float64, oral bool) (p, n vec, ok bool) {
	p, dir := vec{X: x, Y: y, Z: s.hi.Z}, vec{Z: -1}
	if oral {
		p.Z, dir.Z = s.lo.Z, 1
	}
	for it := 0; it < 2000 && p.Z <= s.hi.Z && p.Z >= s.lo.Z; it++ {
		f, g, _ := s.at(p)
		if f < 1e-7 {
			return p, g, true
		}
		p = p.Along(math.Max(f, 1e-7), dir)
	}
	return p, n, false
}

// step goes straight on along the surface from p: where that comes to, the direction there and the normal.
func (s *solid) step(p, dir vec, length float64) (q, on, n vec) {
	q, n, _ = s.project(p.Along(length, dir))
	on = q.Sub(p)
	return q, on.Along(-on.Dot(n), n).Unit(), n
}

// turnAcross is the greatest angle, degrees, between the normals at the two rims that a tube leaves along its path
// over the surface.
func (s *solid) turnAcross(path []vec, c *chain) float64 {
	const steps = 60 // to a rim, on a plane at most
	most := 0.0
	for i, p := range path {
		_, n, _ := s.at(p)
		across := n.Cross(path[min(i+1, len(path)-1)].Sub(path[max(i-1, 0)])).Unit()
		var rim [2]vec
		for k, dir := range [2]vec{across, across.Scale(-1)} {
			at := p
			for range 4 * steps {
				at, dir, rim[k] = s.step(at, dir, c.r/steps)
				if at.Dist(c.nearest(at)) >= c.r {
					break
				}
			}
		}
		most = math.Max(most, math.Acos(math.Max(-1, math.Min(1, rim[0].Dot(rim[1]))))*180/math.Pi)
	}
	return most
}

// disc returns the area of the surface round its point c that lies within r of it, mm², and the
// length of that piece's edge, mm: triangles between lines that leave c straight on along the
// surface, 5 degrees apart, in steps of r/30. Too small by less than 0.2 %.
func (s *solid) disc(c vec, r float64) (area, rim float64) {
	const rays, steps = 72, 30
	_, n, _ := s.at(c)
	e := vec{X: 1}
	if math.Abs(n.X) > 0.6 {
		e = vec{Y: 1}
	}
	u := n.Cross(e).Unit()
	v := n.Cross(u)
	line := func(k int) []vec {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / rays)
		at, dir := c, u.Scale(cos).Along(sin, v)
		out := []vec{c}
		for range 4 * steps {
			q, on, _ := s.step(at, dir, r/steps)
			if d := q.Dist(c); d >= r {
				last := at.Dist(c)
				return append(out, at.Along((r-last)/(d-last), q.Sub(at)))
			}
			at, dir = q, on
			out = append(out, at)
		}
		return out
	}
	first := line(0)
	for k, was := 1, first; k <= rays; k++ {
		now := first
		if k < rays {
			now = line(k)
		}
		tri := func(a, b, c vec) { area += b.Sub(a).Cross(c.Sub(a)).Norm() / 2 }
		i, j := 0, 0
		for i < len(was)-1 || j < len(now)-1 {
			if j == len(now)-1 || i < len(was)-1 && i <= j {
				tri(was[i], was[i+1], now[j])
				i++
			} else {
				tri(was[i], now[j], now[j+1])
				j++
			}
		}
		rim += was[len(was)-1].Dist(now[len(now)-1])
		was = now
	}
	return area, rim
}

// capBall returns the ball whose cap, cut off by the tangent plane at q, is open diameter wide and
// depth deep; sign 1 for a void (centre outside), -1 for a bleb.
func capBall(q, n vec, diameter, depth, sign float64) ball {
	r := (sq(diameter/2) + sq(depth)) / (2 * depth)
	return ball{q.Along(sign*(r-depth), n), r}
}

// capVolume is that of a spherical cap.
func capVolume(diameter, depth float64) float64 {
	return math.Pi * depth * (3*sq(diameter/2) + sq(depth)) / 6
}
