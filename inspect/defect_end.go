package inspect

import (
	"math"

	"fornix/mesh"
)

// end returns where a fold ends beyond its last good section, before being the section's neighbour
// inside, and the standard uncertainty of that along the fold, mm. Its floor is followed as far as it is deep,
// and from there on the end is taken to be round, as a ball drawn along the groove leaves it: where groove and
// part of a sphere lie closest to the vertices is where it ends, so no depth has to be chosen at which it does.
func (s *survey) end(w *walker, p *pit, before Vec, width, depth float64) (Vec, float64) {
	t := p.foot.Sub(before)
	t = t.Along(-t.Dot(p.axis), p.axis).Unit()
	side := p.axis.Cross(t)
	edge, reach := s.meanEdge(p.in), 3+width/2
	patch := w.reach(p.in, func(x mesh.VertexID) bool {
		d := s.m.Pos[x].Sub(p.foot)
		return d.Norm() <= reach+width+1.5 && math.Abs(d.Dot(side)) <= width/2+1.5 && d.Dot(t) > -reach && s.nor[x].Dot(p.axis) > 0.1
	})
	c := capsule{foot: s.floorEnd(w, p, patch, t, reach, width, depth), along: t, axis: p.axis, a: width / 2, depth: depth}
	fit := c
	if u, ok := s.fitCapsule(w, patch, edge, &fit); ok {
		return fit.foot.Along(fit.a, fit.along), u
	}
	return c.foot.Along(c.a, c.along), edge
}

// floorEnd follows the floor of a fold from its last good section along t, against the sound surface
// fitted to both sides of each place, until it has risen by half of the depth, and returns the place on the
// sound surface over which the floor begins to rise if the end is round.
func (s *survey) floorEnd(w *walker, p *pit, patch []mesh.VertexID, t Vec, reach, width, depth float64) Vec {
	edge := s.meanEdge(p.in)
	window := math.Max(0.8, 2*edge)
	f := sound{o: p.foot, n: p.axis, e1: t, e2: p.axis.Cross(t)}
	var sides, line []patchPoint
	for _, x := range patch {
		u, v, z := f.local(s.m.Pos[x])
		q := patchPoint{u: u, v: v, z: z}
		if u <= -window {
			continue
		}
		if math.Abs(v) > width/2+0.4*edge {
			sides = append(sides, q)
		} else if math.Abs(v) <= math.Max(0.25*width, 0.5*edge) {
			line = append(line, q)
		}
	}
	at, was, height := 0.0, depth, 0.0
	for x := 0.0; x <= reach; x += 0.1 {
		g := sound{o: p.foot.Along(x, t), n: p.axis, e1: t, e2: f.e2}
		pts := w.pts[:0]
		for _, q := range sides {
			if math.Abs(q.u-x) <= window {
				q.u -= x
				pts = append(pts, q)
			}
		}
		w.pts = pts
		if !g.fit(pts, 6, math.Max(s.noise, 0.01)) {
			break
		}
		sum, n := 0.0, 0.0
		for _, q := range line {
			if k := 1 - math.Abs(q.u-x)/math.Max(0.25, 0.8*edge); k > 0 {
				sum += float64(k * (g.at(q.u-x, q.v) - q.z))
				n += k
			}
		}
		if n == 0 {
			continue
		}
		if low := sum / n; low < 0.5*depth {
			at += (x - at) * (was - 0.5*depth) / (was - low)
			break
		} else {
			at, was, height = x, low, g.at(0, 0)
		}
	}
	r := (float64(width*width)/4 + float64(depth*depth)) / (2 * depth)
	half := r - depth/2
	return f.world(at-math.Sqrt(math.Max(0, float64(r*r)-float64(half*half))), 0, height)
}

// capsule is the end of a fold: a groove of round section that ends in part of a sphere.
type capsule struct {
	foot     Vec // on the sound surface over the sphere's middle
	along    Vec // to where the groove ends
	axis     Vec // outward normal at the foot
	a, depth float64
}

// lowSpot is a vertex under a sound surface: where its foot on that lies, and how far under it.
type lowSpot struct{ u, v, low float64 }

func (s *sound) under(p Vec) lowSpot {
	q, n := s.foot(p)
	u, v, _ := s.local(q)
	return lowSpot{u, v, q.Sub(p).Dot(n)}
}

// endLook is how far to either side of a first idea of a fold's end it is looked for across, in half
// widths; along it is one. Each of the endTurns looks lays a lattice over what the last has left as likely.
const (
	endLook  = 0.3
	endTurns = 4
)

