package inspect

import "math"

// apexIn finds the point farthest toward the tissue with rho between lo and hi.
//
// The highest point itself wanders over the level top of the roll with the noise of single
// vertices, and stands out by it. So a circle is fitted to the contour on both sides of it, as
// far down as depth, each point by its share of the contour and the less the deeper it lies;
// the apex is the circle's top. Where the contour there is no arch, it stays the highest point.
func (s *slice) apexIn(lo, hi, depth float64) *apex {
	best := math.Inf(-1)
	var a apex
	for ci, c := range s.contours {
		for i, p := range c.pts {
			if c.rho[i] > lo && c.rho[i] < hi && p.Z > best {
				best = p.Z
				a = apex{p: p, contour: ci, index: i}
			}
		}
	}
	if math.IsInf(best, -1) {
		return nil
	}
	s.settle(&a, lo, hi, depth, 0)
	return &a
}

// settle moves an apex from the highest point of its contour to the top of the circle through
// the arch around it, high meaning along the section's direction that leans outward by the angle
// given from the way to the tissue.
func (s *slice) settle(a *apex, lo, hi, depth, lean float64) {
	c := &s.contours[a.contour]
	out, up, ok := c.top(a.index, lo, hi, depth, lean)
	if !ok {
		return
	}
	a.p = a.p.Along(out, s.out).Add(Vec{Z: up})
	d := math.Inf(1)
	for i, q := range c.pts {
		if e := q.Sub(a.p).Norm2(); e < d {
			d, a.index = e, i
		}
	}
}

// top fits a circle to the arch of the contour about its highest point and returns how far the
// circle's own highest point lies outward from there and toward the tissue. ok is false where
// what lies there is no arch that falls off by half the depth on both sides, or the circle's
// top lies far from it.
func (c *contour) top(at int, lo, hi, depth, lean float64) (out, up float64, ok bool) {
	sin, cos := math.Sincos(lean)
	place := func(i int) (x, z float64) {
		u, v := c.rho[i]-c.rho[at], c.pts[i].Z-c.pts[at].Z
		return u*cos - v*sin, u*sin + v*cos
	}
	var x, z, w []float64
	var fall [2]float64
	for k, dir := range [2]int{1, -1} {
		for i := at; fall[k] < depth; {
			j, more := c.step(i, dir)
			if !more || j == at || c.rho[j] <= lo || c.rho[j] >= hi {
				break
			}
			// Half of a segment's length counts for each of its ends.
			half := c.pts[i].Dist(c.pts[j]) / 2
			for _, q := range [2]int{i, j} {
				if u, v := place(q); v > -depth {
					x, z, w = append(x, u), append(z, v), append(w, half*(1+v/depth))
				}
			}
			i = j
			_, v := place(i)
			fall[k] = -v
		}
	}
	cx, cz, r, ok := fitCircle(x, z, w)
	if !ok || min(fall[0], fall[1]) < depth/2 || math.Abs(cx) > r || math.Abs(cz+r) > depth/2 {
		return 0, 0, false
	}
	cz += r
	return cx*cos + cz*sin, cz*cos - cx*sin, true
}

// fitCircle fits a circle to points by weights, all alike where w is nil: least squares of
// x² + z² = ax + bz + k (Kåsa 1976). ok is false where the points lie on no circle.
func fitCircle(x, z, w []float64) (cx, cz, r float64, ok bool) {
	var n, sx, sz, sxx, sxz, szz, sq, sqx, sqz float64
	for i := range x {
		v := 1.0
		if w != nil {
			v = w[i]
		}
		q := x[i]*x[i] + z[i]*z[i]
		n += v
		sx += v * x[i]
		sz += v * z[i]
		sxx += v * x[i] * x[i]
		sxz += v * x[i] * z[i]
		szz += v * z[i] * z[i]
		sq += v * q
		sqx += v * q * x[i]
		sqz += v * q * z[i]
	}
	if len(x) < 4 || !(n > 0) {
		return 0, 0, 0, false
	}
	a11, a12, a22 := sxx-sx*sx/n, sxz-sx*sz/n, szz-sz*sz/n
	b1, b2 := sqx-sq*sx/n, sqz-sq*sz/n
	det := a11*a22 - a12*a12
	if math.Abs(det) < 1e-9 {
		return 0, 0, 0, false
	}
	a, b := (b1*a22-b2*a12)/det, (b2*a11-b1*a12)/det
	k := (sq - a*sx - b*sz) / n
	r = math.Sqrt(max(0, a*a/4+b*b/4+k))
	return a / 2, b / 2, r, r > 0
}
