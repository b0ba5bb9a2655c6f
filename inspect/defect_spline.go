package inspect

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// splinePoints bounds what a spline is fitted to: the cost grows with the cube.
const splinePoints = 160

// spline carries a surface over the gap in the ring of vertices round a fault: the smoothing
// spline of third order, whose third derivatives are as small as the ring allows. A polynomial's
// form is one for the whole ring, and where the surroundings bend more than it can (over a narrow
// crest, at the border's roll) the gap gets what suits their far side; a spline gives the gap what lies
// next to it. How closely it keeps to the points is that by which their differences are most likely
// (restricted maximum likelihood), so noise is smoothed and form is kept; the surface over a place then is
// known to the spread of that likelihood.
//
// Based on: Wahba, Spline models for observational data, SIAM 1990, chapters 2 and 4 (cited from
// memory); Duchon, Splines minimizing rotation-invariant semi-norms, Springer LNM 571 (1977).
type spline struct {
	pts    []patchPoint
	size   float64       // the ring's radius: lengths are taken in it
	smooth float64       // noise² over bending
	scale  float64       // variance of the bending
	q1, q2 mat.Dense     // of the points' quadrics: their space, and what is at right angles to it
	r      mat.Dense     // q1 r is the points' quadrics
	k      *mat.SymDense // kernel between the points
	val    []float64     // eigenvalues of the kernel at right angles to the quadrics,
	vec    mat.Dense     // its eigenvectors
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

// over fits the spline to the points that a sound surface's fit has left their weight. False where
// they are too few.
func (s *spline) over(pts []patchPoint) bool {
	s.pts, s.size = s.pts[:0], 0
	for _, p := range pts {
		if p.w > 0.1 {
			s.pts = append(s.pts, p)
			s.size = math.Max(s.size, math.Hypot(p.u, p.v))
		}
	}
	if step := (len(s.pts) + splinePoints - 1) / splinePoints; step > 1 {
		// By their distance from the middle, which knows neither the scan's frame nor its order.
		slices.SortStableFunc(s.pts, func(a, b patchPoint) int { return cmp.Compare(math.Hypot(a.u, a.v), math.Hypot(b.u, b.v)) })
		n := 0
		for i := 0; i < len(s.pts); i += step {
			s.pts[n] = s.pts[i]
			n++
		}
		s.pts = s.pts[:n]
	}
	n := len(s.pts)
	if n < 10 {
		return false
	}
	s.k = mat.NewSymDense(n, nil)
	t, z := mat.NewDense(n, 6, nil), mat.NewVecDense(n, nil)
	for i := range s.pts {
		p := &s.pts[i]
		p.u, p.v = p.u/s.size, p.v/s.size
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
	s.q2.CloneFrom(q.Slice(0, n, 6, n))
	var kq, m mat.Dense
	kq.Mul(s.k, &s.q2)
	m.Mul(s.q2.T(), &kq)
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
	e.VectorsTo(&s.vec)
	var low, y mat.VecDense
	low.MulVec(s.q2.T(), z)
	y.MulVec(s.vec.T(), &low)
	s.choose(&y)
	y2 := mat.NewVecDense(n-6, nil)
	for i, d := range s.val {
		y2.SetVec(i, y.AtVec(i)/(d+s.smooth))
	}
	low.MulVec(&s.vec, y2)
	s.bend.MulVec(&s.q2, &low)
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
	lo, hi, golden := at-step, at+step, (math.Sqrt(5)-1)/2
	for range 30 {
		a, b := hi-float64(golden*(hi-lo)), lo+float64(golden*(hi-lo))
		if unlikely(a) < unlikely(b) {
			hi = b
		} else {
			lo = a
		}
	}
	unlikely((lo + hi) / 2)
}

// at returns the height over a place of the sound surface's plane and its standard uncertainty, mm.
func (s *spline) at(u, v float64) (z, u1 float64) {
	u, v = u/s.size, v/s.size
	n := len(s.pts)
	k, t := mat.NewVecDense(n, nil), mat.NewVecDense(6, quadric(u, v))
	for i, p := range s.pts {
		du, dv := p.u-u, p.v-v
		k.SetVec(i, bending(float64(du*du)+float64(dv*dv)))
	}
	z = mat.Dot(k, &s.bend) + mat.Dot(t, &s.form)
	// The quadric through the points that is right at the place, and what the bending adds to it.
	var h, w, kw, low, y mat.VecDense
	if h.SolveVec(s.r.T(), t) != nil {
		return z, math.Inf(1)
	}
	w.MulVec(&s.q1, &h)
	kw.MulVec(s.k, &w)
	variance := float64(s.smooth*mat.Dot(&w, &w)) + mat.Dot(&w, &kw) - float64(2*mat.Dot(&w, k))
	kw.SubVec(k, &kw)
	low.MulVec(s.q2.T(), &kw)
	y.MulVec(s.vec.T(), &low)
	for i, d := range s.val {
		variance -= float64(y.AtVec(i)*y.AtVec(i)) / (math.Max(d, 0) + s.smooth)
	}
	return z, math.Sqrt(math.Max(0, s.scale*variance))
}

// settle lays the sound surface of a fault that was found anew, as a spline, and takes depth and
// opening from it.
func (p *pit) settle() {
	var g spline
	if len(p.ring) == 0 || !g.over(p.ring) {
		return
	}
	u, v, z := p.over.local(p.foot)
	h, unsure := g.at(u, v)
	up := (h - z) * p.over.n.Dot(p.axis) // along the normal, of the sound surface over the middle
	depth := p.depth + p.sign*up
	if math.IsNaN(unsure) || depth <= 0 || depth >= 2*p.r {
		return
	}
	p.foot = p.foot.Along(up, p.axis)
	p.depth, p.a = depth, math.Sqrt(float64(depth*(2*p.r-depth)))
	p.gap = &unsure
}
