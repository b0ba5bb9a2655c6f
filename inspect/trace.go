package inspect

import (
	"math"
	"slices"

	"fornix/mesh"
)

// slice is what one section across the arch shows: its upper envelope (the surface seen from
// the tissue side), the crest, and the border's apexes.
type slice struct {
	section
	env     []float64 // highest z by rho bin; NaN where there is none
	water   []float64 // depth of the basin by bin
	crest   Vec       // the ridge crest: bottom of the trough, in the frame
	basin   float64   // the trough's depth there; 0: no crest
	acrossU float64   // standard uncertainty of the crest's place across the arch, mm
	crestU  float64   // and of its height
	outer   *apex     // labial or buccal border
	inner   *apex     // lingual border (lower jaw)
}

// apex is the point of a border's cross-section farthest toward the tissue.
type apex struct {
	p       Vec // in the frame
	contour int
	index   int // of the contour point nearest to p
}

const envBin = 0.2 // mm; width of the envelope's bins

// trace finds envelope, crest and apexes of every section. ridge is true for a cast, whose
// crest is a ridge: the heights are then looked at upside down and no border is sought.
//
// The crest is the deepest point of the basin that the section would hold water in, followed
// from section to section by the path of least cost (dynamic programming), so that a pit in the
// material or the palate's vault does not draw it away. seen tells the faces that show their
// front to the tissue side: through an opening the back of the far wall is no trough. Where the
// crest itself is missing over a short stretch, its course is carried over from both sides.
func trace(c layout, secs []section, jaw Jaw, ridge bool, seen func(mesh.FaceID) bool, g Grain, fm FrameMethod) []slice {
	out := make([]slice, len(secs))
	for i := range secs {
		out[i].section = secs[i]
		out[i].env = envelope(&secs[i], ridge, seen)
		out[i].water = water(out[i].env)
	}
	path := deepestPath(out)
	rho := make([]float64, len(out))
	for i := range out {
		s := &out[i]
		k := path[i]
		if k < 0 || s.water[k] < fm.BasinMM {
			rho[i] = math.NaN()
			continue
		}
		r, z, whole := s.bottom(k, fm.FloorMM)
		if !whole { // what is lowest beside an opening is its edge
			rho[i] = math.NaN()
			continue
		}
		rho[i], s.basin = r, s.water[k]
		if ridge {
			z = -z
		}
		s.crest = place(c, s.u, rho[i], z)
	}
	if ridge {
		return out
	}
	bridge(c, out, rho)
	smoothCrest(c, out, rho, g, fm)
	for i := range out {
		if s := &out[i]; !math.IsNaN(rho[i]) {
			if a := s.apexIn(rho[i], math.Inf(1), fm.ApexMM); a != nil && !s.cutOff(a) {
				s.outer = a
			}
			if jaw == Lower {
				if a := s.apexIn(0, rho[i], fm.ApexMM); a != nil && !s.cutOff(a) {
					s.inner = a
				}
			}
		}
	}
	return out
}

func place(c layout, u, rho, z float64) Vec {
	base, out, _ := c.cut(u)
	p := base.Along(rho, out)
	p.Z = z
	return p
}

// bridgeMM is the longest stretch of missing crest that is carried over: no opening that leaves
// a scan worth measuring is longer.
const bridgeMM = 12.0

// bridge fills short gaps of the crest between sections that have it, in a straight line.
func bridge(c layout, s []slice, rho []float64) {
	last := -1
	for i := range s {
		if math.IsNaN(rho[i]) {
			continue
		}
		if last >= 0 && i-last > 1 && s[i].u-s[last].u <= bridgeMM {
			for k := last + 1; k < i; k++ {
				t := float64(k-last) / float64(i-last)
				rho[k] = rho[last] + t*(rho[i]-rho[last])
				s[k].crest = place(c, s[k].u, rho[k], s[last].crest.Z+t*(s[i].crest.Z-s[last].crest.Z))
			}
		}
		last = i
	}
}

// bottom refines the trough's deepest bin: its place is the middle of the floor, of what lies
// within a height of the deepest by how much, so that a floor that is flat has a middle too; its
// height there is that of a parabola; where there is none it stays the bin. whole is false where the envelope
// is broken.
func (s *slice) bottom(k int, floor float64) (rho, z float64, whole bool) {
	const half = 1.0 // mm, of the parabola
	rho, z = (float64(k)+0.5)*envBin, s.env[k]
	lo, hi := k, k
	for lo > 0 && s.env[lo-1]-s.env[k] < 2*floor || lo > 0 && float64(k-lo)*envBin < half {
		lo--
	}
	for hi < len(s.env)-1 && (s.env[hi+1]-s.env[k] < 2*floor || float64(hi-k)*envBin < half) {
		hi++
	}
	x := make([]float64, hi-lo+1)
	for i := range x {
		x[i] = (float64(lo+i) + 0.5) * envBin
		if math.IsNaN(s.env[lo+i]) {
			return rho, z, false
		}
	}
	env := s.env[lo : hi+1]
	at := rho
	for range 4 {
		f, ok := fitLocal(x, env, nil, at, half)
		if !ok {
			return rho, z, true
		}
		deepest := f.c[0]
		if f.c[2] > 0 {
			deepest -= min(f.c[1]*f.c[1]/(4*f.c[2]), floor)
		}
		var sum, n float64
		for i, v := range env {
			if w := floor - (v - deepest); w > 0 {
				sum, n = sum+w*x[i], n+w
			}
		}
		if n == 0 {
			return rho, z, true
		}
		at = sum / n
	}
	f, ok := fitLocal(x, env, nil, at, half)
	if !ok {
		return rho, z, true
	}
	return at, f.c[0], true
}

