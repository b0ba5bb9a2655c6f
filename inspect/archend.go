package inspect

import (
	"math"

	"fornix/mesh"
)

// archEnd is the profile of the tissue surface over the rear end of one side of the arch, on
// the line that continues the crest: t is the distance along that line, z toward the tissue.
type archEnd struct {
	side      float64 // -1 right, 1 left
	base, dir Vec     // of the line, in the frame, level
	t, z      []float64
	rear      float64 // t of the material's rearmost point on the line
	rearPoint Vec     // the rearmost within rearHalfMM to both sides of it
	roll      float64 // radius of the rounded end; 0 where the surface just stops
	partial   bool    // of the rounded end the tissue side alone was scanned
	cutOff    bool    // the scan stops before the material's end, which may lie anywhere behind it

	limit       float64 // t up to which the profile is tissue surface, before the rounded end
	slopeAt     float64 // steepest slope of the last stretch, over the notch or the pad
	kneeT, topT float64 // where the profile leaves the crest, and its summit (or the limit)
	reached     bool    // the summit is on the scan
	unsure      bool    // or it may be: the scan shows too little of the rounded end to tell

	leanU               float64 // standard uncertainty of the crest's place sideways, alike all along the line, of how the trough leans
	bow                 float64 // lower: half the bend of the crest over the stretch that gives the line, per mm
	lineT, lineU, turnU float64 // t of the last crest point on the line; standard uncertainties there sideways, and of its direction
	topU, kneeU         float64 // standard uncertainties of topT and kneeT along the line, of topT for all but how the way to the tissue leans
	topLean             float64 // mm by which topT moves ahead, per radian that the way to the tissue leans forward
}

const (
	endLevelMM = 14.0 // longest notch or pad, so that the crest ahead of it is level
	endLeaveMM = 1.0  // the crest has left that level when it is this far from it
	endLineMM  = 8.0  // length of crest that gives the line its direction
	endBackMM  = 26.0 // how far ahead of the end the profile begins
	archTurn   = 0.03 // standard deviation of how much the arch turns behind that stretch (from memory: nearly straight)
	slopeMM    = 0.8  // half the length over which a slope is taken
	padShare   = 0.5  // share of the steepest slope below which a pad's summit is reached
	notchShare = 0.2  // the same for the ridge of a hamular notch: half-way between ends that stop short of it and ends that pass it by their own radius
	partialMM  = 1.5  // how much of the rounded end its radius is taken from where the tissue side alone was scanned: a quarter turn of the smallest
	ownTop     = 0.75 // share of the rounded end's bend from which on a level place is the end's own top
	pitMM      = 2.5  // half the width of pits that are filled in the profile: voids on the crest are no slope
	gridMM     = 0.1  // spacing of the profile
	floorMM    = 2.0  // half the width of the trough's floor over which its bend is taken
	rearHalfMM = 3.0  // how far to both sides of the line the material behind a notch or pad is looked at: a pad is 8 mm wide (7.94 SD 2.09, Lopez et al. 2008)
)

