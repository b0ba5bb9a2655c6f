package compact

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// reader reads what Encode wrote, the way the page does.
type reader struct {
	ops, refs  []byte
	plane      [4][]byte
	pos        [][3]int
	tri        [][3]int
	a, b, in   []int // of each edge of the outline: ends, third corner inside
	prev, next []int
	open       []bool
}

func decode(t testing.TB, e Encoded) *reader {
	t.Helper()
	data, err := io.ReadAll(flate.NewReader(bytes.NewReader(e.Data)))
	if err != nil {
		t.Fatal(err)
	}
	r := &reader{}
	at := 24
	for i, p := range []*[]byte{&r.ops, &r.refs, &r.plane[0], &r.plane[1], &r.plane[2], &r.plane[3]} {
		n := int(binary.LittleEndian.Uint32(data[4*i:]))
		*p = data[at : at+n]
		at += n
	}
	if at != len(data) {
		t.Fatalf("%d bytes behind the end", len(data)-at)
	}
	for len(r.tri) < e.Faces {
		r.seed()
		for at := len(r.a) - 1; at >= 0; at = r.step(at) {
			if !r.open[at] {
				if at = slices.Index(r.open, true); at < 0 {
					break
				}
			}
		}
	}
	if len(r.ops)+len(r.refs)+len(r.plane[0])+len(r.plane[1])+len(r.plane[2])+len(r.plane[3]) > 0 {
		t.Fatal("not everything was read")
	}
	return r
}

func take(p *[]byte) int {
	x := (*p)[0]
	*p = (*p)[1:]
	return int(x)
}

func (r *reader) ref() int {
	x, n := binary.Uvarint(r.refs)
	r.refs = r.refs[n:]
	return int(x)
}

func (r *reader) vertex(expected [3]int) int {
	for k := range expected {
		z := 0
		for i := range 4 {
			x := take(&r.plane[i])
			if i < 3 {
				z |= x & 127 << (7 * i)
			} else {
				z |= x << 21
			}
			if x < 128 {
				break
			}
		}
		expected[k] += z>>1 ^ -(z & 1)
	}
	r.pos = append(r.pos, expected)
	return len(r.pos) - 1
}

func (r *reader) seed() {
	var id [3]int
	for k := range id {
		if back := r.ref(); back > 0 {
			id[k] = len(r.pos) - back
			continue
		}
		var near [3]int
		if n := len(r.pos); n > 0 {
			near = r.pos[n-1]
		}
		id[k] = r.vertex(near)
	}
	r.tri = append(r.tri, id)
	n := len(r.a)
	for k := range 3 {
		r.edge(id[k], id[(k+1)%3], id[(k+2)%3], n+(k+2)%3, n+(k+1)%3)
	}
}

func (r *reader) edge(a, b, in, prev, next int) int {
	r.a, r.b, r.in = append(r.a, a), append(r.b, b), append(r.in, in)
	r.prev, r.next, r.open = append(r.prev, prev), append(r.next, next), append(r.open, true)
	return len(r.a) - 1
}

func (r *reader) join(i, j int) {
	if i >= 0 {
		r.next[i] = j
	}
	if j >= 0 {
		r.prev[j] = i
	}
}

func (r *reader) step(i int) int {
	a, b, in, prev, next := r.a[i], r.b[i], r.in[i], r.prev[i], r.next[i]
	x := 0
	switch op := take(&r.ops); op {
	case opNone:
		r.open[i] = false
		r.join(prev, -1)
		r.join(-1, next)
		if next < 0 {
			return i
		}
		return next
	case opNext, opLast:
		other := next
		from, to, third := a, 0, b
		if op == opNext {
			x = r.b[next]
			to, next = x, r.next[next]
		} else {
			x = r.a[prev]
			other, from, to, third, prev = prev, x, b, a, r.prev[prev]
		}
		r.tri = append(r.tri, [3]int{b, a, x})
		r.open[i], r.open[other] = false, false
		n := r.edge(from, to, third, prev, next)
		r.join(prev, n)
		r.join(n, next)
		return r.zip(n)
	case opNew:
		p, q, s := r.pos[a], r.pos[b], r.pos[in]
		x = r.vertex([3]int{p[0] + q[0] - s[0], p[1] + q[1] - s[1], p[2] + q[2] - s[2]})
	case opOther:
		x = len(r.pos) - r.ref()
	}
	r.tri = append(r.tri, [3]int{b, a, x})
	r.open[i] = false
	m := r.edge(a, x, b, prev, -1)
	n := r.edge(x, b, a, m, next)
	r.join(prev, m)
	r.join(m, n)
	r.join(n, next)
	return n
}

