package mesh

import (
	"cmp"
	"slices"
)

// Loop is a closed run of edges around an opening or a sheet. Edge i goes from Verts[i] to the
// next vertex, the last one back to Verts[0].
type Loop struct {
	Verts  []VertexID
	Edges  []Corner // a corner of each edge, which tells its face; it may run either way
	Closed bool     // true for all that Loops returns
}

// Loops returns the boundary of the surface as simple closed loops: no vertex twice in one loop,
// every boundary edge in exactly one.
//
// The loop keeps to the faces it came along: around a vertex where surfaces touch it goes on at
// the far side of the same fan, and where it comes back to a vertex it is cut. A boundary that
// runs into a non-manifold edge goes on along it if the edge has an odd number of faces: at
// every vertex the number of edges with an odd number of faces is even (the boundary modulo 2
// has no boundary), so that every loop closes. Loops of non-manifold edges alone are left out.
//
// Where all windings agree a loop runs as its faces do, with the surface on its left seen from
// outside: counterclockwise around a sheet, clockwise around a hole. Longest in mm first. O(#F).
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
	boundary := len(edges)
	for _, run := range m.nonManifoldEdges() {
		if len(run)%2 == 1 {
			edges = append(edges, run[0])
		}
	}
	w := loopWalk{m: m, edges: edges, boundary: boundary, index: make(map[Corner]int32, boundary),
		partner: make([]int32, 2*len(edges)), done: make([]bool, len(edges)), on: make(map[VertexID]int32)}
	w.pair()
	for i := range edges[:boundary] {
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

// loopWalk joins edges end to end. End 2i is the tail of edges[i], 2i+1 its head.
type loopWalk struct {
	m        *Mesh
	edges    []Corner // boundary edges, then non-manifold ones
	boundary int
	index    map[Corner]int32 // of the boundary edges
	partner  []int32          // the end at the same vertex where the loop goes on
	done     []bool           // per edge
	on       map[VertexID]int32
	loops    []Loop
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
	for i, c := range w.edges[:w.boundary] {
		w.index[c] = int32(i)
	}
	var left []int32
	for i := range w.partner {
		w.partner[i] = -1
		if i/2 < w.boundary {
			if other, found := w.throughFan(int32(i)); found {
				w.partner[i] = other
				continue
			}
		}
		left = append(left, int32(i))
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

// pairStraightest pairs the ends at one vertex, which are even in number, so that the
// straightest continuation comes first.
func (w *loopWalk) pairStraightest(ends []int32) {
	const most = 32 // more at one vertex is no scan, and must not take cubic time
	for ; len(ends) > most; ends = ends[2:] {
		w.partner[ends[0]], w.partner[ends[1]] = ends[1], ends[0]
	}
	for range len(ends) / 2 {
		bi, bj, best := -1, -1, 2.0
		for i, a := range ends {
			for j, b := range ends[:i] {
				if w.partner[a] < 0 && w.partner[b] < 0 {
					if d := w.direction(a).Dot(w.direction(b)); d < best {
						bi, bj, best = i, j, d
					}
				}
			}
		}
		w.partner[ends[bi]], w.partner[ends[bj]] = ends[bj], ends[bi]
	}
}

// direction points from an end along its edge.
func (w *loopWalk) direction(end int32) Vec {
	return w.m.Pos[w.vertex(end^1)].Sub(w.m.Pos[w.vertex(end)]).Unit()
}

// walk follows partners from an end and cuts off a loop whenever it meets its own trail.
func (w *loopWalk) walk(end int32) {
	var verts []VertexID
	var edges []Corner
	for {
		v := w.vertex(end)
		if at, met := w.on[v]; met {
			w.emit(verts[at:], edges[at:])
			for _, x := range verts[at:] {
				delete(w.on, x)
			}
			verts, edges = verts[:at], edges[:at]
		}
		if w.done[end/2] {
			return // back at the first end, so that nothing is left on the trail
		}
		w.on[v] = int32(len(verts))
		verts = append(verts, v)
		edges = append(edges, w.edges[end/2])
		w.done[end/2] = true
		end = w.partner[end^1]
	}
}

// emit keeps a loop if there is a boundary edge in it.
func (w *loopWalk) emit(verts []VertexID, edges []Corner) {
	if slices.ContainsFunc(edges, func(c Corner) bool { return w.m.Across[c] == OnBoundary }) {
		w.loops = append(w.loops, Loop{Verts: slices.Clone(verts), Edges: slices.Clone(edges), Closed: true})
	}
}
