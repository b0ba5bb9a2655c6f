package simplify

import (
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

// worker collapses edges of one cell after the other.
type worker struct {
	*surface
	ring   []mesh.Corner   // the corners at v, around it
	moves  []move          // of the vertex that was weighed last, those of v below
	far    []mesh.VertexID // neighbours of u
	shape  float64         // the least quality that a new face around it may have
	faces  []face          // what the faces around v become
	points []point         // removed vertices to be shared out among them
}

type face struct {
	id      mesh.FaceID
	a, b, c mesh.Vec
	normal  mesh.Vec
	strays  float32 // mm: no point of it lies farther from the original
}

type point struct {
	v  mesh.VertexID
	to mesh.FaceID
}

// run makes moves inside the cell of the given vertices, all the free ones in it: of each vertex in turn the
// cheapest one that is allowed.
func (w *worker) run(vs []mesh.VertexID) {
	for _, v := range vs {
		if w.spent[v] == w.change[v]+1 || !w.weigh(v) {
			continue
		}
		w.spent[v] = w.change[v] + 1
		for i := range w.moves {
			for j := i + 1; j < len(w.moves); j++ {
				if w.moves[j].before(w.moves[i]) {
					w.moves[i], w.moves[j] = w.moves[j], w.moves[i]
				}
			}
			if w.allowed(v, w.moves[i].u) {
				w.collapse(v, w.moves[i].u)
				break
			}
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

// allowed reports whether collapsing v, which was weighed last, to u keeps every promise of Simplify. It
// leaves in faces and points what collapse needs.
func (w *worker) allowed(v, u mesh.VertexID) bool {
	return w.linked(u) && w.shaped(u) && w.near(v) && w.held()
}

// linked reports whether v and u have two common neighbours, and u is not in a face with both.
func (w *worker) linked(u mesh.VertexID) bool {
	w.far = w.far[:0]
	first := w.at[u]
	open := false
	for c := first; ; {
		w.far = append(w.far, w.vertex[c.Next()])
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
				w.far = append(w.far, w.vertex[c.Prev()])
				break
			}
			c = d
			w.far = append(w.far, w.vertex[c.Next()])
		}
	}
	if len(w.ring) <= 3 || len(w.far)+len(w.ring)-4 > mostAround {
		return false
	}
	common := 0
	for _, c := range w.ring {
		x := w.vertex[c.Next()]
		for _, y := range w.far {
			if x == y {
				common++
			}
		}
	}
	return common == 2
}

// shaped fills faces and reports whether none of them turns over or becomes a sliver.
func (w *worker) shaped(u mesh.VertexID) bool {
	w.faces = w.faces[:0]
	q := w.m.Pos[u]
	for _, c := range w.ring {
		x, y := w.vertex[c.Next()], w.vertex[c.Prev()]
		b, d := w.m.Pos[x], w.m.Pos[y]
		if x == u || y == u {
			continue
		}
		n := b.Sub(q).Cross(d.Sub(q))
		l := n.Norm()
		for _, v := range [3]mesh.VertexID{u, x, y} {
			t := w.turn[v]
			if !(float64(n.X*float64(t[0]))+float64(n.Y*float64(t[1]))+float64(n.Z*float64(t[2])) > leastTurn*l) {
				return false
			}
		}
		if quality(l, q, b, d) < w.shape {
			return false
		}
		w.faces = append(w.faces, face{id: c.Face(), a: q, b: b, c: d, normal: n.Scale(1 / l)})
	}
	return true
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
func (w *worker) near(v mesh.VertexID) bool {
	w.points = w.points[:0]
	if !w.give(v) {
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
		if h := p.Sub(f.a).Dot(f.normal); float64(h*h) >= best {
			continue
		}
		if d := tree.ClosestOnFace(f.a, f.b, f.c, p).Sub(p).Norm2(); d < best {
			best, to = d, f.id
		}
	}
	w.points = append(w.points, point{v, to})
	return best <= w.bound*w.bound
}

// held reports whether the new faces lie near the original. Where all of them face one way, each
// has points of the faces that were around v over all of it: the fan of the new ones and that of
// the old ones have the same rim, and what is wound about once by it is covered by both. So no
// point of a new face lies farther from the original than the heights of those faces' corners over
// its plane and their own distance say. Where that is too much, its middle and points along the
// edge to the next one are held against the original.
func (w *worker) held() bool {
	var sum mesh.Vec
	for i := range w.faces {
		sum = sum.Add(w.faces[i].normal)
	}
	sum = sum.Unit()
	oneWay := true
	for i := range w.faces {
		oneWay = oneWay && w.faces[i].normal.Dot(sum) > math.Sqrt2/2 // so no two are 90° apart
	}
	before := float32(0)
	for _, c := range w.ring {
		before = max(before, w.strays[c.Face()])
	}
	v := w.m.Pos[w.points[0].v]
	for i := range w.faces {
		f := &w.faces[i]
		if oneWay {
			high := math.Abs(v.Sub(f.a).Dot(f.normal))
			for j := range w.faces {
				g := &w.faces[j]
				high = max(high, math.Abs(g.b.Sub(f.a).Dot(f.normal)), math.Abs(g.c.Sub(f.a).Dot(f.normal)))
			}
			if f.strays = before + float32(high*(1+1e-6)); float64(f.strays) <= w.bound {
				continue
			}
		}
		f.strays = float32(w.bound)
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

// onto reports whether a point lies within the bound of a face of the original at the nearest vertex
// that was removed around here, or at a neighbour of that vertex. Where none of these is near enough
// another one may be, and is not looked for.
func (w *worker) onto(p mesh.Vec) bool {
	near, least := w.points[0].v, math.Inf(1)
	for _, q := range w.points {
		if d := w.m.Pos[q.v].Sub(p).Norm2(); d < least {
			near, least = q.v, d
		}
	}
	if w.touches(near, p) {
		return true
	}
	for _, c := range w.m.CornersAt(near) {
		if w.touches(w.m.Vertex(c.Next()), p) {
			return true
		}
	}
	return false
}

// touches reports whether a point lies within the bound of a face of the original at v.
func (w *worker) touches(v mesh.VertexID, p mesh.Vec) bool {
	bound2 := w.bound * w.bound
	at := w.m.Pos[v]
	d := p.Sub(at)
	if d.Norm2() <= bound2 {
		return true
	}
	for _, c := range w.m.CornersAt(v) {
		a, b := w.m.Pos[w.m.Vertex(c.Next())], w.m.Pos[w.m.Vertex(c.Prev())]
		if d.Dot(a.Sub(at)) <= 0 && d.Dot(b.Sub(at)) <= 0 {
			continue // v itself is nearest: the point lies on the other side of it
		}
		if tree.ClosestOnFace(at, a, b, p).Sub(p).Norm2() <= bound2 {
			return true
		}
	}
	return false
}

// collapse moves v to u, which allowed has just found allowed.
func (w *worker) collapse(v, u mesh.VertexID) {
	var c mesh.Corner // the edge from v to u
	for _, r := range w.ring {
		w.list[r.Face()] = -1
		x := w.vertex[r.Next()]
		w.change[x]++
		if x == u {
			c = r
		}
	}
	for _, p := range w.points {
		w.next[p.v] = w.list[p.to]
		w.list[p.to] = int32(p.v)
	}
	for _, r := range w.ring {
		w.vertex[r] = u
	}
	for i := range w.faces {
		w.strays[w.faces[i].id] = w.faces[i].strays
	}
	d := w.across[c]
	// The two faces along the edge go, and what lay beyond them becomes neighbours.
	b, a := w.across[c.Prev()], w.across[d.Next()] // edges v → third vertex, third vertex → v
	w.link(w.across[c.Next()], b)
	w.link(w.across[d.Prev()], a)
	w.at[u], w.at[w.vertex[b.Next()]], w.at[w.vertex[a]] = b, b.Next(), a
	w.vertex[3*c.Face()], w.vertex[3*d.Face()] = -1, -1
	w.kind[v] = gone
}

// link makes the edges of two corners one; out may be the boundary.
func (w *worker) link(out, in mesh.Corner) {
	w.across[in] = out
	if out >= 0 {
		w.across[out] = in
	}
}
