package inspect

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
)

// fold is a long groove with sharp edges.
type fold struct {
	path                         []Vec // its middle line on the sound surface, from end to end
	centre, normal               Vec
	length, width, depth, volume float64
	surface                      string
	in                           []mesh.VertexID // within reach of it
	why                          string          // why it is none
	doubt                        doubt
	lengthU                      float64 // expanded uncertainty, mm
}

// findFolds tests a cross-section wherever a groove is deepest within its neighbourhood and
// follows the sharp-edged ones both ways; each fold found takes its surroundings out of the
// search.
func (s *survey) findFolds() []fold {
	floor := make([]bool, len(s.grooves))
	first := make([]pit, len(s.grooves))
	s.each(len(s.grooves), func(w *walker, i int) {
		v := s.grooves[i]
		for _, x := range w.ball(v, math.Max(0.7, 1.2*float64(s.edge[v]))) {
			if s.groove[x] > s.groove[v] || s.groove[x] == s.groove[v] && x < v {
				return
			}
		}
		if math.Abs(float64(s.weak[v])) > 0.5*float64(s.groove[v]) {
			return
		}
		floor[i] = true
		if first[i] = s.firstSection(w, v); first[i].why != "" && s.mayBeFew(float64(s.pitch[v])) {
			first[i] = s.besideSection(w, v, first[i])
		}
	})
	w := s.walkers[0]
	taken := make([]bool, len(s.m.Pos))
	var out []fold
	for i, v := range s.grooves {
		if !floor[i] || first[i].why != "" || taken[v] {
			continue
		}
		// What was followed once is not followed again, be it a fold or not.
		f, ok := s.trace(w, first[i], first[i].few)
		if f.why == tooFew && !first[i].few { // the groove bends away from its straight sections
			f, ok = s.trace(w, first[i], true)
		}
		for _, x := range f.in {
			taken[x] = true
		}
		if ok {
			out = append(out, f)
		}
	}
	return s.joinFolds(out)
}

// grooveLine returns the direction of the groove at v: the one to which the normals of the
// groove's vertices nearby are most nearly at right angles, as those of a cylinder are to its
// axis.
func (s *survey) grooveLine(w *walker, v mesh.VertexID) Vec {
	near := w.ball(v, math.Max(1, 2.5*float64(s.edge[v])))
	least := 0.5 * s.groove[v]
	var mean Vec
	for _, x := range near {
		if s.groove[x] >= least {
			mean = mean.Add(s.nor[x])
		}
	}
	e1, e2 := tangents(mean.Unit())
	var a, b, c float64
	for _, x := range near {
		if s.groove[x] >= least {
			p, q := s.nor[x].Dot(e1), s.nor[x].Dot(e2)
			a += float64(p * p)
			b += float64(p * q)
			c += float64(q * q)
		}
	}
	angle := 0.5*math.Atan2(2*b, a-c) + math.Pi/2 // eigenvector of the smaller eigenvalue
	return e1.Scale(math.Cos(angle)).Along(math.Sin(angle), e2)
}

// section measures the cross-section of a groove that runs along t at v. Where no straight cylinder lies
// in it that way, it may run a little otherwise, as the cylinder's own vertices tell: where it is plainly
// deep, for shallow grooves are as often the tissue's own, and with two more unknowns more of them would pass.
func (s *survey) section(w *walker, v mesh.VertexID, t Vec) pit {
	edge := float64(s.edge[v])
	starts := [2]float64{math.Max(0.4, 1.3*edge), math.Max(0.6, 1.9*edge)}
	try := func(start float64, t Vec) pit {
		p := pit{sign: 1, along: t, half: math.Max(0.4, 1.5*edge)}
		s.measure(w, seed{v, 1}, start, &p)
		return p
	}
	var all [2]pit
	for k, start := range starts {
		if all[k] = try(start, t); all[k].why == "" {
			return all[k]
		}
	}
	for k, start := range starts {
		p := all[k]
		for range 2 {
			u, ok := s.turned(&p)
			if !ok || u.Dot(t) < 0.8 {
				break
			}
			if p = try(start, u); s.deep(&p) {
				return p
			}
		}
	}
	return all[0]
}

// deep reports whether a section is good and plainly deep.
func (s *survey) deep(p *pit) bool { return p.why == "" && p.depth >= s.by.TurnShare*2*p.a }

// firstSection is the cross-section of a groove at v, along the line that the normals give or, where there is
// none and the groove is plainly deep, turned from that: of few vertices across the normals tell the line badly.
func (s *survey) firstSection(w *walker, v mesh.VertexID) pit {
	t := s.grooveLine(w, v)
	p := s.section(w, v, t)
	if p.why == "" {
		return p
	}
	n := s.nor[v]
	t = t.Along(-t.Dot(n), n).Unit()
	side := n.Cross(t)
	for _, deg := range []float64{15, -15, 30, -30, 45, -45} {
		sin, cos := math.Sincos(deg * math.Pi / 180)
		if q := s.section(w, v, t.Scale(cos).Along(sin, side)); s.deep(&q) {
			return q
		}
	}
	if q := s.fewSection(w, v, t); s.deep(&q) {
		return q
	}
	return p
}

