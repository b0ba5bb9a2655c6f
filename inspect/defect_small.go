package inspect

import (
	"math"

	"fornix/mesh"
)

// small measures a pit or bleb of few vertices at a seed.
//
// Under some two and a half edges across, a sphere can no longer be grown from the vertices that
// lie on it: three or four hold any. What the vertices outside say, that the sound surface runs on
// where they are, bounds it from the other side. So sound surface and cap are laid over all the
// vertices near by together, for every place, width and depth of a net, and what is told is the mean
// and the spread of those that explain them, each weighted by its likelihood (for normal noise,
// exp(-χ²/2)). It is a fault only if it explains the vertices far better than any smooth surface of
// as many parameters (judgeSmall).
func (s *survey) small(w *walker, sd seed) pit {
	at := sd.v
	var last pit
	for turn := 0; ; turn++ {
		p := pit{sign: sd.sign, start: s.m.Pos[at], few: true}
		var f sound
		var spots []spot
		if spots, p.why = s.lowSet(w, at, sd.sign, &f); p.why == "" {
			p.why = s.fitCap(w, at, &f, spots, &p)
		}
		if p.why == "" {
			p.why = s.judgeSmall(&p)
		}
		if turn > 0 && last.why == "" && p.why != "" {
			return last
		}
		// A seed on the wall sees the far wall as surroundings: once more from the middle.
		middle := at
		for _, q := range spots {
			if p.a > 0 && q.x.Dist(p.foot) < s.m.Pos[middle].Dist(p.foot) {
				middle = q.v
			}
		}
		if middle == at || turn == 2 {
			return p
		}
		at, last = middle, p
	}
}

// spot is a vertex near a small pit.
type spot struct {
	v       mesh.VertexID
	x, s    Vec     // the vertex, and the sound surface over the same place
	low     float64 // under the sound surface; bleb: over it
	u, t, z float64 // in the frame of the sound surface
	pit     bool    // one of those that lie low, joined to the seed
}

const (
	few        = 1.4 // edges, radius under which what is grown is not sure
	smallReach = 4.0 // edges, of the surroundings
	smallWide  = 1.7 // edges, largest radius of an opening
)

// lowSet fits the sound surface round a seed and returns the vertices near by, those that lie low
// and hang together with the seed marked.
func (s *survey) lowSet(w *walker, seed mesh.VertexID, sign float64, f *sound) ([]spot, string) {
	edge := float64(s.pitch[seed])
	patch := w.ball(seed, smallReach*edge)
	var axis Vec
	tissue := 0
	for _, x := range patch {
		axis = axis.Add(s.nor[x])
		if s.part[x] == PartTissue || s.part[x] == PartBorder {
			tissue++
		}
		for _, c := range s.m.CornersAt(x) {
			if s.m.Across[c.Next()] == mesh.OnBoundary || s.m.Across[c.Prev()] == mesh.OnBoundary {
				if s.m.Pos[x].Dist(s.m.Pos[seed]) < 2*edge {
					return nil, "at the edge"
				}
			}
		}
	}
	if 2*tissue < len(patch) {
		return nil, "not on tissue or border"
	}
	*f = sound{o: s.m.Pos[seed], n: axis.Unit()}
	// Nets are laid along e1 and e2, so these must turn with the scan.
	far, most := Vec{}, 0.0
	for _, x := range patch {
		if d := s.m.Pos[x].Sub(f.o); d.Norm2() > most {
			far, most = d, d.Norm2()
		}
	}
	f.e1 = far.Along(-far.Dot(f.n), f.n).Unit()
	f.e2 = f.n.Cross(f.e1)
	spots := make([]spot, 0, len(patch))
	at := make(map[mesh.VertexID]int, len(patch))
	for _, x := range patch {
		u, t, z := f.local(s.m.Pos[x])
		at[x] = len(spots)
		spots = append(spots, spot{v: x, x: s.m.Pos[x], u: u, t: t, z: z, pit: math.Hypot(u, t) < 1.4*edge})
	}
	floor := math.Max(s.noise, 0.01)
	for range 4 {
		w.pts = w.pts[:0]
		for i := range spots {
			if q := &spots[i]; !q.pit && s.nor[q.v].Dot(f.n) > 0.25 {
				w.pts = append(w.pts, patchPoint{u: q.u, v: q.t, z: q.z})
			}
		}
		if !f.fit(w.pts, 6, floor) {
			return nil, "no sound surface"
		}
		if f.rms > math.Max(1.5*s.noise, 0.015) && len(w.pts) >= 30 {
			g := *f
			if g.fit(w.pts, 15, floor) && g.rms < 0.7*f.rms {
				*f = g
			}
		}
		least := 3 * math.Max(floor, f.rms)
		for i := range spots {
			q := &spots[i]
			h := f.at(q.u, q.t)
			q.s, q.low, q.pit = f.world(q.u, q.t, h), sign*(h-q.z), false
		}
		if spots[0].low < least {
			return nil, "not low"
		}
		// Those joined to the seed, nearest rings first.
		spots[0].pit = true
		queue := []int{0}
		for k := 0; k < len(queue); k++ {
			for _, c := range s.m.CornersAt(spots[queue[k]].v) {
				for _, x := range [2]mesh.VertexID{s.m.Vertex(c.Next()), s.m.Vertex(c.Prev())} {
					if j, ok := at[x]; ok && !spots[j].pit && spots[j].low >= least {
						spots[j].pit = true
						queue = append(queue, j)
					}
				}
			}
		}
	}
	return spots, ""
}

