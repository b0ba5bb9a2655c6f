package inspect

import (
	"math"
	"slices"
)

// sound is the surface as it would be without the fault: heights over a tangent plane,
// z = c0 + c1 u + c2 v + c3 u² + c4 uv + c5 v² + (cubic and quartic terms).
type sound struct {
	o, e1, e2, n Vec
	c            [15]float64
	terms        int
	rms          float64 // of the points it was fitted to, with their weights
}

// patchPoint is a vertex in the frame of a sound surface.
type patchPoint struct {
	u, v, z float64
	w       float64
	i       int // index into the patch
}

func (s *sound) local(p Vec) (u, v, z float64) {
	d := p.Sub(s.o)
	return d.Dot(s.e1), d.Dot(s.e2), d.Dot(s.n)
}

func (s *sound) world(u, v, z float64) Vec {
	return s.o.Along(u, s.e1).Along(v, s.e2).Along(z, s.n)
}

func basis(u, v float64, b *[15]float64) {
	uu, uv, vv := float64(u*u), float64(u*v), float64(v*v)
	*b = [15]float64{1, u, v, uu, uv, vv,
		float64(uu * u), float64(uu * v), float64(u * vv), float64(vv * v),
		float64(uu * uu), float64(uu * uv), float64(uu * vv), float64(uv * vv), float64(vv * vv)}
}

// at returns the height over the tangent plane.
func (s *sound) at(u, v float64) float64 {
	z := s.c[0] + float64(s.c[1]*u) + float64(s.c[2]*v) + float64(s.c[3]*u*u) + float64(s.c[4]*u*v) + float64(s.c[5]*v*v)
	if s.terms > 6 {
		var b [15]float64
		basis(u, v, &b)
		for k := 6; k < s.terms; k++ {
			z += float64(s.c[k] * b[k])
		}
	}
	return z
}

// normal returns the unit normal over (u, v), in the scan's coordinates.
func (s *sound) normal(u, v float64) Vec {
	c := &s.c
	du := c[1] + float64(2*c[3]*u) + float64(c[4]*v)
	dv := c[2] + float64(c[4]*u) + float64(2*c[5]*v)
	if s.terms > 6 {
		uu, uv, vv := float64(u*u), float64(u*v), float64(v*v)
		du += float64(3*c[6]*uu) + float64(2*c[7]*uv) + float64(c[8]*vv) +
			float64(4*c[10]*uu*u) + float64(3*c[11]*uu*v) + float64(2*c[12]*u*vv) + float64(c[13]*vv*v)
		dv += float64(c[7]*uu) + float64(2*c[8]*uv) + float64(3*c[9]*vv) +
			float64(c[11]*uu*u) + float64(2*c[12]*uu*v) + float64(3*c[13]*u*vv) + float64(4*c[14]*vv*v)
	}
	return s.n.Along(-du, s.e1).Along(-dv, s.e2).Unit()
}

// foot returns the point of the surface nearest to p and the normal there, by a few steps of
// the fixed-point iteration through tangent planes.
func (s *sound) foot(p Vec) (Vec, Vec) {
	u, v, _ := s.local(p)
	var q, n Vec
	for range 6 {
		q, n = s.world(u, v, s.at(u, v)), s.normal(u, v)
		d := p.Sub(q)
		t := d.Along(-d.Dot(n), n)
		u += t.Dot(s.e1)
		v += t.Dot(s.e2)
	}
	return q, n
}

// otherwise returns how far the surface over p moves, mm, if its order is the other one, quadric
// for quartic or the reverse: what the choice of a form leaves open. 0 where too few points hold
// the other.
func (s *sound) otherwise(pts []patchPoint, p Vec, floor float64) float64 {
	g, terms := *s, 15
	if s.terms > 6 {
		terms = 6
	}
	if len(pts) < 24 || !g.fit(pts, terms, floor) {
		return 0
	}
	u, v, _ := s.local(p)
	return math.Abs(g.at(u, v) - s.at(u, v))
}

// plain finds the coefficients by least squares of all points alike.
func (s *sound) plain(pts []patchPoint, terms int) bool {
	return s.fit(pts, terms, math.Inf(1))
}

// fit finds the coefficients by re-weighted least squares with Tukey's biweight at 4.7 times
// the robust spread, never under floor. False where the points do not hold it.
func (s *sound) fit(pts []patchPoint, terms int, floor float64) bool {
	if len(pts) < terms+terms/2 {
		return false
	}
	s.terms = terms
	res := make([]float64, 0, len(pts))
	a := make([]float64, terms*(terms+1))
	for i := range pts {
		pts[i].w = 1
	}
	for range 5 {
		clear(a)
		var b [15]float64
		for _, p := range pts {
			if p.w == 0 {
				continue
			}
			basis(p.u, p.v, &b)
			for r := range terms {
				wr := float64(p.w * b[r])
				row := a[r*(terms+1) : (r+1)*(terms+1)]
				for c := r; c < terms; c++ {
					row[c] += float64(wr * b[c])
				}
				row[terms] += float64(wr * p.z)
			}
		}
		for r := range terms {
			for c := range r {
				a[r*(terms+1)+c] = a[c*(terms+1)+r]
			}
		}
		if !solve(a, terms) {
			return false
		}
		s.c = [15]float64{}
		for r := range terms {
			s.c[r] = a[r*(terms+1)+terms]
		}
		res = res[:0]
		for _, p := range pts {
			res = append(res, math.Abs(p.z-s.at(p.u, p.v)))
		}
		slices.Sort(res)
		cut := 4.7 * math.Max(floor, 1.4826*res[len(res)/2])
		sum, weight := 0.0, 0.0
		for i := range pts {
			r := pts[i].z - s.at(pts[i].u, pts[i].v)
			k := 1 - float64(r/cut*r/cut)
			if k < 0 {
				k = 0
			}
			pts[i].w = float64(k * k)
			sum += float64(pts[i].w * r * r)
			weight += pts[i].w
		}
		if weight == 0 {
			return false
		}
		s.rms = math.Sqrt(sum / weight)
	}
	return true
}
