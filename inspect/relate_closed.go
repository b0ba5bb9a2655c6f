package inspect

import (
	"fmt"
	"math"

	"fornix/mesh"
	"fornix/mesh/register"
)

// throughClosed brings both scans into the frame of a scan of both jaws closed: each impression is
// registered onto what that scan shows of it, with no start given (register.Align, PartOf).
//
// The two fits are independent, so their uncertainties add in squares: of the turn, and of the offset
// at the rims, which is that of the shift and of the turn over the distance from the matched surface's
// middle to the rim.
func throughClosed(out *RelateOutcome, closed *Scan, workers int) error {
	sh := &out.Relation.Shared
	sh.How, sh.Closed = ClosedScan, &closed.Info
	fixed := register.NewBody(closed.Mesh)
	for _, j := range []struct {
		jaw  Jaw
		o    *Outcome
		pose *Motion
	}{{Upper, out.Upper, &sh.Upper}, {Lower, out.Lower, &sh.Lower}} {
		r := j.o.Report
		if r.Occlusal == nil {
			continue // seatPair says so
		}
		fit, err := register.Align(register.NewBody(outward(j.o)), fixed, register.Options{PartOf: true, NoiseMM: r.Quality.Grain().NoiseMM, WorkersN: workers})
		if err != nil {
			return fmt.Errorf("%w: the %s scan does not fit on the scan of both closed: %w", ErrNotShared, j.jaw, err)
		}
		*j.pose = MotionOf(fit.Pose)
		sh.Fits = append(sh.Fits, FitOnScan{
			Jaw: j.jaw, RMSMM: fit.RMSMM, OverlapShare: fit.OverlapShare, Pairs: fit.Pairs, TurnUDeg: fit.TurnUDeg, ShiftUMM: fit.ShiftUMM,
		})
		far := fit.Pose.Apply(r.Occlusal.Point).Dist(fit.CentreMM)
		sh.TurnUDeg = math.Hypot(sh.TurnUDeg, fit.TurnUDeg)
		sh.OffsetUMM = math.Hypot(sh.OffsetUMM, math.Hypot(fit.ShiftUMM, radians(fit.TurnUDeg)*far))
	}
	return nil
}

// outward is the scan's surface wound so that normals point out of the material.
func outward(o *Outcome) *mesh.Mesh {
	if o.Report.InsideOut {
		return o.Mesh.Flip()
	}
	return o.Mesh
}
