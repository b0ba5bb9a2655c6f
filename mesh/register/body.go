package register

import (
	"fornix/mesh"
	"fornix/mesh/tree"
)

// Body is a surface made ready to be asked for distances. It is not changed once built, so that
// readers share it freely.
type Body struct {
	Mesh    *mesh.Mesh
	Tree    *tree.Tree
	Normals []mesh.Vec // #V, as Mesh.Normals
}

// NewBody builds the tree and the normals of m. O(#F log #F), on all processors.
func NewBody(m *mesh.Mesh) *Body {
	return &Body{Mesh: m, Tree: tree.New(m), Normals: m.Normals()}
}

// onFeature is how near to an edge, as a share of the face, a point counts as on it. A point
// this far inside has the same side either way, as both normals lean the same way there.
const onFeature = 1e-9

// facing returns a normal at the point q of face f that tells the outer side of the surface for
// every point whose nearest point is q, and whether q lies on the surface's boundary. Its length
// is not one. The zero vector: the faces there have no area.
//
// It is the face's normal inside it, the sum of both at an edge, and at a vertex the sum weighted
// by angle (Bærentzen and Aanæs, IEEE Trans Vis Comput Graph 2005;11:243).
func (b *Body) facing(f mesh.FaceID, q mesh.Vec) (normal mesh.Vec, onBoundary bool) {
	m := b.Mesh
	p0, p1, p2 := m.Corners(f)
	n := p1.Sub(p0).Cross(p2.Sub(p0))
	area := n.Norm()
	if area == 0 {
		return b.ofFlatFace(f, q)
	}
	n = n.Scale(1 / area)
	corner := [3]mesh.Vec{p0, p1, p2}
	zero, first := 0, -1 // corners whose share of q is none
	for k := range 3 {
		e := corner[(k+2)%3].Sub(corner[(k+1)%3])
		if e.Cross(q.Sub(corner[(k+1)%3])).Dot(n) <= onFeature*area {
			if first < 0 {
				first = k
			}
			zero += k
			if first != k { // two are none: q is the third corner
				v := m.Tri[f][3-zero]
				return b.Normals[v], b.atBoundary(v)
			}
		}
	}
	if first < 0 {
		return n, false
	}
	c := mesh.Corner(3*int(f) + (first+1)%3) // the edge across from the corner
	d := m.Across[c]
	if d < 0 {
		return n, d == mesh.OnBoundary
	}
	other := m.FaceNormal(d.Face())
	if m.Vertex(c) == m.Vertex(d) { // wound the other way
		other = other.Scale(-1)
	}
	return n.Add(other), false
}

// ofFlatFace is facing for a face without area: the normal of the corner nearest to q.
func (b *Body) ofFlatFace(f mesh.FaceID, q mesh.Vec) (mesh.Vec, bool) {
	t := b.Mesh.Tri[f]
	v := t[0]
	for _, u := range t[1:] {
		if b.Mesh.Pos[u].Dist(q) < b.Mesh.Pos[v].Dist(q) {
			v = u
		}
	}
	return b.Normals[v], b.atBoundary(v)
}

// atBoundary reports whether an edge of one face ends in v.
func (b *Body) atBoundary(v mesh.VertexID) bool {
	for _, c := range b.Mesh.CornersAt(v) {
		if b.Mesh.Across[c] == mesh.OnBoundary || b.Mesh.Across[c.Prev()] == mesh.OnBoundary {
			return true
		}
	}
	return false
}