// archEnd cuts the surface along the line through the last crest points of a side.
func (an *Anatomy) archEnd(m *mesh.Mesh, body []mesh.FaceID, side float64) *archEnd {
	last := an.lastCrest(side)
	if last == nil {
		return nil
	}
	var crest []Vec
	var level, across, lean []float64
	for i := range an.slices {
		if s := &an.slices[i]; s.basin > 0 && s.u*side > 0 {
			crest, across = append(crest, s.crest), append(across, s.acrossU)
			if d := last.Y - s.crest.Y; d > endLevelMM && d < 2*endLevelMM {
				level = append(level, s.crest.Z)
			}
		}
	}
	// Over notch and pad the trough is too flat sideways to show where its middle runs. The
	// line that continues the crest is that of its last stretch that is still level.
	z := median(level)
	rear := math.Inf(-1)
	for _, p := range crest {
		if math.Abs(p.Z-z) < endLeaveMM {
			rear = max(rear, p.Y)
		}
	}
	var pts []Vec
	for i := range an.slices {
		s := &an.slices[i]
		if p := s.crest; s.basin > 0 && s.u*side > 0 && p.Y <= rear && p.Y > rear-endLineMM {
			pts = append(pts, p)
			if d := an.leans(s); !math.IsNaN(d) {
				lean = append(lean, d)
			}
		}
	}
	if len(pts) < 5 {
		return nil
	}
	e := &archEnd{side: side}
	// x as a line in y, by medians of pairwise slopes (Theil 1950): a stray crest point at the
	// very end must not turn it.
	var slopes []float64
	for i := range pts {
		for j := range i {
			if d := pts[i].Y - pts[j].Y; math.Abs(d) > 2 {
				slopes = append(slopes, (pts[i].X-pts[j].X)/d)
			}
		}
	}
	b := median(slopes)
	if math.IsNaN(b) {
		return nil
	}
	var icept []float64
	for _, p := range pts {
		icept = append(icept, p.X-b*p.Y)
	}
	a := median(icept)
	e.dir = Vec{X: b, Y: 1}.Unit()
	var res []float64
	for _, p := range pts {
		res = append(res, math.Abs(p.X-b*p.Y-a))
	}
	e.lineU = math.Hypot(1.4826*median(res), median(across))
	if len(lean) > 0 {
		e.leanU = median(lean)
	}
	if f, ok := bowOf(pts); ok && an.Jaw == Lower {
		e.bow = math.Abs(f)
	}
	// A line through n points over a length L turns by sd·sqrt(12/n)/L.
	e.turnU = math.Hypot(e.lineU*math.Sqrt(12/float64(len(pts)))/endLineMM, archTurn)
	y0 := last.Y - endBackMM
	e.base = Vec{X: a + b*y0, Y: y0}
	e.lineT = (rear - y0) / e.dir.Y
	along := Vec{X: -e.dir.Y, Y: e.dir.X}
	var faces []mesh.FaceID
	for _, f := range body {
		var lo, hi float64
		near := false
		for k, v := range m.Tri[f] {
			d := an.loc[v].Sub(e.base)
			h := d.Dot(along)
			if k == 0 {
				lo, hi = h, h
			}
			lo, hi = min(lo, h), max(hi, h)
			if t := d.Dot(e.dir); t > 0 {
				near = true
			}
		}
		if near && lo < 0 && hi >= 0 {
			faces = append(faces, f)
		}
	}
	cs := newSlicer(m, an.loc).cut(faces, e.base, e.dir, along)
	if !e.follow(cs, pts[len(pts)/2], an.Coverage == TwoSided) {
		return nil
	}
	e.rearPoint = an.rearmost(m, body, e)
	return e
}

// rearmost is the material's rearmost vertex behind a side of the arch: not farther than rearHalfMM
// beside the line, nor from the height of the end that the line shows.
func (an *Anatomy) rearmost(m *mesh.Mesh, body []mesh.FaceID, e *archEnd) Vec {
	far := e.rearPoint
	for _, f := range body {
		for _, v := range m.Tri[f] {
			p := an.loc[v]
			if p.Y <= far.Y || math.Abs(p.Z-e.rearPoint.Z) > rearHalfMM {
				continue
			}
			if d := p.Sub(e.base); math.Abs(d.Y*e.dir.X-d.X*e.dir.Y) <= rearHalfMM {
				far = p
			}
		}
	}
	return far
}

// follow walks the contour that passes a point of the crest, from its start to the rear end.
func (e *archEnd) follow(cs []contour, crest Vec, twoSided bool) bool {
	tl := crest.Sub(e.base).Dot(e.dir)
	var c *contour
	at, best := 0, 1.0
	for i := range cs {
		for j, p := range cs[i].pts {
			if d := math.Hypot(cs[i].rho[j]-tl, p.Z-crest.Z); d < best {
				c, at, best = &cs[i], j, d
			}
		}
	}
	if c == nil {
		return false
	}
	// Rearward is the way in which rho grows over the next millimetres.
	rear := 1
	if c.ahead(at, 1, 1) < c.ahead(at, -1, 1) {
		rear = -1
	}
	// Back to the front first, then collect on the way to the rear.
	i := at
	for c.rho[i] > 0 {
		j, ok := c.step(i, -rear)
		if !ok || j == at || c.rho[j] > c.rho[i]+1 {
			break
		}
		i = j
	}
	start := i
	e.rear = math.Inf(-1)
	var after float64
	var tip int
	round := false // the contour goes on round the material's end
	for {
		if c.rho[i] > e.rear {
			e.rear, tip, after = c.rho[i], i, 0
		}
		if len(e.t) == 0 || c.rho[i] > e.t[len(e.t)-1] {
			e.t, e.z = append(e.t, c.rho[i]), append(e.z, c.pts[i].Z)
		}
		j, ok := c.step(i, rear)
		if !ok || j == start {
			break
		}
		after += c.pts[i].Dist(c.pts[j])
		i = j
		if after > 4 {
			round = true
			break
		}
	}
	e.rearPoint = c.pts[tip]
	// A scan of the tissue side alone ends somewhere on the rounded end; where it is steep, that
	// much of the roundness is there to be fitted. One of both sides goes on round it, or is cut off.
	if n := len(e.t); round || !twoSided && n > 3 && math.Abs(e.z[n-1]-e.zAt(e.rear-0.4)) > 0.4 {
		e.partial = !round
		walk := 1.0
		if e.partial {
			walk = partialMM
		}
		e.roll = c.tipRadius(tip, walk)
	}
	e.cutOff = !round && (twoSided || e.roll == 0)
	e.limit = e.rear - e.roll
	if len(e.t) <= 10 {
		return false
	}
	e.fillPits()
	return true
}

