package inspect

import (
	"math"

	"fornix/mesh"
)

// behindDeg is how wide the directions are in which a piece of the flat is compared with another.
const behindDeg = 3

// behind reports whether a piece of the flat lies behind the main one, seen from the middle of both: most of its
// area has some of the main one before it. An arch, whole or broken into pieces, is met once in every direction; what
// lies beyond its front is the top of a handle, however level with the rim.
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
	mid := centre(piece, main)
	to := centre(piece).Sub(mid)
	u := to.Along(-to.Dot(p.Normal), p.Normal).Unit()
	if !u.Finite() {
		return false
	}
	w := p.Normal.Cross(u)
	polar := func(v mesh.VertexID) (bin int, r float64) {
		d := f.m.Pos[v].Sub(mid)
		x, y := d.Dot(u), d.Dot(w)
		return int(math.Floor((math.Atan2(y, x)*180/math.Pi + 180) / behindDeg)), math.Hypot(x, y)
	}
	var nearest [360/behindDeg + 1]float64
	for i := range nearest {
		nearest[i] = math.Inf(1)
	}
	for _, v := range main {
		bin, r := polar(v)
		nearest[bin] = min(nearest[bin], r)
	}
	hidden, all := 0.0, 0.0
	for _, v := range piece {
		if bin, r := polar(v); nearest[bin] < r {
			hidden += f.area[v]
		}
		all += f.area[v]
	}
	return hidden > all/2
}
