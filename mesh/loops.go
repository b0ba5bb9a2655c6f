package mesh

import (
	"cmp"
	"slices"
)

// Loop is a run of boundary edges. Edge i goes from Verts[i] to the next vertex, the last edge
// of a closed loop back to Verts[0]. An open loop ends at non-manifold edges at both ends and
// has one edge less than vertices.
type Loop struct {
	Verts  []VertexID
	Edges  []Corner // the corner of each edge, which tells its face; it may run either way
	Closed bool
}

// Loops returns the boundary of the surface as simple loops: no vertex twice in one loop, every
// boundary edge in exactly one. The loop keeps to the faces it came along: around a vertex where
// surfaces touch it goes on at the far side of the same fan, and where it comes back to a vertex
// it is cut. Where all windings agree a loop runs as its faces do, with the surface on its
// left seen from outside: counterclockwise around a sheet, clockwise around a hole.
// Longest in mm first. O(#F).
func (m *Mesh) Loops() []Loop {
	var edges []Corner
	for c, d := range m.Across {
		if d == OnBoundary {
			edges = append(edges, Corner(c))
		}
	}
	if len(edges) == 0 {
		return nil
	}
	w := loopWalk{m: m, edges: edges, index: make(map[Corner]int32, len(edges)),
		partner: make([]int32, 2*len(edges)), done: make([]bool, len(edges)), on: make(map[VertexID]int32)}
	w.pair()
	// Open ends first: a walk that began in the middle of an open run would cut it in two.
	for end, p := range w.partner {
		if p < 0 && !w.done[end/2] {
			w.walk(int32(end))
		}
	}
	for i := range edges {
		if !w.done[i] {
			w.walk(int32(2 * i))
		}
	}
	length := make(map[*VertexID]float64, len(w.loops))
	for _, l := range w.loops {
		length[&l.Verts[0]] = m.LoopLength(l)
	}
	slices.SortStableFunc(w.loops, func(a, b Loop) int {
		return cmp.Compare(length[&b.Verts[0]], length[&a.Verts[0]])
	})
	return w.loops
}

// LoopLength returns the length of l in mm.
func (m *Mesh) LoopLength(l Loop) float64 {
	var sum float64
	for i := range l.Edges {
		sum += m.Pos[l.Verts[i]].Dist(m.Pos[l.Verts[(i+1)%len(l.Verts)]])
	}
	return sum
}

// loopWalk joins boundary edges end to end. End 2i is the tail of edges[i], 2i+1 its head.
type loopWalk struct {
	m       *Mesh
	edges   []Corner
	index   map[Corner]int32
	partner []int32 // the end at the same vertex where the loop goes on; -1: nowhere
	done    []bool  // per edge
	on      map[VertexID]int32
	loops   []Loop
}

func (w *loopWalk) vertex(end int32) VertexID {
	c := w.edges[end/2]
	if end%2 == 1 {
		c = c.Next()
	}
	return w.m.Vertex(c)
}

// pair finds the partner of every end: first through the fan of faces, then, where that runs
// into a non-manifold edge, the straightest of what is left at the vertex.
func (w *loopWalk) pair() {
	for i, c := range w.edges {
		w.index[c] = int32(i)
	}
	var left []int32
	for i := range w.partner {
		w.partner[i] = -1
		if other, found := w.throughFan(int32(i)); found {
			w.partner[i] = other
		} else {
			left = append(left, int32(i))
		}
	}
	slices.SortStableFunc(left, func(a, b int32) int { return cmp.Compare(w.vertex(a), w.vertex(b)) })
	for len(left) > 0 {
		n := 1
		for n < len(left) && w.vertex(left[n]) == w.vertex(left[0]) {
			n++
		}
		w.pairStraightest(left[:n])
		left = left[n:]
	}
}

// throughFan turns around the end's vertex, face by face, to the next boundary edge.
func (w *loopWalk) throughFan(end int32) (int32, bool) {
	v := w.vertex(end)
	e := w.edges[end/2]
	for {
		e = w.m.otherEdge(e, w.m.cornerAt(e.Face(), v))
		switch d := w.m.Across[e]; d {
		case OnBoundary:
			i := w.index[e]
			if w.vertex(2*i) == v {
				return 2 * i, true
			}
			return 2*i + 1, true
		case NonManifold:
			return 0, false
		default:
			e = d
		}
	}
}

// pairStraightest pairs ends at one vertex so that the straightest continuation comes first.
func (w *loopWalk) pairStraightest(ends []int32) {
	const most = 32 // more ends at one vertex are no scan; leave them open
	if len(ends) > most {
		return
	}
	dir := make([]Vec, len(ends))
	for i, e := range ends {
		dir[i] = w.m.Pos[w.vertex(e^1)].Sub(w.m.Pos[w.vertex(e)]).Unit()
	}
	for {
		bi, bj, best := -1, -1, 2.0
		for i := range ends {
			for j := i + 1; j < len(ends); j++ {
				if w.partner[ends[i]] < 0 && w.partner[ends[j]] < 0 && ends[i]/2 != ends[j]/2 {
					if d := dir[i].Dot(dir[j]); d < best {
						bi, bj, best = i, j, d
					}
				}
			}
		}
		if bi < 0 {
			return
		}
		w.partner[ends[bi]], w.partner[ends[bj]] = ends[bj], ends[bi]
	}
}

// walk follows partners from an end and cuts off a loop whenever it meets its own trail.
func (w *loopWalk) walk(start int32) {
	var verts []VertexID
	var edges []Corner
	end := start
	for {
		v := w.vertex(end)
		if at, met := w.on[v]; met {
			w.emit(verts[at:], edges[at:], true)
			for _, x := range verts[at:] {
				delete(w.on, x)
			}
			verts, edges = verts[:at], edges[:at]
		}
		if end >= 0 && w.done[end/2] {
			break
		}
		w.on[v] = int32(len(verts))
		verts = append(verts, v)
		edges = append(edges, w.edges[end/2])
		w.done[end/2] = true
		next := w.partner[end^1]
		if next < 0 {
			last := w.vertex(end ^ 1)
			if at, met := w.on[last]; met {
				w.emit(verts[at:], edges[at:], true)
				verts, edges = verts[:at+1], edges[:at]
			} else {
				verts = append(verts, last)
			}
			break
		}
		end = next
	}
	clear(w.on)
	if len(edges) > 0 {
		w.emit(verts, edges, false)
	}
}

func (w *loopWalk) emit(verts []VertexID, edges []Corner, closed bool) {
	w.loops = append(w.loops, Loop{Verts: slices.Clone(verts), Edges: slices.Clone(edges), Closed: closed})
}
