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
	buccalFirstMM     = 12.0
	buccalLastMM      = 40.0
	crestOverMM       = 8.0 // to both sides of the midline: wider than an opening that leaves a crest in front
)

func (an *Anatomy) found(name string, local Vec, u float64) {
	an.Landmarks[name] = Landmark{Point: an.Frame.World(local), Source: "found", UncertaintyMM: math.Round(u*100) / 100}
}

// sided returns the left or right of a pair of names.
func sided(side float64, left, right string) string {
	if side > 0 {
		return left
	}
	return right
}

// findLandmarks looks for every landmark of the jaw. What is not found is left out.
func (an *Anatomy) findLandmarks(m *mesh.Mesh, body []mesh.FaceID, fm FrameMethod) {
	if an.Surface == Cast {
		return
	}
	fine := func(n notch) []section {
		return sections(an.chart, m, body, an.loc, fm.StepMM/5, fm.CoreMM, n.u-2*fm.StepMM, n.u+2*fm.StepMM)
	}
	outer := notches(an.slices, func(s *slice) *apex { return s.outer })
	an.frenum(LabialFrenum, outer, -labialReachMM, labialReachMM, false, fine)
	an.frenum(BuccalFrenumLeft, outer, buccalFirstMM, buccalLastMM, false, fine)
	an.frenum(BuccalFrenumRight, outer, -buccalLastMM, -buccalFirstMM, false, fine)
	if an.Jaw == Lower {
		an.frenum(LingualFrenum, notches(an.slices, func(s *slice) *apex { return s.inner }), -labialReachMM, labialReachMM, true, fine)
	} else {
		an.papilla()
		an.midlineEnd()
	}
	for i, side := range [2]float64{-1, 1} {
		an.ends[i] = an.archEnd(m, body, side)
		if an.ends[i] != nil {
			an.endLandmarks(an.ends[i])
		}
	}
}

// notch is a dip of the border's apex line.
type notch struct {
	p            Vec
	u            float64
	depth, width float64
	flat         float64 // half the length of the stretch that is as good as its bottom
}

// notches finds the dips of a border's apex line: where it lies below its own closing (a moving
// maximum followed by a moving minimum, which bridges what is narrower than the window).
func notches(s []slice, pick func(*slice) *apex) []notch {
	var p []Vec
	var u []float64
	for i := range s {
		if a := pick(&s[i]); a != nil {
			p = append(p, a.p)
			u = append(u, s[i].u)
		}
	}
	n := len(p)
	if n < 3 {
		return nil
	}
	h := int(math.Round(frenumWindowMM / ((u[n-1] - u[0]) / float64(n-1))))
	top := make([]float64, n)
	for i := range p {
		top[i] = math.Inf(-1)
		for j := max(0, i-h); j <= min(n-1, i+h); j++ {
			top[i] = max(top[i], p[j].Z)
		}
	}
	closed := make([]float64, n)
	for i := range p {
		closed[i] = math.Inf(1)
		for j := max(0, i-h); j <= min(n-1, i+h); j++ {
			closed[i] = min(closed[i], top[j])
		}
	}
	depth := make([]float64, n)
	for i := range p {
		depth[i] = closed[i] - p[i].Z
	}
	var out []notch
	for i := 0; i < n; i++ {
		if depth[i] < frenumDepthMM {
			continue
		}
		best, j := i, i
		for ; j < n && depth[j] >= frenumDepthMM; j++ {
			if depth[j] > depth[best] {
				best = j
			}
		}
		lo, hi := best, best
		for lo > 0 && depth[lo-1] > depth[best]/2 {
			lo--
		}
		for hi < n-1 && depth[hi+1] > depth[best]/2 {
			hi++
		}
		flat := p[hi].Sub(p[lo])
		flat.Z = 0
		mid, level := bottomOf(depth, lo, hi, best)
		k := min(int(mid), n-2)
		t := mid - float64(k)
		out = append(out, notch{p: p[k].Along(t, p[k+1].Sub(p[k])), u: u[k] + t*(u[k+1]-u[k]), depth: depth[k] + t*(depth[k+1]-depth[k]), width: flat.Norm(), flat: p[level[0]].Dist(p[level[1]]) / 2})
		i = j
	}
	return out
}

// bottomOf returns the middle of the samples between lo and hi that lie within flatMM of the
// deepest, and their first and last: noise must not choose among the places of a flat bottom.
func bottomOf(depth []float64, lo, hi, deepest int) (mid float64, level [2]int) {
	const flatMM = 0.08
	sum, n := 0.0, 0.0
	level = [2]int{deepest, deepest}
	for i := lo; i <= hi; i++ {
		if w := depth[i] - depth[deepest] + flatMM; w > 0 {
			sum += w * float64(i)
			n += w
			level = [2]int{min(level[0], i), max(level[1], i)}
		}
	}
	return sum / n, level
}

