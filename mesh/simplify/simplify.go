// Package simplify makes a surface of fewer faces that stays within a stated distance of the one
// it was made from. It is for looking at; nothing is measured on it.
package simplify

import (
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"fornix/mesh"
)

// Result is a surface of fewer faces. Its vertices are some of those of the original, untouched.
type Result struct {
	Mesh   *mesh.Mesh
	Vertex []mesh.VertexID // #V of Mesh: the vertex of the original at that place, ascending
}

// Simplify collapses edges of m, of each vertex in turn the one whose other end lies nearest to the planes
// of the faces around it, while these hold:
//
//   - every vertex of m lies within bound (mm) of the result, because each removed vertex is kept
//     on a list of a face that comes so near to it, and a collapse that would leave one of them
//     without such a face is not made;
//   - every vertex of the result is a vertex of m, because an edge is collapsed to one of its ends,
//     and new faces lie within bound of m in their middles and along their edges, at points no
//     farther apart than two median edges of m;
//   - vertices on the boundary stay, with all boundary edges, so that the rims of holes are those
//     of m; so do those at non-manifold edges, where fans of faces meet in a point, and where
//     windings disagree;
//   - connectivity is kept (link condition: Dey et al., Publ Inst Math 1999;66:23);
//   - no new face turns by more than about 75 degrees from the normals that m has at its corners.
//
// Degenerate faces and vertices that no other face uses are left out. The error measure is the
// quadric of the planes around a vertex, weighted by area (Garland & Heckbert, SIGGRAPH 1997), of
// the faces as they are at that time (Lindstrom & Turk, IEEE Trans Vis Comput Graph 1999;5:98).
//
// Work is done by so many workers over cells of space that do not touch each other's vertices, with
// the same result for any number of them. O(#F).
func Simplify(m *mesh.Mesh, bound float64, workers int) Result {
	s := newSurface(m, bound)
	if bound > 0 {
		for pass := range passes {
			s.pass(pass, workers)
		}
	}
	return s.result()
}

// passes is how many grids of cells are gone through, each shifted by the same part of a cell
// along all axes. A place is near a wall of at most one of them along each axis, so that four
// leave no place near a wall in all.
const passes = 4

// cellsAcross is how many cells there are along the longest side of the bounding box.
const cellsAcross = 8

// Kinds of vertex.
const (
	free  uint8 = iota // a closed fan of faces wound alike: may be removed
	rim                // an open fan of faces wound alike: stays, others may be moved onto it
	fixed              // anything else: stays as it is
	gone               // removed, or of no face
)

// surface is a mesh whose edges are being collapsed.
type surface struct {
	m      *mesh.Mesh
	bound  float64
	apart  float64         // mm between points along an edge that are held against m
	vertex []mesh.VertexID // #3F; that of the first corner is -1 where the face is gone
	across []mesh.Corner   // #3F
	at     []mesh.Corner   // #V: a corner of a face that is there, at the vertex
	kind   []uint8         // #V
	turn   [][3]float32    // #V: unit normals of m
	change []uint32        // #V: how often the faces around the vertex changed
	spent  []uint32        // #V: change + 1 when the vertex was tried last
	strays []float32       // #F: mm from m to the farthest point of the face, at most
	list   []int32         // #F: the first removed vertex on the list of the face, -1: none
	next   []int32         // #V: the next vertex on the same list
	cell   []int32         // #V, of the current pass
}

func newSurface(m *mesh.Mesh, bound float64) *surface {
	s := &surface{
		m: m, bound: bound, apart: 2 * medianEdge(m), vertex: make([]mesh.VertexID, 3*len(m.Tri)),
		across: append([]mesh.Corner(nil), m.Across...), at: make([]mesh.Corner, len(m.Pos)),
		kind: make([]uint8, len(m.Pos)), turn: make([][3]float32, len(m.Pos)), change: make([]uint32, len(m.Pos)),
		spent: make([]uint32, len(m.Pos)), strays: make([]float32, len(m.Tri)),
		list: make([]int32, len(m.Tri)), next: make([]int32, len(m.Pos)), cell: make([]int32, len(m.Pos)),
	}
	mesh.InPieces(len(m.Tri), 1<<14, func(lo, hi int) {
		for f := lo; f < hi; f++ {
			s.list[f] = -1
			t := m.Tri[f]
			copy(s.vertex[3*f:], t[:])
			if t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
				s.vertex[3*f] = -1
			}
		}
	})
	mesh.InPieces(len(m.Pos), 1<<12, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			s.sort(mesh.VertexID(v))
		}
	})
	return s
}

