package tree

import (
	"math"
	"slices"

	"fornix/mesh"
)

// Section cuts the surface with the plane through point at right angles to normal, among the
// faces whose boxes come within radius of point (all when infinite); lines as of
// mesh.SectionFaces. O(faces near the plane).
func (t *Tree) Section(point, normal mesh.Vec, radius float64) []mesh.Polyline {
	unit := normal.Unit()
	if len(t.node) == 0 || unit == (mesh.Vec{}) {
		return nil
	}
	limit := 4 * radius * radius
	var faces []mesh.FaceID
	var stack [stackSize]waiting
	top := 1
	for top > 0 {
		top--
		at := stack[top]
		if at.count > 0 {
			faces = append(faces, t.face[at.ref:at.ref+at.count]...)
			continue
		}
		n := &t.node[at.ref]
		for i := range 2 {
			if n.half[i][0] >= 0 && n.onPlane(i, point, unit) && n.boxDist(i, point) <= limit {
				stack[top] = waiting{ref: n.ref[i], count: n.count[i]}
				top++
			}
		}
	}
	slices.Sort(faces)
	return mesh.SectionFaces(t.m, faces, point, normal)
}

// onPlane reports whether child i may meet the plane; normal has length one.
func (n *node) onPlane(i int, point, normal mesh.Vec) bool {
	c := mesh.Vec{X: float64(n.centre[i][0]), Y: float64(n.centre[i][1]), Z: float64(n.centre[i][2])}
	reach := float64(float64(n.half[i][0])*math.Abs(normal.X)) + float64(float64(n.half[i][1])*math.Abs(normal.Y)) +
		float64(float64(n.half[i][2])*math.Abs(normal.Z))
	d := c.Sub(point)
	slack := 1e-15 * (math.Abs(d.X) + math.Abs(d.Y) + math.Abs(d.Z) + reach)
	return math.Abs(d.Dot(normal)) <= reach+slack
}
