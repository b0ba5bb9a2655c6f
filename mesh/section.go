package mesh

import "slices"

// Polyline is a run of straight pieces on the surface. Faces[i] holds the piece from Pts[i] to
// the next point, the last face of a closed one that back to Pts[0].
type Polyline struct {
	Pts    []Vec
	Faces  []FaceID
	Closed bool
}

// Section cuts the surface with the plane through point at right angles to normal (any length).
// O(#F); for many cuts take the faces near the plane from a tree and use SectionFaces.
func Section(m *Mesh, point, normal Vec) []Polyline {
	faces := make([]FaceID, len(m.Tri))
	for f := range faces {
		faces[f] = FaceID(f)
	}
	return SectionFaces(m, faces, point, normal)
}

// SectionFaces cuts only the given faces, which are in ascending order.
//
// A vertex on the plane counts as above it, so that every face has two cut edges or none and
// nothing is cut twice; pieces of no length are left out. Where the windings agree a line runs
// along normal × face normal: seen from the tip of normal, the outline of a solid runs
// counterclockwise. Lines end at the boundary, at non-manifold edges and where the faces given
// end. In order of their lowest face.
func SectionFaces(m *Mesh, faces []FaceID, point, normal Vec) []Polyline {
	s := section{m: m, point: point, normal: normal, used: make(map[FaceID]bool)}
	var cut []FaceID
	for _, f := range faces {
		t := m.Tri[f]
		a, b, c := s.above(t[0]), s.above(t[1]), s.above(t[2])
		if (a != b || b != c) && !m.degenerate(f) {
			cut = append(cut, f)
			s.used[f] = false
		}
	}
	var out []Polyline
	for _, f := range cut {
		if s.used[f] {
			continue
		}
		if l := s.line(f); len(l.Faces) > 0 {
			out = append(out, l)
		}
	}
	return out
}

type section struct {
	m             *Mesh
	point, normal Vec
	used          map[FaceID]bool // of the cut faces
}

func (s *section) above(v VertexID) bool { return s.height(v) >= 0 }

func (s *section) height(v VertexID) float64 { return s.m.Pos[v].Sub(s.point).Dot(s.normal) }

// edges returns the cut edges of f: where its winding goes down through the plane, and up.
func (s *section) edges(f FaceID) (down, up Corner) {
	for k := range 3 {
		c := Corner(3*int(f) + k)
		switch from, to := s.above(s.m.Vertex(c)), s.above(s.m.Vertex(c.Next())); {
		case from && !to:
			down = c
		case to && !from:
			up = c
		}
	}
	return down, up
}

// at returns where the plane cuts the edge of c, the same from both of its faces.
func (s *section) at(c Corner) Vec {
	a, b := s.m.Vertex(c), s.m.Vertex(c.Next())
	if b < a {
		a, b = b, a
	}
	ha, hb := s.height(a), s.height(b)
	switch {
	case ha == 0:
		return s.m.Pos[a]
	case hb == 0:
		return s.m.Pos[b]
	}
	return s.m.Pos[a].Along(ha/(ha-hb), s.m.Pos[b].Sub(s.m.Pos[a]))
}

// line follows the cut from f both ways.
func (s *section) line(f FaceID) Polyline {
	down, up := s.edges(f)
	s.used[f] = true
	pts, faces := []Vec{s.at(down), s.at(up)}, []FaceID{f}
	ahead, met, closed := s.follow(up, f)
	pts, faces = append(pts, ahead...), append(faces, met...)
	if closed {
		pts = pts[:len(pts)-1] // the first point again
	} else {
		back, met, _ := s.follow(down, f)
		slices.Reverse(back)
		slices.Reverse(met)
		pts, faces = append(back, pts...), append(met, faces...)
	}
	return dropEmptyPieces(pts, faces, closed)
}

// follow goes on across e until the line ends or comes back to first.
func (s *section) follow(e Corner, first FaceID) (pts []Vec, faces []FaceID, closed bool) {
	for {
		d := s.m.Across[e]
		if d < 0 {
			return pts, faces, false
		}
		f := d.Face()
		if f == first {
			return pts, faces, true
		}
		if done, cut := s.used[f]; done || !cut {
			return pts, faces, false
		}
		s.used[f] = true
		down, up := s.edges(f)
		if e = up; e == d {
			e = down
		}
		pts, faces = append(pts, s.at(e)), append(faces, f)
	}
}

// dropEmptyPieces removes the pieces between equal points.
func dropEmptyPieces(pts []Vec, faces []FaceID, closed bool) Polyline {
	l := Polyline{Closed: closed}
	for i, f := range faces {
		if next := pts[(i+1)%len(pts)]; next != pts[i] {
			l.Pts, l.Faces = append(l.Pts, pts[i]), append(l.Faces, f)
		}
	}
	if !closed && len(l.Faces) > 0 {
		l.Pts = append(l.Pts, pts[len(pts)-1])
	}
	return l
}

// Length returns the length of l in mm.
func (l Polyline) Length() float64 {
	var sum float64
	for i := range l.Faces {
		sum += l.Pts[i].Dist(l.Pts[(i+1)%len(l.Pts)])
	}
	return sum
}
