package inspect

import "math"

// regionBounds are the places along the crest at which one region ends and the next begins.
type regionBounds struct {
	frenum   [2]float64 // |u| of the buccal frena, right and left
	end      [2]float64 // |u| of the rear end
	knee     [2]float64 // |u| of tuberosity or front of the pad
	crestRho func(u float64) float64
}

// Without a frenum in the border the labial region ends where the first premolar would stand:
// about 22 mm along the crest from the midline (common practice).
const frenumUsualMM = 22.0

func sideIndex(u float64) int {
	if u < 0 {
		return 0
	}
	return 1
}

func (an *Anatomy) setRegionBounds() {
	b := &an.bounds
	// A station that is a landmark itself lies behind it, whatever rounding says.
	const slack = 0.01
	names := [2]string{BuccalFrenumRight, BuccalFrenumLeft}
	knees := [2]string{TuberosityRight, TuberosityLeft}
	if an.Jaw == Lower {
		knees = [2]string{PadFrontRight, PadFrontLeft}
	}
	for i, side := range [2]float64{-1, 1} {
		b.frenum[i] = frenumUsualMM
		if l, ok := an.Landmarks[names[i]]; ok {
			u, _ := an.chart.at(an.Frame.Local(l.Point))
			b.frenum[i] = math.Abs(u) - slack
		}
		b.end[i] = an.chart.radius * math.Pi / 2
		if c := an.lastCrest(side); c != nil {
			u, _ := an.chart.at(*c)
			b.end[i] = math.Abs(u)
		}
		b.knee[i] = b.end[i] - 10
		if l, ok := an.Landmarks[knees[i]]; ok {
			u, _ := an.chart.at(an.Frame.Local(l.Point))
			b.knee[i] = math.Abs(u)
		}
	}
	// The crest's distance from the centre by section, carried on over gaps.
	n := len(an.slices)
	rho := make([]float64, n)
	last := math.NaN()
	for i := range an.slices {
		if an.slices[i].basin > 0 {
			_, last = an.chart.at(an.slices[i].crest)
		}
		rho[i] = last
	}
	for i := n - 1; i >= 0; i-- {
		if math.IsNaN(rho[i]) && i+1 < n {
			rho[i] = rho[i+1]
		}
	}
	b.crestRho = func(u float64) float64 {
		if n == 0 {
			return an.chart.radius
		}
		step := 1.0
		if n > 1 {
			step = an.slices[1].u - an.slices[0].u
		}
		i := int(math.Round((u - an.slices[0].u) / step))
		r := rho[max(0, min(n-1, i))]
		if math.IsNaN(r) {
			return an.chart.radius
		}
		return r
	}
	an.region = an.regionOf
}

func sideName(u float64) string {
	if u < 0 {
		return " right"
	}
	return " left"
}

// borderRegion names the region of a place on the border. The outer border of an upper is
// labial to the buccal frena, then buccal, zygomatic (about the first molar) and distobuccal
// (beside the tuberosity); of a lower labial, buccal and masseteric; the inner border of a
// lower is sublingual in front, then mylohyoid and retromylohyoid. Thirds behind the frenum
// stand where no landmark marks the change (common practice).
func (an *Anatomy) borderRegion(side string, p Vec) string {
	u, _ := an.chart.at(p)
	i := sideIndex(u)
	a := math.Abs(u)
	b := &an.bounds
	f, end, knee := b.frenum[i], b.end[i], b.knee[i]
	switch side {
	case "posterior":
		if l, ok := an.Landmarks[sided(u, HamularNotchLeft, HamularNotchRight)]; ok {
			if math.Abs(an.Frame.Local(l.Point).X-p.X) < 4 {
				return "hamular notch" + sideName(u)
			}
		}
		return "posterior palatal"
	case "lingual":
		switch {
		case a < f:
			return "sublingual"
		case a < f+(end-f)*0.6:
			return "mylohyoid" + sideName(u)
		}
		return "retromylohyoid" + sideName(u)
	}
	switch {
	case a < f:
		return "labial"
	case an.Jaw == Lower && a < knee-3:
		return "buccal" + sideName(u)
	case an.Jaw == Lower:
		return "masseteric" + sideName(u)
	case a < f+(end-f)*0.35:
		return "buccal" + sideName(u)
	case a < f+(end-f)*0.6:
		return "zygomatic" + sideName(u)
	}
	return "distobuccal" + sideName(u)
}

// crestHalfMM is half the width of the residual ridge's crest (domain figures: ridge 8-12 mm
// wide in the upper, 5-9 in the lower jaw; from memory).
const crestHalfMM = 3.0

// regionOf names the region of any point of the scan.
func (an *Anatomy) regionOf(world Vec) string {
	p := an.Frame.Local(world)
	near := func(name string, r float64) bool {
		l, ok := an.Landmarks[name]
		if !ok {
			return false
		}
		d := an.Frame.Local(l.Point).Sub(p)
		return math.Hypot(d.X, d.Y) <= r
	}
	u, rho := an.chart.at(p)
	i, a := sideIndex(u), math.Abs(u)
	side := sideName(u)
	d := rho - an.bounds.crestRho(u)
	if an.Jaw == Upper {
		switch {
		case near(IncisivePapilla, 4):
			return "incisive papilla"
		case near(sided(u, HamularNotchLeft, HamularNotchRight), 4):
			return "hamular notch" + side
		case an.nearRear(p) && d < -crestHalfMM:
			return "posterior palatal seal"
		}
	} else if a > an.bounds.knee[i] {
		return "retromolar pad" + side
	}
	behind := a > an.bounds.frenum[i]
	switch {
	case math.Abs(d) <= crestHalfMM && !behind:
		return "ridge crest anterior"
	case math.Abs(d) <= crestHalfMM && an.Jaw == Upper && a > an.bounds.knee[i]-6:
		return "tuberosity" + side
	case math.Abs(d) <= crestHalfMM:
		return "ridge crest" + side
	case d > 0 && !behind:
		return "labial slope"
	case d > 0:
		return "buccal slope" + side
	case an.Jaw == Lower && !behind:
		return "lingual slope anterior"
	case an.Jaw == Lower:
		return "lingual slope" + side
	case d > -8:
		return "palatal slope" + side
	case !behind || p.Y < 0:
		return "anterior palate"
	}
	return "palate"
}

// sealMM is how far the posterior palatal seal reaches in front of the border (from memory: 4
// to 6 mm at its widest).
const sealMM = 5.0

func (an *Anatomy) nearRear(p Vec) bool {
	for i := range an.rear {
		q := an.rear[i].outer.p
		if math.Hypot(q.X-p.X, q.Y-p.Y) <= sealMM {
			return true
		}
	}
	return false
}
