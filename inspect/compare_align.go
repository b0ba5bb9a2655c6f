package inspect

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"fornix/mesh/register"
)

// align finds the motion that takes b's file coordinates into a's, and says how well it is known.
//
// A pose that was given is used as it is. Else the start is searched for over all motions, or comes
// from landmarks that were given for both, and is drawn in on the zone. The search uses the whole
// fitting surface where the zone is the stable part of it: a palate alone fits itself in more than one
// way.
func (r *comparer) align(zone string, opt CompareOptions) (register.Pose, error) {
	al := &r.Alignment
	al.Zone, al.Method, al.Freedoms = zone, ByGlobal, []Freedom{}
	if opt.Pose != nil {
		al.Method, al.Unmeasured = ByPose, "the pose was given"
		return *opt.Pose, nil
	}
	o := register.Options{NoiseMM: math.Hypot(r.a.grain.NoiseMM, r.b.grain.NoiseMM), FitMM: r.method.FitMM}
	if r.Purpose == AsRetake {
		o.FitMM = r.method.RetakeFitMM
	}
	names, start, err := fromLandmarks(opt.GivenA, opt.GivenB)
	if err != nil {
		return register.Pose{}, err
	}
	if start != nil {
		al.Method, al.Landmarks = ByLandmarks, names
		o.Start, o.ReachMM = start, r.method.LandmarkMM
	} else if zone == ZoneStable {
		fit, err := r.draw(ZoneTissue, o)
		if err != nil {
			return register.Pose{}, r.unlike(err, fit)
		}
		o.Start = &fit.Pose
	}
	fit, err := r.draw(zone, o)
	if err != nil {
		return register.Pose{}, r.unlike(err, fit)
	}
	al.FitRMSMM, al.OverlapShare = &fit.RMSMM, &fit.OverlapShare
	al.TurnUDeg, al.ShiftUMM = &fit.TurnUDeg, &fit.ShiftUMM
	al.PlaceUMM = ptr(r.placeU(fit.CentreMM, fit.ShiftUMM, fit.TurnUDeg))
	al.Freedoms = r.freedoms(&fit)
	return fit.Pose, nil
}

// draw aligns on a zone of both scans; where no jaw was found in one, all of it.
func (r *comparer) draw(zone string, o register.Options) (register.Fit, error) {
	of := func(an *Anatomy) []bool {
		if an == nil || an.Surface == Cast {
			return nil
		}
		return zoneOf(zone, an, an.placeOf())
	}
	o.MovingZone, o.FixedZone = of(r.b.anatomy), of(r.a.anatomy)
	return register.Align(r.b.body, r.a.body, o)
}

// fromLandmarks returns the pose that brings b's given landmarks onto those of a by the same names, and
// the names; nil where none are given.
func fromLandmarks(a, b Given) ([]string, *register.Pose, error) {
	if len(a.Landmarks) == 0 && len(b.Landmarks) == 0 {
		return nil, nil, nil
	}
	var names []string
	var from, to []Vec
	for _, name := range slices.Sorted(maps.Keys(a.Landmarks)) {
		if p, both := b.Landmarks[name]; both {
			names, from, to = append(names, name), append(from, p), append(to, a.Landmarks[name])
		}
	}
	if len(names) < 3 {
		return nil, nil, &Unlike{fmt.Sprintf("%d landmarks are given for both scans, and three are needed", len(names)),
			"name three or more by the same names in both files, not on one line"}
	}
	pose, _, err := register.Absolute(from, to)
	if err != nil {
		return nil, nil, &Unlike{"the landmarks that are given for both scans do not fix a pose", "name three or more that do not lie on one line"}
	}
	return names, &pose, nil
}

// unlike says in words why two scans could not be laid on each other.
func (r *comparer) unlike(err error, fit register.Fit) error {
	a, b := r.A.File, r.B.File
	switch {
	case errors.Is(err, register.ErrMirror):
		return &Unlike{fmt.Sprintf("only the mirror image of %s fits on %s", b, a), "one of the two was mirrored on export: export it again"}
	case errors.Is(err, register.ErrOverlap):
		return &Unlike{fmt.Sprintf("too little of %s fits on %s: %.0f %% of %s", b, a, 100*fit.OverlapShare, zoneWords(r.Alignment.Zone)),
			"compare scans of one jaw; another --zone, or three --landmarks-a and --landmarks-b, may help"}
	case errors.Is(err, register.ErrAmbiguous):
		return &Unlike{fmt.Sprintf("%s fits on %s in more than one way", b, a), "name three landmarks of each: --landmarks-a, --landmarks-b"}
	case errors.Is(err, register.ErrUndetermined):
		return &Unlike{fmt.Sprintf("the shape of %s leaves open how %s lies on %s", zoneWords(r.Alignment.Zone), b, a), "--zone all uses more of it; --pose gives the pose"}
	}
	return err
}

// freedoms tells along and about the axes of the patient, else of the file, how well the fit is held.
// The fit's own six motions are at right angles to each other and weighted by how far they move the
// surface, so that variances add up.
func (r *comparer) freedoms(fit *register.Fit) []Freedom {
	names, axes := []string{"left", "posterior", "toward tissue"}, []Vec{}
	if r.Frame != nil {
		axes = append(axes, r.Frame.Left, r.Frame.Posterior, r.Frame.TowardTissue)
	} else {
		names, axes = []string{"x", "y", "z"}, append(axes, Vec{X: 1}, Vec{Y: 1}, Vec{Z: 1})
	}
	out := []Freedom{}
	for i, axis := range axes {
		f := Freedom{Name: "shift " + names[i], Kind: "shift", Axis: axis, Unit: "mm", Held: true}
		f.U, f.Held = along6(fit, func(k *register.Freedom) float64 { return k.Shift.Dot(axis) })
		out = append(out, f)
	}
	for i, axis := range axes {
		f := Freedom{Name: "turn about " + names[i], Kind: "turn", Axis: axis, Unit: "deg"}
		f.U, f.Held = along6(fit, func(k *register.Freedom) float64 { return k.Turn.Dot(axis) / fit.ReachMM * 180 / math.Pi })
		out = append(out, f)
	}
	return out
}

// along6 is the expanded uncertainty of a motion by its share of each of the fit's six, and whether
// those that hold it are held.
func along6(fit *register.Fit, share func(*register.Freedom) float64) (u float64, held bool) {
	held = true
	for k := range fit.Freedoms {
		f := &fit.Freedoms[k]
		s := share(f)
		if !f.Held && math.Abs(s) > 1e-3 {
			held = false
			continue
		}
		if f.Held {
			u += float64(s * s * f.SigmaMM * f.SigmaMM)
		}
	}
	return 2 * math.Sqrt(u), held
}

// placeU is the expanded uncertainty of the alignment at a usual place of the surface, mm: of the shift
// of the middle and, over the distance of a usual place from it, of the turn.
func (r *comparer) placeU(middle Vec, shiftU, turnUDeg float64) float64 {
	var square, all float64
	for v, w := range r.a.area {
		square, all = square+float64(w*r.a.body.Mesh.Pos[v].Sub(middle).Norm2()), all+w
	}
	return math.Hypot(shiftU, turnUDeg*math.Pi/180*math.Sqrt(square/all))
}
