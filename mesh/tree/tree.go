// Package tree answers where-is questions about a surface: the nearest point, what a ray meets,
// which faces lie in a ball, which faces cross each other. It is a bounding-volume tree.
package tree

import (
	"math"

	"fornix/mesh"
)

// Tree is a bounding-volume tree over the faces of a mesh. Queries change nothing and allocate
// nothing, so that any number of goroutines may ask at once.
//
// Boxes are kept as float32 centre and half size, rounded outward, two to a node, so that a
// node is one cache line; faces are measured in float64 from the mesh itself.
type Tree struct {
	m    *mesh.Mesh
	node []node        // node 0 is the root
	face []mesh.FaceID // leaves are runs of this
}

// node holds the boxes of its two children. A child is a node, or a leaf of count faces from
// face[ref].
type node struct {
	centre [2][3]float32
	half   [2][3]float32 // negative infinity: empty child
	ref    [2]int32
	count  [2]int32 // 0: ref is a node
}

// Hit is a point of the surface.
type Hit struct {
	Face  mesh.FaceID
	Point mesh.Vec
	Dist  float64 // mm from the query point
}

// RayHit is where a ray meets the surface, at origin + T dir.
type RayHit struct {
	Face  mesh.FaceID
	T     float64
	Point mesh.Vec
}

// Mesh returns the surface that the tree is over.
func (t *Tree) Mesh() *mesh.Mesh { return t.m }

// stackSize bounds the depth of a tree: the builder splits in the middle from depth 32 on.
const stackSize = 64

type waiting struct {
	ref, count int32
	d2         float64 // 4 times the squared distance of its box
}

// boxDist returns four times the squared distance from p to child i of n.
func (n *node) boxDist(i int, p mesh.Vec) float64 {
	x := math.Abs(p.X-float64(n.centre[i][0])) - float64(n.half[i][0])
	y := math.Abs(p.Y-float64(n.centre[i][1])) - float64(n.half[i][1])
	z := math.Abs(p.Z-float64(n.centre[i][2])) - float64(n.half[i][2])
	// v + |v| is twice the positive part, without a branch.
	x += math.Abs(x)
	y += math.Abs(y)
	z += math.Abs(z)
	return x*x + y*y + z*z
}

// Nearest returns the point of the surface nearest to p, no farther than max, among the faces
// that accept takes (all when nil). Of faces equally near, as around a shared vertex, the lowest
// is returned. O(log #F) near the surface.
func (t *Tree) Nearest(p mesh.Vec, max float64, accept func(mesh.FaceID) bool) (Hit, bool) {
	best := Hit{Face: -1}
	best2 := max * max
	if max >= math.Sqrt(math.MaxFloat64) {
		best2 = math.Inf(1)
	}
	var stack [stackSize]waiting
	top := 0
	at := waiting{}
	if len(t.node) == 0 || !p.Finite() || !(max >= 0) {
		return best, false
	}
	for {
		if at.count > 0 {
			for _, f := range t.face[at.ref : at.ref+at.count] {
				if accept != nil && !accept(f) {
					continue
				}
				q := t.closest(f, p)
				d2 := q.Sub(p).Norm2()
				if d2 < best2 || d2 == best2 && (best.Face < 0 || f < best.Face) {
					best2 = d2
					best.Face, best.Point = f, q
				}
			}
		} else {
			n := &t.node[at.ref]
			d0, d1 := n.boxDist(0, p), n.boxDist(1, p)
			near, far := 0, 1
			if d1 < d0 {
				near, far = 1, 0
				d0, d1 = d1, d0
			}
			limit := 4 * best2
			if d1 <= limit && n.half[far][0] >= 0 {
				stack[top] = waiting{n.ref[far], n.count[far], d1}
				top++
			}
			if d0 <= limit && n.half[near][0] >= 0 {
				at = waiting{n.ref[near], n.count[near], d0}
				continue
			}
		}
		for {
			if top == 0 {
				best.Dist = math.Sqrt(best2)
				return best, best.Face >= 0
			}
			top--
			if stack[top].d2 <= 4*best2 {
				at = stack[top]
				break
			}
		}
	}
}

