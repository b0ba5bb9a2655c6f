package mesh

// Walker finds vertices near others along the surface. It holds scratch memory, so that each
// goroutine needs its own; asking again allocates nothing.
type Walker struct {
	m     *Mesh
	stamp []uint32 // #V: the query that reached the vertex last
	now   uint32
}

// NewWalker returns a walker over m.
func NewWalker(m *Mesh) *Walker {
	return &Walker{m: m, stamp: make([]uint32, len(m.Pos))}
}

// Within appends to buf[:0] v and the vertices that can be reached from it over edges without
// leaving the ball of the given radius (mm) around v, nearest in steps first. O(result).
func (w *Walker) Within(v VertexID, radius float64, buf []VertexID) []VertexID {
	w.now++
	if w.now == 0 {
		clear(w.stamp)
		w.now = 1
	}
	m, centre, r2 := w.m, w.m.Pos[v], radius*radius
	buf = append(buf[:0], v)
	w.stamp[v] = w.now
	for i := 0; i < len(buf); i++ {
		for _, r := range m.CornersAt(buf[i]) {
			for _, u := range m.Tri[r.Face()] {
				if w.stamp[u] == w.now {
					continue
				}
				w.stamp[u] = w.now
				if m.Pos[u].Sub(centre).Norm2() <= r2 {
					buf = append(buf, u)
				}
			}
		}
	}
	return buf
}

// Within is Walker.Within for a single query; it costs O(#V) for the scratch memory.
func (m *Mesh) Within(v VertexID, radius float64, buf []VertexID) []VertexID {
	return NewWalker(m).Within(v, radius, buf)
}
