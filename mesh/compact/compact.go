// Package compact writes a surface in few bytes, for pages that carry it inside. It is read by the
// page's script (render/page/surface.mjs).
//
// Faces are told in the order of a walk that grows a patch face by face across its edge, so that
// one small number for each says where the third corner is: a new vertex, or the other end of a
// neighbouring edge of the patch (Gumhold & Straßer, SIGGRAPH 1998). A new vertex is told by how
// far it is from the corner of the parallelogram that the face across the edge makes with it
// (Touma & Gotsman, Graphics Interface 1998), in whole steps. All is then deflated (RFC 1951).
package compact

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"math"

	"fornix/mesh"
)

// Encoded is a surface in few bytes.
type Encoded struct {
	Data     []byte
	Vertices int
	Faces    int
	Origin   mesh.Vec        // mm; where all steps are 0
	StepMM   float64         // the length of a step
	Order    []mesh.VertexID // the vertex of the mesh that each vertex of the data is
}

// ErrorMM is the farthest that a vertex of the data is from its place: half a step along each axis.
func (e *Encoded) ErrorMM() float64 { return e.StepMM / 2 * math.Sqrt(3) }

// mostSteps is the largest coordinate in steps, so that differences fit into four groups of 7 bits.
const mostSteps = 1 << 26

// Operations of the walk, each about one edge from a to b of the patch. The next edge of the
// patch's outline starts at b, the one before ends at a.
const (
	opNew   = iota // the face beyond has a new vertex
	opNext         // its third corner is the end of the next edge
	opLast         // its third corner is the start of the edge before
	opOther        // its third corner is another vertex that is known
	opNone         // there is no face beyond, or it is told elsewhere
)

// Encode writes m with steps of stepMM, or wider ones where m is larger than 67 million steps.
// Vertices of no face are left out. O(#F).
func Encode(m *mesh.Mesh, stepMM float64) Encoded {
	lo, hi := mesh.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}, mesh.Vec{X: math.Inf(-1), Y: math.Inf(-1), Z: math.Inf(-1)}
	for _, t := range m.Tri {
		for _, v := range t {
			lo, hi = lo.Min(m.Pos[v]), hi.Max(m.Pos[v])
		}
	}
	if len(m.Tri) == 0 {
		lo, hi = mesh.Vec{}, mesh.Vec{}
	}
	d := hi.Sub(lo)
	w := walker{m: m, step: math.Max(stepMM, math.Max(d.X, math.Max(d.Y, d.Z))/mostSteps), origin: lo,
		id: make([]int32, len(m.Pos)), told: make([]bool, len(m.Tri)),
		edge: make([]edge, 0, 2*len(m.Tri)), open: make([]bool, 0, 2*len(m.Tri))}
	for i := range w.id {
		w.id[i] = -1
	}
	for f := range m.Tri {
		if !w.told[f] {
			w.seed(mesh.FaceID(f))
			w.grow()
		}
	}
	return Encoded{Data: w.deflate(), Vertices: len(w.order), Faces: len(m.Tri), Origin: lo, StepMM: w.step, Order: w.order}
}

// deflate puts the parts one after the other, their lengths in front as 32-bit numbers, lowest
// byte first.
func (w *walker) deflate() []byte {
	parts := [][]byte{w.ops, w.refs, w.plane[0], w.plane[1], w.plane[2], w.plane[3]}
	var head []byte
	for _, p := range parts {
		head = binary.LittleEndian.AppendUint32(head, uint32(len(p)))
	}
	var b bytes.Buffer
	z, _ := flate.NewWriter(&b, flate.DefaultCompression) // fails for levels that do not exist
	z.Write(head)                                         // a bytes.Buffer takes all
	for _, p := range parts {
		z.Write(p)
	}
	z.Close()
	return b.Bytes()
}

// walker walks over a mesh and writes down how.
type walker struct {
	m      *mesh.Mesh
	step   float64
	origin mesh.Vec

	id    []int32         // #V: number in the data, -1: not yet
	order []mesh.VertexID // the vertex of each number
	steps [][3]int32      // the coordinates of each number
	told  []bool          // #F

	edge []edge // of the outline of the patch, and those that were
	open []bool // of each edge: still on the outline
	from int    // no edge before this one is open

	ops, refs []byte
	plane     [4][]byte // the n-th groups of 7 bits of all differences
}

// edge is a piece of the outline, in the winding of the face inside.
type edge struct {
	a, b       int32 // numbers of its ends
	inside     int32 // number of the third corner of the face inside
	prev, next int32 // along the outline, -1 where it ends
	corner     mesh.Corner
}

// seed tells a face that hangs together with none that was told.
func (w *walker) seed(f mesh.FaceID) {
	w.told[f] = true
	var id [3]int32
	for k, v := range w.m.Tri[f] {
		if w.id[v] >= 0 {
			w.refs = binary.AppendUvarint(w.refs, uint64(len(w.order)-int(w.id[v])))
		} else {
			w.refs = append(w.refs, 0)
			var near [3]int32
			if n := len(w.steps); n > 0 {
				near = w.steps[n-1]
			}
			w.number(v, near)
		}
		id[k] = w.id[v]
	}
	n := int32(len(w.edge))
	for k := range int32(3) {
		next, other := (k+1)%3, (k+2)%3
		w.add(edge{id[k], id[next], id[other], n + other, n + next, mesh.Corner(3*f) + mesh.Corner(k)})
	}
}

