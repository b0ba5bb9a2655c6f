package inspect

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
)

// pit is a void (sign 1), a bleb (sign -1) or, where along is not zero, one cross-section of a
// fold: then sphere means the cylinder along it, and only what lies within half of the plane
// across it counts.
type pit struct {
	sign    float64
	along   Vec
	half    float64
	start   Vec     // where the looking began
	c       Vec     // centre of the sphere
	r       float64 // its radius
	foot    Vec     // on the sound surface over the middle
	axis    Vec     // outward normal there
	a       float64 // radius of the opening
	depth   float64
	turn    float64 // of the surface at the rim, degrees
	sharp   float64 // the same as a share of what sphere and sound surface would have
	share   float64 // of the rim that is sharp
	shown   float64 // of the opening that the scan shows, as a share of it
	off     float64 // RMS distance of the vertices inside from the sphere, mm
	around  float64 // robust spread of those just outside about the sound surface, mm
	rings   [7]ring // signed distances from sphere and sound surface, by place: 6 inside, 1 outside the rim
	grain   float64 // radius of the opening in mean edge lengths
	surface string
	model   float64      // how far another order of the sound surface lies off over the middle, mm
	outer   int          // vertices the sound surface was fitted to
	over    sound        // the sound surface, and
	ring    []patchPoint // those vertices: only of what is a fault
	gap     *float64     // standard uncertainty of the sound surface over the middle, where settle has laid it, mm
	in      []mesh.VertexID
	near    int
	carried bool       // a fold's cross-section by the form of its others
	few     bool       // measured by small, and then
	known   [3]float64 // variance of opening and depth, the sound surface given, and their covariance, mm², and
	smooth  float64    // RMS distance of the vertices from a smooth surface, mm
	why     string     // why it is none
}

// findPits looks at every seed, keeps what is a pit or a bleb, and of those that lie in one
// another the one that explains more vertices.
func (s *survey) findPits(folds []fold) []pit {
	taken := make([]bool, len(s.m.Pos))
	for _, f := range folds {
		for _, v := range f.in {
			taken[v] = true
		}
	}
	all := make([]pit, len(s.seeds))
	s.each(len(s.seeds), func(w *walker, i int) {
		if !taken[s.seeds[i].v] {
			all[i] = s.look1(w, s.seeds[i])
		} else {
			all[i].why = "in a fold"
		}
	})
	var good []pit
	for _, p := range all {
		if p.why == "" {
			good = append(good, p)
		}
	}
	slices.SortStableFunc(good, func(a, b pit) int { return cmp.Compare(len(b.in), len(a.in)) })
	var out []pit
next:
	for _, p := range good {
		for i, q := range out {
			d := p.foot.Dist(q.foot)
			if p.few && (!q.few || p.off < q.off) && p.agrees(&q) { // the same, measured better
				out[i] = p
				continue next
			}
			if d < math.Max(p.a, q.a) || p.sign != q.sign && d < p.a+q.a { // what stands up round a pit is no bleb
				continue next
			}
		}
		out = append(out, p)
	}
	s.each(len(out), func(_ *walker, i int) { s.settle(&out[i]) })
	return slices.DeleteFunc(out, func(p pit) bool { return s.doubt(&p).depth > s.by.DepthShare*p.depth })
}

// mayBeFew reports whether a fault of the least width may have few vertices where edges are so long.
func (s *survey) mayBeFew(edge float64) bool { return 3.5*edge >= s.by.MinWidthMM }

// look1 measures the place at one seed and says why it is no fault, if it is none. What few
// vertices show is measured by small, the rest by growing a sphere: a small pit is lost when the
// first guess takes in its surroundings, a noisy one when the guess rests on too few vertices, so
// both starts are tried.
func (s *survey) look1(w *walker, sd seed) pit {
	edge := float64(s.edge[sd.v])
	p := s.lookFrom(w, sd, math.Max(0.3, 1.15*edge))
	if p.why != "" {
		if r := s.lookFrom(w, sd, math.Max(0.5, 1.7*edge)); r.why == "" {
			p = r
		}
	}
	pitch := float64(s.pitch[sd.v])
	if !s.mayBeFew(pitch) || p.why == "" && p.a > 1.5*few*pitch {
		return p
	}
	q := s.small(w, sd)
	if p.why != "" || p.a < few*pitch || len(p.in) < 8 || q.why == "" && p.agrees(&q) {
		return q
	}
	return p
}

// agrees tells whether two measured the same place as the same.
func (p *pit) agrees(q *pit) bool {
	like := func(a, b float64) bool { return math.Abs(a-b) < 0.3*math.Max(a, b) }
	return p.sign == q.sign && p.foot.Dist(q.foot) < 0.5*math.Max(p.a, q.a) && like(p.a, q.a) && like(p.depth, q.depth)
}

