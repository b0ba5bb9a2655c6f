package inspect

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// What a spline is fitted to, at most, and among how many its stretch is looked for: the cost grows
// with their cube.
const splinePoints, stretchPoints = 150, 60

// The stretches looked at: powers of this, to so many in either direction (5 times at most).
const stretchStep, stretches = 1.5, 4

// spline carries a surface over the gap in the ring of vertices round a fault: the smoothing
// spline of third order, whose third derivatives are as small as the ring allows. A polynomial's
// form is one for the whole ring, and where the surroundings bend more than it can (over a narrow
// crest, at the border's roll) the gap gets what suits their far side; a spline gives the gap what lies
// next to it. A crest runs on along itself and bends across, so what lies ahead says more than what
// lies beside: lengths are stretched along one of the two directions of curvature. How much, and how
// closely the spline keeps to the points, is that by which their differences are most likely
// (restricted maximum likelihood), so noise is smoothed and form is kept; the surface over a place then is
// known to the spread of that likelihood.
//
// Based on: Wahba, Spline models for observational data, SIAM 1990, chapters 2 and 4; Duchon,
// Splines minimizing rotation-invariant semi-norms, Springer LNM 571 (1977); Patterson & Thompson,
// Biometrika 1971;58:545 (restricted likelihood); Diggle & Ribeiro, Model-based geostatistics, Springer
// 2007, chapters 3 and 5 (a stretch and its likelihood) (all cited from memory).
type spline struct {
	pts    []patchPoint
	size   float64       // the ring's radius: lengths are taken in it,
	along  [2]float64    // and in this direction of the plane
	longer float64       // in so much more
	doubt  float64       // logarithm of one over the restricted likelihood, but for a constant
	smooth float64       // noise² over bending
	scale  float64       // variance of the bending
	q1     mat.Dense     // of the points' quadrics: their space
	r      mat.Dense     // q1 r is the points' quadrics
	k      *mat.SymDense // kernel between the points
	val    []float64     // eigenvalues of the kernel at right angles to the quadrics,
	vec    mat.Dense     // its eigenvectors, as weights of the points
	bend   mat.VecDense  // weights of the points
	form   mat.VecDense  // and of the quadric's terms
}

// bending is the kernel of splines of third order in the plane, of a squared distance.
func bending(d2 float64) float64 {
	if d2 == 0 {
		return 0
	}
	return -float64(d2*d2) * math.Log(d2)
}

// quadric is the basis of sound surfaces without its cubic and quartic terms.
func quadric(u, v float64) []float64 {
	var b [15]float64
	basis(u, v, &b)
	return b[:6]
}

// over fits the spline to the points that the fit of the sound surface f has left their weight. False
// where they are too few.
func (s *spline) over(pts []patchPoint, f *sound) bool {
	var ring []patchPoint
	size := 0.0
	for _, p := range pts {
		if p.w > 0.1 {
			ring = append(ring, p)
			size = math.Max(size, math.Hypot(p.u, p.v))
		}
	}
	// By their distance from the middle, which knows neither the scan's frame nor its order.
	slices.SortStableFunc(ring, func(a, b patchPoint) int { return cmp.Compare(math.Hypot(a.u, a.v), math.Hypot(b.u, b.v)) })
	sin, cos := math.Sincos(math.Atan2(f.c[4], f.c[3]-f.c[5]) / 2)
	few := every(ring, stretchPoints)
	least, at := math.Inf(1), 0
	for i := -stretches; i <= stretches; i++ {
		if t := stretched(size, cos, sin, i); t.lay(few) && t.doubt < least {
			least, at = t.doubt, i
		}
	}
	*s = stretched(size, cos, sin, at)
	return s.lay(every(ring, splinePoints))
}

// every takes every so many of the points, so that most are left.
func every(pts []patchPoint, most int) []patchPoint {
	var out []patchPoint
	step := (len(pts) + most - 1) / most
	for i := 0; i < len(pts); i += step {
		out = append(out, pts[i])
	}
	return out
}

// stretched is a spline without points whose lengths are so many steps longer in a direction; where
// they are negative, in that at right angles to it.
func stretched(size, cos, sin float64, steps int) spline {
	if steps < 0 {
		cos, sin, steps = -sin, cos, -steps
	}
	return spline{size: size, along: [2]float64{cos, sin}, longer: math.Pow(stretchStep, float64(steps))}
}

// in takes a place of the plane to the spline's own lengths.
func (s *spline) in(u, v float64) (x, y float64) {
	c, d := s.along[0], s.along[1]
	return (float64(c*u) + float64(d*v)) / (s.size * s.longer), (float64(c*v) - float64(d*u)) / s.size
}

