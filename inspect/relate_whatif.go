package inspect

import (
	"fmt"
	"math"

	"fornix/mesh/register"
)

// averageHinge tells where the average hinge axis comes from.
const averageHinge = "average: the triangle of both condyles and the middle of the lower rim's front has sides of %.1f mm (Bonwill) " +
	"and stands at %.0f degrees to the lower occlusal plane (Balkwill); from memory, single patients differ by 10 mm and more"

// change works out another height: the lower jaw moves, everything is measured again along the same
// Up, and both rims get what lies between them and the plane on which they are to meet.
//
// A turn goes by the angle that takes the middle of the lower rim's front down by FrontMM along Up.
// How far an average axis is from the patient's own is in no uncertainty.
func (p *pair) change(f *common, c Change, face *face, upper, lower []crestPoint, workers int) (WhatIf, [2][]float64, error) {
	w := WhatIf{FrontMM: c.FrontMM, How: "translation", Keep: c.Keep}
	local := register.Pose{R: register.Identity().R, T: Vec{Z: -c.FrontMM}} // in the pair's frame
	if c.Turn {
		w.How = "turn"
		front := p.frontOf(f)
		axis, right, left := p.hinge(face, front)
		turn, deg, ok := turnDown(front, right, left, c.FrontMM)
		if !ok {
			return w, [2][]float64{}, fmt.Errorf("%w: no turn about the hinge axis lowers the front by %.1f mm", ErrReference, c.FrontMM)
		}
		local, w.Axis, w.TurnDeg = turn, axis, &deg
	}
	x, y, z := p.frame.Left, p.frame.Posterior, p.frame.Up
	frame := register.Pose{R: [3][3]float64{{x.X, y.X, z.X}, {x.Y, y.Y, z.Y}, {x.Z, y.Z, z.Z}}, T: p.frame.Origin}
	motion := frame.Inverse().Then(local).Then(frame)
	w.Motion = MotionOf(motion)

	q := *p
	q.lower.pose = q.lower.pose.Then(motion)
	q.lay()
	g := q.shared(workers)
	w.Gap = q.gapOf(g, q.turn())
	planes := q.planes()
	w.ForeAftDeg, w.SidewaysDeg = planes.ForeAftDeg, planes.SidewaysDeg
	moved := make([]crestPoint, len(lower))
	for i, b := range lower {
		moved[i] = crestPoint{local.Apply(b.at), b.u}
	}
	w.Heights = q.heights(g, upper, moved)
	target := q.meeting(c.Keep)
	var wax [2][]float64
	w.Upper, wax[0] = q.wedge(g, 0, target, c.Keep == Upper, workers)
	w.Lower, wax[1] = q.wedge(g, 1, target, c.Keep == Lower, workers)
	return w, wax, nil
}

// frontOf is the middle of the lower rim's front: where its flat begins on its midline.
func (p *pair) frontOf(f *common) Vec {
	x := p.lower.midline(f.front)
	y := f.front
	column := int(math.Round((x - f.x0) / f.pixel))
	for j := range f.h {
		if column >= 0 && column < f.w && f.reach[1][j*f.w+column] {
			y = f.y0 + f.pixel*(float64(j)-0.5)
			break
		}
	}
	return Vec{X: x, Y: y, Z: p.lower.planeAt(x, y)}
}

// hinge returns the axis that was given, or the average one, also in local coordinates.
func (p *pair) hinge(face *face, front Vec) (h *Hinge, right, left Vec) {
	if len(face.hinge) == 2 {
		return &Hinge{Right: p.world(face.hinge[0]), Left: p.world(face.hinge[1]), How: "given"}, face.hinge[0], face.hinge[1]
	}
	n := p.lower.plane.Normal
	back := Vec{Y: 1}.Along(-n.Y, n).Unit()
	side := p.method.HingeSideMM
	s, c := math.Sincos(radians(p.method.HingeDeg))
	mid := front.Along(side*math.Sqrt(3)/2*c, back).Along(side*math.Sqrt(3)/2*s, n)
	across := n.Cross(back).Scale(-1) // to the patient's left
	if across.X < 0 {
		across = across.Scale(-1)
	}
	right, left = mid.Along(-side/2, across), mid.Along(side/2, across)
	return &Hinge{Right: p.world(right), Left: p.world(left), How: "average", Source: fmt.Sprintf(averageHinge, side, p.method.HingeDeg)}, right, left
}

// turnDown returns the turn about the axis from right to left that takes a point down by mm along z,
// and its degrees, positive where it opens.
func turnDown(at, right, left Vec, mm float64) (register.Pose, float64, bool) {
	a := left.Sub(right).Unit()
	d := at.Sub(right)
	foot := right.Along(d.Dot(a), a)
	r := at.Sub(foot)
	// z of foot + r cos t + (a x r) sin t: a wave of amplitude h about the foot's.
	u, v := r.Z, a.Cross(r).Z
	h := math.Hypot(u, v)
	if !(h > 0) || !(math.Abs(u-mm) <= h) {
		return register.Pose{}, 0, false
	}
	phase, reach := math.Atan2(v, u), math.Acos((u-mm)/h)
	t := math.Remainder(phase-reach, 2*math.Pi)
	if other := math.Remainder(phase+reach, 2*math.Pi); math.Abs(other) < math.Abs(t) {
		t = other
	}
	turn := aboutAxis(a, t)
	turn.T = foot.Sub(turn.Turn(foot))
	return turn, math.Copysign(degrees(math.Abs(t)), mm), true
}

// aboutAxis is the turn by t radians about a unit axis through the origin (Rodrigues).
func aboutAxis(a Vec, t float64) register.Pose {
	s, c := math.Sincos(t)
	p := register.Pose{}
	for i, e := range [3]Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		v := e.Scale(c).Along(s, a.Cross(e)).Along((1-c)*a.Dot(e), a)
		p.R[0][i], p.R[1][i], p.R[2][i] = v.X, v.Y, v.Z
	}
	return p
}