// frenum takes the deepest notch whose place along the crest lies between lo and hi.
// The bottom is then looked for in finer sections, as the notch of a labial frenum is narrow.
func (an *Anatomy) frenum(name string, n []notch, lo, hi float64, inner bool, fine func(notch) []section) {
	best := -1
	for i := range n {
		if n[i].width <= frenumWidestMM && n[i].u >= lo && n[i].u <= hi && (best < 0 || n[i].depth > n[best].depth) {
			best = i
		}
	}
	if best < 0 {
		return
	}
	at := n[best].p
	_, rho := an.chart.at(an.crestNear(n[best].u))
	if secs := fine(n[best]); n[best].flat <= 2*an.step && len(secs) > 0 {
		for i := range secs {
			s := slice{section: secs[i]}
			a := s.apexIn(rho, math.Inf(1), an.fm.ApexMM)
			if inner {
				a = s.apexIn(0, rho, an.fm.ApexMM)
			}
			if a != nil && a.p.Z < at.Z {
				at = a.p
			}
		}
	}
	// Across the border the roll's top is level for r·sqrt(2h/r) on a height of h: noise and sag.
	g := an.grain
	across := math.Sqrt(2 * rollRadiusMM * (g.NoiseMM + g.sag(rollRadiusMM)))
	an.found(name, at, expanded(rectangle(n[best].flat), rectangle(an.step/2), g.EdgeMM/2, rectangle(across)))
	l := an.Landmarks[name]
	l.WidthMM, l.DepthMM = n[best].width, n[best].depth
	// Both flanks of a notch are read between sections; its bottom and its shoulder are two points.
	l.WidthUMM = expanded(rectangle(an.step), rectangle(an.step), an.grain.NoiseMM*n[best].width/n[best].depth)
	l.DepthUMM = expanded(an.grain.NoiseMM, an.grain.NoiseMM, rectangle(2*an.grain.sag(rollRadiusMM)))
	an.Landmarks[name] = l
}

// papilla looks behind the crest at the midline for the pit that the incisive papilla leaves:
// where the middle lies deepest below what stands 2.5 to 4.5 mm to both sides at the same
// distance from the arch's centre, so that neither the arch's curve nor its slope counts.
func (an *Anatomy) papilla() {
	var mid, beside []*slice
	var crests []float64
	for i := range an.slices {
		s := &an.slices[i]
		switch a := math.Abs(s.u); {
		case a <= 1:
			mid = append(mid, s)
		case a >= 2.5 && a <= 4.5:
			beside = append(beside, s)
		}
		// Through an opening in front a section's own crest may be no crest.
		if s.basin > 0 && math.Abs(s.u) <= crestOverMM {
			_, rho := an.chart.at(s.crest)
			crests = append(crests, rho)
		}
	}
	crest := median(crests)
	if math.IsNaN(crest) || len(mid) == 0 || len(beside) == 0 {
		return
	}
	at := func(s []*slice, k int) float64 {
		var sum, n float64
		for _, q := range s {
			for j := max(0, k-3); j <= k+3; j++ {
				if j < len(q.env) && !math.IsNaN(q.env[j]) {
					sum += q.env[j]
					n++
				}
			}
		}
		return sum / n
	}
	var dip []float64
	best, bestK, first := 0.0, -1, max(0, int((crest-11)/envBin))
	for k := first; k < int((crest-1.5)/envBin); k++ {
		// The sideways distance shrinks toward the centre; the pit is compared over the same
		// angle, which is near enough over these few millimetres.
		d := at(beside, k) - at(mid, k)
		dip = append(dip, d)
		if d > best {
			best, bestK = d, k
		}
	}
	if bestK < 0 || best < 0.1 {
		return
	}
	// A void farther back may be deeper: the papilla is the first pit behind the crest that is
	// anywhere near as deep, and the deepest place within a millimetre.
	const around = int(1 / envBin)
	for k := len(dip) - 1; k >= 0; k-- {
		if dip[k] < max(0.1, 0.3*best) {
			continue
		}
		top := k
		for j := max(0, k-around); j < min(len(dip), k+around+1); j++ {
			if dip[j] > dip[top] {
				top = j
			}
		}
		if top == k {
			best, bestK = dip[k], first+k
			break
		}
	}
	base, out, _ := an.chart.cut(0)
	p := base.Along((float64(bestK)+0.5)*envBin, out)
	p.Z = at(mid, bestK)
	// As good as the deepest place is what is not shallower by more than noise can make it.
	near := 0
	for _, d := range dip {
		if d > best-0.05-an.grain.NoiseMM {
			near++
		}
	}
	an.found(IncisivePapilla, p, expanded(rectangle(float64(near)*envBin/2), rectangle(2*an.step)))
}

// midlineEnd is the material's rearmost point at the midline.
func (an *Anatomy) midlineEnd() {
	var at *slice
	for i := range an.rear {
		if s := &an.rear[i]; at == nil || math.Abs(s.u) < math.Abs(at.u) {
			at = s
		}
	}
	if at == nil || math.Abs(at.u) > 2 {
		return
	}
	tip := at.outer.p
	for _, c := range at.contours {
		for _, p := range c.pts {
			if p.Y > tip.Y {
				tip = p
			}
		}
	}
	// The rounded end is level for some way up and down: r·sqrt(2·noise/r) on a radius r.
	an.found(PosteriorMidline, tip, expanded(rectangle(an.step), an.grain.EdgeMM/2, math.Sqrt(2*rollRadiusMM*(an.grain.NoiseMM+an.grain.sag(rollRadiusMM)))))
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