// envelope returns the highest z over the middle of each bin of rho. Points between the middles
// do not count: one that rounding moves over the edge of its bin would make the crest jump. Where what
// lies highest shows its back, as the far wall does through an opening, nothing is seen of what lies below it. Of a
// cast such faces do not count at all.
func envelope(s *section, ridge bool, seen func(mesh.FaceID) bool) []float64 {
	var far float64
	for _, c := range s.contours {
		for _, r := range c.rho {
			far = max(far, r)
		}
	}
	env := make([]float64, int(far/envBin)+1)
	for i := range env {
		env[i] = math.NaN()
	}
	top := slices.Clone(env)
	put := func(k int, z float64, shows bool) {
		if k < 0 || k >= len(env) || top[k] >= z {
			return
		}
		if top[k], env[k] = z, math.NaN(); shows {
			env[k] = z
		}
	}
	sign := 1.0
	if ridge {
		sign = -1
	}
	for _, c := range s.contours {
		for i, f := range c.faces {
			shows := seen(f)
			if ridge && !shows {
				continue
			}
			j := (i + 1) % len(c.pts)
			r0, r1, z0, z1 := c.rho[i], c.rho[j], c.pts[i].Z, c.pts[j].Z
			if r1 < r0 {
				r0, r1, z0, z1 = r1, r0, z1, z0
			}
			for k := int(r0 / envBin); k <= int(r1/envBin); k++ {
				mid := (float64(k) + 0.5) * envBin
				if mid >= r0 && mid <= r1 && r1 > r0 {
					put(k, sign*(z0+(z1-z0)*(mid-r0)/(r1-r0)), shows)
				}
			}
		}
	}
	return env
}

// water returns the depth to which each bin would be under water; 0 where empty.
func water(z []float64) []float64 {
	w := make([]float64, len(z))
	right := math.Inf(-1)
	for i := len(z) - 1; i >= 0; i-- {
		if z[i] > right {
			right = z[i]
		}
		w[i] = right
	}
	left := math.Inf(-1)
	for i, v := range z {
		if v > left {
			left = v
		}
		d := min(left, w[i]) - v
		if !(d > 0) {
			d = 0
		}
		w[i] = d
	}
	return w
}

// deepestPath returns one bin per section, -1 where the section is empty: the path through the
// sections that gathers the most depth for the least sideways movement.
func deepestPath(s []slice) []int {
	const reach = 8    // bins that the path may move from one section to the next
	const stiff = 0.08 // cost of moving one bin, grows with the square
	n := 0
	for i := range s {
		n = max(n, len(s[i].water))
	}
	best := make([]float64, n)
	next := make([]float64, n)
	from := make([][]int16, len(s))
	for i := range s {
		from[i] = make([]int16, n)
		for k := range n {
			b, at := math.Inf(-1), 0
			for j := max(0, k-reach); j <= min(n-1, k+reach); j++ {
				if v := best[j] - stiff*float64((j-k)*(j-k)); v > b {
					b, at = v, j
				}
			}
			w := 0.0
			if k < len(s[i].water) {
				w = s[i].water[k]
			}
			next[k], from[i][k] = b+w, int16(at)
		}
		best, next = next, best
	}
	path := make([]int, len(s))
	if n == 0 {
		return path
	}
	k := 0
	for j := range best {
		if best[j] > best[k] {
			k = j
		}
	}
	for i := len(s) - 1; i >= 0; i-- {
		path[i] = k
		if k >= len(s[i].water) {
			path[i] = -1
		}
		k = int(from[i][k])
	}
	return path
}

// step moves along the contour from index i in direction dir (+1, -1); ok is false at an end.
func (c *contour) step(i, dir int) (int, bool) {
	j := i + dir
	n := len(c.pts)
	if c.closed {
		return (j + n) % n, true
	}
	return j, j >= 0 && j < n
}

// segment returns the face of the segment from point i in direction dir.
func (c *contour) segment(i, dir int) mesh.FaceID {
	if dir < 0 {
		i--
	}
	return c.faces[(i+len(c.faces))%len(c.faces)]
}

// cutOff reports that the contour stops at the point, to within what rounding moves it.
func (s *slice) cutOff(a *apex) bool {
	const nearMM = 0.1
	c := &s.contours[a.contour]
	for _, dir := range [2]int{1, -1} {
		i, walked := a.index, 0.0
		for walked < nearMM {
			j, ok := c.step(i, dir)
			if !ok {
				return true
			}
			walked += c.pts[i].Dist(c.pts[j])
			if i = j; i == a.index {
				break
			}
		}
	}
	return false
}

// inward returns the direction along the contour that leads from the apex to the crest: the one
// that comes nearer to it within the length given; 0 where neither does (a broken contour).
func (s *slice) inward(a *apex, within float64) int {
	c := &s.contours[a.contour]
	goal := s.crest
	best, dir := math.Inf(1), 0
	for _, d := range [2]int{1, -1} {
		i, walked := a.index, 0.0
		for walked < within {
			j, ok := c.step(i, d)
			if !ok || j == a.index {
				break
			}
			walked += c.pts[i].Dist(c.pts[j])
			i = j
			if e := c.pts[i].Dist(goal) + 0.2*walked; e < best {
				best, dir = e, d
			}
		}
	}
	return dir
}
