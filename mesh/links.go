package mesh

// Links lists for every vertex those that an edge joins to it, each once, in one piece of memory:
// what walks the surface over and over reads it instead of the corners.
type Links struct {
	start []int32 // #V+1 offsets into to
	to    []VertexID
}

// At returns the vertices next to v, in the order in which the corners at v name them. The slice must
// not be changed.
func (l *Links) At(v VertexID) []VertexID { return l.to[l.start[v]:l.start[v+1]] }

// Links returns the vertices next to every vertex. O(#F), on all processors.
func (m *Mesh) Links() *Links {
	const piece = 1 << 14
	l := &Links{start: make([]int32, len(m.Pos)+1)}
	InPieces(len(m.Pos), piece, func(lo, hi int) {
		var near []VertexID
		for v := lo; v < hi; v++ {
			near = m.appendLinks(near[:0], VertexID(v))
			l.start[v+1] = int32(len(near))
		}
	})
	for v := range m.Pos {
		l.start[v+1] += l.start[v]
	}
	l.to = make([]VertexID, l.start[len(m.Pos)])
	InPieces(len(m.Pos), piece, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			at := l.start[v]
			m.appendLinks(l.to[at:at:l.start[v+1]], VertexID(v))
		}
	})
	return l
}

// appendLinks appends to near, which is empty, the vertices next to v.
func (m *Mesh) appendLinks(near []VertexID, v VertexID) []VertexID {
	for _, c := range m.CornersAt(v) {
	next:
		for _, x := range [2]VertexID{m.Vertex(c.Next()), m.Vertex(c.Prev())} {
			if x == v {
				continue
			}
			for _, y := range near {
				if x == y {
					continue next
				}
			}
			near = append(near, x)
		}
	}
	return near
}
