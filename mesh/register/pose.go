// Package register brings two scanned surfaces together and measures how far apart they lie.
package register

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"fornix/mesh"
)

// Why two surfaces, or two rows of points, could not be brought together; see errors.Is.
var (
	ErrOverlap      = errors.New("register: too little of the two surfaces fits on each other")
	ErrMirror       = errors.New("register: only the mirror image fits")
	ErrUndetermined = errors.New("register: the shape leaves a motion open")
	ErrAmbiguous    = errors.New("register: two poses fit equally well")
)

// Pose is a proper rigid motion: p goes to R p + T. Its zero value is none; see Identity.
type Pose struct {
	R [3][3]float64 // rows; determinant +1
	T mesh.Vec      // mm
}

// Identity returns the motion that moves nothing.
func Identity() Pose { return Pose{R: [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}} }

// Apply returns where the point p goes.
func (a Pose) Apply(p mesh.Vec) mesh.Vec { return a.Turn(p).Add(a.T) }

// Turn returns where the direction d points afterwards.
func (a Pose) Turn(d mesh.Vec) mesh.Vec {
	return mesh.Vec{X: row(a.R[0]).Dot(d), Y: row(a.R[1]).Dot(d), Z: row(a.R[2]).Dot(d)}
}

func row(r [3]float64) mesh.Vec { return mesh.Vec{X: r[0], Y: r[1], Z: r[2]} }

// Inverse returns the motion back.
func (a Pose) Inverse() Pose {
	var b Pose
	for i := range 3 {
		for j := range 3 {
			b.R[i][j] = a.R[j][i]
		}
	}
	b.T = b.Turn(a.T).Scale(-1)
	return b
}

// Then returns the motion a followed by b.
func (a Pose) Then(b Pose) Pose {
	var c Pose
	for i := range 3 {
		for j := range 3 {
			c.R[i][j] = float64(b.R[i][0]*a.R[0][j]) + float64(b.R[i][1]*a.R[1][j]) + float64(b.R[i][2]*a.R[2][j])
		}
	}
	c.T = b.Apply(a.T)
	return c
}

// AngleDeg returns by how much the motion turns, 0 to 180 degrees.
func (a Pose) AngleDeg() float64 {
	// The sine holds small angles, the cosine those near 180 degrees.
	axis := mesh.Vec{X: a.R[2][1] - a.R[1][2], Y: a.R[0][2] - a.R[2][0], Z: a.R[1][0] - a.R[0][1]}
	return math.Atan2(axis.Norm(), a.R[0][0]+a.R[1][1]+a.R[2][2]-1) * 180 / math.Pi
}

// Proper reports whether R is a rotation: rows of length one at right angles, determinant +1,
// all to within tolerance, and everything finite.
func (a Pose) Proper(tolerance float64) bool {
	x, y, z := row(a.R[0]), row(a.R[1]), row(a.R[2])
	worst := max(x.Cross(y).Sub(z).Norm(), y.Cross(z).Sub(x).Norm(), z.Cross(x).Sub(y).Norm(),
		math.Abs(x.Norm()-1), math.Abs(y.Norm()-1), math.Abs(z.Norm()-1))
	return a.T.Finite() && worst <= tolerance // false for NaN
}

// turnBy returns the rotation by the vector w: about its direction, by its length in radians.
func turnBy(w mesh.Vec) Pose {
	half := w.Norm() / 2
	k := 0.5 // sin(half) / (2 half)
	if half > 1e-8 {
		k = math.Sin(half) / (2 * half)
	}
	return ofQuaternion(math.Cos(half), k*w.X, k*w.Y, k*w.Z)
}

// about returns the motion that turns as a does and leaves the point c where it is.
func (a Pose) about(c mesh.Vec) Pose {
	return Pose{R: a.R, T: c.Sub(a.Turn(c))}
}