// number gives v the next number and writes how far it is from where it was expected.
func (w *walker) number(v mesh.VertexID, expected [3]int32) {
	w.id[v] = int32(len(w.order))
	w.order = append(w.order, v)
	p := w.m.Pos[v].Sub(w.origin)
	var q [3]int32
	for k, x := range [3]float64{p.X, p.Y, p.Z} {
		q[k] = int32(math.Round(x / w.step))
		d := q[k] - expected[k]
		z := uint32(d)<<1 ^ uint32(d>>31) // small whatever the sign
		for i := 0; ; i++ {
			if z < 128 || i == 3 {
				w.plane[i] = append(w.plane[i], byte(z))
				break
			}
			w.plane[i] = append(w.plane[i], byte(z)|128)
			z >>= 7
		}
	}
	w.steps = append(w.steps, q)
}

func (w *walker) add(e edge) int32 {
	w.edge = append(w.edge, e)
	w.open = append(w.open, true)
	return int32(len(w.edge) - 1)
}

// grow goes over the outline until nothing of it is open.
func (w *walker) grow() {
	at := int32(len(w.edge) - 1)
	for {
		if at < 0 || !w.open[at] {
			for w.from < len(w.edge) && !w.open[w.from] {
				w.from++
			}
			if at = int32(w.from); w.from == len(w.edge) {
				return
			}
		}
		at = w.across(at)
	}
}

// across tells the face beyond edge i and returns the edge to go on with, if it is open.
func (w *walker) across(i int32) int32 {
	e := w.edge[i]
	d := w.m.Across[e.corner]
	if d < 0 || w.told[d.Face()] || w.id[w.m.Vertex(d)] != e.b {
		w.ops = append(w.ops, opNone)
		w.cut(i)
		return e.next
	}
	w.told[d.Face()] = true
	x := w.m.Vertex(d.Prev())
	toX, fromX := d.Next(), d.Prev() // edges a → x, x → b
	switch {
	case w.id[x] < 0:
		w.ops = append(w.ops, opNew)
		a, b, c := w.steps[e.a], w.steps[e.b], w.steps[e.inside]
		w.number(x, [3]int32{a[0] + b[0] - c[0], a[1] + b[1] - c[1], a[2] + b[2] - c[2]})
	case e.next >= 0 && w.edge[e.next].b == w.id[x]:
		w.ops = append(w.ops, opNext)
		return w.zip(w.replace(i, e.next, edge{a: e.a, b: w.id[x], inside: e.b, corner: toX}))
	case e.prev >= 0 && w.edge[e.prev].a == w.id[x]:
		w.ops = append(w.ops, opLast)
		return w.zip(w.replace(e.prev, i, edge{a: w.id[x], b: e.b, inside: e.a, corner: fromX}))
	default:
		w.ops = append(w.ops, opOther)
		w.refs = binary.AppendUvarint(w.refs, uint64(len(w.order)-int(w.id[x])))
	}
	return w.split(i, edge{a: e.a, b: w.id[x], inside: e.b, corner: toX}, edge{a: w.id[x], b: e.b, inside: e.a, corner: fromX})
}

// cut takes edge i out and leaves the outline open there.
func (w *walker) cut(i int32) {
	e := w.edge[i]
	w.open[i] = false
	if e.prev >= 0 {
		w.edge[e.prev].next = -1
	}
	if e.next >= 0 {
		w.edge[e.next].prev = -1
	}
}

// replace puts e in the place of edges i and j, which follow each other.
func (w *walker) replace(i, j int32, e edge) int32 {
	e.prev, e.next = w.edge[i].prev, w.edge[j].next
	w.open[i], w.open[j] = false, false
	n := w.add(e)
	w.join(e.prev, n)
	w.join(n, e.next)
	return n
}

// split puts e and f in the place of edge i.
func (w *walker) split(i int32, e, f edge) int32 {
	prev, next := w.edge[i].prev, w.edge[i].next
	w.open[i] = false
	m := w.add(e)
	n := w.add(f)
	w.join(prev, m)
	w.join(m, n)
	w.join(n, next)
	return n
}

// join makes j follow i; either may be -1, for none.
func (w *walker) join(i, j int32) {
	if i >= 0 {
		w.edge[i].next = j
	}
	if j >= 0 {
		w.edge[j].prev = i
	}
}

// zip closes edge i with a neighbour on the outline that runs back along it, and returns the edge
// to go on with.
func (w *walker) zip(i int32) int32 {
	e := w.edge[i]
	first, second := i, e.next
	if second < 0 || w.edge[second].b != e.a {
		if first, second = e.prev, i; first < 0 || w.edge[first].a != e.b {
			return i
		}
	}
	w.open[first], w.open[second] = false, false
	prev, next := w.edge[first].prev, w.edge[second].next
	if prev != second { // else nothing is left of the outline
		w.join(prev, next)
	}
	return next
}
