package render

import (
	"image/color"
	"runtime"
	"slices"
	"sync"

	"fornix/inspect"
	"fornix/mesh"
	"fornix/mesh/compact"
	"fornix/mesh/simplify"
)

// Scan is a scan with its report, from which pictures, a sheet and a page are made. What they have in
// common is made once, when it is asked for. A scan may be used by several goroutines.
type Scan struct {
	Report *inspect.Report
	Mesh   *mesh.Mesh

	full   func() *Surface      // for close-ups
	small  func() *smallSurface // for the page
	coarse func() *Surface      // for whole views
	near   func() []View        // a close-up of each numbered finding, gravest first
}

// NewScan does no work yet.
func NewScan(m *mesh.Mesh, rep *inspect.Report) *Scan {
	return newScan(m, rep, sync.OnceValue(func() *smallSurface { return newSmallSurface(m, runtime.GOMAXPROCS(0)) }))
}

// Ahead begins, beside what the caller does, what takes longest of a scan's pictures and needs no report. It
// takes one processor, since measuring leaves one free for half of its time. What it returns makes the scan.
func Ahead(m *mesh.Mesh) func(*inspect.Report) *Scan {
	small := sync.OnceValue(func() *smallSurface { return newSmallSurface(m, 1) })
	go func() {
		defer func() { _ = recover() }() // it goes wrong again where it is asked for
		small()
	}()
	return func(rep *inspect.Report) *Scan { return newScan(m, rep, small) }
}

func newScan(m *mesh.Mesh, rep *inspect.Report, small func() *smallSurface) *Scan {
	s := &Scan{Report: rep, Mesh: m, small: small}
	s.full = sync.OnceValue(func() *Surface { return NewSurface(m, rep.InsideOut) })
	s.near = sync.OnceValue(func() []View { return closeUps(rep, s.full(), len(rep.Findings)) })
	s.coarse = sync.OnceValue(func() *Surface {
		c := NewSurface(s.small().mesh, rep.InsideOut)
		if g := newStationGrid(rep.Border.Stations); g != nil {
			c.refine(func(p mesh.Vec) bool { _, _, ok := g.at(p); return ok })
		}
		return c
	})
	return s
}

// begin has made, beside what the caller does, what is asked for later: where close-ups look from, and
// what the page holds of the surface. What goes wrong there does so again where it is asked for.
func (s *Scan) begin() {
	for _, work := range [2]func(){func() { s.near() }, func() { s.small().encoded() }} {
		go func() {
			defer func() { _ = recover() }()
			work()
		}()
	}
}

// closeUps returns the first views of them.
func (s *Scan) closeUps(limit int) []View {
	all := s.near()
	return slices.Clone(all[:min(len(all), max(0, limit))])
}

// there reports whether there is a scan with all that belongs to it.
func (s *Scan) there() bool { return s != nil && s.Report != nil && s.Mesh != nil }

// drawn is a surface with the colours of its border.
type drawn struct {
	surface *Surface
	tint    []color.RGBA
}

// whole and fine are the scan as it is drawn in whole views and in close-ups.
func (s *Scan) whole(scale Scale) drawn { return newDrawn(s.coarse(), s.Report, scale) }
func (s *Scan) fine(scale Scale) drawn  { return newDrawn(s.full(), s.Report, scale) }

func newDrawn(s *Surface, rep *inspect.Report, scale Scale) drawn {
	return drawn{s, borderTint(s.mesh, &rep.Border, scale)}
}

// How the surface for viewing deviates from the scan. On the page vertices are rounded to steps after
// simplifying, by half a step along each axis at most, so that together it stays within ViewErrorMM for
// scans up to 130 m in size. One that is smaller than any jaw, as where its unit is not the
// millimetre, is kept to the same share of its size.
const (
	ViewErrorMM  = 0.02
	pageStepMM   = 0.002
	pageSimplify = 0.018
	pageSmallMM  = 54 // corner to corner of the box
)

// smallSurface is a surface of fewer faces, and the same as the page holds it.
type smallSurface struct {
	mesh    *mesh.Mesh
	share   float64         // of the allowed deviation that a scan of its size has
	of      []mesh.VertexID // #V of mesh: the vertex of the scan
	encoded func() *compact.Encoded
}

