package tree

import (
	"cmp"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"fornix/mesh"
)

// SelfIntersections counts the pairs of faces that go through each other, and returns the first
// limit of them, lower face first, in ascending order. Faces that name a common vertex are
// neighbours and never count; neither do faces that lie in one plane, nor a vertex that only
// touches a face. Faces closer to touching than the rounding of float64 count as touching
// (error bound of Shewchuk, Discrete Comput Geom 1997;18:305). On all processors, with the same
// result for any number of them.
func (t *Tree) SelfIntersections(limit int) (n int, pairs [][2]mesh.FaceID) {
	if len(t.node) == 0 {
		return 0, nil
	}
	// Work breadth first until there are enough pairs of subtrees to share out.
	work := []twin{{a: child{}, b: child{}, same: true}}
	for len(work) > 0 && len(work) < 512 {
		var next []twin
		split := false
		for _, w := range work {
			if w.a.count > 0 && w.b.count > 0 {
				next = append(next, w)
				continue
			}
			split = true
			t.descend(w, func(v twin) { next = append(next, v) })
		}
		work = next
		if !split {
			break
		}
	}
	rank := t.ranks()
	found := make([]crossings, len(work))
	var at atomic.Int64
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			g := &graphs{t: t, rank: rank}
			for {
				i := int(at.Add(1)) - 1
				if i >= len(work) {
					return
				}
				found[i].limit = limit
				t.cross(work[i], g, &found[i])
			}
		})
	}
	wg.Wait()
	for i := range found {
		n += found[i].n
		pairs = append(pairs, found[i].pairs...)
	}
	slices.SortFunc(pairs, comparePairs)
	return n, pairs[:min(len(pairs), max(limit, 0))]
}

// child is a node (count 0) or a leaf, with its box once it has one.
type child struct {
	ref, count   int32
	centre, half [3]float32
}

// twin is two subtrees to compare, or one with itself.
type twin struct {
	a, b child
	same bool
}

type crossings struct {
	n, limit int
	pairs    [][2]mesh.FaceID
}

func comparePairs(a, b [2]mesh.FaceID) int {
	return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]))
}

func (c *crossings) add(f, g mesh.FaceID) {
	c.n++
	c.pairs = append(c.pairs, [2]mesh.FaceID{min(f, g), max(f, g)})
	if len(c.pairs) > 4*max(c.limit, 1024) {
		slices.SortFunc(c.pairs, comparePairs)
		c.pairs = c.pairs[:max(c.limit, 0)]
	}
}

func (n *node) child(i int) child {
	return child{ref: n.ref[i], count: n.count[i], centre: n.centre[i], half: n.half[i]}
}

func (a *child) meets(b *child) bool {
	for k := range 3 {
		if math.Abs(float64(a.centre[k])-float64(b.centre[k])) > float64(a.half[k])+float64(b.half[k]) {
			return false
		}
	}
	return true
}

// descend hands on the pairs of children that a pair splits into.
func (t *Tree) descend(w twin, visit func(twin)) {
	if w.same {
		n := &t.node[w.a.ref]
		a, b := n.child(0), n.child(1)
		if a.half[0] >= 0 {
			visit(twin{a: a, b: a, same: true})
		}
		if b.half[0] >= 0 {
			visit(twin{a: b, b: b, same: true})
		}
		if a.meets(&b) {
			visit(twin{a: a, b: b})
		}
		return
	}
	a, b := w.a, w.b
	if a.count > 0 || b.count == 0 && b.half[0]+b.half[1]+b.half[2] > a.half[0]+a.half[1]+a.half[2] {
		a, b = b, a
	}
	n := &t.node[a.ref]
	for i := range 2 {
		if c := n.child(i); c.meets(&b) {
			visit(twin{a: c, b: b})
		}
	}
}

