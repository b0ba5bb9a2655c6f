package tree

import (
	"math"

	"fornix/mesh"
)

// Cursor asks for the nearest points of a row of points that lie close to each other, such as
// the vertices of a scan in order along it: each answer bounds the next search, with the same
// result as without. Each goroutine needs its own.
type Cursor struct {
	t    *Tree
	last mesh.FaceID
}

// Cursor returns a cursor over t.
func (t *Tree) Cursor() *Cursor { return &Cursor{t: t, last: -1} }

// Nearest is Tree.Nearest, faster when p is near the point of the call before.
func (c *Cursor) Nearest(p mesh.Vec, max float64, accept func(mesh.FaceID) bool) (Hit, bool) {
	if c.last >= 0 && (accept == nil || accept(c.last)) {
		// The last face is found again at this distance if nothing is nearer.
		d := c.t.closest(c.last, p).Dist(p)
		max = math.Min(max, float64(d*(1+1e-9))+math.SmallestNonzeroFloat64)
	}
	hit, found := c.t.Nearest(p, max, accept)
	if found {
		c.last = hit.Face
	}
	return hit, found
}
