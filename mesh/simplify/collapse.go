package simplify

import (
	"cmp"
	"math"

	"fornix/mesh"
	"fornix/mesh/tree"
)

const (
	// leastTurn is the cosine of the largest angle between a new face and the original normals
	// at its corners.
	leastTurn = 0.25
	// leastShape is the least quality of a new face, 1 for equal sides and 0 for a line, unless
	// a face around was worse before.
	leastShape = 0.08
	// mostAround is the most faces around a vertex that a collapse may lead to.
	mostAround = 20
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

// worker collapses edges of one cell after the other.
type worker struct {
	*surface
	heap []move // least first

	ring   []mesh.Corner   // the corners at v, around it
	far    []mesh.VertexID // neighbours of u
	faces  []face          // what the faces around v become
	points []point         // removed vertices to be shared out among them
}

type face struct {
	id      mesh.FaceID
	a, b, c mesh.Vec
}

type point struct {
	v  mesh.VertexID
	to mesh.FaceID
}

// run makes every move inside the cell of the given vertices, all the free ones in it.
func (w *worker) run(vs []mesh.VertexID) {
	w.heap = w.heap[:0]
	for _, v := range vs {
		if mv, ok := w.best(v, move{cost: -1}); ok {
			w.heap = append(w.heap, mv)
		}
	}
	for i := len(w.heap)/2 - 1; i >= 0; i-- {
		w.down(i)
	}
	for len(w.heap) > 0 {
		mv := w.heap[0]
		if w.kind[mv.v] != free || w.change[mv.v] != mv.change {
			w.pop()
			continue
		}
		if w.allowed(mv) {
			w.pop()
			w.collapse(mv)
			continue
		}
		if other, ok := w.best(mv.v, mv); ok {
			w.heap[0] = other
			w.down(0)
		} else {
			w.pop()
		}
	}
}

// around fills ring with the corners at the free vertex v.
func (w *worker) around(v mesh.VertexID) {
	w.ring = w.ring[:0]
	first := w.at[v]
	for c := first; ; {
		w.ring = append(w.ring, c)
		if c = w.across[c].Next(); c == first {
			return
		}
	}
}

// best returns the cheapest move of v that is dearer than last; none where a neighbour of v lies
// in another cell.
func (w *worker) best(v mesh.VertexID, last move) (move, bool) {
	w.around(v)
	var normal, base [mostAround]mesh.Vec // of the faces around: area times normal, a point
	for _, c := range w.ring {
		if w.cell[w.vertex(c.Next())] != w.cell[v] {
			return move{}, false
		}
	}
	if len(w.ring) > mostAround {
		return move{}, false
	}
	p := w.m.Pos[v]
	for i, c := range w.ring {
		x, y := w.m.Pos[w.vertex(c.Next())], w.m.Pos[w.vertex(c.Prev())]
		n := x.Sub(p).Cross(y.Sub(p))
		if l := n.Norm(); l > 0 {
			normal[i] = n.Scale(1 / math.Sqrt(l)) // squared, it weighs by area
		}
		base[i] = x
	}
	found := false
	var out move
	for _, c := range w.ring {
		u := w.vertex(c.Next())
		if w.kind[u] == fixed {
			continue
		}
		q := w.m.Pos[u]
		cost := 1e-9 * q.Sub(p).Norm2() // where all is flat, short edges go first
		for i := range w.ring {
			d := q.Sub(base[i]).Dot(normal[i])
			cost += float64(d * d)
		}
		mv := move{cost, v, u, w.change[v]}
		if last.before(mv) && (!found || mv.before(out)) {
			out, found = mv, true
		}
	}
	return out, found
}

// allowed reports whether a move keeps every promise of Simplify. It leaves in faces and points
// what collapse needs.
func (w *worker) allowed(mv move) bool {
	w.around(mv.v)
	return w.linked(mv) && w.shaped(mv) && w.near(mv) && w.held()
}

// linked reports whether v and u have two common neighbours, and u is not in a face with both.
func (w *worker) linked(mv move) bool {
	w.far = w.far[:0]
	first := w.at[mv.u]
	open := false
	for c := first; ; {
		w.far = append(w.far, w.vertex(c.Next()))
		d := w.across[c]
		if open = d < 0; open {
			break
		}
		if c = d.Next(); c == first {
			break
		}
	}
	if open {
		for c := first; ; {
			d := w.across[c.Prev()]
			if d < 0 {
				w.far = append(w.far, w.vertex(c.Prev()))
				break
			}
			c = d
			w.far = append(w.far, w.vertex(c.Next()))
		}
	}
	if len(w.ring) <= 3 || len(w.far)+len(w.ring)-4 > mostAround {
		return false
	}
	common := 0
	for _, c := range w.ring {
		x := w.vertex(c.Next())
		for _, y := range w.far {
			if x == y {
				common++
			}
		}
	}
	return common == 2
}

// shaped fills faces and reports whether none of them turns over or becomes a sliver.
func (w *worker) shaped(mv move) bool {
	w.faces = w.faces[:0]
	p, q := w.m.Pos[mv.v], w.m.Pos[mv.u]
	least, was := 1.0, 1.0
	for _, c := range w.ring {
		x, y := w.vertex(c.Next()), w.vertex(c.Prev())
		b, d := w.m.Pos[x], w.m.Pos[y]
		was = math.Min(was, quality(b.Sub(p).Cross(d.Sub(p)).Norm(), p, b, d))
		if x == mv.u || y == mv.u {
			continue
		}
		n := b.Sub(q).Cross(d.Sub(q))
		l := n.Norm()
		for _, v := range [3]mesh.VertexID{mv.u, x, y} {
			t := w.turn[v]
			if !(float64(n.X*float64(t[0]))+float64(n.Y*float64(t[1]))+float64(n.Z*float64(t[2])) > leastTurn*l) {
				return false
			}
		}
		least = math.Min(least, quality(l, q, b, d))
		w.faces = append(w.faces, face{c.Face(), q, b, d})
	}
	return least >= math.Min(leastShape, was)
}

// quality is 1 for a face with equal sides and 0 for one without area (twice the area given).
func quality(area2 float64, a, b, c mesh.Vec) float64 {
	sides := a.Sub(b).Norm2() + b.Sub(c).Norm2() + c.Sub(a).Norm2()
	if sides == 0 {
		return 0
	}
	return 2 * math.Sqrt(3) * area2 / sides
}

// near fills points with v and the vertices on the lists of the faces around it, each with the
// nearest of the new faces, and reports whether none is farther away than the bound.
func (w *worker) near(mv move) bool {
	w.points = w.points[:0]
	if !w.give(mv.v) {
		return false
	}
	for _, c := range w.ring {
		for v := w.list[c.Face()]; v >= 0; v = w.next[v] {
			if !w.give(mesh.VertexID(v)) {
				return false
			}
		}
	}
	return true
}

func (w *worker) give(v mesh.VertexID) bool {
	p := w.m.Pos[v]
	best, to := math.Inf(1), mesh.FaceID(-1)
	for i := range w.faces {
		f := &w.faces[i]
		if d := tree.ClosestOnFace(f.a, f.b, f.c, p).Sub(p).Norm2(); d < best {
			best, to = d, f.id
		}
	}
	w.points = append(w.points, point{v, to})
	return best <= w.bound*w.bound
}

// held reports whether the new faces lie near the original in their middles and along the edges
// that they have in common.
func (w *worker) held() bool {
	for i := range w.faces {
		f := &w.faces[i]
		if !w.onto(f.a.Add(f.b).Add(f.c).Scale(1. / 3)) {
			return false
		}
		edge := f.c.Sub(f.a)
		n := 2.0
		if w.apart > 0 {
			n = math.Max(n, math.Ceil(edge.Norm()/w.apart))
		}
		for k := 1.0; k < n; k++ {
			if !w.onto(f.a.Along(k/n, edge)) {
				return false
			}
		}
	}
	return true
}

// onto reports whether a point lies within the bound of the original. The faces at the nearest
// vertex that was removed around here are looked at before the tree is asked, since most often
// one of them is near enough.
func (w *worker) onto(p mesh.Vec) bool {
	near, least := w.points[0].v, math.Inf(1)
	for _, q := range w.points {
		if d := w.m.Pos[q.v].Sub(p).Norm2(); d < least {
			near, least = q.v, d
		}
	}
	for _, c := range w.m.CornersAt(near) {
		a, b, d := w.m.Corners(c.Face())
		if tree.ClosestOnFace(a, b, d, p).Sub(p).Norm2() <= w.bound*w.bound {
			return true
		}
	}
	found := false
	w.tree.Ball(p, w.bound, func(mesh.FaceID) bool {
		found = true
		return false
	})
	return found
}

// collapse makes a move that allowed has just found allowed.
func (w *worker) collapse(mv move) {
	var c mesh.Corner // the edge from v to u
	for _, r := range w.ring {
		w.list[r.Face()] = -1
		x := w.vertex(r.Next())
		w.change[x]++
		if x == mv.u {
			c = r
		}
	}
	for _, p := range w.points {
		w.next[p.v] = w.list[p.to]
		w.list[p.to] = int32(p.v)
	}
	for _, r := range w.ring {
		w.tri[r/3][r%3] = mv.u
	}
	d := w.across[c]
	// The two faces along the edge go, and what lay beyond them becomes neighbours.
	b, a := w.across[c.Prev()], w.across[d.Next()] // edges v → third vertex, third vertex → v
	w.link(w.across[c.Next()], b)
	w.link(w.across[d.Prev()], a)
	w.at[mv.u], w.at[w.vertex(b.Next())], w.at[w.vertex(a)] = b, b.Next(), a
	w.tri[c.Face()][0], w.tri[d.Face()][0] = -1, -1
	w.kind[mv.v] = gone
	w.thinkAgain(mv)
}

// link makes the edges of two corners one; out may be the boundary.
func (w *worker) link(out, in mesh.Corner) {
	w.across[in] = out
	if out >= 0 {
		w.across[out] = in
	}
}

// thinkAgain puts the new best moves of u and of the neighbours that v had on the heap. The
// vertices of the new faces are all of them.
func (w *worker) thinkAgain(mv move) {
	w.far = append(w.far[:0], mv.u)
	for _, f := range w.faces {
		for _, v := range w.tri[f.id] {
			seen := false
			for _, x := range w.far {
				seen = seen || x == v
			}
			if !seen {
				w.far = append(w.far, v)
			}
		}
	}
	for _, v := range w.far {
		if w.kind[v] == free {
			if next, ok := w.best(v, move{cost: -1}); ok {
				w.push(next)
			}
		}
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