// closest returns the point of face f nearest to p, by the Voronoi region of the face in which
// p lies (Ericson, Real-Time Collision Detection, 5.1.5).
func (t *Tree) closest(f mesh.FaceID, p mesh.Vec) mesh.Vec {
	a, b, c := t.m.Corners(f)
	return ClosestOnFace(a, b, c, p)
}

// ClosestOnFace returns the point of the triangle a, b, c nearest to p; the triangle may have no
// area.
func ClosestOnFace(a, b, c, p mesh.Vec) mesh.Vec {
	ab, ac, ap := b.Sub(a), c.Sub(a), p.Sub(a)
	d1, d2 := ab.Dot(ap), ac.Dot(ap)
	if d1 <= 0 && d2 <= 0 {
		return a
	}
	bp := p.Sub(b)
	d3, d4 := ab.Dot(bp), ac.Dot(bp)
	if d3 >= 0 && d4 <= d3 {
		return b
	}
	vc := float64(d1*d4) - float64(d3*d2)
	if vc <= 0 && d1 >= 0 && d3 <= 0 {
		return a.Along(d1/(d1-d3), ab)
	}
	cp := p.Sub(c)
	d5, d6 := ab.Dot(cp), ac.Dot(cp)
	if d6 >= 0 && d5 <= d6 {
		return c
	}
	vb := float64(d5*d2) - float64(d1*d6)
	if vb <= 0 && d2 >= 0 && d6 <= 0 {
		return a.Along(d2/(d2-d6), ac)
	}
	va := float64(d3*d6) - float64(d5*d4)
	if va <= 0 && d4-d3 >= 0 && d5-d6 >= 0 {
		return b.Along((d4-d3)/((d4-d3)+(d5-d6)), c.Sub(b))
	}
	area := va + vb + vc // the square of twice the area
	if !(area > 1e-12*ab.Norm2()*ac.Norm2()) {
		// A needle: what is left of va, vb, vc is rounding.
		q := closestOnEdge(a, b, p)
		for _, r := range [2]mesh.Vec{closestOnEdge(b, c, p), closestOnEdge(c, a, p)} {
			if r.Sub(p).Norm2() < q.Sub(p).Norm2() {
				q = r
			}
		}
		return q
	}
	return a.Along(vb/area, ab).Along(vc/area, ac)
}

func closestOnEdge(a, b, p mesh.Vec) mesh.Vec {
	ab := b.Sub(a)
	t := p.Sub(a).Dot(ab)
	switch l := ab.Norm2(); {
	case t <= 0:
		return a
	case t >= l:
		return b
	default:
		return a.Along(t/l, ab)
	}
}

// Ball calls visit for every face with a point no farther than r from c, in an order that
// depends only on the mesh, until visit returns false.
func (t *Tree) Ball(c mesh.Vec, r float64, visit func(mesh.FaceID) bool) {
	if len(t.node) == 0 || !(r >= 0) || !c.Finite() {
		return
	}
	r2 := r * r
	var stack [stackSize]waiting
	top := 1 // the root, stack[0]
	for top > 0 {
		top--
		at := stack[top]
		if at.count > 0 {
			for _, f := range t.face[at.ref : at.ref+at.count] {
				if t.closest(f, c).Sub(c).Norm2() <= r2 && !visit(f) {
					return
				}
			}
			continue
		}
		n := &t.node[at.ref]
		for i := 1; i >= 0; i-- {
			if n.half[i][0] >= 0 && n.boxDist(i, c) <= 4*r2 {
				stack[top] = waiting{ref: n.ref[i], count: n.count[i]}
				top++
			}
		}
	}
}