// sort tells the kind of v and its normal.
func (s *surface) sort(v mesh.VertexID) {
	live, sum := 0, mesh.Vec{}
	s.kind[v] = gone
	for _, c := range s.m.CornersAt(v) {
		f := c.Face()
		if s.vertex[3*f] < 0 {
			continue
		}
		if live == 0 {
			s.at[v] = c
		}
		live++
		p, q, r := s.m.Corners(f)
		sum = sum.Add(q.Sub(p).Cross(r.Sub(p)))
	}
	if live == 0 {
		return
	}
	n := sum.Unit()
	s.turn[v] = [3]float32{float32(n.X), float32(n.Y), float32(n.Z)}
	seen, closed := s.fan(v, live)
	switch {
	case seen < live:
		s.kind[v] = fixed
	case closed:
		s.kind[v] = free
	default:
		s.kind[v] = rim
	}
}

// fan counts the corners at v that follow each other with one winding, and reports whether they
// go all the way around. It gives up with 0 where an edge has faces wound against each other or
// more than two.
func (s *surface) fan(v mesh.VertexID, most int) (n int, closed bool) {
	first := s.at[v]
	n = 1
	for c := first; n <= most; n++ {
		d := s.across[c]
		if d < 0 {
			if d == mesh.NonManifold {
				return 0, false
			}
			break
		}
		if c = d.Next(); s.vertex[c] != v {
			return 0, false
		}
		if c == first {
			return n, true
		}
	}
	for c := first; n <= most; n++ {
		d := s.across[c.Prev()]
		if d < 0 {
			if d == mesh.NonManifold {
				return 0, false
			}
			break
		}
		if c = d; s.vertex[c] != v {
			return 0, false
		}
	}
	return n, false
}

// medianEdge is the median length of the first edges of about a thousand faces.
func medianEdge(m *mesh.Mesh) float64 {
	var l []float64
	for f := 0; f < len(m.Tri); f += 1 + len(m.Tri)/1000 {
		l = append(l, m.Pos[m.Tri[f][0]].Dist(m.Pos[m.Tri[f][1]]))
	}
	if len(l) == 0 {
		return 0
	}
	slices.Sort(l)
	return l[len(l)/2]
}

// pass collapses what can be collapsed inside the cells of the grid of that number.
func (s *surface) pass(number, workers int) {
	lo, hi := mesh.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}, mesh.Vec{X: math.Inf(-1), Y: math.Inf(-1), Z: math.Inf(-1)}
	for v, p := range s.m.Pos {
		if s.kind[v] != gone {
			lo, hi = lo.Min(p), hi.Max(p)
		}
	}
	d := hi.Sub(lo)
	side := math.Max(d.X, math.Max(d.Y, d.Z)) / cellsAcross
	if !(side > 0) {
		return
	}
	const wide = cellsAcross + 2
	shift := float64(number) / passes
	mesh.InPieces(len(s.m.Pos), 1<<14, func(a, b int) {
		for v := a; v < b; v++ {
			q := s.m.Pos[v].Sub(lo).Scale(1 / side)
			i, j, k := int32(q.X+shift), int32(q.Y+shift), int32(q.Z+shift)
			s.cell[v] = (k*wide+j)*wide + i
		}
	})
	start := make([]int32, wide*wide*wide+1)
	for v, k := range s.kind {
		if k == free {
			start[s.cell[v]+1]++
		}
	}
	for i := 1; i < len(start); i++ {
		start[i] += start[i-1]
	}
	byCell := make([]mesh.VertexID, start[len(start)-1])
	fill := append([]int32(nil), start...)
	for v, k := range s.kind {
		if c := s.cell[v]; k == free {
			byCell[fill[c]] = mesh.VertexID(v)
			fill[c]++
		}
	}
	var at atomic.Int64
	var wg sync.WaitGroup
	for range max(1, workers) {
		wg.Go(func() {
			w := worker{surface: s}
			for {
				c := int(at.Add(1)) - 1
				if c+1 >= len(start) {
					return
				}
				w.run(byCell[start[c]:start[c+1]])
			}
		})
	}
	wg.Wait()
}

// result gathers what is left, in the order of the original.
func (s *surface) result() Result {
	var r Result
	id := s.next // lists are no longer needed
	for v := range s.kind {
		if s.kind[v] != gone {
			id[v] = int32(len(r.Vertex))
			r.Vertex = append(r.Vertex, mesh.VertexID(v))
		}
	}
	pos := make([]mesh.Vec, len(r.Vertex))
	for i, v := range r.Vertex {
		pos[i] = s.m.Pos[v]
	}
	var tri [][3]mesh.VertexID
	for c := 0; c < len(s.vertex); c += 3 {
		if t := s.vertex[c : c+3]; t[0] >= 0 {
			tri = append(tri, [3]mesh.VertexID{mesh.VertexID(id[t[0]]), mesh.VertexID(id[t[1]]), mesh.VertexID(id[t[2]])})
		}
	}
	r.Mesh = mesh.New(pos, tri)
	return r
}
