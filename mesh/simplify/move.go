package simplify

import (
	"cmp"
	"math"

	"fornix/mesh"
)

// move is a collapse of v to u that waits for its turn.
type move struct {
	cost   float64 // mm⁴: area times squared distance from its plane, summed over the faces around v
	v, u   mesh.VertexID
	change uint32 // of v when the move was thought of
}

func (a move) before(b move) bool {
	if a.cost != b.cost {
		return a.cost < b.cost
	}
	return cmp.Or(cmp.Compare(a.v, b.v), cmp.Compare(a.u, b.u)) < 0
}

// best returns the cheapest move of v that is dearer than last; none where a neighbour of v lies
// in another cell.
func (w *worker) best(v mesh.VertexID, last move) (out move, found bool) {
	if len(w.moves) == 0 || w.moves[0].v != v || w.moves[0].change != w.change[v] {
		w.weigh(v)
	}
	for _, mv := range w.moves {
		if last.before(mv) && (!found || mv.before(out)) {
			out, found = mv, true
		}
	}
	return out, found
}

// weigh fills moves with those of v.
func (w *worker) weigh(v mesh.VertexID) {
	w.around(v)
	w.moves = w.moves[:0]
	n := len(w.ring)
	if n > mostAround {
		return
	}
	var at, normal [mostAround]mesh.Vec // neighbours of v; area times normal of the faces around
	for i, c := range w.ring {
		u := w.vertex[c.Next()]
		if w.cell[u] != w.cell[v] {
			return
		}
		at[i] = w.m.Pos[u]
	}
	p := w.m.Pos[v]
	for i := range n {
		// The next corner around v lies across the edge to the neighbour of this one.
		x := at[i].Sub(p).Cross(at[(i+n-1)%n].Sub(p))
		if l := x.Norm(); l > 0 {
			normal[i] = x.Scale(1 / math.Sqrt(l)) // squared, it weighs by area
		}
	}
	for k, c := range w.ring {
		u := w.vertex[c.Next()]
		if w.kind[u] == fixed {
			continue
		}
		q := at[k].Sub(p)
		cost := 1e-9 * q.Norm2() // where all is flat, short edges go first
		for i := range n {
			d := q.Dot(normal[i])
			cost += float64(d * d)
		}
		w.moves = append(w.moves, move{cost, v, u, w.change[v]})
	}
}

func (w *worker) push(mv move) {
	w.heap = append(w.heap, mv)
	for i := len(w.heap) - 1; i > 0; {
		up := (i - 1) / 2
		if !w.heap[i].before(w.heap[up]) {
			return
		}
		w.heap[i], w.heap[up] = w.heap[up], w.heap[i]
		i = up
	}
}

func (w *worker) pop() {
	last := len(w.heap) - 1
	w.heap[0] = w.heap[last]
	w.heap = w.heap[:last]
	w.down(0)
}

func (w *worker) down(i int) {
	for {
		k := 2*i + 1
		if k >= len(w.heap) {
			return
		}
		if k+1 < len(w.heap) && w.heap[k+1].before(w.heap[k]) {
			k++
		}
		if !w.heap[k].before(w.heap[i]) {
			return
		}
		w.heap[i], w.heap[k] = w.heap[k], w.heap[i]
		i = k
	}
}