// capCentre returns centre and radius of the sphere of a cap at (u, t), open to the radius a and h deep.
func (f *sound) capCentre(u, t, a, h, sign float64) (c Vec, r float64) {
	r = (float64(a*a) + float64(h*h)) / (2 * h)
	return f.world(u, t, f.at(u, t)).Along(sign*(r-h), f.normal(u, t)), r
}

// capMisfit returns the sum of squared distances of the spots from sound surface and cap together.
func (f *sound) capMisfit(spots []spot, k [4]float64, sign float64) float64 {
	if k[2] < 0.2 || k[3] < 0.05 || k[3] > 1.2*k[2] {
		return math.Inf(1)
	}
	c, r := f.capCentre(k[0], k[1], k[2], k[3], sign)
	sum := 0.0
	for i := range spots {
		q, d := &spots[i], spots[i].low
		if q.s.Sub(c).Norm2() < r*r {
			d = q.x.Dist(c) - r
			if q.low < 0 { // the far side of the sphere is no cap
				d = math.Max(math.Abs(d), -q.low)
			}
		}
		sum += float64(d * d)
	}
	return sum
}

// fitCap lays caps over the vertices and takes the mean and the spread of those that explain them.
func (s *survey) fitCap(w *walker, seed mesh.VertexID, f *sound, spots []spot, p *pit) string {
	edge := float64(s.pitch[seed])
	var cu, ct, weight, deep float64
	count := 0
	for _, q := range spots {
		if q.pit {
			cu, ct, weight = cu+float64(q.u*q.low), ct+float64(q.t*q.low), weight+q.low
			deep = math.Max(deep, q.low)
			count++
		}
	}
	cu, ct = cu/weight, ct/weight
	if count < 2 {
		return "a lone vertex"
	}
	// Only those within reach of a cap change with it.
	var near []spot
	for _, q := range spots {
		if math.Hypot(q.u-cu, q.t-ct) < (smallWide+1.2)*edge {
			near = append(near, q)
		}
	}
	misfit := func(k [4]float64) float64 { return f.capMisfit(near, k, p.sign) }
	var best [4]float64 // place, radius of the opening, depth
	least := math.Inf(1)
	for a := 0.3; a <= smallWide*edge; a += 0.12 * edge {
		for iu := -3; iu <= 3; iu++ {
			for it := -3; it <= 3; it++ {
				for _, h := range [3]float64{deep, 0.5*deep + 0.6*a, 1.2 * a} {
					k := [4]float64{cu + 0.2*edge*float64(iu), ct + 0.2*edge*float64(it), a, h}
					if x2 := misfit(k); x2 < least {
						best, least = k, x2
					}
				}
			}
		}
	}
	if math.IsInf(least, 1) || len(near) < 12 {
		return "no cap"
	}
	free, floor := float64(len(near))-4, math.Max(s.noise, 0.004)
	n := net{at: best, step: [4]float64{0.1 * edge, 0.1 * edge, 0.06 * edge, 0.1 * deep}}
	n.settle(misfit, free, floor, func(k [4]float64) {
		c, r := f.capCentre(k[0], k[1], k[2], k[3], p.sign)
		s.refit(w, f, [2][]spot{spots, near}, p.sign, func(q *spot) bool { return q.s.Dist(c) > r+0.05*edge })
	})
	p.a, p.depth = n.at[2], n.at[3]
	if p.a > smallWide*edge {
		return "wide"
	}
	p.c, p.r = f.capCentre(n.at[0], n.at[1], p.a, p.depth, p.sign)
	p.foot, p.axis = f.world(n.at[0], n.at[1], f.at(n.at[0], n.at[1])), f.normal(n.at[0], n.at[1])
	p.off, p.around, p.grain = math.Sqrt(misfit(n.at)/free), f.rms, p.a/edge
	vertices := make([]mesh.VertexID, 0, len(spots))
	p.in = p.in[:0]
	for _, q := range spots {
		vertices = append(vertices, q.v)
		if q.s.Sub(p.c).Norm2() < p.r*p.r {
			p.in = append(p.in, q.v)
		}
	}
	p.surface, p.outer = s.surfaceOf(vertices), len(spots)-len(p.in)
	// Which vertices lie inside is not known to less than a part of an edge.
	p.known = [3]float64{n.cov[2][2] + float64(0.04*0.04*edge*edge), n.cov[3][3], n.cov[2][3]}
	// Those that may as well lie on the wall say nothing of the sound surface.
	p.over, p.ring = *f, nil
	outside := p.r + 3*math.Sqrt(p.known[0])
	for _, q := range spots {
		if q.s.Dist(p.c) > outside && s.nor[q.v].Dot(f.n) > 0.25 {
			p.ring = append(p.ring, patchPoint{u: q.u, v: q.t, z: q.z, w: 1})
		}
	}
	p.near = len(near)
	return s.smoothOver(f, spots, near, free, p)
}

