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
	off     float64 // RMS distance of the vertices inside from the sphere, mm
	around  float64 // robust spread of those just outside about the sound surface, mm
	rings   [7]ring // signed distances from sphere and sound surface, by place: 6 inside, 1 outside the rim
	grain   float64 // radius of the opening in mean edge lengths
	surface string
	in      []mesh.VertexID
	why     string // why it is none
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
		for _, q := range out {
			if p.foot.Dist(q.foot) < math.Max(p.a, q.a) {
				continue next
			}
		}
		out = append(out, p)
	}
	return out
}

// look1 measures the place at one seed and says why it is no fault, if it is none. A small pit
// is lost when the first guess takes in its surroundings, a noisy one when the guess rests on
// too few vertices: both starts are tried.
func (s *survey) look1(w *walker, sd seed) pit {
	edge := float64(s.edge[sd.v])
	p := s.lookFrom(w, sd, math.Max(0.3, 1.15*edge))
	if p.why != "" {
		if q := s.lookFrom(w, sd, math.Max(0.5, 1.7*edge)); q.why == "" {
			return q
		}
	}
	return p
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
	p.why = s.judge(p)
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
	switch {
	case width < by.MinWidthMM || width > by.MaxWidthMM:
		return "width"
	case p.depth < math.Max(by.MinDepthMM, 5*s.noise):
		return "depth"
	case p.grain < 1 || len(p.in) < 5:
		return "too few vertices"
	case edgeDeg < by.EdgeDeg:
		return "flat"
	case p.off > math.Max(2*s.noise, by.PitMisfit*p.depth):
		return "misfit"
	case p.around > math.Max(3*s.noise, by.SoundMisfit*p.depth):
		return "misfit around"
	case p.half > 0: // the sections of a fold are judged together
		return ""
	case b > 2*by.Bias*p.depth:
		return "not the form"
	case edgeDeg >= by.CloseEdgeDeg && p.off <= math.Max(1.5*s.noise, by.ClosePitMisfit*p.depth) &&
		p.around <= math.Max(2*s.noise, by.CloseSoundMisfit*p.depth) && b <= by.Bias*p.depth:
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

// grow fits a sphere to the surface about v and lets it take in the vertices joined to v that
// lie on it and face its centre, out to a reach that widens until nothing more is taken.
func (s *survey) grow(w *walker, v mesh.VertexID, start float64, p *pit) bool {
	edge := float64(s.edge[v])
	p.in = p.in[:0]
	for _, x := range w.ball(v, start) {
		if p.holds(s.m.Pos[x]) {
			p.in = append(p.in, x)
		}
	}
	if len(p.in) < 4 {
		return false
	}
	if !s.sphereFromNormals(p) {
		return false
	}
	cosTurn := math.Cos(50 * math.Pi / 180)
	for reach := math.Max(0.5, 1.6*edge); reach < s.by.MaxWidthMM; reach *= 1.3 {
		for range 2 {
			if !s.sphere(p) || p.r > s.by.MaxWidthMM {
				return false
			}
			tol := 2.5*s.noise + 0.02 + 0.03*math.Min(reach, p.r)
			at := s.m.Pos[v]
			far := 0.0
			on := w.reach([]mesh.VertexID{v}, func(x mesh.VertexID) bool {
				d := p.flat(p.c.Sub(s.m.Pos[x]))
				l := d.Norm()
				return math.Abs(l-p.r) <= tol && p.sign*d.Dot(s.nor[x]) >= l*cosTurn &&
					p.flat(s.m.Pos[x].Sub(at)).Norm() <= reach && p.holds(s.m.Pos[x])
			})
			for _, x := range on {
				far = math.Max(far, p.flat(s.m.Pos[x].Sub(at)).Norm())
			}
			p.in = append(p.in[:0], on...)
			if len(p.in) < 4 {
				return false
			}
			if far < reach/1.25 && reach > 0.8 {
				return s.sphere(p)
			}
		}
	}
	return false
}

// sphereFromNormals is the first guess: the centre c and radius r for which c = x + sign r n
// best holds.
func (s *survey) sphereFromNormals(p *pit) bool {
	var mp, mn Vec
	for _, x := range p.in {
		mp, mn = mp.Add(s.m.Pos[x]), mn.Add(s.nor[x])
	}
	k := 1 / float64(len(p.in))
	mp, mn = mp.Scale(k), mn.Scale(k)
	pn, nn := 0.0, 0.0
	for _, x := range p.in {
		d, e := p.flat(s.m.Pos[x].Sub(mp)), p.flat(s.nor[x].Sub(mn))
		pn += d.Dot(e)
		nn += e.Dot(e)
	}
	if nn < 1e-9 {
		return false
	}
	p.r = -p.sign * pn / nn
	p.c = mp.Along(p.sign*p.r, mn)
	p.c = p.c.Along(p.start.Sub(p.c).Dot(p.along), p.along)
	return p.r > 0
}

// sphere fits the sphere to the vertices of p by geometric distance (Gauss-Newton).
func (s *survey) sphere(p *pit) bool {
	for range 8 {
		a := make([]float64, 20)
		for _, x := range p.in {
			d := p.flat(s.m.Pos[x].Sub(p.c))
			l := d.Norm()
			if l == 0 {
				return false
			}
			j := [4]float64{-d.X / l, -d.Y / l, -d.Z / l, -1}
			e := p.r - l
			for r := range 4 {
				for c := range 4 {
					a[r*5+c] += float64(j[r] * j[c])
				}
				a[r*5+4] += float64(j[r] * e)
			}
		}
		// A breath of damping keeps shallow caps of few vertices from running away.
		for r := range 4 {
			a[r*5+r] += 1e-6 * float64(len(p.in))
		}
		if !solve(a, 4) {
			return false
		}
		step := Vec{X: a[4], Y: a[9], Z: a[14]}
		p.c = p.c.Add(step)
		p.r += a[19]
		if p.r <= 0 || math.IsNaN(p.r) || p.r > 50 {
			return false
		}
		if step.Norm()+math.Abs(a[19]) < 1e-6 {
			break
		}
	}
	return true
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
		p.surface = s.surfaceOf(patch)
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
		p.foot, p.axis = f.foot(p.c)
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
			s.trim(p, f, 0.25*edge)
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

// trim fits the sphere anew to the vertices that lie plainly inside the opening: those at the
// rim lie near both surfaces and would pull it toward the sound one.
func (s *survey) trim(p *pit, f *sound, margin float64) {
	core := make([]mesh.VertexID, 0, len(p.in))
	for _, v := range p.in {
		u, t, z := f.local(s.m.Pos[v])
		if p.rimSide(f, u, t) < -margin && p.sign*(f.at(u, t)-z) > 0.05*p.depth {
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

// judgeRim measures how the surface turns where sphere and sound surface meet, and how far the
// vertices lie from the two. The turn is taken from faces that lie wholly inside or outside, as
// the normals of vertices at the rim are means of both sides.
func (s *survey) judgeRim(w *walker, p *pit, f *sound) {
	edge := s.meanEdge(p.in)
	zone := math.Max(0.4, 1.5*edge)
	outer := p.a + zone + edge
	patch := w.reach(p.in, func(x mesh.VertexID) bool {
		d := s.m.Pos[x].Sub(p.foot)
		h := d.Dot(p.axis)
		return p.flat(d.Along(-h, p.axis)).Norm() <= outer && math.Abs(h) < p.depth+outer && s.nor[x].Dot(p.axis) > -0.2 && p.holds(s.m.Pos[x])
	})
	const sectors = 8
	type tilts struct{ t, want, n float64 }
	var in, out [sectors]tilts
	fu, fv, _ := f.local(p.foot)
	inside, insideN := 0.0, 0.0
	var outside []float64
	for _, x := range patch {
		u, v, _ := f.local(s.m.Pos[x])
		w.side[x] = p.rimSide(f, u, v)
	}
	for _, x := range patch {
		q := s.m.Pos[x]
		u, v, z := f.local(q)
		side := w.side[x]
		low := p.sign * (f.at(u, v) - z) // under the sound surface (bleb: over it)
		off := p.flat(q.Sub(p.c)).Norm() - p.r
		near := low
		if side < 0 && (side < -0.5*edge || math.Abs(off) < math.Abs(low)) || side >= 0 && side < 0.5*edge && math.Abs(off) < math.Abs(low) {
			near = off
		}
		if side < zone/3 {
			k := 6
			if side < 0 {
				k = max(0, 5+int(6*side/p.a))
			}
			p.rings[k].sum += math.Max(-0.3*p.depth, math.Min(0.3*p.depth, near))
			p.rings[k].n++
		}
		if side < 0 {
			off = near
			inside += float64(off * off)
			insideN++
		} else if side > 0.3*edge {
			outside = append(outside, math.Abs(low))
		}
		for _, c := range s.m.CornersAt(x) {
			b, d := s.m.Vertex(c.Next()), s.m.Vertex(c.Prev())
			if b < x || d < x { // each face once
				continue
			}
			if !w.seen(b) || !w.seen(d) {
				continue
			}
			lo, hi := min(w.side[x], w.side[b], w.side[d]), max(w.side[x], w.side[b], w.side[d])
			within, beyond := hi < 0.2*edge && hi > -zone-edge, lo > -0.1*edge && lo < zone
			if !within && !beyond {
				continue
			}
			fa, fb, fc := q, s.m.Pos[b], s.m.Pos[d]
			mid := fa.Add(fb).Add(fc).Scale(1.0 / 3)
			u, v, _ := f.local(mid)
			side := p.rimSide(f, u, v)
			du, dv := u-fu, v-fv
			rho := math.Hypot(du, dv)
			if rho == 0 {
				continue
			}
			n := f.normal(u, v)
			radial := f.e1.Scale(du/rho).Along(dv/rho, f.e2)
			radial = radial.Along(-radial.Dot(n), n).Unit()
			// Tilt of the surface toward the axis against the sound surface there.
			tilt := func(g Vec) float64 { return p.sign * math.Atan2(-g.Dot(radial), g.Dot(n)) * 180 / math.Pi }
			k := p.sector(f, du, dv, sectors)
			fn := fb.Sub(fa).Cross(fc.Sub(fa)).Unit()
			switch {
			case within && side > -zone:
				in[k].t += tilt(fn)
				in[k].want += tilt(p.flat(p.c.Sub(mid)).Scale(p.sign))
				in[k].n++
			case beyond && side < zone:
				out[k].t += tilt(fn)
				out[k].n++
			}
		}
	}
	p.off = math.Sqrt(inside / math.Max(1, insideN))
	if len(outside) > 0 {
		slices.Sort(outside)
		p.around = 1.48 * outside[len(outside)/2]
	}
	p.grain = p.a / edge
	mean := func(x []tilts) (t, want float64) {
		n := 0.0
		for _, y := range x {
			t += y.t
			want += y.want
			n += y.n
		}
		return t / math.Max(1, n), want / math.Max(1, n)
	}
	ti, want := mean(in[:])
	to, _ := mean(out[:])
	p.turn = ti - to
	if want > 0 {
		p.sharp = p.turn / want
	}
	sharp, known := 0, 0
	for k := range in {
		a, b := in[k], out[k]
		l, r := (k+sectors-1)%sectors, (k+1)%sectors
		if p.half > 0 {
			l, r = k, k
		}
		if a.n < 2 { // few faces: borrow from the neighbours
			a.t, a.n = a.t+in[l].t+in[r].t, a.n+in[l].n+in[r].n
		}
		if b.n < 2 {
			b.t, b.n = b.t+out[l].t+out[r].t, b.n+out[l].n+out[r].n
		}
		if a.n == 0 || b.n == 0 {
			continue
		}
		known++
		if a.t/a.n-b.t/b.n >= 0.5*p.turn && b.t/b.n < 0.4*ti {
			sharp++
		}
	}
	if known >= sectors-2 || p.half > 0 && known == 2 {
		p.share = float64(sharp) / float64(known)
	}
}

// ring sums the signed distances of some vertices.
type ring struct{ sum, n float64 }

// bias is the RMS over the rings of the mean distance from the fitted shapes, as far as it is
// more than the scan's noise makes: how much the form differs from a sphere with a sharp rim.
func bias(rings []ring, noise float64) float64 {
	sum, n := 0.0, 0.0
	for _, r := range rings {
		if r.n > 0 {
			sum += float64(r.sum*r.sum)/r.n - float64(noise*noise)
			n += r.n
		}
	}
	if n == 0 || sum <= 0 {
		return 0
	}
	return math.Sqrt(sum / n)
}

// rimSide tells how far a point of the sound surface lies outside the line where p's sphere cuts
// it, along the surface; negative inside.
func (p *pit) rimSide(f *sound, u, v float64) float64 {
	d := p.flat(f.world(u, v, f.at(u, v)).Sub(p.c))
	l := d.Norm()
	if l == 0 {
		return -p.r
	}
	across := d.Dot(f.normal(u, v)) / l
	return (l - p.r) / math.Max(0.25, math.Sqrt(math.Max(0, 1-float64(across*across))))
}

func (s *survey) meanEdge(vs []mesh.VertexID) float64 {
	sum := 0.0
	for _, v := range vs {
		sum += float64(s.edge[v])
	}
	return sum / float64(len(vs))
}
