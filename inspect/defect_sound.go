package inspect

import (
	"math"
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
	off     float64 // height over the surface fitted last
	i       int     // index into the patch
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

// fitAcross is fit with the fourth order across alone, for a surface that runs on along u and bends across.
func (s *sound) fitAcross(pts []patchPoint, floor float64) bool {
	w := fitting{free: []int{0, 1, 2, 3, 4, 5, 9, 14}}
	return w.all(s, pts, 15, floor)
}

// fitAlong is the same with the fourth order along.
func (s *sound) fitAlong(pts []patchPoint, floor float64) bool {
	w := fitting{free: []int{0, 1, 2, 3, 4, 5, 6, 10}}
	return w.all(s, pts, 15, floor)
}

// plain finds the coefficients by least squares of all points alike.
func (s *sound) plain(pts []patchPoint, terms int) bool {
	return s.fit(pts, terms, math.Inf(1))
}

// fit finds the coefficients by re-weighted least squares with Tukey's biweight at 4.7 times
// the robust spread, never under floor. False where the points do not hold it.
func (s *sound) fit(pts []patchPoint, terms int, floor float64) bool {
	var w fitting
	return w.all(s, pts, terms, floor)
}

func (w *fitting) all(s *sound, pts []patchPoint, terms int, floor float64) bool {
	if !w.begin(s, pts, terms) {
		return false
	}
	for range reweighings {
		if !w.step(s, pts, floor) {
			return false
		}
	}
	return true
}

// reweighings are the steps of a fit.
const reweighings = 5

// fitting is the memory of a fit, to be kept for the next one.
type fitting struct {
	a    [15 * 16]float64
	res  []float64
	free []int // the terms looked for, where not all
}

// begin gives all points one weight; false where there are too few.
func (w *fitting) begin(s *sound, pts []patchPoint, terms int) bool {
	s.terms = terms
	if terms = w.unknown(s); len(pts) < terms+terms/2 {
		return false
	}
	for i := range pts {
		pts[i].w = 1
	}
	return true
}

// unknown is the number of terms looked for.
func (w *fitting) unknown(s *sound) int {
	if w.free != nil {
		return len(w.free)
	}
	return s.terms
}

// step finds the coefficients of the least weighted squares, and from what is left new weights.
func (w *fitting) step(s *sound, pts []patchPoint, floor float64) bool {
	terms := w.unknown(s)
	wide := terms + 1
	a := w.a[:terms*wide]
	clear(a)
	if terms == 6 {
		moments(pts, a)
	} else {
		var b [15]float64
		for i := range pts {
			p := &pts[i]
			if p.w == 0 {
				continue
			}
			basis(p.u, p.v, &b)
			for r, k := range w.free {
				b[r] = b[k]
			}
			for r := range terms {
				wr := float64(p.w * b[r])
				row := a[r*wide:][:wide]
				for c, x := range b[r:terms] {
					row[r+c] += float64(wr * x)
				}
				row[terms] += float64(wr * p.z)
			}
		}
	}
	if !solve(a, terms) {
		return false
	}
	s.c = [15]float64{}
	for r := range terms {
		k := r
		if w.free != nil {
			k = w.free[r]
		}
		s.c[k] = a[r*wide+terms]
	}
	if cap(w.res) < len(pts) {
		w.res = make([]float64, len(pts))
	}
	res := w.res[:0]
	for i := range pts {
		p := &pts[i]
		p.off = p.z - s.at(p.u, p.v)
		res = append(res, math.Abs(p.off))
	}
	cut := 4.7 * floor
	if !mostUnder(res, floor/1.4826) {
		cut = 4.7 * math.Max(floor, 1.4826*nth(res, len(res)/2))
	}
	sum, weight := 0.0, 0.0
	for i := range pts {
		p := &pts[i]
		k := 1 - float64(p.off/cut*p.off/cut)
		if k < 0 {
			k = 0
		}
		p.w = float64(k * k)
		sum += float64(p.w * p.off * p.off)
		weight += p.w
	}
	if weight == 0 {
		return false
	}
	s.rms = math.Sqrt(sum / weight)
	return true
}

// mostUnder reports whether the upper median of some numbers is plainly under a limit, which takes less
// than finding it.
func mostUnder(x []float64, limit float64) bool {
	n := 0
	for _, v := range x {
		if v < 0.999*limit {
			n++
		}
	}
	return n > len(x)/2
}

// moments fills the upper half of the equations of a quadric, whose 21 sums are 15 different ones, and
// their right-hand side.
func moments(pts []patchPoint, a []float64) {
	var s, u, v, uu, uv, vv, u3, uuv, uvv, v3, u4, u3v, uuvv, uv3, v4 float64
	var z, zu, zv, zuu, zuv, zvv float64
	for i := range pts {
		p := &pts[i]
		wu, wv := float64(p.w*p.u), float64(p.w*p.v)
		p2, pq, q2 := float64(p.u*p.u), float64(p.u*p.v), float64(p.v*p.v)
		wuu, wuv, wvv := float64(wu*p.u), float64(wu*p.v), float64(wv*p.v)
		s, u, v = s+p.w, u+wu, v+wv
		uu, uv, vv = uu+wuu, uv+wuv, vv+wvv
		u3, uuv, uvv, v3 = u3+float64(wuu*p.u), uuv+float64(wuu*p.v), uvv+float64(wvv*p.u), v3+float64(wvv*p.v)
		u4, u3v, uuvv, uv3, v4 = u4+float64(wuu*p2), u3v+float64(wuu*pq), uuvv+float64(wuu*q2), uv3+float64(wvv*pq), v4+float64(wvv*q2)
		z, zu, zv = z+float64(p.w*p.z), zu+float64(wu*p.z), zv+float64(wv*p.z)
		zuu, zuv, zvv = zuu+float64(wuu*p.z), zuv+float64(wuv*p.z), zvv+float64(wvv*p.z)
	}
	*(*[6 * 7]float64)(a) = [6 * 7]float64{
		s, u, v, uu, uv, vv, z,
		0, uu, uv, u3, uuv, uvv, zu,
		0, 0, vv, uuv, uvv, v3, zv,
		0, 0, 0, u4, u3v, uuvv, zuu,
		0, 0, 0, 0, uuvv, uv3, zuv,
		0, 0, 0, 0, 0, v4, zvv,
	}
}
