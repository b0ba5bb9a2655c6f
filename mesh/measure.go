package mesh

import "math"

// FaceArea returns the area of f in mm².
func (m *Mesh) FaceArea(f FaceID) float64 {
	a, b, c := m.Corners(f)
	return b.Sub(a).Cross(c.Sub(a)).Norm() / 2
}

// FaceNormal returns the unit normal of f, to the side from which its winding runs
// counterclockwise; zero for a face without area.
func (m *Mesh) FaceNormal(f FaceID) Vec {
	a, b, c := m.Corners(f)
	return b.Sub(a).Cross(c.Sub(a)).Unit()
}

// Centroid returns the mean of the three corners of f.
func (m *Mesh) Centroid(f FaceID) Vec {
	a, b, c := m.Corners(f)
	return a.Add(b).Add(c).Scale(1.0 / 3)
}

// Normals returns a unit normal per vertex (#V): the face normals weighted by the angle of the
// face at the vertex, so that it does not depend on how a flat part is cut into faces
// (Thürmer and Wüthrich, J Graphics Tools 1998;3:43). Zero where no face has area, and where
// the normals cancel. O(#F).
func (m *Mesh) Normals() []Vec {
	out := make([]Vec, len(m.Pos))
	InPieces(len(m.Pos), 1<<13, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			var sum Vec
			for _, r := range m.CornersAt(VertexID(v)) {
				p := m.Pos[v]
				a, b := m.Pos[m.Vertex(r.Next())].Sub(p), m.Pos[m.Vertex(r.Prev())].Sub(p)
				n := a.Cross(b)
				if area := n.Norm(); area > 0 {
					sum = sum.Along(math.Atan2(area, a.Dot(b))/area, n)
				}
			}
			out[v] = sum.Unit()
		}
	})
	return out
}

// Area returns the area of all faces in mm². O(#F).
func (m *Mesh) Area() float64 {
	var sum float64
	for f := range m.Tri {
		sum += m.FaceArea(FaceID(f))
	}
	return sum
}

// Volume returns the volume in mm³ that the surface encloses by its windings: positive when they
// are counterclockwise from outside, negative inside out. Of an open surface it is the volume of
// the cone from the middle of its box over it, which means little. O(#F).
func (m *Mesh) Volume() float64 {
	lo, hi := m.Bounds()
	mid := lo.Add(hi).Scale(0.5)
	var sum float64
	for f := range m.Tri {
		a, b, c := m.Corners(FaceID(f))
		sum += a.Sub(mid).Dot(b.Sub(mid).Cross(c.Sub(mid)))
	}
	return sum / 6
}

// Bounds returns the box around all positions; inverted infinities when there are none.
func (m *Mesh) Bounds() (lo, hi Vec) {
	lo = Vec{math.Inf(1), math.Inf(1), math.Inf(1)}
	hi = lo.Scale(-1)
	for _, p := range m.Pos {
		lo.X, hi.X = min(lo.X, p.X), max(hi.X, p.X)
		lo.Y, hi.Y = min(lo.Y, p.Y), max(hi.Y, p.Y)
		lo.Z, hi.Z = min(lo.Z, p.Z), max(hi.Z, p.Z)
	}
	return lo, hi
}