// besideSection is the first cross-section of a plainly deep groove at one of the next strongest vertices beside v, where that
// at v itself failed: of few vertices across, the strongest is often one whose own surroundings tell least.
func (s *survey) besideSection(w *walker, v mesh.VertexID, failed pit) pit {
	beside := slices.Clone(w.ball(v, math.Max(0.7, 1.2*float64(s.edge[v]))))
	beside = slices.DeleteFunc(beside, func(x mesh.VertexID) bool { return x == v || s.groove[x] < 0.5*s.groove[v] })
	slices.SortFunc(beside, func(a, b mesh.VertexID) int {
		return cmp.Or(cmp.Compare(s.groove[b], s.groove[a]), cmp.Compare(a, b))
	})
	for _, x := range beside[:min(3, len(beside))] {
		if q := s.firstSection(w, x); s.deep(&q) {
			return q
		}
	}
	return failed
}

// turned is the direction of the cylinder that lies closest to the vertices of p, its axis being free to
// turn: the least squares of their distances, linearized.
func (s *survey) turned(p *pit) (Vec, bool) {
	if len(p.in) < 8 || p.r == 0 {
		return Vec{}, false
	}
	n := s.nor[p.in[0]]
	up := n.Along(-n.Dot(p.along), p.along).Unit()
	side := up.Cross(p.along)
	a := make([]float64, 30)
	for _, x := range p.in {
		d := p.flat(s.m.Pos[x].Sub(p.c))
		l := d.Norm()
		y, z, along := d.Dot(side)/l, d.Dot(up)/l, s.m.Pos[x].Sub(p.start).Dot(p.along)
		j := [5]float64{y, z, 1, float64(along * y), float64(along * z)}
		for r := range 5 {
			for c := range 5 {
				a[r*6+c] += float64(j[r] * j[c])
			}
			a[r*6+5] += float64(j[r] * (l - p.r))
		}
	}
	if !solve(a, 5) {
		return Vec{}, false
	}
	return p.along.Along(a[3*6+5], side).Along(a[4*6+5], up).Unit(), true
}

// fewSections is with how many sections of its own form a groove may be a fold.
const fewSections = 3

// tooFew is why it is none else.
const tooFew = "few sections"

// trace follows a groove from a good section both ways, few: by sections of few vertices too.
func (s *survey) trace(w *walker, first pit, few bool) (fold, bool) {
	ahead := s.follow(w, first, first.along, few)
	behind := s.follow(w, first, first.along.Scale(-1), few)
	slices.Reverse(behind)
	all := append(append(behind, first), ahead...)
	if len(all) < fewSections {
		return fold{why: tooFew}, false
	}
	s.refine(w, all)
	var f fold
	var rings [7]ring
	var own []pit // sections by themselves, not by the form of the others
	var widths, depths, sharps []float64
	for _, p := range all {
		f.path = append(f.path, p.foot)
		f.in = append(f.in, p.in...)
		if p.carried {
			continue
		}
		own = append(own, p)
		for k, r := range p.rings {
			rings[k].sum += r.sum
			rings[k].n += r.n
		}
		widths, depths = append(widths, 2*p.a), append(depths, p.depth)
		if !p.few {
			sharps = append(sharps, p.sharp)
		}
	}
	if len(own) < fewSections {
		return fold{why: tooFew}, false
	}
	f.width, f.depth = median(widths), median(depths)
	// Together the sections show the form far more finely than each alone: anatomy's grooves
	// (between rugae, along a frenum) have round shoulders, which no circle with sharp edges fits.
	switch {
	case bias(rings[:], s.noise) > s.by.FoldBias*f.depth:
		f.why = "not the form"
	case len(sharps) > 0 && median(sharps) < s.by.RimSharp:
		f.why = "not sharp"
	case 2*math.Atan(2*f.depth/f.width)*180/math.Pi < s.by.CloseEdgeDeg:
		f.why = "flat"
	}
	if f.why != "" {
		return f, false
	}
	for i := range own {
		s.settle(&own[i])
		widths[i], depths[i] = 2*own[i].a, own[i].depth
		// Sections overlap: their mean is little surer than one of them.
		u := s.doubt(&own[i])
		f.doubt.width += u.width / float64(len(own))
		f.doubt.depth += u.depth / float64(len(own))
	}
	f.width, f.depth = median(widths), median(depths)
	if f.doubt.depth > s.by.DepthShare*f.depth {
		f.why = "depth not known"
		return f, false
	}
	front, frontU := s.end(w, &all[len(all)-1], f.path[len(f.path)-2], f.width, f.depth)
	back, backU := s.end(w, &all[0], f.path[1], f.width, f.depth)
	f.path = append(append([]Vec{back}, f.path...), front)
	for i := 1; i < len(f.path); i++ {
		f.length += f.path[i].Dist(f.path[i-1])
	}
	if f.length < math.Max(s.by.FoldMM, s.by.FoldRatio*f.width) {
		f.why = "short"
		return f, false
	}
	// The ends by their own fits, and half a width beyond each.
	f.lengthU = 2 * math.Sqrt(float64(frontU*frontU)+float64(backU*backU)+float64(f.doubt.width*f.doubt.width)/4)
	s.finish(w, &f, all)
	return f, true
}

