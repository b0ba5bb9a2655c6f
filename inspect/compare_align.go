package inspect

import (
	"math"

	"fornix/mesh/register"
)

// align finds the motion that takes b's file coordinates into a's, and says how well it is known.
func (r *comparer) align(zone string, opt CompareOptions) (register.Pose, error) {
	r.Alignment = Alignment{Zone: zone, Freedoms: []Freedom{}}
	if opt.Pose != nil {
		r.Alignment.Method = ByPose
		r.Alignment.Unmeasured = "the pose was given"
		return *opt.Pose, nil
	}
	return register.Pose{}, &Unlike{"no pose was given", "--pose gives one"}
}

// placeU is the expanded uncertainty of the alignment at a usual place of the surface, mm: of the
// shift and, over the distance of a usual place from the middle of the zone, of the turn.
func (r *comparer) placeU(shiftU, turnUDeg float64) float64 {
	pos := r.a.body.Mesh.Pos
	middle := r.middle()
	var square, all float64
	for v, w := range r.a.area {
		square, all = square+float64(w*pos[v].Sub(middle).Norm2()), all+w
	}
	return math.Hypot(shiftU, turnUDeg*math.Pi/180*math.Sqrt(square/all))
}

// middle is the mean place of the zone by area.
func (r *comparer) middle() Vec {
	var sum Vec
	var area float64
	for v, w := range r.a.area {
		if r.zone == nil || r.zone[v] {
			sum, area = sum.Along(w, r.a.body.Mesh.Pos[v]), area+w
		}
	}
	return sum.Scale(1 / area)
}
