package inspect

import (
	"math"

	"fornix/mesh"
)

// Names of the landmarks of a report. Left and right are the patient's.
const (
	LabialFrenum      = "labial_frenum"
	BuccalFrenumLeft  = "buccal_frenum_left"
	BuccalFrenumRight = "buccal_frenum_right"
	LingualFrenum     = "lingual_frenum"
	IncisivePapilla   = "incisive_papilla"
	HamularNotchLeft  = "hamular_notch_left"
	HamularNotchRight = "hamular_notch_right"
	TuberosityLeft    = "tuberosity_left"
	TuberosityRight   = "tuberosity_right"
	PosteriorMidline  = "posterior_midline"
	PadFrontLeft      = "pad_front_left"
	PadFrontRight     = "pad_front_right"
	PadSummitLeft     = "pad_summit_left"
	PadSummitRight    = "pad_summit_right"
	frenumWindowMM    = 7.0  // half the widest notch that is closed to find its depth
	frenumDepthMM     = 0.5  // least depth of a notch
	frenumWidestMM    = 11.0 // at half depth; buccal notches are 4 to 8, lingual ones 5 to 10 mm wide (from memory)
	labialReachMM     = 7.0  // along the crest from the midline
	frenumShare       = 0.28 // of a notch's width, to each side of its bottom: a bell is a parabola to a twentieth of its depth there
	buccalFirstMM     = 12.0
	buccalLastMM      = 40.0
	crestOverMM       = 8.0 // to both sides of the midline: wider than an opening that leaves a crest in front
)

func (an *Anatomy) found(name string, local Vec, u float64) {
	an.keep(name, Landmark{Point: an.Frame.World(local), Source: "found", UncertaintyMM: u})
}

func (an *Anatomy) keep(name string, l Landmark) {
	l.UncertaintyMM = math.Round(l.UncertaintyMM*100) / 100
	an.Landmarks[name] = l
}

// sided returns the left or right of a pair of names.
func sided(side float64, left, right string) string {
	if side > 0 {
		return left
	}
	return right
}

// findLandmarks looks for every landmark of the jaw. What is not found is left out.
func (an *Anatomy) findLandmarks(m *mesh.Mesh, body []mesh.FaceID, out *laid, fm FrameMethod) {
	if an.Surface == Cast {
		return
	}
	fine := func(u, half float64) []section {
		return out.sections(fm.StepMM/4, u-half, u+half)
	}
	outer := notches(an.slices, func(s *slice) *apex { return s.outer })
	an.frenum(LabialFrenum, outer, -labialReachMM, labialReachMM, false, fine)
	an.frenum(BuccalFrenumLeft, outer, buccalFirstMM, buccalLastMM, false, fine)
	an.frenum(BuccalFrenumRight, outer, -buccalLastMM, -buccalFirstMM, false, fine)
	if an.Jaw == Lower {
		an.frenum(LingualFrenum, notches(an.slices, func(s *slice) *apex { return s.inner }), -labialReachMM, labialReachMM, true, fine)
	} else {
		an.midU = an.midlineU()
		an.papilla(nil)
		an.midlineEnd()
	}
	for i, side := range [2]float64{-1, 1} {
		an.ends[i] = an.archEnd(m, body, side)
		if an.ends[i] != nil {
			an.endLandmarks(an.ends[i])
		}
	}
}

// crestNear returns the crest point of the section nearest to u that has one.
func (an *Anatomy) crestNear(u float64) Vec {
	best, at := math.Inf(1), Vec{Y: an.chart.cy - an.chart.radius}
	for i := range an.slices {
		if s := &an.slices[i]; s.basin > 0 && math.Abs(s.u-u) < best {
			best, at = math.Abs(s.u-u), s.crest
		}
	}
	return at
}