// ofQuaternion returns the rotation of a quaternion that is not zero.
func ofQuaternion(w, x, y, z float64) Pose {
	n := math.Sqrt(float64(w*w) + float64(x*x) + float64(y*y) + float64(z*z))
	w, x, y, z = w/n, x/n, y/n, z/n
	return Pose{R: [3][3]float64{
		{1 - 2*(float64(y*y)+float64(z*z)), 2 * (float64(x*y) - float64(w*z)), 2 * (float64(x*z) + float64(w*y))},
		{2 * (float64(x*y) + float64(w*z)), 1 - 2*(float64(x*x)+float64(z*z)), 2 * (float64(y*z) - float64(w*x))},
		{2 * (float64(x*z) - float64(w*y)), 2 * (float64(y*z) + float64(w*x)), 1 - 2*(float64(x*x)+float64(y*y))},
	}}
}

// Absolute returns the motion that brings the points from nearest to the points to of the same
// index, by least squares, and the root of the mean squared distance that is left, in mm. It
// never reflects. The error is ErrUndetermined where the points leave a turn open: fewer than
// three, all on one line, or a mirror image that several turns fit equally well.
//
// The rotation is the quaternion of the largest eigenvalue of a symmetric 4 x 4 matrix (Horn, J
// Opt Soc Am A 1987;4:629); it is unique exactly where that eigenvalue is.
func Absolute(from, to []mesh.Vec) (pose Pose, rmsd float64, err error) {
	n := len(from)
	if n != len(to) {
		return Pose{}, 0, fmt.Errorf("register: %d points against %d", n, len(to))
	}
	if n < 3 {
		return Pose{}, 0, fmt.Errorf("%w: %d points", ErrUndetermined, n)
	}
	cf, ct := centre(from), centre(to)
	if !cf.Finite() || !ct.Finite() {
		return Pose{}, 0, errors.New("register: a coordinate is no number")
	}
	var s [3][3]float64 // sums of products
	size := 0.0
	for i := range from {
		p, q := from[i].Sub(cf), to[i].Sub(ct)
		size += p.Norm() * q.Norm()
		for j, x := range [3]float64{p.X, p.Y, p.Z} {
			s[j][0] += float64(x * q.X)
			s[j][1] += float64(x * q.Y)
			s[j][2] += float64(x * q.Z)
		}
	}
	h := mat.NewSymDense(4, []float64{
		s[0][0] + s[1][1] + s[2][2], s[1][2] - s[2][1], s[2][0] - s[0][2], s[0][1] - s[1][0],
		0, s[0][0] - s[1][1] - s[2][2], s[0][1] + s[1][0], s[2][0] + s[0][2],
		0, 0, s[1][1] - s[0][0] - s[2][2], s[1][2] + s[2][1],
		0, 0, 0, s[2][2] - s[0][0] - s[1][1],
	})
	var e mat.EigenSym
	if !e.Factorize(h, true) {
		return Pose{}, 0, fmt.Errorf("%w: no eigenvalues", ErrUndetermined)
	}
	values := e.Values(nil) // ascending
	if !(values[3]-values[2] > 1e-10*size) {
		return Pose{}, 0, fmt.Errorf("%w: the points do not fix the turn", ErrUndetermined)
	}
	var v mat.Dense
	e.VectorsTo(&v)
	pose = ofQuaternion(v.At(0, 3), v.At(1, 3), v.At(2, 3), v.At(3, 3))
	pose.T = ct.Sub(pose.Turn(cf))
	sum := 0.0
	for i := range from {
		sum += pose.Apply(from[i]).Sub(to[i]).Norm2()
	}
	return pose, math.Sqrt(sum / float64(n)), nil
}

// centre returns the mean of points.
func centre(points []mesh.Vec) mesh.Vec {
	var c mesh.Vec
	for _, p := range points {
		c = c.Add(p)
	}
	return c.Scale(1 / float64(len(points)))
}

// tidy returns the rotation nearest to a that is one to the last digit.
func (a Pose) tidy() Pose {
	x, y := row(a.R[0]).Unit(), row(a.R[1])
	z := x.Cross(y).Unit()
	y = z.Cross(x)
	return Pose{R: [3][3]float64{{x.X, x.Y, x.Z}, {y.X, y.Y, y.Z}, {z.X, z.Y, z.Z}}, T: a.T}
}