func (s *survey) lookFrom(w *walker, sd seed, start float64) pit {
	p := pit{sign: sd.sign}
	s.measure(w, sd, start, &p)
	return p
}

// flat takes from d what lies along a fold.
func (p *pit) flat(d Vec) Vec { return d.Along(-d.Dot(p.along), p.along) }

// holds tells whether x lies in the slab of a fold's cross-section; always, for a pit.
func (p *pit) holds(x Vec) bool {
	return p.half == 0 || math.Abs(x.Sub(p.start).Dot(p.along)) <= p.half
}

func (s *survey) measure(w *walker, sd seed, start float64, p *pit) {
	p.start = s.m.Pos[sd.v]
	if !s.grow(w, sd.v, start, p) {
		p.why = "no sphere"
		return
	}
	if len(p.in) < 4 {
		p.why = "few vertices"
		return
	}
	var f sound
	if p.why = s.surround(w, p, &f); p.why != "" {
		return
	}
	s.judgeRim(w, p, &f)
	if p.why = s.judge(p); p.why == "" {
		p.over, p.ring = f, slices.Clone(w.pts)
	}
}

// judge says why p is no fault; "" if it is one.
//
// The rim is sharp if sphere and sound surface both fit closely right up to it and meet at a
// plain angle: no smooth hollow does that. Where the fit is looser (a pit that is no sphere), the
// faces themselves must turn at the rim, by enough and all round.
func (s *survey) judge(p *pit) string {
	by := s.by
	width := 2 * p.a
	edgeDeg := 2 * math.Atan(p.depth/p.a) * 180 / math.Pi
	b := bias(p.rings[:], s.noise)
	// What the scan's noise alone makes of the RMS over so many vertices, three standard
	// deviations up, the noise itself being known to 15 %.
	grain := 1.15 * s.noise * (1 + 3/math.Sqrt(2*float64(len(p.in))))
	switch {
	case width < by.MinWidthMM || width > by.MaxWidthMM:
		return "width"
	case p.depth > width: // more than a scanner can see into, or round
		return "deeper than wide"
	case p.depth < math.Max(by.MinDepthMM, 5*s.noise):
		return "depth"
	case p.grain < 1 || len(p.in) < 5:
		return "too few vertices"
	case edgeDeg < by.EdgeDeg:
		return "flat"
	case p.off > math.Max(grain, by.PitMisfit*p.depth):
		return "misfit"
	case p.around > math.Max(2*grain, by.SoundMisfit*p.depth):
		return "misfit around"
	case p.half == 0 && p.shown < by.ShownShare:
		return "not shown"
	case p.half > 0: // the sections of a fold are judged together
		return ""
	case b > 2*by.Bias*p.depth:
		return "not the form"
	case edgeDeg >= by.CloseEdgeDeg && p.off <= math.Max(grain, by.ClosePitMisfit*p.depth) &&
		p.around <= math.Max(1.5*grain, by.CloseSoundMisfit*p.depth) && b <= by.Bias*p.depth:
		return ""
	case p.turn < by.RimDeg:
		return "rim not sharp"
	case p.sharp < by.RimSharp:
		return "rim rounded"
	case p.share < by.RimShare:
		return "rim not closed"
	}
	return ""
}