// lay fits the spline to the points, its stretch being given. False where they are too few.
func (s *spline) lay(pts []patchPoint) bool {
	s.pts = slices.Clone(pts)
	n := len(s.pts)
	if n < 10 {
		return false
	}
	s.k = mat.NewSymDense(n, nil)
	t, z := mat.NewDense(n, 6, nil), mat.NewVecDense(n, nil)
	for i := range s.pts {
		p := &s.pts[i]
		p.u, p.v = s.in(p.u, p.v)
		for j := range i {
			du, dv := p.u-s.pts[j].u, p.v-s.pts[j].v
			s.k.SetSym(i, j, bending(float64(du*du)+float64(dv*dv)))
		}
		t.SetRow(i, quadric(p.u, p.v))
		z.SetVec(i, p.z)
	}
	var qr mat.QR
	qr.Factorize(t)
	if qr.Cond() > 1e8 {
		return false
	}
	var q, r mat.Dense
	qr.QTo(&q)
	qr.RTo(&r)
	s.r.CloneFrom(r.Slice(0, 6, 0, 6))
	s.q1.CloneFrom(q.Slice(0, n, 0, 6))
	q2 := q.Slice(0, n, 6, n)
	var kq, m mat.Dense
	kq.Mul(s.k, q2)
	m.Mul(q2.T(), &kq)
	sym := mat.NewSymDense(n-6, nil)
	for i := range n - 6 {
		for j := range i + 1 {
			sym.SetSym(i, j, (m.At(i, j)+m.At(j, i))/2)
		}
	}
	var e mat.EigenSym
	if !e.Factorize(sym, true) {
		return false
	}
	s.val = e.Values(nil)
	var vec mat.Dense
	e.VectorsTo(&vec)
	s.vec.Mul(q2, &vec)
	var y mat.VecDense
	y.MulVec(s.vec.T(), z)
	s.choose(&y)
	y2 := mat.NewVecDense(n-6, nil)
	for i, d := range s.val {
		y2.SetVec(i, y.AtVec(i)/(d+s.smooth))
	}
	s.bend.MulVec(&s.vec, y2)
	var rest, f mat.VecDense
	rest.MulVec(s.k, &s.bend)
	rest.SubVec(z, &rest)
	f.MulVec(s.q1.T(), &rest)
	return s.form.SolveVec(&s.r, &f) == nil
}

// choose takes the smoothing of greatest restricted likelihood, and the variance that goes with it:
// the best of steps in its logarithm, then by golden section between its neighbours.
func (s *spline) choose(y *mat.VecDense) {
	n, most := len(s.val), s.val[len(s.val)-1]
	unlikely := func(x float64) float64 {
		s.smooth = most * math.Exp(x)
		sum, logs := 0.0, 0.0
		for i, d := range s.val {
			w := math.Max(d, 0) + s.smooth
			sum += float64(y.AtVec(i)*y.AtVec(i)) / w
			logs += math.Log(w)
		}
		s.scale = sum / float64(n)
		return float64(float64(n)*math.Log(sum)) + logs
	}
	const step = 0.5
	best, at := math.Inf(1), 0.0
	for x := -18.0; x <= 8; x += step {
		if f := unlikely(x); f < best {
			best, at = f, x
		}
	}
	golden := (math.Sqrt(5) - 1) / 2
	lo, hi := at-step, at+step
	a, b := hi-float64(golden*(hi-lo)), lo+float64(golden*(hi-lo))
	fa, fb := unlikely(a), unlikely(b)
	for range 20 {
		if fa < fb {
			hi, b, fb = b, a, fa
			a = hi - float64(golden*(hi-lo))
			fa = unlikely(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + float64(golden*(hi-lo))
			fb = unlikely(b)
		}
	}
	s.doubt = unlikely((lo + hi) / 2)
}

// at returns the height over a place of the sound surface's plane and its standard uncertainty, mm.
func (s *spline) at(u, v float64) (z, u1 float64) {
	u, v = s.in(u, v)
	n := len(s.pts)
	k, t := mat.NewVecDense(n, nil), mat.NewVecDense(6, quadric(u, v))
	for i, p := range s.pts {
		du, dv := p.u-u, p.v-v
		k.SetVec(i, bending(float64(du*du)+float64(dv*dv)))
	}
	z = mat.Dot(k, &s.bend) + mat.Dot(t, &s.form)
	// The quadric through the points that is right at the place, and what the bending adds to it.
	var h, w, kw, y mat.VecDense
	if h.SolveVec(s.r.T(), t) != nil {
		return z, math.Inf(1)
	}
	w.MulVec(&s.q1, &h)
	kw.MulVec(s.k, &w)
	variance := float64(s.smooth*mat.Dot(&w, &w)) + mat.Dot(&w, &kw) - float64(2*mat.Dot(&w, k))
	kw.SubVec(k, &kw)
	y.MulVec(s.vec.T(), &kw)
	for i, d := range s.val {
		variance -= float64(y.AtVec(i)*y.AtVec(i)) / (math.Max(d, 0) + s.smooth)
	}
	return z, math.Sqrt(math.Max(0, s.scale*variance))
}

// settle lays the sound surface of a fault that was found anew, as a spline, and takes depth and
// opening from it.
func (s *survey) settle(p *pit) {
	var g spline
	if len(p.ring) == 0 || !g.over(p.ring, &p.over) {
		return
	}
	u, v, z := p.over.local(p.foot)
	h, unsure := g.at(u, v)
	up := (h - z) * p.over.n.Dot(p.axis) // along the normal, of the sound surface over the middle
	depth := p.depth + p.sign*up + s.rise(p)
	if math.IsNaN(unsure) || depth <= 0 || depth >= 2*p.r {
		return
	}
	p.foot = p.foot.Along(up, p.axis)
	p.depth, p.a = depth, math.Sqrt(float64(depth*(2*p.r-depth)))
	p.gap = &unsure
}

// rise is how far the sound surface over the vertices of a fold's cross-section lies, in the mean,
// above that over its middle: along the fold the floor bends as the surface does, and the cylinder, which is
// straight, lies at the mean of it.
func (s *survey) rise(p *pit) float64 {
	if p.half == 0 {
		return 0
	}
	u, v, _ := p.over.local(p.foot)
	du, dv := p.along.Dot(p.over.e1), p.along.Dot(p.over.e2)
	c, sum := p.over.at(u, v), 0.0
	for _, x := range p.in {
		d := s.m.Pos[x].Sub(p.foot).Dot(p.along)
		sum += p.over.at(u+float64(d*du), v+float64(d*dv)) - c
	}
	return sum / float64(len(p.in))
}
