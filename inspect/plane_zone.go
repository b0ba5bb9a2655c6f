package inspect

import (
	"math"
	"math/big"
)

// MinimumZone returns the smallest gap between two parallel planes that hold all points
// between them, and the plane midway (MZPL of ISO 12781-1). It is false for points that are
// not finite or on a line.
//
// Exact: the narrowest pair touches the convex hull in a face and a vertex or in two edges, so
// every such direction is looked at (Houle and Toussaint, IEEE PAMI 1988;10:761). Points flat
// to 1e-9 of their extent have their least-squares plane and its FLTt for an answer.
// O(n log n + h²) for h hull vertices; points near a plane have few of them.
func MinimumZone(points []Vec) (float64, Plane, bool) {
	ls, ok := FitPlane(points, nil)
	if !ok {
		return math.NaN(), Plane{}, false
	}
	fl := MeasureFlatness(points, ls)
	extent := 0.0
	for _, q := range points {
		extent = max(extent, q.Dist(ls.Point))
	}
	best := zone{gap: fl.PeakToValley, mid: (fl.Peak - fl.Valley) / 2, normal: ls.Normal}
	if fl.PeakToValley > 1e-9*extent {
		best.over(hullOf(points), ls.Point)
	}
	return best.gap, Plane{ls.Point.Along(best.mid, best.normal), best.normal}, true
}

type zone struct {
	gap, mid float64 // mid: of the two planes, along normal from the origin given to over
	normal   Vec
}

// over lowers z to the width of the hull.
func (z *zone) over(h *hull, origin Vec) {
	var vertex []Vec
	for _, v := range h.vertices() {
		vertex = append(vertex, h.at[v].Sub(origin))
	}
	try := func(n Vec) {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, q := range vertex {
			d := q.Dot(n)
			lo, hi = min(lo, d), max(hi, d)
			if hi-lo >= z.gap {
				return
			}
		}
		*z = zone{hi - lo, (hi + lo) / 2, n}
	}
	type edge struct{ p, along, left, right Vec }
	var edges []edge
	for f, t := range h.face {
		if h.dead[f] {
			continue
		}
		try(h.normal[f])
		for k, a := range t {
			b := t[(k+1)%3]
			if a < b {
				p, q := h.at[a], h.at[b]
				edges = append(edges, edge{p, q.Sub(p).Unit(), h.normal[f], h.normal[h.across[f][k]]})
			}
		}
	}
	// Two edges are touched by parallel planes when their arcs on the sphere of normals, one
	// of them mirrored, cross. The arc of e crosses the great circle normal to edge f when the
	// two faces of e lean to different sides along f. A direction let through by rounding
	// does no harm: try measures the whole width.
	const slack = 1e-12
	for i, e := range edges {
		for _, f := range edges[:i] {
			if e.left.Dot(f.along)*e.right.Dot(f.along) > slack || f.left.Dot(e.along)*f.right.Dot(e.along) > slack {
				continue
			}
			n := e.along.Cross(f.along)
			l := n.Norm()
			if l < 1e-9 || math.Abs(f.p.Sub(e.p).Dot(n)) >= z.gap*l {
				continue
			}
			try(n.Scale(1 / l))
		}
	}
}

// hull is a convex hull with outward faces. Faces of one plane are several triangles.
type hull struct {
	at     []Vec
	face   [][3]int
	across [][3]int // the face across edge k, from corner k to the next
	normal []Vec
	dead   []bool
	above  [][]int // per face, points outside the hull that see it
}

// hullOf builds the hull by adding the farthest point of a face until none is outside
// (quickhull: Barber et al., ACM TOMS 1996;22:469). The side of a point is decided exactly,
// and a point on a face's plane does not see it, so flat and gridded sets make no thin or
// turned faces. The points are finite and not on one plane.
func hullOf(points []Vec) *hull {
	h := &hull{at: points}
	h.seed()
	for f := 0; f < len(h.face); f++ {
		if !h.dead[f] && len(h.above[f]) > 0 {
			h.add(f)
		}
	}
	return h
}

// seed makes the first tetrahedron from points far apart.
func (h *hull) seed() {
	far := func(score func(Vec) float64) int {
		best, at := -1.0, 0
		for i, q := range h.at {
			if s := score(q); s > best {
				best, at = s, i
			}
		}
		return at
	}
	a := 0
	b := far(func(q Vec) float64 { return q.Sub(h.at[a]).Norm2() })
	along := h.at[b].Sub(h.at[a])
	c := far(func(q Vec) float64 { return q.Sub(h.at[a]).Cross(along).Norm2() })
	n := along.Cross(h.at[c].Sub(h.at[a]))
	d := far(func(q Vec) float64 { return math.Abs(q.Sub(h.at[a]).Dot(n)) })
	if side(h.at[a], h.at[b], h.at[c], h.at[d]) > 0 {
		b, c = c, b
	}
	for _, t := range [][3]int{{a, b, c}, {a, d, b}, {b, d, c}, {c, d, a}} {
		h.push(t[0], t[1], t[2], [3]int{})
	}
	for f := range h.face {
		for k := range 3 {
			for g := range h.face {
				h.link(g, h.face[f][(k+1)%3], h.face[f][k], f, k)
			}
		}
	}
	all := make([]int, len(h.at))
	for i := range all {
		all[i] = i
	}
	h.share(all, 0)
}