// refine measures the sections again over longer pieces, now that the line is known.
func (s *survey) refine(w *walker, all []pit) {
	was := slices.Clone(all)
	for i, p := range was {
		if p.few {
			continue
		}
		// Each section's own direction, and its neighbours'.
		var t Vec
		for _, q := range was[max(0, i-1):min(len(was), i+2)] {
			t = t.Along(math.Copysign(1, q.along.Dot(p.along)), q.along)
		}
		t = t.Along(-t.Dot(p.axis), p.axis).Unit()
		if v, ok := s.nearest(w, p.in, p.foot.Along(-p.depth, p.axis), p.a); ok && t != (Vec{}) {
			edge := float64(s.edge[v])
			q := pit{sign: 1, along: t, half: math.Max(0.7, 2.5*edge)}
			s.measure(w, seed{v, 1}, math.Max(0.4, 1.3*edge), &q)
			if q.why == "" {
				all[i] = q
			}
		}
	}
}

// follow steps along t from p while sections are good; two bad ones in a row are stepped over.
func (s *survey) follow(w *walker, p pit, t Vec, few bool) []pit {
	var out []pit
	last, bad := p, 0
	at := p.foot.Along(-p.depth, p.axis) // on the floor
	for range 200 {
		edge := s.meanEdge(last.in)
		step := math.Max(0.4, edge)
		at = at.Along(step, t)
		v, ok := s.nearest(w, last.in, at, 3*step)
		if !ok {
			break
		}
		line := s.grooveLine(w, v)
		if line.Dot(t) < 0 {
			line = line.Scale(-1)
		}
		q := s.section(w, v, line)
		if q.why != "" || line.Dot(t) < 0.85 {
			q = s.section(w, v, t.Along(-t.Dot(s.nor[v]), s.nor[v]).Unit())
		}
		unlike := func() bool { return q.why != "" || math.Abs(q.a-p.a) >= 0.5*p.a+0.5*edge }
		if few && unlike() {
			q = s.fewSection(w, v, t)
		}
		if unlike() {
			q = s.carry(w, &last, s.m.Pos[v], t, &p)
		}
		good := q.why == "" && math.Abs(q.a-p.a) < 0.5*p.a+0.5*edge && q.foot.Dist(last.foot) < 3*step &&
			q.foot.Sub(last.foot).Dot(t) > 0.2*step
		if !good {
			if bad++; bad > 2 {
				break
			}
			last.in = append([]mesh.VertexID(nil), v)
			continue
		}
		bad = 0
		d := q.foot.Sub(last.foot).Unit()
		t = t.Along(1, d).Unit() // smoothed
		last = q
		at = q.foot.Along(-q.depth, q.axis)
		out = append(out, q)
	}
	return out
}

// nearest finds the vertex nearest to p among those joined to from within r of it.
func (s *survey) nearest(w *walker, from []mesh.VertexID, p Vec, r float64) (mesh.VertexID, bool) {
	best, at := math.Inf(1), mesh.VertexID(-1)
	for _, x := range w.reach(from, func(x mesh.VertexID) bool { return s.m.Pos[x].Dist(p) <= r }) {
		if d := s.m.Pos[x].Dist(p); d < best || d == best && x < at {
			best, at = d, x
		}
	}
	return at, best <= r
}

// finish fills in middle, volume and surface of a traced fold and the vertices near it.
func (s *survey) finish(w *walker, f *fold, all []pit) {
	f.centre = middle(f.path, f.length)
	near := all[0]
	var from []mesh.VertexID
	border := 0
	for _, p := range all {
		if p.foot.Dist(f.centre) < near.foot.Dist(f.centre) {
			near = p
		}
		if p.surface == OnBorder {
			border++
		}
		from = append(from, p.in...)
	}
	f.normal = near.axis
	f.surface = OnTissue
	if 2*border > len(all) {
		f.surface = OnBorder
	}
	// Circular segment of chord width and height depth, over the length less the round ends.
	r := (float64(f.width*f.width)/4 + float64(f.depth*f.depth)) / (2 * f.depth)
	half := math.Atan2(f.width/2, r-f.depth)
	segment := float64(r*r) * (half - math.Sin(half)*math.Cos(half))
	f.volume = segment*math.Max(0, f.length-f.width) + capVolume(f.width/2, f.depth)
	f.doubt.volume = f.volume * math.Hypot(f.lengthU/f.length, math.Hypot(f.doubt.width/f.width, f.doubt.depth/f.depth))
	f.in = append(f.in, w.reach(from, func(x mesh.VertexID) bool {
		q := s.m.Pos[x]
		return distPath(q, f.path) < f.width/2+0.5
	})...)
}
