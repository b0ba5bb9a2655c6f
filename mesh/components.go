package mesh

import "slices"

// Component is a piece of the surface whose faces hang together across edges.
type Component struct {
	Faces int
	Area  float64 // mm²
	First FaceID  // the lowest
}

// Components labels each face (#F) with its piece. Pieces are connected across shared edges,
// also non-manifold ones, and stand largest area first. A degenerate face goes with the other
// faces at its vertices, so that it makes no piece of its own unless it lies alone. Found once, in O(#F);
// the slices must not be changed.
func (m *Mesh) Components() (label []int32, parts []Component) { return m.pieces() }

func (m *Mesh) components() (label []int32, parts []Component) {
	root := make([]int32, len(m.Tri))
	for f := range root {
		root[f] = int32(f)
	}
	find := func(f int32) int32 {
		for root[f] != f {
			root[f] = root[root[f]]
			f = root[f]
		}
		return f
	}
	join := func(f, g FaceID) {
		a, b := find(int32(f)), find(int32(g))
		root[max(a, b)] = min(a, b) // the lowest face is the root
	}
	for i, d := range m.Across {
		if c := Corner(i); d > c {
			join(c.Face(), d.Face())
		}
	}
	for _, run := range m.nonManifoldEdges() {
		for _, c := range run[1:] {
			join(run[0].Face(), c.Face())
		}
	}
	m.joinDegenerate(join)

	part := make(map[int32]int32)
	label = make([]int32, len(m.Tri))
	for f := range m.Tri {
		r := find(int32(f))
		k, known := part[r]
		if !known {
			k = int32(len(parts))
			part[r] = k
			parts = append(parts, Component{First: FaceID(f)})
		}
		label[f] = k
		parts[k].Faces++
		parts[k].Area += m.FaceArea(FaceID(f))
	}
	order := make([]int32, len(parts))
	for i := range order {
		order[i] = int32(i)
	}
	slices.SortStableFunc(order, func(a, b int32) int {
		switch x, y := parts[a].Area, parts[b].Area; {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	rank := make([]int32, len(parts))
	sorted := make([]Component, len(parts))
	for i, k := range order {
		rank[k], sorted[i] = int32(i), parts[k]
	}
	for f := range label {
		label[f] = rank[label[f]]
	}
	return label, sorted
}

// joinDegenerate joins each degenerate face to the first face at its vertices.
func (m *Mesh) joinDegenerate(join func(f, g FaceID)) {
	for i := range m.Tri {
		f := FaceID(i)
		if !m.degenerate(f) {
			continue
		}
		if g, found := m.soundNeighbour(f); found {
			join(f, g)
			continue
		}
		for _, v := range m.Tri[f] {
			join(f, m.CornersAt(v)[0].Face())
		}
	}
}

// soundNeighbour returns the first face that is not degenerate at the vertices of f.
func (m *Mesh) soundNeighbour(f FaceID) (FaceID, bool) {
	for _, v := range m.Tri[f] {
		for _, r := range m.CornersAt(v) {
			if !m.degenerate(r.Face()) {
				return r.Face(), true
			}
		}
	}
	return 0, false
}