// link joins edge k of face f to the edge from a to b of face g, if g has it.
func (h *hull) link(g, a, b, f, k int) {
	for j := range 3 {
		if h.face[g][j] == a && h.face[g][(j+1)%3] == b {
			h.across[f][k], h.across[g][j] = g, f
		}
	}
}

func (h *hull) push(a, b, c int, across [3]int) int {
	h.face = append(h.face, [3]int{a, b, c})
	h.across = append(h.across, across)
	h.normal = append(h.normal, h.at[b].Sub(h.at[a]).Cross(h.at[c].Sub(h.at[a])).Unit())
	h.dead = append(h.dead, false)
	h.above = append(h.above, nil)
	return len(h.face) - 1
}

// sees tells whether point p is strictly outside face f.
func (h *hull) sees(p, f int) bool {
	t := h.face[f]
	return side(h.at[t[0]], h.at[t[1]], h.at[t[2]], h.at[p]) > 0
}

// share gives each point to the first face from first on that it sees; others are inside.
func (h *hull) share(points []int, first int) {
	for _, p := range points {
		for f := first; f < len(h.face); f++ {
			if h.sees(p, f) {
				h.above[f] = append(h.above[f], p)
				break
			}
		}
	}
}

// add puts the farthest point seen by face f on the hull.
func (h *hull) add(f int) {
	p, most := h.above[f][0], -1.0
	for _, q := range h.above[f] {
		if d := h.at[q].Sub(h.at[h.face[f][0]]).Dot(h.normal[f]); d > most {
			p, most = q, d
		}
	}
	// The faces seen from p are one patch: walk it and note its rim.
	type rim struct{ a, b, outer int }
	var edges []rim
	patch := []int{f}
	h.dead[f] = true
	for i := 0; i < len(patch); i++ {
		for _, o := range h.across[patch[i]] {
			if !h.dead[o] && h.sees(p, o) {
				h.dead[o] = true
				patch = append(patch, o)
			}
		}
	}
	for _, g := range patch {
		for k, o := range h.across[g] {
			if !h.dead[o] {
				edges = append(edges, rim{h.face[g][k], h.face[g][(k+1)%3], o})
			}
		}
	}
	first := len(h.face)
	from := make(map[int]int, len(edges)) // new face by the first vertex of its rim edge
	for _, e := range edges {
		n := h.push(e.a, e.b, p, [3]int{e.outer, -1, -1})
		from[e.a] = n
		h.link(e.outer, e.b, e.a, n, 0)
	}
	for n := first; n < len(h.face); n++ {
		next := from[h.face[n][1]]
		h.across[n][1], h.across[next][2] = next, n
	}
	for _, g := range patch {
		h.share(h.above[g], first)
		h.above[g] = nil
	}
}

// vertices lists the points on the hull, once each, in order.
func (h *hull) vertices() []int {
	on := make([]bool, len(h.at))
	for f, t := range h.face {
		if !h.dead[f] {
			on[t[0]], on[t[1]], on[t[2]] = true, true, true
		}
	}
	var list []int
	for v, yes := range on {
		if yes {
			list = append(list, v)
		}
	}
	return list
}

// side is positive when d is on the side of plane abc from which a, b, c turn left, and 0 only
// when d is exactly on it. The error bound is that of Shewchuk, Discrete Comput Geom
// 1997;18:305; what it leaves open is computed without rounding.
func side(a, b, c, d Vec) int {
	u, v, w := a.Sub(d), b.Sub(d), c.Sub(d)
	vw, wv := float64(v.X*w.Y), float64(w.X*v.Y)
	wu, uw := float64(w.X*u.Y), float64(u.X*w.Y)
	uv, vu := float64(u.X*v.Y), float64(v.X*u.Y)
	det := float64(u.Z*(vw-wv)) + float64(v.Z*(wu-uw)) + float64(w.Z*(uv-vu))
	size := (math.Abs(vw)+math.Abs(wv))*math.Abs(u.Z) + (math.Abs(wu)+math.Abs(uw))*math.Abs(v.Z) + (math.Abs(uv)+math.Abs(vu))*math.Abs(w.Z)
	if bound := 7.8e-16 * size; det > bound {
		return -1
	} else if det < -bound {
		return 1
	}
	return -exactSign(a, b, c, d)
}

// exactSign is the sign of det(a-d, b-d, c-d) in numbers long enough for every step.
func exactSign(a, b, c, d Vec) int {
	long := func(x float64) *big.Float { return new(big.Float).SetPrec(2048).SetFloat64(x) }
	sub := func(x, y float64) *big.Float { return long(0).Sub(long(x), long(y)) }
	mul := func(x, y *big.Float) *big.Float { return long(0).Mul(x, y) }
	row := func(p Vec) [3]*big.Float { return [3]*big.Float{sub(p.X, d.X), sub(p.Y, d.Y), sub(p.Z, d.Z)} }
	u, v, w := row(a), row(b), row(c)
	minor := func(p, q [3]*big.Float) *big.Float { return long(0).Sub(mul(p[0], q[1]), mul(q[0], p[1])) }
	det := long(0).Add(mul(u[2], minor(v, w)), mul(v[2], minor(w, u)))
	return det.Add(det, mul(w[2], minor(u, v))).Sign()
}
