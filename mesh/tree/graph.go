package tree

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
)

// Runs of faces that are looked at whether they lie over a plane as a graph does.
const (
	graphMost  = 1 << 13 // faces; a jaw bends too much for more
	graphLeast = 24      // below this comparing the faces is as quick
)

// graphs tells of runs of a tree's faces whether no two of them can cross, without comparing them.
//
// A run cannot cross itself if it lies over one of the coordinate planes as a graph: seen along the
// third axis all faces turn the same way, and the edges that bound the run meet only at common
// vertices and wind once round what they bound. For then a point of the plane is covered as many
// times as the boundary winds round it (the degree of a map that turns no face over), that is once
// or not at all, and faces with a common point have it as a common vertex or edge. The idea is of
// Volino and Magnenat-Thalmann (Computer Graphics Forum 1994;13:155), who ask for discs; by winding
// numbers the run may also have holes, pieces, and pieces that hang by a vertex.
//
// Dropping a coordinate rounds nothing, and what rounding could hide counts as not a graph.
type graphs struct {
	t    *Tree
	rank []int32 // #F, where a face stands in Tree.face
	edge []rimEdge
}

// rimEdge is an edge of a run's boundary over the plane, with the run on its left.
type rimEdge struct {
	a, b mesh.VertexID
	p, q [2]float64
	lo   float64 // the lower of both first coordinates
}

// ranks returns where each face stands in the tree.
func (t *Tree) ranks() []int32 {
	rank := make([]int32, len(t.face))
	for i, f := range t.face {
		rank[f] = int32(i)
	}
	return rank
}

// run returns the faces of a node: those from lo to below hi of Tree.face.
func (t *Tree) run(ref int32) (lo, hi int) {
	a, b := ref, ref
	for t.node[a].count[0] == 0 {
		a = t.node[a].ref[0]
	}
	for t.node[b].count[1] == 0 {
		b = t.node[b].ref[1]
	}
	n := &t.node[b]
	if n.half[1][0] < 0 { // its second child is empty
		return int(t.node[a].ref[0]), int(n.ref[0] + n.count[0])
	}
	return int(t.node[a].ref[0]), int(n.ref[1] + n.count[1])
}

// over reports whether the faces lo..hi of the tree lie over a coordinate plane as a graph does.
func (g *graphs) over(lo, hi int) bool {
	m := g.t.m
	faces := g.t.face[lo:hi]
	var n mesh.Vec
	for _, f := range faces {
		a, b, c := m.Corners(f)
		n = n.Add(b.Sub(a).Cross(c.Sub(a)))
	}
	// Over the plane of axes u and v the faces turn left.
	x, y, z := math.Abs(n.X), math.Abs(n.Y), math.Abs(n.Z)
	axes := [2]int{0, 1}
	along := n.Z
	if x >= y && x >= z {
		axes, along = [2]int{1, 2}, n.X
	} else if y >= z {
		axes, along = [2]int{2, 0}, n.Y
	}
	if along < 0 {
		axes[0], axes[1] = axes[1], axes[0]
	}
	for _, f := range faces {
		a, b, c := m.Corners(f)
		if turn(flat(a, axes), flat(b, axes), flat(c, axes)) <= 0 {
			return false
		}
	}
	g.edge = g.edge[:0]
	most := 8 * int(math.Sqrt(float64(len(faces)))) // of a compact run about 4
	for _, f := range faces {
		for c := mesh.Corner(3 * f); c < mesh.Corner(3*f+3); c++ {
			d := m.Across[c]
			if d == mesh.NonManifold {
				return false
			}
			if d != mesh.OnBoundary {
				if r := int(g.rank[d.Face()]); r >= lo && r < hi {
					continue
				}
			}
			if len(g.edge) == most {
				return false
			}
			e := rimEdge{a: m.Vertex(c), b: m.Vertex(c.Next())}
			e.p, e.q = flat(m.Pos[e.a], axes), flat(m.Pos[e.b], axes)
			e.lo = min(e.p[0], e.q[0])
			g.edge = append(g.edge, e)
		}
	}
	slices.SortFunc(g.edge, func(a, b rimEdge) int { return cmp.Compare(a.lo, b.lo) })
	return g.simple() && g.once()
}