func (r *reader) zip(i int) int {
	first, second := i, r.next[i]
	if second < 0 || r.b[second] != r.a[i] {
		if first, second = r.prev[i], i; first < 0 || r.a[first] != r.b[i] {
			return i
		}
	}
	r.open[first], r.open[second] = false, false
	prev, next := r.prev[first], r.next[second]
	if prev != second {
		r.join(prev, next)
	}
	if next < 0 {
		return i // no longer open
	}
	return next
}

// there and back.
func roundTrip(t *testing.T, name string, m *mesh.Mesh, step float64) Encoded {
	t.Helper()
	e := Encode(m, step)
	r := decode(t, e)
	if len(r.pos) != e.Vertices || len(e.Order) != e.Vertices || len(r.tri) != len(m.Tri) {
		t.Fatalf("%s: %d vertices and %d faces read, %d and %d written", name, len(r.pos), len(r.tri), e.Vertices, len(m.Tri))
	}
	worst := 0.0
	for i, q := range r.pos {
		p := e.Origin.Along(e.StepMM, mesh.Vec{X: float64(q[0]), Y: float64(q[1]), Z: float64(q[2])})
		worst = max(worst, p.Dist(m.Pos[e.Order[i]]))
	}
	if worst > e.ErrorMM()*(1+1e-6) {
		t.Errorf("%s: a vertex is off by %g mm, %g stated", name, worst, e.ErrorMM())
	}
	var was, is []string
	for _, f := range m.Tri {
		was = append(was, turned([3]int{int(f[0]), int(f[1]), int(f[2])}))
	}
	for _, f := range r.tri {
		is = append(is, turned([3]int{int(e.Order[f[0]]), int(e.Order[f[1]]), int(e.Order[f[2]])}))
	}
	slices.Sort(was)
	slices.Sort(is)
	if !slices.Equal(was, is) {
		t.Errorf("%s: faces are not those written", name)
	}
	t.Logf("%s: %d faces in %d bytes, %.2f a face", name, e.Faces, len(e.Data), float64(len(e.Data))/float64(max(1, e.Faces)))
	return e
}

// turned names a face from its lowest corner on, which keeps its winding.
func turned(f [3]int) string {
	for f[1] < f[0] || f[2] < f[0] {
		f = [3]int{f[1], f[2], f[0]}
	}
	return fmt.Sprint(f)
}

func TestRoundTrip(t *testing.T) {
	roundTrip(t, "nothing", mesh.New(nil, nil), 0.004)
	ball := shape.Icosphere(10, 5).Mesh
	roundTrip(t, "torus", shape.Torus(20, 4, 40, 100).Mesh, 0.004)
	roundTrip(t, "trough", shape.Trough(8, 40, 30, 50).Mesh, 0.004)
	roundTrip(t, "shell", shape.SphericalShell(9, 8, 3).Mesh, 0.004)
	roundTrip(t, "ball with holes", shape.Keep(ball, func(f mesh.FaceID) bool { return f%17 > 0 && f%31 > 1 }), 0.004)
	roundTrip(t, "scattered faces", shape.Keep(ball, func(f mesh.FaceID) bool { return f%5 == 0 }), 0.004)
	far := shape.Map(ball, func(p mesh.Vec) mesh.Vec { return p.Scale(1e6).Add(mesh.Vec{X: -3e9, Z: 1e3}) })
	if e := roundTrip(t, "far and large", far, 0.004); e.StepMM <= 0.004 {
		t.Errorf("steps of %g for a surface of 20 km", e.StepMM)
	}
}

// Any faces at all, also such that share edges by threes or run against each other.
func TestAnyFaces(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for n := range 300 {
		pos := make([]mesh.Vec, 3+r.IntN(20))
		for i := range pos {
			pos[i] = mesh.Vec{X: 10 * r.Float64(), Y: 10 * r.Float64(), Z: 10 * r.Float64()}
		}
		tri := make([][3]mesh.VertexID, r.IntN(60))
		for f := range tri {
			for k := range 3 {
				tri[f][k] = mesh.VertexID(r.IntN(len(pos)))
			}
		}
		roundTrip(t, fmt.Sprint("soup ", n), mesh.New(pos, tri), 0.01)
		if t.Failed() {
			return
		}
	}
}

// On a flat regular grid all corners are where they are expected, and what is left is the walk. It
// takes no more than the 4 bits for a face that published walks need at most (Rossignac, IEEE Trans
// Vis Comput Graph 1999;5:47).
func TestWalkIsShort(t *testing.T) {
	m := shape.Grid(80, 90, false, false, func(u, v float64) mesh.Vec { return mesh.Vec{X: 8 * u, Y: 9 * v} })
	e := Encode(m, 0.1)
	if bits := 8 * float64(len(e.Data)) / float64(e.Faces); bits > 4 {
		t.Errorf("%.1f bits a face", bits)
	}
}

func BenchmarkEncode(b *testing.B) {
	m := shape.Torus(20, 4, 200, 500).Mesh
	for b.Loop() {
		Encode(m, 0.004)
	}
}
