package inspect

import "fornix/mesh"

// walker walks the surface from vertex to vertex. Not safe for concurrent use.
type walker struct {
	m       *mesh.Mesh
	links   *mesh.Links
	mark    []int32 // #V: twice the epoch of the last reach that came by, and 1 if it took the vertex
	epoch   int32
	queue   []mesh.VertexID
	pts     []patchPoint
	fitting fitting
	side    []float64 // #V scratch of judgeRim
}

func newWalker(m *mesh.Mesh, links *mesh.Links) *walker {
	return &walker{m: m, links: links, mark: make([]int32, len(m.Pos)), side: make([]float64, len(m.Pos))}
}

// seen tells whether v was taken by the last reach.
func (w *walker) seen(v mesh.VertexID) bool { return w.mark[v] == 2*w.epoch+1 }

// begin starts another walk and returns the mark of what it comes by.
func (w *walker) begin() int32 {
	w.epoch++
	w.queue = w.queue[:0]
	return 2 * w.epoch
}

// reach returns start and the vertices joined to it by edges through vertices for which in
// holds, nearest rings first. The slice is good until the next call.
func (w *walker) reach(start []mesh.VertexID, in func(mesh.VertexID) bool) []mesh.VertexID {
	by := w.begin()
	for _, v := range start {
		if w.mark[v] < by {
			w.mark[v] = by + 1
			w.queue = append(w.queue, v)
		}
	}
	for i := 0; i < len(w.queue); i++ {
		for _, x := range w.links.At(w.queue[i]) {
			if w.mark[x] >= by {
				continue
			}
			if w.mark[x] = by; in(x) {
				w.mark[x] = by + 1
				w.queue = append(w.queue, x)
			}
		}
	}
	return w.queue
}

// ball returns the vertices joined to v within r of its position. It is reach without a call for every
// vertex, for most of the time goes here.
func (w *walker) ball(v mesh.VertexID, r float64) []mesh.VertexID {
	by, mark, queue, pos := w.begin(), w.mark, w.queue, w.m.Pos
	p, r2 := pos[v], float64(r*r)
	mark[v] = by + 1
	queue = append(queue, v)
	for i := 0; i < len(queue); i++ {
		for _, x := range w.links.At(queue[i]) {
			if mark[x] >= by {
				continue
			}
			mark[x] = by
			if pos[x].Sub(p).Norm2() <= r2 {
				mark[x] = by + 1
				queue = append(queue, x)
			}
		}
	}
	w.queue = queue
	return queue
}
