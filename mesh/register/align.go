package register

import (
	"fmt"
	"math"

	"fornix/mesh"
)

// Options say what is known of two surfaces beforehand. The zero value knows nothing.
type Options struct {
	Start *Pose // from which moving needs only be drawn in, by ReachMM at most; nil: searched for

	// MovingZone and FixedZone are the vertices (#V) that may be used to align; nil: all.
	MovingZone, FixedZone []bool

	Opposed bool // the surfaces face each other, as an impression and its cast do: moving is turned inside out
	PartOf  bool // much of moving may have no counterpart, as of an impression in a scan of both jaws closed

	NoiseMM  float64 // the least spread of the surfaces about each other that counts, mm; 0: none
	FitMM    float64 // farther apart than this surfaces do not belong together, mm; 0: 0.3
	ReachMM  float64 // mm by which a given Start may be off; 0: 3
	WorkersN int     // goroutines; 0: one for each processor
}

const (
	usualFit     = 0.3
	usualReach   = 3
	leastOverlap = 0.5  // of the smaller surface
	leastPart    = 0.25 // of moving, where it is only expected to be covered in part
)

// Fit is how moving lies on fixed.
type Fit struct {
	Pose Pose // takes moving into fixed's frame

	RMSMM        float64 // of the pairs that counted, along the normals
	SpreadMM     float64 // sigma of the bulk of all pairs, robust
	OverlapShare float64 // of the smaller surface's area (PartOf: of moving's) that lies within FitMM of the other, facing the same way
	MovingShare  float64 // the same, of moving's zone
	FixedShare   float64 // and of fixed's
	Pairs        int     // that counted
	Iterations   int     // of the last, finest stage
	Searched     bool    // no start was given

	CentreMM mesh.Vec // of the pairs, in fixed's frame: freedoms and shifts refer to it
	ReachMM  float64  // root mean square distance of the pairs from it
	Freedoms [6]Freedom
	PatchMM  float64 // size of the patches within which residuals were taken as one
	Patches  int     // how many there were
	TurnUDeg float64 // expanded uncertainty of the turn, k = 2, root sum of squares over three axes
	ShiftUMM float64 // and of the shift of the centre
}

const (
	settleSamples = 1500  // of each surface, to choose between candidates
	finestSamples = 40000 // of each surface, at last
	finestSteps   = 30
	firstSteps    = 6  // with which candidates are told apart
	settleSteps   = 16 // more, for those that may be right
	contenders    = 5  // candidates of each sense that are looked at closely
)

// Align finds the rigid motion that brings moving onto fixed.
//
// With no start it is searched for over all turns and shifts: pairs of points with normals vote
// for poses, the best of which are drawn in on a grid, then on the surfaces themselves. Draws are
// point to plane, both ways, with weights that leave out what does not fit (Tukey's), from coarse
// to fine, until nothing moves. The pose does not depend on how the surfaces are cut into faces
// or on their frames, but for rounding, nor at all on the number of workers.
//
// It never guesses. The errors are ErrMirror, where moving's mirror image fits clearly better,
// ErrOverlap, where less than half of the smaller surface fits (PartOf: a quarter of moving),
// ErrUndetermined, where the shape leaves a motion open, and ErrAmbiguous, where another pose
// fits as well; the Fit is then what was found before the finest stage.
func Align(moving, fixed *Body, o Options) (Fit, error) {
	if o.FitMM == 0 {
		o.FitMM = usualFit
	}
	if o.ReachMM == 0 {
		o.ReachMM = usualReach
	}
	a := newAligner(moving, fixed, o)
	if a.ms.area() == 0 || a.fs.area() == 0 {
		return Fit{}, fmt.Errorf("%w: nothing of a surface may be used", ErrOverlap)
	}
	var best trial
	var doubt error
	if o.Start != nil {
		if !o.Start.Proper(1e-4) {
			return Fit{}, fmt.Errorf("register: the start is no rigid motion")
		}
		best = a.refine(a.some.ms, a.some.fs, o.Start.tidy(), o.ReachMM, firstSteps+settleSteps)
	} else {
		best, doubt = a.choose()
	}
	fit := a.measure(&best)
	fit.Searched = o.Start == nil
	if err := a.judge(&fit, doubt); err != nil {
		return fit, err
	}
	best = a.finish(best)
	last := a.measure(&best)
	last.Searched = fit.Searched
	return last, a.judge(&last, nil)
}

// aligner holds what the stages share.
type aligner struct {
	couple
	o      Options
	ms, fs *sampler // of the zones
	some   struct{ ms, fs []sample }
	spots  struct{ ms, fs []sample } // see slip
}

func newAligner(moving, fixed *Body, o Options) *aligner {
	a := &aligner{o: o, couple: couple{moving: moving, fixed: fixed, sign: 1, workers: o.WorkersN, noise: o.NoiseMM}}
	if o.Opposed {
		a.sign = -1
	}
	a.ms, a.fs = newSampler(moving, o.MovingZone, o.Opposed), newSampler(fixed, o.FixedZone, false)
	a.some.ms, a.some.fs = a.ms.points(settleSamples), a.fs.points(settleSamples)
	return a
}

// trial is a pose that was drawn in.
type trial struct {
	pose   Pose
	pairs  []pair
	moving int     // how many of the pairs are samples of moving, the first
	reach  float64 // mm within which pairs are looked for
	spread float64
	steps  int
}

// shares returns which part of moving's and fixed's samples lie within limit of the other.
func (t *trial) shares(limit float64) (moving, fixed float64) {
	var n [2]int
	for i := range t.pairs {
		if o := &t.pairs[i]; o.kind != apart && math.Abs(o.r) <= limit {
			if i < t.moving {
				n[0]++
			} else {
				n[1]++
			}
		}
	}
	return float64(n[0]) / float64(t.moving), float64(n[1]) / float64(len(t.pairs)-t.moving)
}

// overlap returns the area that lies within limit as a share of the smaller surface, or of moving
// where it is only expected to be covered in part.
func (a *aligner) overlap(t *trial, limit float64) float64 {
	m, f := t.shares(limit)
	area := (m*a.ms.area() + f*a.fs.area()) / 2
	if a.o.PartOf {
		return min(1, area/a.ms.area())
	}
	return min(1, area/min(a.ms.area(), a.fs.area()))
}
