package phantom

import (
	"math"

	"fornix/mesh"
)

type vec = mesh.Vec

// sheet is the middle of the material: a bicubic B-spline surface over a parameter plane, with
// a ball radius at every point, cut out by a closed loop. The material is the union of the
// balls, so its signed distance is the least of |p-M(a,b)|-r(a,b) over the inside of the loop.
type sheet struct {
	a0, b0, step float64
	na, nb       int
	ctl          [][4]float64 // na*nb: x, y, z, r
	trim         *loop

	seeds []seed
	near  *seedGrid
}

// seed is a point of the sheet from which the search for the nearest ball starts.
type seed struct {
	c    vec
	r    float64
	a, b float64
	t    float64 // on the loop; -1 inside
}

// jet is a point of the sheet with its derivatives to the second order; the fourth component is
// the radius.
type jet struct{ v, a, b, aa, ab, bb [4]float64 }

// hang moves the sheet away from the tissue where its balls are larger than r0, so that the tissue
// surface stays where it is and the material grows outward. The tissue is on the normal's side.
func (s *sheet) hang(r0 float64) {
	moved := make([]vec, len(s.ctl))
	at := func(i, k int) vec {
		return xyz(&s.ctl[max(0, min(s.na-1, i))*s.nb+max(0, min(s.nb-1, k))])
	}
	for i := 0; i < s.na; i++ {
		for k := 0; k < s.nb; k++ {
			n := at(i+1, k).Sub(at(i-1, k)).Cross(at(i, k+1).Sub(at(i, k-1))).Unit()
			moved[i*s.nb+k] = at(i, k).Along(r0-s.ctl[i*s.nb+k][3], n)
		}
	}
	for i, v := range moved {
		s.ctl[i] = [4]float64{v.X, v.Y, v.Z, s.ctl[i][3]}
	}
}

// foot is the ball that is nearest to a point.
type foot struct {
	f    float64 // signed distance
	c    vec     // centre
	r    float64
	a, b float64
	t    float64 // on the loop; -1 inside
}

// basis returns the four uniform cubic B-spline weights at u in 0..1, with both derivatives.
func basis(u float64) (w, d, dd [4]float64) {
	v := 1 - u
	w = [4]float64{v * v * v / 6, (3*u*u*u - 6*u*u + 4) / 6, (3*v*v*v - 6*v*v + 4) / 6, u * u * u / 6}
	d = [4]float64{-v * v / 2, (3*u*u - 4*u) / 2, -(3*v*v - 4*v) / 2, u * u / 2}
	dd = [4]float64{v, 3*u - 2, 3*v - 2, u}
	return
}

// at returns the sheet's jet at (a, b); outside the control net the net's edge is extended.
func (s *sheet) at(a, b float64, j *jet) {
	x, y := (a-s.a0)/s.step, (b-s.b0)/s.step
	i := int(math.Max(1, math.Min(float64(s.na-3), math.Floor(x))))
	k := int(math.Max(1, math.Min(float64(s.nb-3), math.Floor(y))))
	wa, da, dda := basis(x - float64(i))
	wb, db, ddb := basis(y - float64(k))
	*j = jet{}
	for m := 0; m < 4; m++ {
		row := s.ctl[(i-1+m)*s.nb+k-1:]
		c0, c1, c2, c3 := &row[0], &row[1], &row[2], &row[3]
		for q := 0; q < 4; q++ {
			v := c0[q]*wb[0] + c1[q]*wb[1] + c2[q]*wb[2] + c3[q]*wb[3]
			d := c0[q]*db[0] + c1[q]*db[1] + c2[q]*db[2] + c3[q]*db[3]
			dd := c0[q]*ddb[0] + c1[q]*ddb[1] + c2[q]*ddb[2] + c3[q]*ddb[3]
			j.v[q] += wa[m] * v
			j.a[q] += da[m] * v
			j.b[q] += wa[m] * d
			j.aa[q] += dda[m] * v
			j.ab[q] += da[m] * d
			j.bb[q] += wa[m] * dd
		}
	}
	h := 1 / s.step
	for q := 0; q < 4; q++ {
		j.a[q] *= h
		j.b[q] *= h
		j.aa[q] *= h * h
		j.ab[q] *= h * h
		j.bb[q] *= h * h
	}
}

func (j *jet) pos() vec     { return vec{X: j.v[0], Y: j.v[1], Z: j.v[2]} }
func (j *jet) normal() vec  { return xyz(&j.a).Cross(xyz(&j.b)).Unit() }
func xyz(c *[4]float64) vec { return vec{X: c[0], Y: c[1], Z: c[2]} }

// phi is the signed distance from p to the ball of a jet, with gradient and Hessian in (a, b).
func (j *jet) phi(p vec) (f, ga, gb, haa, hab, hbb float64) {
	d := p.Sub(j.pos())
	n := d.Norm()
	if n < 1e-9 {
		return -j.v[3], 0, 0, 1, 0, 1
	}
	q := d.Scale(1 / n)
	a, b := xyz(&j.a), xyz(&j.b)
	qa, qb := q.Dot(a), q.Dot(b)
	f = n - j.v[3]
	ga, gb = -qa-j.a[3], -qb-j.b[3]
	haa = (a.Dot(a)-qa*qa)/n - q.Dot(xyz(&j.aa)) - j.aa[3]
	hab = (a.Dot(b)-qa*qb)/n - q.Dot(xyz(&j.ab)) - j.ab[3]
	hbb = (b.Dot(b)-qb*qb)/n - q.Dot(xyz(&j.bb)) - j.bb[3]
	return
}

