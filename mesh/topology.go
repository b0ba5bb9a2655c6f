package mesh

import (
	"cmp"
	"fmt"
	"slices"
)

// Topology counts how the faces hang together. Degenerate faces are counted as such and take
// no part in the rest.
type Topology struct {
	Edges               int // different pairs of vertices
	BoundaryEdges       int // of one face
	NonManifoldEdges    int // of three faces or more
	NonManifoldVertices int // where fans of faces touch only in the vertex; ends of non-manifold edges are not among them
	WindingConflicts    int // edges that both of their faces run through in the same direction
	DegenerateFaces     int // with two equal vertices
	DuplicateFaces      int // beyond the first on the same three vertices, in any winding
	Euler               int // vertices in use - edges + faces: 2 per sphere, 0 per torus, less 1 per hole
}

// Topology counts edges and faces by kind. O(#F).
func (m *Mesh) Topology() Topology {
	var t Topology
	t.DegenerateFaces, t.DuplicateFaces = m.countDegenerate(), m.countDuplicate()
	for i, d := range m.Across {
		c := Corner(i)
		switch {
		case d == OnBoundary:
			t.BoundaryEdges++
		case d > c:
			t.Edges++
			if m.Vertex(c) == m.Vertex(d) {
				t.WindingConflicts++
			}
		}
	}
	end := make(map[VertexID]bool)
	for _, run := range m.nonManifoldEdges() {
		t.NonManifoldEdges++
		end[m.Vertex(run[0])], end[m.Vertex(run[0].Next())] = true, true
	}
	t.Edges += t.BoundaryEdges + t.NonManifoldEdges
	used := 0
	var seen []Corner
	for v := range m.Pos {
		var live int
		if seen, live = m.fanAt(VertexID(v), seen[:0]); live == 0 {
			continue
		}
		used++
		if len(seen) < live && !end[VertexID(v)] {
			t.NonManifoldVertices++
		}
	}
	t.Euler = used - t.Edges + len(m.Tri) - t.DegenerateFaces
	return t
}

// fanAt appends the corners at v that hang together with the first across edges of two faces,
// and returns how many corners of faces that are not degenerate there are at v.
func (m *Mesh) fanAt(v VertexID, fan []Corner) ([]Corner, int) {
	live, first := 0, Corner(-1)
	for _, r := range m.CornersAt(v) {
		if m.degenerate(r.Face()) {
			continue
		}
		if live == 0 {
			first = r
		}
		live++
	}
	if live == 0 {
		return fan, 0
	}
	fan = append(fan, first)
	for side := range 2 {
		e := first // an edge at v: corner e itself, or the one before
		if side == 1 {
			e = first.Prev()
		}
		for {
			d := m.Across[e]
			if d < 0 {
				break
			}
			at := m.cornerAt(d.Face(), v)
			if at == first {
				return fan, live // all the way around
			}
			fan = append(fan, at)
			e = m.otherEdge(d, at)
		}
	}
	return fan, live
}

// cornerAt returns the corner of f at v.
func (m *Mesh) cornerAt(f FaceID, v VertexID) Corner {
	t := m.Tri[f]
	for k := range 2 {
		if t[k] == v {
			return Corner(3*int(f) + k)
		}
	}
	return Corner(3*int(f) + 2)
}

// otherEdge returns the edge of the corner's face that meets its vertex and is not e.
func (m *Mesh) otherEdge(e, at Corner) Corner {
	if e == at {
		return at.Prev()
	}
	return at
}

// nonManifoldEdges returns the corners of each edge of three faces or more, in vertex order.
func (m *Mesh) nonManifoldEdges() [][]Corner {
	type entry struct {
		edge uint64
		c    Corner
	}
	var all []entry
	for i, d := range m.Across {
		if c := Corner(i); d == NonManifold && !m.degenerate(c.Face()) {
			a, b := m.Vertex(c), m.Vertex(c.Next())
			all = append(all, entry{uint64(min(a, b))<<32 | uint64(max(a, b)), c})
		}
	}
	slices.SortFunc(all, func(a, b entry) int { return cmp.Or(cmp.Compare(a.edge, b.edge), cmp.Compare(a.c, b.c)) })
	corners := make([]Corner, len(all))
	var runs [][]Corner
	for i := range all {
		corners[i] = all[i].c
		if i == 0 || all[i].edge != all[i-1].edge {
			runs = append(runs, corners[i:i+1])
		} else {
			last := &runs[len(runs)-1]
			*last = (*last)[:len(*last)+1]
		}
	}
	return runs
}

func (m *Mesh) countDegenerate() int {
	n := 0
	for f := range m.Tri {
		if m.degenerate(FaceID(f)) {
			n++
		}
	}
	return n
}

// countDuplicate looks only at faces whose first edge is not that of an ordinary neighbour.
func (m *Mesh) countDuplicate() int {
	var keys [][3]VertexID
	for f := range m.Tri {
		d := m.Across[3*f]
		// Of two neighbours over an edge the third vertices tell.
		if d == OnBoundary || d >= 0 && m.Vertex(d.Prev()) != m.Tri[f][2] {
			continue
		}
		keys = append(keys, sorted(m.Tri[f]))
	}
	slices.SortFunc(keys, func(a, b [3]VertexID) int {
		return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]), cmp.Compare(a[2], b[2]))
	})
	return len(keys) - len(slices.Compact(keys))
}

func sorted(t [3]VertexID) [3]VertexID {
	slices.Sort(t[:])
	return t
}

// Validate checks every promise of the corner table and returns the first that does not hold.
// It is for tests and for meshes from elsewhere; New keeps them all. O(#F).
func (m *Mesh) Validate() error {
	if len(m.Across) != 3*len(m.Tri) || len(m.ring) != 3*len(m.Tri) || len(m.start) != len(m.Pos)+1 {
		return fmt.Errorf("tables of %d, %d and %d for %d faces and %d vertices",
			len(m.Across), len(m.ring), len(m.start), len(m.Tri), len(m.Pos))
	}
	for v, p := range m.Pos {
		if !p.Finite() {
			return fmt.Errorf("vertex %d is not finite", v)
		}
		for i, c := range m.CornersAt(VertexID(v)) {
			if m.Vertex(c) != VertexID(v) {
				return fmt.Errorf("corner %d is listed at vertex %d, not its own", c, v)
			}
			if i > 0 && c <= m.CornersAt(VertexID(v))[i-1] {
				return fmt.Errorf("corners at vertex %d are not in order", v)
			}
		}
	}
	for i, d := range m.Across {
		c := Corner(i)
		if d < NonManifold || int(d) >= len(m.Across) {
			return fmt.Errorf("corner %d is across from %d", c, d)
		}
		if m.degenerate(c.Face()) {
			if d != NonManifold {
				return fmt.Errorf("degenerate face %d is linked", c.Face())
			}
			continue
		}
		if d < 0 {
			continue
		}
		a, b := m.Vertex(c), m.Vertex(c.Next())
		x, y := m.Vertex(d), m.Vertex(d.Next())
		if m.Across[d] != c || d.Face() == c.Face() || !(a == x && b == y || a == y && b == x) {
			return fmt.Errorf("corners %d and %d are not across from each other", c, d)
		}
	}
	return nil
}

// Flip returns the surface inside out: the same positions, each face with its winding reversed.
func (m *Mesh) Flip() *Mesh {
	tri := make([][3]VertexID, len(m.Tri))
	for f, t := range m.Tri {
		tri[f] = [3]VertexID{t[0], t[2], t[1]}
	}
	out := New(m.Pos, tri)
	out.Colour = m.Colour
	return out
}