// fillPits samples the profile evenly and closes it: a moving maximum, then a moving minimum.
// Pits narrower than the window are gone; a level stretch that rises or falls is as it was.
// Ahead the profile goes on as it begins, behind its end there is nothing.
func (e *archEnd) fillPits() {
	h := int(pitMM / gridMM)
	n := int((e.t[len(e.t)-1] - e.t[0]) / gridMM)
	t, z := make([]float64, n), make([]float64, n)
	at := func(i int) float64 {
		if i >= n {
			return math.Inf(-1)
		}
		return z[max(0, i)]
	}
	for i := range z {
		t[i] = e.t[0] + float64(i)*gridMM
		z[i] = e.zAt(t[i])
	}
	top := make([]float64, n+2*h) // top[i+h] is the maximum about i
	for i := range top {
		top[i] = math.Inf(-1)
		for k := i - 2*h; k <= i; k++ {
			top[i] = max(top[i], at(k))
		}
	}
	closed := make([]float64, n)
	for i := range closed {
		closed[i] = math.Inf(1)
		for _, v := range top[i : i+2*h+1] {
			closed[i] = min(closed[i], v)
		}
	}
	e.t, e.z = t, closed
}

// ahead returns rho at the given walking distance from i in direction dir.
func (c *contour) ahead(i, dir int, dist float64) float64 {
	for dist > 0 {
		j, ok := c.step(i, dir)
		if !ok {
			break
		}
		dist -= c.pts[i].Dist(c.pts[j])
		i = j
	}
	return c.rho[i]
}

// tipRadius fits a circle (Kåsa 1976) to the contour within so much walking to both sides of its
// tip, and returns its radius, kept between 0.3 and 3 mm.
func (c *contour) tipRadius(tip int, walk float64) float64 {
	var x, z []float64
	for _, dir := range [2]int{1, -1} {
		i, walked := tip, 0.0
		for walked < walk {
			x, z = append(x, c.rho[i]-c.rho[tip]), append(z, c.pts[i].Z-c.pts[tip].Z)
			j, ok := c.step(i, dir)
			if !ok {
				break
			}
			walked += c.pts[i].Dist(c.pts[j])
			i = j
		}
	}
	_, _, r, ok := fitCircle(x, z, nil)
	if !ok {
		return 1.5
	}
	return max(0.3, min(3, r))
}

// zAt interpolates the profile; NaN outside.
func (e *archEnd) zAt(t float64) float64 {
	n := len(e.t)
	if n == 0 || t < e.t[0] || t > e.t[n-1] {
		return math.NaN()
	}
	lo, hi := 0, n-1
	for hi-lo > 1 {
		if k := (lo + hi) / 2; e.t[k] <= t {
			lo = k
		} else {
			hi = k
		}
	}
	if e.t[hi] == e.t[lo] {
		return e.z[lo]
	}
	return e.z[lo] + (e.z[hi]-e.z[lo])*(t-e.t[lo])/(e.t[hi]-e.t[lo])
}

// slope fits the profile's slope over slopeMM to both sides of t, but not past the limit.
func (e *archEnd) slope(t float64) float64 {
	return e.slopeOver(t-slopeMM, min(t+slopeMM, e.limit))
}

// slopeOver fits a line to the profile between lo and hi; NaN where there is too little of it.
// A sample counts by how much of its cell lies between, so that none drops in or out at once.
func (e *archEnd) slopeOver(lo, hi float64) float64 {
	var n, s, sz, ss, sz2 float64
	for i, t := range e.t {
		w := min(hi, t+gridMM/2) - max(lo, t-gridMM/2)
		if w <= 0 {
			continue
		}
		n += w
		s += w * t
		sz += w * e.z[i]
		ss += w * t * t
		sz2 += w * t * e.z[i]
	}
	d := n*ss - s*s
	if n < 3*gridMM || d <= 1e-9 {
		return math.NaN()
	}
	return (n*sz2 - s*sz) / d
}

// passes goes from one place of the profile to another in steps of the grid and returns where f
// first falls to the level, between two steps in a straight line; ok is false where it does not.
func passes(f func(t float64) float64, from, to, level float64) (at float64, ok bool) {
	step := math.Copysign(gridMM, to-from)
	last := f(from)
	if last <= level {
		return from, true
	}
	for t := from + step; (to-t)*step >= 0; t += step {
		v := f(t)
		if v <= level {
			if math.IsNaN(last) {
				return t, true
			}
			return t - step*(level-v)/(last-v), true
		}
		if !math.IsNaN(v) {
			last = v
		}
	}
	return to, false
}