// fitCapsule moves the end of a fold along it and across until groove and sphere lie closest to the
// vertices: to the mean of the places, each weighted by its likelihood (for normal noise, exp(-χ²/2)). It
// returns their standard deviation along the fold; false where it has gone farther than half a width, so that
// something else lies there. What is missing of the material is what lies over the
// sound surface or inside the capsule; near its surface the distance from that is the smaller of the two.
func (s *survey) fitCapsule(w *walker, patch []mesh.VertexID, edge float64, c *capsule) (sd float64, ok bool) {
	const steps = 12 // of the lattice, to either side
	r := (float64(c.a*c.a) + float64(c.depth*c.depth)) / (2 * c.depth)
	floor := math.Max(s.noise, 0.004)
	span, wide, first := c.a, endLook*c.a, c.foot
	for range endTurns {
		g, spots := s.besideEnd(w, patch, edge, c)
		if len(spots) < 6 {
			return 0, false
		}
		var x2 [2*steps + 1][2*steps + 1]float64
		least := math.Inf(1)
		for i := range x2 {
			for k := range x2[i] {
				u, v := span*float64(i-steps)/steps, wide*float64(k-steps)/steps
				for _, p := range spots {
					du, dv, dz := math.Max(0, p.u-u), p.v-v, p.low+r-c.depth
					d := math.Min(p.low, math.Sqrt(float64(du*du)+float64(dv*dv)+float64(dz*dz))-r)
					x2[i][k] += float64(d * d)
				}
				least = math.Min(least, x2[i][k])
			}
		}
		var2 := math.Max(floor*floor, least/math.Max(1, float64(len(spots)-2)))
		var sum, mu, mv, uu, vv float64
		for i := range x2 {
			for k := range x2[i] {
				q := math.Exp((least - x2[i][k]) / (2 * var2))
				u, v := span*float64(i-steps)/steps, wide*float64(k-steps)/steps
				sum, mu, mv = sum+q, mu+float64(q*u), mv+float64(q*v)
				uu, vv = uu+float64(q*u*u), vv+float64(q*v*v)
			}
		}
		mu, mv = mu/sum, mv/sum
		sd = math.Sqrt(math.Max(0, uu/sum-float64(mu*mu)))
		across := math.Sqrt(math.Max(0, vv/sum-float64(mv*mv)))
		c.foot, c.axis = g.world(mu, mv, g.at(mu, mv)), g.normal(mu, mv)
		c.along = g.e1.Along(-g.e1.Dot(c.axis), c.axis).Unit()
		span = math.Min(c.a, math.Max(0.3*span, math.Max(4*sd, 2*math.Abs(mu))))
		wide = math.Min(endLook*c.a, math.Max(0.3*wide, math.Max(4*across, 2*math.Abs(mv))))
	}
	return sd, c.foot.Dist(first) <= c.a
}

// besideEnd fits the sound surface to what lies round the end of a fold and returns it and the vertices
// that groove and sphere may reach.
func (s *survey) besideEnd(w *walker, patch []mesh.VertexID, edge float64, c *capsule) (sound, []lowSpot) {
	band, floor := math.Max(1, 3*edge), math.Max(s.noise, 0.01)
	g := sound{o: c.foot, n: c.axis, e1: c.along, e2: c.axis.Cross(c.along)}
	w.pts = w.pts[:0]
	for _, x := range patch {
		u, v, z := g.local(s.m.Pos[x])
		h := math.Hypot(math.Max(0, u), v)
		if h >= c.a+0.35*edge && h <= c.a+band && u >= -band && math.Abs(z) <= c.depth+band && s.nor[x].Dot(g.n) >= 0.25 {
			w.pts = append(w.pts, patchPoint{u: u, v: v, z: z})
		}
	}
	if !g.fit(w.pts, 6, floor) {
		return g, nil
	}
	if g.rms > math.Max(2*s.noise, 0.02) && len(w.pts) >= 30 {
		if q := g; q.fit(w.pts, 15, floor) && q.rms < 0.6*g.rms {
			g = q
		}
	}
	var spots []lowSpot
	for _, x := range patch {
		if l := g.under(s.m.Pos[x]); math.Abs(l.v) < c.a+0.6*edge && l.u > -band && l.u < 2*c.a+0.6*edge && s.nor[x].Dot(g.n) > -0.2 {
			spots = append(spots, l)
		}
	}
	return g, spots
}
