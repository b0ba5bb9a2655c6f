package simplify

import (
	"math"

	"fornix/mesh"
)

// hopeless is the mean squared distance, in squares of the bound, from the planes of the faces around a
// vertex, weighed by their area, beyond which collapsing to a point is not tried. Of such collapses of a
// scan of a million faces with noise one in fifty would have kept the bound, of all others two in five.
const hopeless = 2

// move is a collapse to u.
type move struct {
	cost float64 // mm⁴: area times squared distance from its plane, summed over the faces around
	u    mesh.VertexID
}

func (a move) before(b move) bool { return a.cost < b.cost || a.cost == b.cost && a.u < b.u }

// weigh fills ring, shape and moves with those of v; ok is false where a neighbour of v lies in another cell.
func (w *worker) weigh(v mesh.VertexID) (ok bool) {
	w.around(v)
	w.moves = w.moves[:0]
	n := len(w.ring)
	if n > mostAround {
		return true
	}
	var at, normal [mostAround]mesh.Vec // neighbours of v; area times normal of the faces around
	for i, c := range w.ring {
		u := w.vertex[c.Next()]
		if w.cell[u] != w.cell[v] {
			return false
		}
		at[i] = w.m.Pos[u]
	}
	p := w.m.Pos[v]
	w.shape = leastShape
	area := 0.0
	for i := range n {
		// The next corner around v lies across the edge to the neighbour of this one.
		before := at[(i+n-1)%n]
		x := at[i].Sub(p).Cross(before.Sub(p))
		l := x.Norm()
		w.shape = min(w.shape, quality(l, p, at[i], before))
		area += l
		if l > 0 {
			normal[i] = x.Scale(1 / math.Sqrt(l)) // squared, it weighs by area
		}
	}
	most := hopeless * w.bound * w.bound * area
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
		if cost <= most {
			w.moves = append(w.moves, move{cost, u})
		}
	}
	return true
}
