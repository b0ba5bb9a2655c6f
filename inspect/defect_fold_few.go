package inspect

import (
	"math"

	"fornix/mesh"
)

// The widths with which the look of a groove of few vertices begins: half of them, in mean edge lengths.
var fewHalves = [...]float64{0.9, 1.2, 1.5, 1.8}

// fewSection measures the cross-section of a groove in which no cylinder lies, because few vertices show it or the
// sound surface bends along it. As of a small pit (small) sound surface and groove are laid over the
// vertices together, by how far they lie under that surface, for every place across, turn, width and depth of a net; and
// it is one only if it explains them far better than any smooth surface of as many parameters.
func (s *survey) fewSection(w *walker, v mesh.VertexID, t Vec) pit {
	edge := float64(s.pitch[v])
	if !s.mayBeFew(edge) {
		return pit{why: "many vertices"}
	}
	best, least := pit{why: "no groove"}, math.Inf(1)
	var by strip
	var k [4]float64
	tried := 0.0
	for _, half := range fewHalves {
		a := math.Max(s.by.MinWidthMM/2, half*edge)
		if a == tried {
			continue
		}
		tried = a
		p := pit{sign: 1, along: t, a: a, few: true, start: s.m.Pos[v], half: math.Max(0.4, 1.5*edge)}
		q, ok := s.strip(w, v, &p, edge)
		if !ok || len(q.low) < 12 || q.deepest() < s.by.MinDepthMM {
			continue
		}
		if at, x2 := grooveBest(q.low, p.a); x2/float64(len(q.low)) < least {
			best, least, by, k = p, x2/float64(len(q.low)), q, at
		}
	}
	if best.why != "" {
		return best
	}
	free := float64(len(by.low)) - 4
	best.near, best.around, best.outer = len(by.low), by.f.rms, by.ring
	best.smooth = by.smooth(free)
	// A likelihood as judgeSmall asks for wants less than 0.7 of the misfit even of 40 vertices, more than there are.
	if best.off = math.Sqrt(least * float64(len(by.low)) / free); best.off > 0.7*best.smooth {
		best.why = "as likely smooth"
		return best
	}
	g := net{at: k, step: [4]float64{0.1 * edge, 0.08, 0.06 * edge, 0.1 * k[3]}}
	g.settle(func(k [4]float64) float64 { return grooveMisfit(by.low, k) }, free, math.Max(s.noise, 0.004), func([4]float64) {})
	k = g.at
	best.a, best.depth = k[2], k[3]
	best.r = (float64(best.a*best.a) + float64(best.depth*best.depth)) / (2 * best.depth)
	// Which vertices lie inside is not known to less than a part of an edge.
	best.known = [3]float64{g.cov[2][2] + float64(0.04*0.04*edge*edge), g.cov[3][3], g.cov[2][3]}
	best.off, best.grain = math.Sqrt(grooveMisfit(by.low, k)/free), best.a/edge
	best.why = s.judgeSmall(&best)
	sin, cos := math.Sincos(k[1])
	shift := k[0] / cos
	best.foot, best.axis = by.f.world(0, shift, by.f.at(0, shift)), by.f.normal(0, shift)
	t = by.f.e1.Along(sin/cos, by.f.e2)
	best.along = t.Along(-t.Dot(best.axis), best.axis).Unit()
	for i, x := range by.v {
		if math.Abs(float64(cos*by.low[i].v)-float64(sin*by.low[i].u)-k[0]) < best.a {
			best.in = append(best.in, x)
		}
	}
	if len(best.in) < 4 {
		best.why = "few vertices"
	}
	return best
}

// strip is a slab across a groove: the sound surface fitted to what lies to both sides of it, and the vertices that
// the groove may reach.
type strip struct {
	f    sound
	v    []mesh.VertexID
	low  []lowSpot    // of v
	at   []patchPoint // of v
	all  []patchPoint // those the sound surface was fitted to, and the others of at
	ring int          // the first of all
}