// surround fits the sound surface round p and takes from it and the sphere the middle, the
// opening and the depth.
func (s *survey) surround(w *walker, p *pit, f *sound) string {
	inside := make(map[mesh.VertexID]bool, len(p.in))
	var mean, mid Vec
	for _, v := range p.in {
		inside[v] = true
		mean = mean.Add(s.nor[v])
		mid = mid.Add(s.m.Pos[v])
	}
	mid = mid.Scale(1 / float64(len(p.in)))
	axis := mean.Unit()
	edge := s.meanEdge(p.in)
	// First idea of the opening: the farthest vertices from the middle, across the axis.
	for _, v := range p.in {
		d := s.m.Pos[v].Sub(mid)
		p.a = math.Max(p.a, p.flat(d.Along(-d.Dot(axis), axis)).Norm())
	}
	p.a = math.Max(p.a, 0.3)
	o := mid
	for pass := range 3 {
		gap := 0.5 * edge
		if pass > 0 {
			gap = 0.35 * edge
		}
		band := math.Min(1.8, math.Max(0.7*p.a, math.Max(0.7, 2.5*edge)))
		outer := p.a + gap + band
		last := *f
		*f = sound{o: o, n: axis}
		f.e1, f.e2 = tangents(axis)
		if p.half > 0 { // along and across
			f.e1 = p.along.Along(-p.along.Dot(axis), axis).Unit()
			f.e2 = axis.Cross(f.e1)
		}
		w.pts = w.pts[:0]
		patch := w.reach(p.in, func(x mesh.VertexID) bool {
			d := s.m.Pos[x].Sub(o)
			return d.Norm2() <= 1.3*1.3*outer*outer && p.flat(d.Along(-d.Dot(axis), axis)).Norm() <= outer && p.holds(s.m.Pos[x])
		})
		sectors := [8]int{}
		kept := 0
		for i, x := range patch {
			if inside[x] || s.nor[x].Dot(axis) < 0.25 {
				continue
			}
			u, v, z := f.local(s.m.Pos[x])
			sideways := p.flat(f.e1.Scale(u).Along(v, f.e2))
			if pass == 0 && sideways.Norm() < p.a+gap {
				continue
			}
			if pass > 0 {
				pu, pv, _ := last.local(s.m.Pos[x])
				if p.rimSide(&last, pu, pv) < gap {
					continue
				}
			}
			w.pts = append(w.pts, patchPoint{u: u, v: v, z: z, i: i})
			sectors[p.sector(f, u, v, len(sectors))]++
			if s.part[x] == PartTissue || s.part[x] == PartBorder {
				kept++
			}
		}
		empty := 0
		for _, n := range sectors {
			if n == 0 {
				empty++
			}
		}
		if p.half > 0 && empty > len(sectors)-2 || p.half == 0 && empty > 1 {
			return "no surroundings"
		}
		if 2*kept < len(w.pts) {
			return "not on tissue or border"
		}
		p.surface, p.outer = s.surfaceOf(patch), len(w.pts)
		if !f.fit(w.pts, 6, math.Max(s.noise, 0.01)) {
			return "no sound surface"
		}
		// Where the surroundings bend more than a quadric does (the border's roll), a quartic
		// follows them, if there are vertices enough to hold it.
		if f.rms > math.Max(2*s.noise, 0.02) && len(w.pts) >= 30 {
			g := *f
			if g.fit(w.pts, 15, math.Max(s.noise, 0.01)) && g.rms < 0.6*f.rms {
				*f = g
			}
		}
		// So along a fold, where the vertices hold no quartic: a crest runs on and bends across.
		if p.half > 0 && f.terms == 6 && f.rms > math.Max(2*s.noise, 0.02) {
			g := *f
			if g.fitAcross(w.pts, math.Max(s.noise, 0.01)) && g.rms < 0.6*f.rms {
				*f = g
			}
		}
		p.foot, p.axis = f.foot(p.c)
		if pass == 2 {
			p.model = f.otherwise(w.pts, p.foot, math.Max(s.noise, 0.01))
		}
		up := p.c.Sub(p.foot).Dot(p.axis) // of the centre over the sound surface
		p.depth = p.r - p.sign*up
		if p.depth <= 0 || p.depth >= 2*p.r {
			return "no depth"
		}
		p.a = math.Sqrt(p.depth * (2*p.r - p.depth))
		if p.foot.Dist(mid) > 2*p.a+0.5 {
			return "middle elsewhere"
		}
		if pass < 2 {
			s.trim(p, f, 0.1*edge)
		}
		o, axis = p.foot, p.axis
	}
	return ""
}

// sector tells in which of n equal sectors round the middle (u, v) lies; of a fold only the
// side counts, 0 or n/2.
func (p *pit) sector(f *sound, u, v float64, n int) int {
	if p.half == 0 {
		return int((math.Atan2(v, u)/math.Pi+1)*float64(n)/2) % n
	}
	if f.e1.Scale(u).Along(v, f.e2).Dot(f.n.Cross(p.along)) < 0 {
		return 0
	}
	return n / 2
}

// trim fits the sphere anew to the vertices that lie plainly inside the opening, or at the rim
// nearer to the sphere than to the sound surface: the others would pull it toward the latter.
func (s *survey) trim(p *pit, f *sound, margin float64) {
	core := make([]mesh.VertexID, 0, len(p.in))
	for _, v := range p.in {
		u, t, z := f.local(s.m.Pos[v])
		low := p.sign * (f.at(u, t) - z)
		if low > 0.05*p.depth && (p.rimSide(f, u, t) < -margin || math.Abs(p.flat(s.m.Pos[v].Sub(p.c)).Norm()-p.r) < low) {
			core = append(core, v)
		}
	}
	if len(core) < 6 {
		return
	}
	q := *p
	q.in = core
	if s.sphere(&q) && q.r < 1.5*p.r+0.2 {
		p.c, p.r = q.c, q.r
	}
}

func (s *survey) surfaceOf(vs []mesh.VertexID) string {
	border := 0
	for _, v := range vs {
		if s.part[v] == PartBorder {
			border++
		}
	}
	if 2*border > len(vs) {
		return OnBorder
	}
	return OnTissue
}
