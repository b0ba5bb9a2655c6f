package inspect

import (
	"math"
	"slices"

	"fornix/mesh"
)

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
		u, v, z := f.local(s.m.Pos[x])
		w.side[x] = p.rimSide(f, u, v)
		// Seen from above, walls that hang over lie outside the rim.
		if low := p.sign * (f.at(u, v) - z); p.depth > p.a && w.side[x] > 0 && math.Abs(p.flat(s.m.Pos[x].Sub(p.c)).Norm()-p.r) < low {
			w.side[x] = -low
		}
	}
	// ideal is where x would lie if sphere and sound surface met in a perfect edge. What the faces
	// between such points show is all that a sharp rim can show at this spacing.
	ideal := func(x mesh.VertexID) Vec {
		q := s.m.Pos[x]
		if w.side[x] < 0 {
			d := p.flat(q.Sub(p.c))
			return q.Along(p.r/d.Norm()-1, d)
		}
		u, v, _ := f.local(q)
		return f.world(u, v, f.at(u, v))
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
			if w.side[x]+w.side[b]+w.side[d] < 0 {
				p.shown += s.m.Pos[b].Sub(q).Cross(s.m.Pos[d].Sub(q)).Dot(p.axis) / 2
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
			fn, perfect := faceNormal(fa, fb, fc), faceNormal(ideal(x), ideal(b), ideal(d))
			if fn.Dot(s.nor[x].Add(s.nor[b]).Add(s.nor[d])) < 0 { // the scan is inside out, the normals are not
				fn, perfect = fn.Scale(-1), perfect.Scale(-1)
			}
			switch {
			case within && side > -zone:
				in[k].t += tilt(fn)
				in[k].want += tilt(perfect)
				in[k].n++
			case beyond && side < zone:
				out[k].t += tilt(fn)
				out[k].want += tilt(perfect)
				out[k].n++
			}
		}
	}
	p.shown = math.Abs(p.shown) / (math.Pi * p.a * p.a)
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
	to, wantOut := mean(out[:])
	p.turn = ti - to
	if want -= wantOut; want > 0 {
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

func faceNormal(a, b, c Vec) Vec { return b.Sub(a).Cross(c.Sub(a)).Unit() }

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
