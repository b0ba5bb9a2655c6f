package register

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"fornix/mesh"
)

// Freedom is one of six motions at right angles to each other, and how well the fit holds it
// (slippage analysis: Gelfand and Guibas, Eurographics Symposium on Geometry Processing 2004).
type Freedom struct {
	Turn, Shift mesh.Vec // of the motion: the turn's axis, and the shift of the centre; their squares add up to 1
	Stiffness   float64  // mean square of the part of the motion that goes along the normals: 0 slides freely, sums to 2 over all six
	SigmaMM     float64  // one sigma, of the surface's motion at Fit.ReachMM from the centre; infinite where not Held
	SigmaDeg    float64  // the turn in it
	Held        bool
}

const (
	slipSamples    = 1500
	leastStiffness = 1e-3
)

// patchSizes are the sizes in mm within which residuals may hang together.
var patchSizes = [...]float64{0.5, 1, 2, 4, 8}

// finish draws in to the last, with many points.
func (a *aligner) finish(t trial) trial {
	ms, fs := a.ms.points(finestSamples), a.fs.points(finestSamples)
	return a.refine(ms, fs, t.pose, max(2*cutoff*t.spread, 0.05), finestSteps)
}

// measure describes a trial.
func (a *aligner) measure(t *trial) Fit {
	fit := Fit{Pose: t.pose, SpreadMM: t.spread, Iterations: t.steps}
	if len(t.pairs) == 0 {
		fit.Pose = Identity()
		return fit
	}
	fit.OverlapShare = a.overlap(t, a.o.FitMM)
	fit.MovingShare, fit.FixedShare = t.shares(a.o.FitMM)
	sum, weight := 0.0, 0.0
	for i := range t.pairs {
		if o := &t.pairs[i]; o.weight > 0 {
			sum += o.weight * o.r * o.r
			weight += o.weight
			fit.Pairs++
		}
	}
	if weight > 0 {
		fit.RMSMM = math.Sqrt(sum / weight)
	}
	if fit.OverlapShare >= a.least() {
		a.hold(&fit, t)
	}
	return fit
}

// hold fills in the freedoms and the uncertainty of a fit.
func (a *aligner) hold(fit *Fit, t *trial) {
	fit.TurnUDeg, fit.ShiftUMM = math.Inf(1), math.Inf(1)
	spots := a.slip(t)
	if len(spots) < 6 {
		return
	}
	f := frameOf(func(i int) mesh.Vec { return spots[i].at }, len(spots))
	fit.CentreMM, fit.ReachMM = f.centre, f.reach
	var s normalSum
	for _, p := range spots {
		j := f.along(p.at, p.normal)
		s.add(&j, 0, 1)
	}
	value, axis, ok := s.axes()
	if !ok {
		return
	}
	for k := range 6 {
		e := axis[k]
		fit.Freedoms[k] = Freedom{
			Turn: mesh.Vec{X: e[0], Y: e[1], Z: e[2]}, Shift: mesh.Vec{X: e[3], Y: e[4], Z: e[5]},
			Stiffness: value[k], SigmaMM: math.Inf(1), SigmaDeg: math.Inf(1), Held: value[k] >= leastStiffness,
		}
	}
	if !fit.Freedoms[5].Held {
		return // the last is the softest
	}
	cov, ok := covariance(fit, &f, t)
	if !ok {
		return
	}
	for k := range 6 {
		d := &fit.Freedoms[k]
		d.SigmaMM = math.Sqrt(cov.along(&axis[k]))
		d.SigmaDeg = d.SigmaMM * d.Turn.Norm() / f.reach * 180 / math.Pi
	}
	turn, shift := cov[0][0]+cov[1][1]+cov[2][2], cov[3][3]+cov[4][4]+cov[5][5]
	fit.TurnUDeg = 2 * math.Sqrt(turn) / f.reach * 180 / math.Pi
	fit.ShiftUMM = 2 * math.Sqrt(shift)
}

// slip returns where the surfaces fit, in fixed's frame, with normals that are means over
// patches: single faces and noise give a ball no hold.
func (a *aligner) slip(t *trial) []sample {
	if a.spots.ms == nil {
		radius := func(s *sampler) float64 { return 0.7 * math.Sqrt(s.area()/slipSamples) }
		a.spots.ms = a.ms.patches(slipSamples, radius(a.ms), a.workers)
		a.spots.fs = a.fs.patches(slipSamples, radius(a.fs), a.workers)
	}
	ms, fs := a.spots.ms, a.spots.fs
	pairs := newPairs(len(ms) + len(fs))
	limit := cutoff * t.spread
	a.meet(ms, fs, t.pose, 2*limit, pairs)
	var out []sample
	for i := range pairs {
		switch o := &pairs[i]; {
		case o.kind != met || math.Abs(o.r) > limit:
		case i < len(ms):
			out = append(out, sample{o.at, t.pose.Turn(ms[i].normal)})
		default:
			out = append(out, fs[i-len(ms)])
		}
	}
	return out
}