// flat returns a point over the plane of two axes.
func flat(p mesh.Vec, axes [2]int) [2]float64 {
	c := [3]float64{p.X, p.Y, p.Z}
	return [2]float64{c[axes[0]], c[axes[1]]}
}

// turn is 1 where the way from a over b to c turns left, -1 where it turns right, 0 where it does
// neither or rounding hides it (error bound of Shewchuk, as above).
func turn(a, b, c [2]float64) int {
	l := float64((a[0] - c[0]) * (b[1] - c[1]))
	r := float64((a[1] - c[1]) * (b[0] - c[0]))
	switch bound := 4e-16 * (math.Abs(l) + math.Abs(r)); {
	case l-r > bound:
		return 1
	case r-l > bound:
		return -1
	}
	return 0
}

// simple reports whether the edges, which come by their lowest first coordinates, meet only at
// common ends.
func (g *graphs) simple() bool {
	for i := range g.edge {
		e := &g.edge[i]
		right := max(e.p[0], e.q[0])
		low, high := min(e.p[1], e.q[1]), max(e.p[1], e.q[1])
		for j := i + 1; j < len(g.edge) && g.edge[j].lo <= right; j++ {
			f := &g.edge[j]
			if f.p[1] < low && f.q[1] < low || f.p[1] > high && f.q[1] > high {
				continue
			}
			if !e.clear(f) {
				return false
			}
		}
	}
	return true
}

// clear reports whether two edges have no point in common but a common end.
func (e *rimEdge) clear(f *rimEdge) bool {
	common, p, q := 0, e.q, f.q // the ends that are not common
	for _, s := range [4]struct {
		same bool
		p, q [2]float64
	}{{e.a == f.a, e.q, f.q}, {e.a == f.b, e.q, f.p}, {e.b == f.a, e.p, f.q}, {e.b == f.b, e.p, f.p}} {
		if s.same {
			common++
			p, q = s.p, s.q
		}
	}
	switch common {
	case 0:
		return turn(e.p, e.q, f.p)*turn(e.p, e.q, f.q) > 0 || turn(f.p, f.q, e.p)*turn(f.p, f.q, e.q) > 0
	case 1:
		at := e.p
		if p == e.p {
			at = e.q
		}
		return turn(at, p, q) != 0 || apartFrom(at, p, q)
	}
	return false
}

// apartFrom reports whether p and q lie on opposite sides of at, along an axis.
func apartFrom(at, p, q [2]float64) bool {
	for k := range 2 {
		if p[k] < at[k] && q[k] > at[k] || p[k] > at[k] && q[k] < at[k] {
			return true
		}
	}
	return false
}

// once reports whether the boundary winds once round what lies left of each of its edges. As its
// edges do not cross, it then winds once or not at all round every point: each part of the plane
// that they bound lies beside one of them.
func (g *graphs) once() bool {
	for i := range g.edge {
		e := &g.edge[i]
		// A ray from the middle of the edge, along the axis that it is steeper to.
		k := 0
		if math.Abs(e.q[1]-e.p[1]) < math.Abs(e.q[0]-e.p[0]) {
			k = 1
		}
		low, high := e.across(k)
		at := low/2 + high/2
		if !(at > min(low, high) && at < max(low, high)) {
			return false
		}
		from, slack := e.meets(k, at)
		winds := 0
		if high > low {
			winds = 1 // the ray of a point left of the edge passes it
		}
		for j := range g.edge {
			f := &g.edge[j]
			low, high := f.across(k)
			if (low <= at) == (high <= at) || j == i {
				continue
			}
			x, more := f.meets(k, at)
			if math.Abs(x-from) <= slack+more {
				return false
			}
			if x > from && high > low {
				winds++
			} else if x > from {
				winds--
			}
		}
		if winds != 1 {
			return false
		}
	}
	return true
}

// across returns where both ends lie across a ray along the first axis (k = 0), or back along the
// second one, which is the same after a quarter turn.
func (e *rimEdge) across(k int) (p, q float64) { return e.p[1-k], e.q[1-k] }

// meets returns where such a ray, at a place between the ends, meets the edge, and how far off that may be.
func (e *rimEdge) meets(k int, at float64) (x, off float64) {
	p, q := e.p[k], e.q[k]
	if k == 1 {
		p, q = -p, -q
	}
	low, high := e.across(k)
	return p + (q-p)*((at-low)/(high-low)), 1e-14 * (math.Abs(p) + math.Abs(q))
}
