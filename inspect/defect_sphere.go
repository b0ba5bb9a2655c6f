package inspect

import (
	"math"

	"fornix/mesh"
)

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
