package inspect

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Plane is a point on a plane and its unit normal.
type Plane struct{ Point, Normal Vec }

// Height returns the signed distance of q from the plane, positive on the normal's side, mm.
func (p Plane) Height(q Vec) float64 { return q.Sub(p.Point).Dot(p.Normal) }

// Facing returns the plane with its normal turned to the side of d.
func (p Plane) Facing(d Vec) Plane {
	if p.Normal.Dot(d) < 0 {
		p.Normal = p.Normal.Scale(-1)
	}
	return p
}

// FitPlane returns the plane of least squared distances: centroid and direction of least
// spread. Weights may be nil (all one); points of weight 0 do not count. The normal's largest
// coordinate is positive. It is false when points are not finite, fewer than three, or on a
// line to within rounding. O(#points).
//
// Source: Shakarji, J Res NIST 1998;103:633 (LSPL of ISO 12781-1).
func FitPlane(points []Vec, weights []float64) (Plane, bool) {
	var sum Vec
	var total float64
	for i, q := range points {
		w := planeWeight(weights, i)
		sum = sum.Along(w, q)
		total += w
	}
	if !(total > 0) {
		return Plane{}, false
	}
	c := sum.Scale(1 / total)
	var xx, xy, xz, yy, yz, zz float64
	for i, q := range points {
		w, d := planeWeight(weights, i), q.Sub(c)
		e := d.Scale(w)
		xx += float64(e.X * d.X)
		xy += float64(e.X * d.Y)
		xz += float64(e.X * d.Z)
		yy += float64(e.Y * d.Y)
		yz += float64(e.Y * d.Z)
		zz += float64(e.Z * d.Z)
	}
	// EigenSym reports success over NaN, so it is kept out here.
	if s := xx + xy + xz + yy + yz + zz; !c.Finite() || math.IsNaN(s-s) {
		return Plane{}, false
	}
	var eig mat.EigenSym
	if !eig.Factorize(mat.NewSymDense(3, []float64{xx, xy, xz, xy, yy, yz, xz, yz, zz}), true) {
		return Plane{}, false
	}
	if val := eig.Values(nil); val[1] <= 1e-14*val[2] {
		return Plane{}, false
	}
	var v mat.Dense
	eig.VectorsTo(&v)
	n := Vec{X: v.At(0, 0), Y: v.At(1, 0), Z: v.At(2, 0)}.Unit()
	big := n.X
	for _, k := range [2]float64{n.Y, n.Z} {
		if math.Abs(k) > math.Abs(big) {
			big = k
		}
	}
	if big < 0 {
		n = n.Scale(-1)
	}
	return Plane{c, n}, true
}

func planeWeight(weights []float64, i int) float64 {
	if weights == nil {
		return 1
	}
	return weights[i]
}

// Flatness is how far points lie from a reference plane, mm, normal to it.
//
// Names and meaning: ISO 12781-1, FLTt, FLTp, FLTv, FLTq.
type Flatness struct {
	PeakToValley float64 // FLTt
	Peak         float64 // FLTp: highest above the plane, on the normal's side
	Valley       float64 // FLTv: deepest below it, as a positive number
	RMS          float64 // FLTq, over n
}

// MeasureFlatness returns the deviations of points from p; all NaN for no points.
func MeasureFlatness(points []Vec, p Plane) Flatness {
	if len(points) == 0 {
		return Flatness{math.NaN(), math.NaN(), math.NaN(), math.NaN()}
	}
	lo, hi, sum := math.Inf(1), math.Inf(-1), 0.0
	for _, q := range points {
		h := p.Height(q)
		lo, hi = min(lo, h), max(hi, h)
		sum += float64(h * h)
	}
	return Flatness{hi - lo, hi, -lo, math.Sqrt(sum / float64(len(points)))}
}

// TiltAgainst returns the angle of a plane's normal against a reference's, whole and split in
// the patient's frame: cant = atan(-nx/nz), pitch = atan(-ny/nz), with z along the reference,
// x the patient's left and y the patient's posterior, both laid into the reference plane.
// Both normals point toward the tissue. Degrees; signs as told at Tilt.
func TiltAgainst(normal, reference, left, posterior Vec) Tilt {
	z := reference.Unit()
	x := left.Along(-left.Dot(z), z).Unit()
	y := z.Cross(x)
	if y.Dot(posterior) < 0 {
		y = y.Scale(-1)
	}
	nx, ny, nz := normal.Dot(x), normal.Dot(y), normal.Dot(z)
	return Tilt{
		TotalDeg: degrees(math.Atan2(math.Hypot(nx, ny), nz)),
		CantDeg:  degrees(math.Atan2(-nx, nz)),
		PitchDeg: degrees(math.Atan2(-ny, nz)),
		Normal:   z,
	}
}

func degrees(rad float64) float64 { return rad * (180 / math.Pi) }
