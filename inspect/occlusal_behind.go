package inspect

import (
	"math"

	"fornix/mesh"
)

// behindDeg is how wide the directions are in which a piece of the flat is compared with another.
const behindDeg = 3

// archDeg is how far around a piece of the flat must reach to have a middle of its own.
const archDeg = 60

// polarBins says how far from a middle some vertices are, in each direction of behindDeg; +Inf: none there.
type polarBins struct {
	middle, u, v Vec
	nearest      [360/behindDeg + 1]float64
}

func (b *polarBins) at(p Vec) (bin int, r float64) {
	d := p.Sub(b.middle)
	x, y := d.Dot(b.u), d.Dot(b.v)
	return int(math.Floor((math.Atan2(y, x)*180/math.Pi + 180) / behindDeg)), math.Hypot(x, y)
}

func (f *rimFinder) polar(list []mesh.VertexID, middle, u, v Vec) *polarBins {
	b := &polarBins{middle: middle, u: u, v: v}
	for i := range b.nearest {
		b.nearest[i] = math.Inf(1)
	}
	for _, id := range list {
		bin, r := b.at(f.m.Pos[id])
		b.nearest[bin] = min(b.nearest[bin], r)
	}
	return b
}

// behind reports whether a piece of the flat lies behind the main one, seen from the middle: most of its area has
// some of the main one before it. An arch, whole or broken into pieces, is met once in every direction; what
// lies beyond its front is the top of a handle, however level with the rim. The middle is that of the circle through
// the main piece where that is itself an arch, else of both.
func (f *rimFinder) behind(piece, main []mesh.VertexID, p Plane) bool {
	centre := func(lists ...[]mesh.VertexID) Vec {
		var at Vec
		total := 0.0
		for _, list := range lists {
			for _, v := range list {
				at, total = at.Along(f.area[v], f.m.Pos[v]), total+f.area[v]
			}
		}
		return at.Scale(1 / total)
	}
	// Along the way between the two, so that what lies in which direction does not hang on the scanner's axes.
	of := centre(main)
	to := centre(piece).Sub(of)
	u := to.Along(-to.Dot(p.Normal), p.Normal).Unit()
	if !u.Finite() {
		return false
	}
	v := p.Normal.Cross(u)
	seen, ok := f.archAround(main, of, u, v)
	if !ok {
		seen = f.polar(main, centre(piece, main), u, v)
	}
	hidden, all := 0.0, 0.0
	for _, id := range piece {
		if bin, r := seen.at(f.m.Pos[id]); seen.nearest[bin] < r {
			hidden += f.area[id]
		}
		all += f.area[id]
	}
	return hidden > all/2
}

// archAround sees a piece of the flat from the middle of the circle that fits it best. ok is false where it is no
// arch about that: where it comes nearer than half the radius, as a plate does, or does not reach around archDeg.
func (f *rimFinder) archAround(list []mesh.VertexID, about, u, v Vec) (b *polarBins, ok bool) {
	x, y, w := make([]float64, len(list)), make([]float64, len(list)), make([]float64, len(list))
	for i, id := range list {
		d := f.m.Pos[id].Sub(about)
		x[i], y[i], w[i] = d.Dot(u), d.Dot(v), f.area[id]
	}
	cx, cy, radius, ok := fitCircle(x, y, w)
	if !ok {
		return nil, false
	}
	cx, cy, radius = nearestCircle(x, y, w, cx, cy, radius)
	b = f.polar(list, about.Along(cx, u).Along(cy, v), u, v)
	filled := 0
	for _, r := range b.nearest {
		if !(r >= radius/2) {
			return nil, false
		}
		if !math.IsInf(r, 1) {
			filled++
		}
	}
	return b, filled*behindDeg >= archDeg
}

// nearestCircle moves a circle to the least squares of the distances from it (Gauss and Newton). fitCircle's own is
// too small for a broad short arch, whose breadth is to it like noise.
func nearestCircle(x, y, w []float64, cx, cy, radius float64) (float64, float64, float64) {
	for range 50 {
		var n, r1, u1, v1, uu, uv, vv, ru, rv float64
		for i := range x {
			dx, dy := x[i]-cx, y[i]-cy
			r := math.Hypot(dx, dy)
			if r == 0 {
				continue
			}
			u, v := dx/r, dy/r
			n += w[i]
			r1 += w[i] * r
			u1 += w[i] * u
			v1 += w[i] * v
			uu += w[i] * u * u
			uv += w[i] * u * v
			vv += w[i] * v * v
			ru += w[i] * r * u
			rv += w[i] * r * v
		}
		radius = r1 / n
		a11, a12, a22 := uu-u1*u1/n, uv-u1*v1/n, vv-v1*v1/n
		b1, b2 := ru-radius*u1, rv-radius*v1
		det := a11*a22 - a12*a12
		dx, dy := (b1*a22-b2*a12)/det, (b2*a11-b1*a12)/det
		if step := math.Hypot(dx, dy); !(step < 10*radius) || step < 1e-3*radius {
			break
		}
		cx, cy = cx+dx, cy+dy
	}
	return cx, cy, radius
}