func (t *Tree) cross(w twin, g *graphs, c *crossings) {
	if w.same && w.a.count == 0 {
		if lo, hi := t.run(w.a.ref); hi-lo >= graphLeast && hi-lo <= graphMost && g.over(lo, hi) {
			return
		}
	}
	if w.a.count > 0 && w.b.count > 0 {
		for i, f := range t.face[w.a.ref : w.a.ref+w.a.count] {
			others := t.face[w.b.ref : w.b.ref+w.b.count]
			if w.same {
				others = others[i+1:]
			}
			for _, g := range others {
				if t.facesCross(f, g) {
					c.add(f, g)
				}
			}
		}
		return
	}
	t.descend(w, func(v twin) { t.cross(v, g, c) })
}

func (t *Tree) facesCross(f, g mesh.FaceID) bool {
	for _, u := range t.m.Tri[f] {
		for _, v := range t.m.Tri[g] {
			if u == v {
				return false
			}
		}
	}
	var p, q [3]mesh.Vec
	p[0], p[1], p[2] = t.m.Corners(f)
	q[0], q[1], q[2] = t.m.Corners(g)
	return !apart(&p, &q) && trianglesCross(&p, &q)
}

// apart reports whether the boxes of the triangles do not meet.
func apart(p, q *[3]mesh.Vec) bool {
	return max(p[0].X, p[1].X, p[2].X) < min(q[0].X, q[1].X, q[2].X) ||
		max(q[0].X, q[1].X, q[2].X) < min(p[0].X, p[1].X, p[2].X) ||
		max(p[0].Y, p[1].Y, p[2].Y) < min(q[0].Y, q[1].Y, q[2].Y) ||
		max(q[0].Y, q[1].Y, q[2].Y) < min(p[0].Y, p[1].Y, p[2].Y) ||
		max(p[0].Z, p[1].Z, p[2].Z) < min(q[0].Z, q[1].Z, q[2].Z) ||
		max(q[0].Z, q[1].Z, q[2].Z) < min(p[0].Z, p[1].Z, p[2].Z)
}

// trianglesCross reports whether an edge of one goes through the other: its ends lie strictly on
// both sides of the plane and it passes the inside or an edge of the triangle.
func trianglesCross(p, q *[3]mesh.Vec) bool {
	return pierces(p, q) || pierces(q, p)
}

func pierces(p, q *[3]mesh.Vec) bool {
	var side [3]int
	for i := range side {
		side[i] = orient(q[0], q[1], q[2], p[i])
	}
	for i := range 3 {
		j := (i + 1) % 3
		if side[i]*side[j] >= 0 {
			continue
		}
		a := orient(p[i], p[j], q[0], q[1])
		b := orient(p[i], p[j], q[1], q[2])
		c := orient(p[i], p[j], q[2], q[0])
		if a >= 0 && b >= 0 && c >= 0 || a <= 0 && b <= 0 && c <= 0 {
			return true
		}
	}
	return false
}

// orient returns on which side of the plane a, b, c the point d lies, 0 when rounding hides it.
func orient(a, b, c, d mesh.Vec) int {
	a, b, c = a.Sub(d), b.Sub(d), c.Sub(d)
	bcx, cbx := float64(b.Y*c.Z), float64(b.Z*c.Y)
	bcy, cby := float64(b.Z*c.X), float64(b.X*c.Z)
	bcz, cbz := float64(b.X*c.Y), float64(b.Y*c.X)
	det := float64(a.X*(bcx-cbx)) + float64(a.Y*(bcy-cby)) + float64(a.Z*(bcz-cbz))
	size := float64(math.Abs(a.X)*(math.Abs(bcx)+math.Abs(cbx))) + float64(math.Abs(a.Y)*(math.Abs(bcy)+math.Abs(cby))) +
		float64(math.Abs(a.Z)*(math.Abs(bcz)+math.Abs(cbz)))
	switch bound := 8e-16 * size; {
	case det > bound:
		return 1
	case det < -bound:
		return -1
	}
	return 0
}