// smoothOver lays a smooth surface of 15 terms over all spots, as many parameters as sound surface
// and cap have and more, and tells how far those near by lie from it.
func (s *survey) smoothOver(f *sound, spots, near []spot, free float64, p *pit) string {
	pts := make([]patchPoint, 0, len(spots))
	for _, q := range spots {
		pts = append(pts, patchPoint{u: q.u, v: q.t, z: q.z})
	}
	g := *f
	if !g.plain(pts, 15) {
		return "no surroundings"
	}
	x2 := 0.0
	for _, q := range near {
		d := q.z - g.at(q.u, q.t)
		x2 += float64(d * d)
	}
	p.smooth = math.Sqrt(x2 / free)
	return ""
}

// refit fits the sound surface to the spots for which outside holds.
func (s *survey) refit(w *walker, f *sound, lists [2][]spot, sign float64, outside func(*spot) bool) {
	w.pts = w.pts[:0]
	for i := range lists[0] {
		if q := &lists[0][i]; outside(q) && s.nor[q.v].Dot(f.n) > 0.25 {
			w.pts = append(w.pts, patchPoint{u: q.u, v: q.t, z: q.z})
		}
	}
	g := *f
	if !g.fit(w.pts, f.terms, math.Max(s.noise, 0.01)) {
		return
	}
	*f = g
	for _, list := range lists {
		for i := range list {
			q := &list[i]
			h := f.at(q.u, q.t)
			q.s, q.low = f.world(q.u, q.t, h), sign*(h-q.z)
		}
	}
}

// judgeSmall says why a small pit is no fault; "" if it is one.
//
// The vertices must lie on cap and sound surface as closely as the noise lets them. And they must be
// far more likely so than on the smooth surface: if that were the truth, cap and sound surface would
// come out K times as likely at one place in K at most (Markov's inequality on the likelihood
// ratio), so K is set by the number of places looked at and by the share of sound scans that may be
// told to have a fault.
func (s *survey) judgeSmall(p *pit) string {
	by := s.by
	n := float64(p.near)
	grain := 1.15 * s.noise * (1 + 3/math.Sqrt(2*(n-4)))
	switch {
	case 2*p.a < by.MinWidthMM:
		return "width"
	case p.depth < math.Max(by.MinDepthMM, 5*s.noise):
		return "depth"
	case 2*math.Atan(p.depth/p.a)*180/math.Pi < by.CloseEdgeDeg:
		return "flat"
	case p.off > math.Max(grain, by.PitMisfit*p.depth):
		return "misfit"
	case p.around > math.Max(1.5*grain, by.SoundMisfit*p.depth):
		return "misfit around"
	case n*math.Log(p.smooth/p.off) < math.Log(float64(len(s.look))/by.FalseShare):
		return "as likely smooth"
	}
	return ""
}