// cov is the covariance of the pose as a twist, in mm².
type cov [6]twist

func (c *cov) along(e *twist) float64 {
	sum := 0.0
	for i := range 6 {
		for k := range 6 {
			sum += float64(e[i] * e[k] * c[i][k])
		}
	}
	return max(sum, 0)
}

// covariance returns the covariance of the pose from the residuals: those of one patch are taken
// as one observation, however they hang together (the sandwich of Liang and Zeger, Biometrika
// 1986;73:13), and the patches are of the size that makes it largest. Neighbours that share
// their noise, and places where the two surfaces really differ, thus count once and not by the
// number of their points.
//
// What the two ways would disagree on, each taken alone, is added, as a bound with all between
// equally likely: faces cut the corners of what they stand for, which pulls the one way out and
// the other in.
func covariance(fit *Fit, f *frame, t *trial) (cov, bool) {
	var ways [2]normalSum
	for i := range t.pairs {
		if o := &t.pairs[i]; o.weight > 0 {
			j := f.along(o.at, o.normal)
			if i < t.moving {
				ways[0].add(&j, o.r, o.weight)
			} else {
				ways[1].add(&j, o.r, o.weight)
			}
		}
	}
	s := ways[0]
	s.weight += ways[1].weight
	for i := range 6 {
		for k := range i + 1 {
			s.a[i][k] += ways[1].a[i][k]
		}
	}
	a := mat.NewSymDense(6, nil)
	for i := range 6 {
		for k := range i + 1 {
			a.SetSym(i, k, s.a[i][k])
		}
	}
	var c mat.Cholesky
	var inverse mat.SymDense
	if s.weight == 0 || !c.Factorize(a) || c.InverseTo(&inverse) != nil {
		return cov{}, false
	}
	var most cov
	found := false
	for _, size := range patchSizes {
		m, n := meat(f, t.pairs, size)
		if n < 20 { // too few to tell six unknowns
			continue
		}
		v := sandwich(&inverse, &m)
		if !found || v.trace() > most.trace() {
			most, found = v, true
			fit.PatchMM, fit.Patches = size, n
		}
	}
	x, held := ways[0].damped(1e-9)
	y, also := ways[1].damped(1e-9)
	if held && also {
		for i := range 6 {
			for k := range 6 {
				most[i][k] += float64((x[i]-y[i])*(x[k]-y[k])) / 12
			}
		}
	}
	return most, found
}

func (c *cov) trace() float64 {
	sum := 0.0
	for i := range 6 {
		sum += c[i][i]
	}
	return sum
}

// meat is the sum over patches of the square of what their residuals pull, and their number.
func meat(f *frame, pairs []pair, size float64) (m cov, n int) {
	pull := map[[3]int32]int{}
	var sums []twist
	for i := range pairs {
		o := &pairs[i]
		if o.weight == 0 {
			continue
		}
		d := o.at.Sub(f.centre).Scale(1 / size)
		key := [3]int32{int32(math.Floor(d.X)), int32(math.Floor(d.Y)), int32(math.Floor(d.Z))}
		at, known := pull[key]
		if !known {
			at = len(sums)
			pull[key] = at
			sums = append(sums, twist{})
		}
		j := f.along(o.at, o.normal)
		for k := range 6 {
			sums[at][k] += float64(o.weight * o.r * j[k])
		}
	}
	n = len(sums)
	k := float64(n) / float64(max(n-6, 1))
	for _, g := range sums {
		for i := range 6 {
			for l := range 6 {
				m[i][l] += float64(k * g[i] * g[l])
			}
		}
	}
	return m, n
}

func sandwich(bread *mat.SymDense, m *cov) cov {
	flat := make([]float64, 0, 36)
	for i := range 6 {
		flat = append(flat, m[i][:]...)
	}
	var half, all mat.Dense
	half.Mul(bread, mat.NewDense(6, 6, flat))
	all.Mul(&half, bread)
	var out cov
	for i := range 6 {
		for k := range 6 {
			out[i][k] = all.At(i, k)
		}
	}
	return out
}

// judge returns why the fit must not be used; nil: it may.
func (a *aligner) judge(fit *Fit, doubt error) error {
	fits := fit.OverlapShare >= a.least()
	switch {
	case fits && (!fit.Freedoms[5].Held || math.IsInf(fit.TurnUDeg, 1)):
		return ErrUndetermined // whatever else fits, too
	case doubt == ErrMirror:
		return ErrMirror
	case !fits:
		return ErrOverlap
	}
	return doubt
}
