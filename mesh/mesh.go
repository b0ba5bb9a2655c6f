// Package mesh holds a scanned surface: indexed faces with a corner table, what can be asked
// of them, and the files they are read from. Nothing here repairs, moves or drops geometry.
package mesh

// VertexID, FaceID and Corner index a Mesh. Corner c is vertex c%3 of face c/3 and stands for
// the edge from that vertex to the next one of the face.
type (
	VertexID int32
	FaceID   int32
	Corner   int32
)

// Values of Mesh.Across that are no corner.
const (
	OnBoundary  Corner = -1 // the edge has one face
	NonManifold Corner = -2 // the edge has three faces or more
)

// Mesh is an indexed triangle surface. It is immutable once built, so readers share it freely.
type Mesh struct {
	Pos    []Vec         // #V, mm
	Tri    [][3]VertexID // #F
	Across []Corner      // #3F: the corner across the corner's edge, OnBoundary or NonManifold

	start []int32  // #V+1 offsets into ring
	ring  []Corner // the corners at each vertex
}

// Vertex returns the vertex of corner c.
func (m *Mesh) Vertex(c Corner) VertexID { return m.Tri[c/3][c%3] }

// Next returns the corner after c in its face.
func (c Corner) Next() Corner {
	if c%3 == 2 {
		return c - 2
	}
	return c + 1
}

// Prev returns the corner before c in its face.
func (c Corner) Prev() Corner {
	if c%3 == 0 {
		return c + 2
	}
	return c - 1
}

// Face returns the face of c.
func (c Corner) Face() FaceID { return FaceID(c / 3) }

// CornersAt returns the corners at v, in face order. The slice must not be changed.
func (m *Mesh) CornersAt(v VertexID) []Corner { return m.ring[m.start[v]:m.start[v+1]] }

// Corners returns the three positions of face f.
func (m *Mesh) Corners(f FaceID) (a, b, c Vec) {
	t := m.Tri[f]
	return m.Pos[t[0]], m.Pos[t[1]], m.Pos[t[2]]
}

// New builds the corner table over positions and faces, which it keeps. O(#F).
// It panics when a face names a vertex that is not there.
func New(pos []Vec, tri [][3]VertexID) *Mesh {
	m := &Mesh{Pos: pos, Tri: tri}
	m.start = make([]int32, len(pos)+1)
	for _, t := range tri {
		for _, v := range t {
			m.start[v+1]++
		}
	}
	for i := range pos {
		m.start[i+1] += m.start[i]
	}
	m.ring = make([]Corner, 3*len(tri))
	fill := make([]int32, len(pos))
	for f, t := range tri {
		for k, v := range t {
			m.ring[m.start[v]+fill[v]] = Corner(3*f + k)
			fill[v]++
		}
	}
	m.Across = make([]Corner, 3*len(tri))
	for c := range m.Across {
		m.Across[c] = m.across(Corner(c))
	}
	return m
}

// across finds the other face of c's edge by walking the ring of its first vertex.
func (m *Mesh) across(c Corner) Corner {
	a, b := m.Vertex(c), m.Vertex(c.Next())
	found := OnBoundary
	for _, r := range m.CornersAt(a) {
		if r.Face() == c.Face() {
			continue
		}
		var e Corner
		switch b {
		case m.Vertex(r.Next()):
			e = r
		case m.Vertex(r.Prev()):
			e = r.Prev()
		default:
			continue
		}
		if found != OnBoundary {
			return NonManifold
		}
		found = e
	}
	return found
}