// newSmallSurface simplifies a scan for viewing.
func newSmallSurface(m *mesh.Mesh, workers int) *smallSurface {
	_, size := pageBox(m)
	share := min(1, size/pageSmallMM)
	made := simplify.Simplify(m, share*pageSimplify, workers)
	return packed(made.Mesh, share, made.Vertex)
}

func packed(m *mesh.Mesh, share float64, of []mesh.VertexID) *smallSurface {
	return &smallSurface{m, share, of, sync.OnceValue(func() *compact.Encoded {
		e := compact.Encode(m, share*pageStepMM)
		return &e
	})}
}

// deviationMM is how far the surface lies from the scan, at most, and errorMM what is encoded of it.
func (s *smallSurface) deviationMM() float64 { return s.share * pageSimplify }
func (s *smallSurface) errorMM() float64     { return s.deviationMM() + s.encoded().ErrorMM() }

// carried is the surface in the common frame of two.
func (s *smallSurface) carried(mo inspect.Motion) *smallSurface {
	return packed(carriedMesh(s.mesh, mo), s.share, s.of)
}

// refineMM is how long an edge may be where colours change across it, and refineRounds how often the
// edges of a face are halved for it: from 32 mm.
const (
	refineMM     = 0.5
	refineRounds = 6
)

// refine halves edges longer than refineMM near a place of colour, so that the edge of a coloured band
// does not follow large faces. The surface keeps its shape and its shading, and has no gaps, since both
// faces at an edge halve it in the same round. Its mesh then has positions and faces only.
func (s *Surface) refine(near func(mesh.Vec) bool) {
	m := &mesh.Mesh{Pos: append([]mesh.Vec(nil), s.mesh.Pos...), Tri: s.mesh.Tri}
	s.mesh = m
	for range refineRounds {
		before := len(m.Pos)
		s.halve(near)
		if len(m.Pos) == before {
			break
		}
	}
	s.second = len(m.Pos)
}

// halve does so once.
func (s *Surface) halve(near func(mesh.Vec) bool) {
	m := s.mesh
	coloured := make([]bool, len(m.Pos))
	for v, p := range m.Pos {
		coloured[v] = s.ok[v] && near(p)
	}
	halves := map[[2]mesh.VertexID]mesh.VertexID{} // middle of an edge
	middle := func(a, b mesh.VertexID) mesh.VertexID {
		p, q := m.Pos[a], m.Pos[b]
		if !s.ok[a] || !s.ok[b] || p.Sub(q).Norm2() <= refineMM*refineMM {
			return -1
		}
		mid := p.Add(q).Scale(0.5)
		if !coloured[a] && !coloured[b] && !near(mid) {
			return -1
		}
		key := [2]mesh.VertexID{min(a, b), max(a, b)}
		v, ok := halves[key]
		if !ok {
			v = mesh.VertexID(len(m.Pos))
			n, o := s.normal[a], s.normal[b]
			u := mesh.Vec{X: float64(n[0]) + float64(o[0]), Y: float64(n[1]) + float64(o[1]), Z: float64(n[2]) + float64(o[2])}.Unit()
			m.Pos = append(m.Pos, mid)
			s.normal = append(s.normal, [3]float32{float32(u.X), float32(u.Y), float32(u.Z)})
			s.ok, s.main = append(s.ok, true), append(s.main, s.main[a])
			halves[key] = v
		}
		return v
	}
	out := make([][3]mesh.VertexID, 0, len(m.Tri)+len(m.Tri)/4)
	for _, t := range m.Tri {
		a, b, c := t[0], t[1], t[2]
		ab, bc, ca := middle(a, b), middle(b, c), middle(c, a)
		for range 2 { // turned so that ab is halved if any edge is, and ca if two are
			if ab < 0 || ca < 0 && bc >= 0 {
				a, b, c, ab, bc, ca = b, c, a, bc, ca, ab
			}
		}
		switch {
		case ab < 0:
			out = append(out, t)
		case ca < 0:
			out = append(out, [3]mesh.VertexID{a, ab, c}, [3]mesh.VertexID{ab, b, c})
		case bc < 0:
			out = append(out, [3]mesh.VertexID{a, ab, ca}, [3]mesh.VertexID{ab, b, c}, [3]mesh.VertexID{ab, c, ca})
		default:
			out = append(out, [3]mesh.VertexID{a, ab, ca}, [3]mesh.VertexID{ab, b, bc}, [3]mesh.VertexID{ca, bc, c}, [3]mesh.VertexID{ab, bc, ca})
		}
	}
	m.Tri = out
}