// descend goes from a seed to the nearest ball of its neighbourhood: a guarded Newton method on
// the sheet, and along the loop when the sheet's own minimum lies outside it.
func (s *sheet) descend(p vec, from *seed) foot {
	var j jet
	a, b := from.a, from.b
	if from.t >= 0 {
		ft := s.descendLoop(p, from.t)
		// Stay on the loop unless the distance falls on stepping inward.
		x, y, dx, dy, _, _ := s.trim.at(ft.t)
		s.at(x, y, &j)
		_, ga, gb, _, _, _ := j.phi(p)
		if -dy*ga+dx*gb >= 0 {
			return ft
		}
		a, b = x, y
	}
	best := math.Inf(1)
	var oa, ob, sa, sb float64
	for it := 0; it < 25; it++ {
		s.at(a, b, &j)
		f, ga, gb, haa, hab, hbb := j.phi(p)
		if f > best+1e-12 && sa*sa+sb*sb > 1e-14 {
			sa, sb = sa/2, sb/2
			a, b = oa+sa, ob+sb
			continue
		}
		best, oa, ob = f, a, b
		det := haa*hbb - hab*hab
		if haa <= 1e-3 || det <= 1e-6 {
			n := f + j.v[3] + 0.3
			ma, mb := xyz(&j.a), xyz(&j.b)
			haa, hab, hbb = ma.Dot(ma)/n, ma.Dot(mb)/n, mb.Dot(mb)/n
			det = haa*hbb - hab*hab
		}
		sa, sb = -(hbb*ga-hab*gb)/det, -(haa*gb-hab*ga)/det
		if n := math.Hypot(sa, sb); n > 0.8 {
			sa, sb = sa*0.8/n, sb*0.8/n
		} else if n < 1e-9 {
			break
		}
		a, b = oa+sa, ob+sb
		if d, t := s.trim.rough(a, b); d > 1.2 {
			return s.descendLoop(p, t)
		}
	}
	a, b = oa, ob
	if d, _ := s.trim.rough(a, b); d > -1 {
		if d, t := s.trim.nearest(a, b); d > 0 {
			return s.descendLoop(p, t)
		}
	}
	s.at(a, b, &j)
	c := j.pos()
	return foot{p.Dist(c) - j.v[3], c, j.v[3], a, b, -1}
}

// descendLoop finds the nearest ball of the neighbourhood whose centre lies on the loop.
func (s *sheet) descendLoop(p vec, t float64) foot {
	var j jet
	best, ot, st := math.Inf(1), t, 0.0
	for it := 0; it < 30; it++ {
		x, y, dx, dy, ddx, ddy := s.trim.at(t)
		s.at(x, y, &j)
		f, ga, gb, haa, hab, hbb := j.phi(p)
		if f > best+1e-12 && math.Abs(st) > 1e-7 {
			st /= 2
			t = ot + st
			continue
		}
		best, ot = f, t
		g := ga*dx + gb*dy
		h := haa*dx*dx + 2*hab*dx*dy + hbb*dy*dy + ga*ddx + gb*ddy
		if h < 1e-3 {
			h = (dx*dx+dy*dy)/(f+j.v[3]+0.3) + 1e-3
		}
		st = math.Max(-0.9, math.Min(0.9, -g/h))
		if math.Abs(st) < 1e-9 {
			break
		}
		t = ot + st
	}
	t = s.trim.wrap(ot)
	x, y, _, _, _, _ := s.trim.at(t)
	s.at(x, y, &j)
	c := j.pos()
	return foot{p.Dist(c) - j.v[3], c, j.v[3], x, y, t}
}

// nearest returns the nearest ball. Farther than the seed grid reaches, f is a lower bound of the
// distance, and the foot that of the seed nearest to the cell's middle.
func (s *sheet) nearest(p vec) (ft foot) {
	list, bound, one := s.near.at(p)
	if list == nil {
		sd := &s.seeds[one]
		return foot{bound, sd.c, sd.r, sd.a, sd.b, sd.t}
	}
	var g [128]float64
	bi, bg := -1, math.Inf(1)
	for i, id := range list {
		sd := &s.seeds[id]
		v := p.Dist(sd.c) - sd.r
		if i < len(g) {
			g[i] = v
		}
		if v < bg {
			bi, bg = i, v
		}
	}
	ft = s.descend(p, &s.seeds[list[bi]])
	// Another part of the sheet may be nearer than the part of the nearest seed.
	tried := [3]foot{ft}
	n := 1
	for i, id := range list {
		if i >= len(g) || n == len(tried) {
			break
		}
		if g[i]-seedSlack > ft.f {
			continue
		}
		sd := &s.seeds[id]
		far := true
		for _, o := range tried[:n] {
			far = far && math.Hypot(sd.a-o.a, sd.b-o.b) > 2
		}
		if !far {
			continue
		}
		o := s.descend(p, sd)
		tried[n] = o
		n++
		if o.f < ft.f {
			ft = o
		}
	}
	return ft
}