// strip lays the slab through v of the width and direction of p.
func (s *survey) strip(w *walker, v mesh.VertexID, p *pit, edge float64) (q strip, ok bool) {
	outer := p.a + math.Max(1, 3*edge)
	patch := w.ball(v, math.Hypot(outer, p.half)+p.a)
	var mean Vec
	kept := 0
	for _, x := range patch {
		mean = mean.Add(s.nor[x])
		if s.part[x] == PartTissue || s.part[x] == PartBorder {
			kept++
		}
	}
	if 2*kept < len(patch) {
		return q, false
	}
	p.axis, p.surface = mean.Unit(), s.surfaceOf(patch)
	f, o, floor := &q.f, s.m.Pos[v], math.Max(s.noise, 0.01)
	for range 2 {
		t := p.along.Along(-p.along.Dot(p.axis), p.axis).Unit()
		*f = sound{o: o, n: p.axis, e1: t, e2: p.axis.Cross(t)}
		q.all = q.all[:0]
		left, right := 0, 0
		for i, x := range patch {
			u, y, z := f.local(s.m.Pos[x])
			if math.Abs(u) > p.half || math.Abs(y) > outer || math.Abs(y) < p.a+0.3*edge || s.nor[x].Dot(p.axis) < 0.25 {
				continue
			}
			if y < 0 {
				left++
			} else {
				right++
			}
			q.all = append(q.all, patchPoint{u: u, v: y, z: z, i: i})
		}
		if min(left, right) < 3 || !f.fit(q.all, 6, floor) {
			return q, false
		}
		// A roll or a narrow crest bends along a groove that crosses it, by more than a quadric does.
		if f.rms > math.Max(2*s.noise, 0.02) {
			g := *f
			if g.fitAlong(q.all, floor) && g.rms < 0.6*f.rms {
				*f = g
			}
		}
		o, p.axis = f.world(0, 0, f.c[0]), f.normal(0, 0)
	}
	q.ring = len(q.all)
	fitted := make([]bool, len(patch))
	for _, r := range q.all {
		fitted[r.i] = true
	}
	for i, x := range patch {
		l := f.under(s.m.Pos[x])
		if math.Abs(l.u) > p.half || math.Abs(l.v) > p.a+0.6 || s.nor[x].Dot(p.axis) < -0.2 {
			continue
		}
		u, y, z := f.local(s.m.Pos[x])
		r := patchPoint{u: u, v: y, z: z, i: i}
		q.v, q.low, q.at = append(q.v, x), append(q.low, l), append(q.at, r)
		if !fitted[i] {
			q.all = append(q.all, r)
		}
	}
	return q, true
}

// deepest is how far the lowest of the vertices lies under the sound surface.
func (q *strip) deepest() float64 {
	low := 0.0
	for _, p := range q.low {
		low = math.Max(low, p.low)
	}
	return low
}

// smooth is how far the vertices that a groove may reach lie from the smooth surface of 15 terms over all.
func (q *strip) smooth(free float64) float64 {
	g := q.f
	if !g.plain(q.all, 15) {
		return 0
	}
	sum := 0.0
	for _, p := range q.at {
		d := p.z - g.at(p.u, p.v)
		sum += float64(d * d)
	}
	return math.Sqrt(sum / free)
}

// grooveMisfit is the sum of the squared distances of spots from sound surface and groove together: its offset across,
// its turn, half of its width, its depth.
func grooveMisfit(spots []lowSpot, k [4]float64) float64 {
	if k[2] < 0.2 || k[3] < 0.05 || k[3] > 1.2*k[2] {
		return math.Inf(1)
	}
	r := (float64(k[2]*k[2]) + float64(k[3]*k[3])) / (2 * k[3])
	sin, cos := math.Sincos(k[1])
	sum := 0.0
	for _, p := range spots {
		y, z := float64(cos*p.v)-float64(sin*p.u)-k[0], p.low+r-k[3]
		d := math.Min(p.low, math.Sqrt(float64(y*y)+float64(z*z))-r)
		sum += float64(d * d)
	}
	return sum
}

// grooveBest is the groove of a given width that lies closest to the spots.
func grooveBest(spots []lowSpot, a float64) ([4]float64, float64) {
	best, least := [4]float64{0, 0, a, 0.7 * a}, math.Inf(1)
	across, bend := a, carryTurn
	for range 2 {
		from := best
		for i := -5; i <= 5; i++ {
			for j := -5; j <= 5; j++ {
				k := [4]float64{from[0] + across*float64(i)/5, from[1] + bend*float64(j)/5, a, from[3]}
				if x := grooveMisfit(spots, k); x < least {
					best, least = k, x
				}
			}
		}
		from = best
		for i := range 13 {
			k := from
			k[3] = a * (0.4 + 0.06*float64(i))
			if x := grooveMisfit(spots, k); x < least {
				best, least = k, x
			}
		}
		across, bend = across/4, bend/4
	}
	return best, least
}
