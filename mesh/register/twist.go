package register

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"fornix/mesh"
)

// twist is a small motion: a turn (radians times reach) about a centre, and a shift, in mm.
type twist [6]float64

// frame is what twists refer to: the middle of the points and their root mean square distance
// from it, so that a unit of turn and a unit of shift move the points by about as much.
type frame struct {
	centre mesh.Vec
	reach  float64 // mm
}

func frameOf(at func(i int) mesh.Vec, n int) frame {
	var f frame
	for i := range n {
		f.centre = f.centre.Add(at(i))
	}
	f.centre = f.centre.Scale(1 / float64(n))
	sum := 0.0
	for i := range n {
		sum += at(i).Sub(f.centre).Norm2()
	}
	f.reach = math.Sqrt(sum / float64(n))
	if !(f.reach > 0) {
		f.reach = 1
	}
	return f
}

// along returns how far each unit twist moves the point p along n.
func (f *frame) along(p, n mesh.Vec) twist {
	t := p.Sub(f.centre).Cross(n)
	k := 1 / f.reach
	return twist{k * t.X, k * t.Y, k * t.Z, n.X, n.Y, n.Z}
}

// pose returns the motion of a twist.
func (f *frame) pose(x twist) Pose {
	p := turnBy(mesh.Vec{X: x[0], Y: x[1], Z: x[2]}.Scale(1 / f.reach)).about(f.centre)
	p.T = p.T.Add(mesh.Vec{X: x[3], Y: x[4], Z: x[5]})
	return p
}

// normalSum is the normal equations of a least squares problem in a twist.
type normalSum struct {
	a      [6]twist // lower half
	b      twist
	weight float64
}

func (s *normalSum) add(j *twist, r, w float64) {
	for i := range 6 {
		wj := w * j[i]
		s.b[i] += float64(wj * r)
		for k := range i + 1 {
			s.a[i][k] += float64(wj * j[k])
		}
	}
	s.weight += w
}

// damped solves with a share of the mean of the diagonal added to it, by Cholesky's factors.
func (s *normalSum) damped(share float64) (twist, bool) {
	trace := 0.0
	for i := range 6 {
		trace += s.a[i][i]
	}
	var l [6]twist
	for i := range 6 {
		for k := range i + 1 {
			v := s.a[i][k]
			if i == k {
				v += share * trace / 6
			}
			for m := range k {
				v -= float64(l[i][m] * l[k][m])
			}
			if i == k {
				if !(v > 0) {
					return twist{}, false
				}
				l[i][i] = math.Sqrt(v)
			} else {
				l[i][k] = v / l[k][k]
			}
		}
	}
	x := s.b
	for i := range 6 {
		for k := range i {
			x[i] -= float64(l[i][k] * x[k])
		}
		x[i] /= l[i][i]
	}
	for i := 5; i >= 0; i-- {
		for k := i + 1; k < 6; k++ {
			x[i] -= float64(l[k][i] * x[k])
		}
		x[i] /= l[i][i]
	}
	return x, true
}

// axes returns the eigenvalues of the mean of squares, greatest first, and their directions: by
// how much a motion along each goes along the normals.
func (s *normalSum) axes() (value [6]float64, axis [6]twist, ok bool) {
	if !(s.weight > 0) {
		return value, axis, false
	}
	m := mat.NewSymDense(6, nil)
	for i := range 6 {
		for k := range i + 1 {
			v := s.a[i][k] / s.weight
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return value, axis, false
			}
			m.SetSym(i, k, v)
		}
	}
	var e mat.EigenSym
	if !e.Factorize(m, true) {
		return value, axis, false
	}
	var v mat.Dense
	e.VectorsTo(&v)
	for i, x := range e.Values(nil) {
		value[5-i] = max(x, 0)
		for k := range 6 {
			axis[5-i][k] = v.At(k, i)
		}
	}
	return value, axis, true
}
