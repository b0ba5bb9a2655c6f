package simplify

import (
	"math"
	"sync"

	"fornix/mesh"
	"fornix/mesh/tree"
)

// Deviation returns how far, in mm, the vertices of m lie from the surface of the tree at most,
// and how far the middles of its faces do. Vertices of degenerate faces alone do not count. On all
// processors. O(#V log #F of the tree).
func Deviation(m *mesh.Mesh, t *tree.Tree) (vertices, faces float64) {
	used := make([]bool, len(m.Pos))
	for _, f := range m.Tri {
		if f[0] != f[1] && f[1] != f[2] && f[2] != f[0] {
			used[f[0]], used[f[1]], used[f[2]] = true, true, true
		}
	}
	var mu sync.Mutex
	mesh.InPieces(len(m.Tri), 1<<12, func(lo, hi int) {
		c, most := t.Cursor(), 0.0
		for f := lo; f < hi; f++ {
			if v := m.Tri[f]; v[0] != v[1] && v[1] != v[2] && v[2] != v[0] {
				p, q, r := m.Corners(mesh.FaceID(f))
				most = math.Max(most, distance(c, p.Add(q).Add(r).Scale(1./3)))
			}
		}
		mu.Lock()
		faces = math.Max(faces, most)
		mu.Unlock()
	})
	mesh.InPieces(len(m.Pos), 1<<12, func(lo, hi int) {
		c, most := t.Cursor(), 0.0
		for v := lo; v < hi; v++ {
			if used[v] {
				most = math.Max(most, distance(c, m.Pos[v]))
			}
		}
		mu.Lock()
		vertices = math.Max(vertices, most)
		mu.Unlock()
	})
	return vertices, faces
}

// distance is infinite where the tree has no face.
func distance(c *tree.Cursor, p mesh.Vec) float64 {
	h, found := c.Nearest(p, math.Inf(1), nil)
	if !found {
		return math.Inf(1)
	}
	return h.Dist
}
