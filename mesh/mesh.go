// Package mesh holds a scanned surface: indexed faces with a corner table, what can be asked
// of them, and the files they are read from. Nothing here repairs, moves or drops geometry.
package mesh

import (
	"fmt"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
)

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
	NonManifold Corner = -2 // the edge has three faces or more, or its face is degenerate
)

// Mesh is an indexed triangle surface. It is immutable once built, so readers share it freely.
type Mesh struct {
	Pos    []Vec         // #V, mm
	Colour []Colour      // #V as the file gives it, or nil: plays no part in any measure
	Tri    [][3]VertexID // #F
	Across []Corner      // #3F: the corner across the corner's edge, OnBoundary or NonManifold

	start  []int32  // #V+1 offsets into ring
	ring   []Corner // the corners at each vertex
	pieces func() ([]int32, []Component)
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

// New builds the corner table over positions and faces, which it keeps. An edge of exactly two
// faces links them whichever way their windings run. Faces with two equal vertices have no
// inside: they are kept, stay in CornersAt, and take no part in Across, where their corners say
// NonManifold. O(#F), on all processors, with the same result for any number of them.
// It panics when a face names a vertex that is not there.
func New(pos []Vec, tri [][3]VertexID) *Mesh {
	m := &Mesh{Pos: pos, Tri: tri}
	m.pieces = sync.OnceValues(m.components)
	m.buildRing()
	m.Across = make([]Corner, 3*len(tri))
	InPieces(len(pos), 1<<14, func(lo, hi int) {
		var edges []uint64
		for v := lo; v < hi; v++ {
			edges = m.linkAt(VertexID(v), edges[:0])
		}
	})
	return m
}

// buildRing sorts the corners by vertex: count, offsets, fill. The offsets stand two places
// ahead while filling, which leaves them right when it is done.
func (m *Mesh) buildRing() {
	n := len(m.Pos)
	at := make([]int32, n+2)
	for f := range m.Tri {
		for _, v := range m.Tri[f] {
			if v < 0 || int(v) >= n {
				panic(fmt.Sprintf("mesh: face %d names vertex %d of %d", f, v, n))
			}
			at[v+2]++
		}
	}
	for i := 2; i < n+2; i++ {
		at[i] += at[i-1]
	}
	m.ring = make([]Corner, 3*len(m.Tri))
	for f := range m.Tri {
		for k, v := range m.Tri[f] {
			m.ring[at[v+1]] = Corner(3*f + k)
			at[v+1]++
		}
	}
	m.start = at[:n+1]
}

// linkAt fills Across for the edges whose lower vertex is a. Every edge has one lower vertex,
// so that vertices can be done in any order and at once.
func (m *Mesh) linkAt(a VertexID, edges []uint64) []uint64 {
	for _, r := range m.CornersAt(a) {
		f := r.Face()
		if m.degenerate(f) {
			m.Across[r] = NonManifold
			continue
		}
		next, prev := r.Next(), r.Prev()
		if b := m.Vertex(next); b > a {
			edges = append(edges, uint64(b)<<32|uint64(r))
		}
		if b := m.Vertex(prev); b > a {
			edges = append(edges, uint64(b)<<32|uint64(prev))
		}
	}
	if len(edges) <= 24 {
		for i := 1; i < len(edges); i++ {
			for j := i; j > 0 && edges[j] < edges[j-1]; j-- {
				edges[j], edges[j-1] = edges[j-1], edges[j]
			}
		}
	} else {
		slices.Sort(edges)
	}
	for i := 0; i < len(edges); {
		j := i + 1
		for j < len(edges) && edges[j]>>32 == edges[i]>>32 {
			j++
		}
		switch j - i {
		case 1:
			m.Across[Corner(edges[i])] = OnBoundary
		case 2:
			c, d := Corner(edges[i]), Corner(edges[i+1])
			m.Across[c], m.Across[d] = d, c
		default:
			for _, e := range edges[i:j] {
				m.Across[Corner(e)] = NonManifold
			}
		}
		i = j
	}
	return edges
}

// degenerate reports whether f names one vertex twice.
func (m *Mesh) degenerate(f FaceID) bool {
	t := m.Tri[f]
	return t[0] == t[1] || t[1] == t[2] || t[2] == t[0]
}

// InPieces calls do for pieces of 0..n on all processors. The pieces are the same for any
// number of processors; do must write only what belongs to its piece.
func InPieces(n, piece int, do func(lo, hi int)) {
	workers := min(runtime.GOMAXPROCS(0), (n+piece-1)/piece)
	if workers <= 1 {
		for lo := 0; lo < n; lo += piece {
			do(lo, min(lo+piece, n))
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for {
				hi := int(next.Add(int64(piece)))
				lo := hi - piece
				if lo >= n {
					return
				}
				do(lo, min(hi, n))
			}
		})
	}
	wg.Wait()
}
