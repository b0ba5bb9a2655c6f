package inspect

import (
	"math"

	"fornix/mesh"
)

// chart lays the arch out along its crest: u is the arc length on a circle of the crest's
// radius about a centre on the midline, going straight back behind it; positive to the
// patient's left. rho is the distance outward from the centre (in front) or the midline (behind).
type chart struct {
	cy     float64 // the centre's posterior coordinate in the frame; it lies on x = 0
	radius float64
}

// at returns u and rho of a point in the frame.
func (c chart) at(q Vec) (u, rho float64) {
	if q.Y <= c.cy {
		return c.radius * math.Atan2(q.X, c.cy-q.Y), math.Hypot(q.X, c.cy-q.Y)
	}
	u = c.radius*math.Pi/2 + q.Y - c.cy
	if q.X < 0 {
		return -u, -q.X
	}
	return u, q.X
}

// cut is the half plane of the chart at u: its edge point, the outward direction in it and the
// direction of growing u.
func (c chart) cut(u float64) (base, out, along Vec) {
	half := c.radius * math.Pi / 2
	if math.Abs(u) <= half {
		s, k := math.Sincos(u / c.radius)
		return Vec{Y: c.cy}, Vec{X: s, Y: -k}, Vec{X: k, Y: s}
	}
	sg := math.Copysign(1, u)
	return Vec{Y: c.cy + math.Abs(u) - half}, Vec{X: sg}, Vec{Y: sg}
}

// contour is one connected piece of a section: points in the frame, the face of each segment,
// and whether it comes back to its start.
type contour struct {
	pts    []Vec
	rho    []float64
	faces  []mesh.FaceID // faces[i] holds the segment from pts[i] to pts[i+1]
	closed bool
}

// section is the surface cut by one half plane.
type section struct {
	u        float64
	out      Vec // along which rho grows
	contours []contour
}

// slicer cuts sections out of one surface. Not safe for concurrent use.
type slicer struct {
	m       *mesh.Mesh
	loc     []Vec
	inPlane []int32 // #F: stamp of the section whose plane the face crosses
	done    []int32 // #F: stamp of the section in which it was walked
	stamp   int32
	height  []float64 // #V: signed distance from the plane, valid for faces in the section

	head, tail chain // of cut
}

// chain is what a walk comes by: a point on leaving each face.
type chain struct {
	pts   []Vec
	faces []mesh.FaceID
}

func newSlicer(m *mesh.Mesh, loc []Vec) *slicer {
	return &slicer{m: m, loc: loc, inPlane: make([]int32, len(m.Tri)), done: make([]int32, len(m.Tri)), height: make([]float64, len(loc))}
}

// cut links the crossings of the faces with the plane through base at right angles to along.
// Faces crossed twice over a non-manifold edge end their contour there. The rho of a point is
// its distance from base along out.
func (s *slicer) cut(faces []mesh.FaceID, base, out, along Vec) []contour {
	s.stamp++
	for _, f := range faces {
		s.inPlane[f] = s.stamp
		for _, v := range s.m.Tri[f] {
			h := s.loc[v].Sub(base).Dot(along)
			if h == 0 {
				h = 1e-12
			}
			s.height[v] = h
		}
	}
	var all []contour
	for _, f := range faces {
		if s.done[f] == s.stamp {
			continue
		}
		var ends [2]mesh.Corner
		n := 0
		for k := range mesh.Corner(3) {
			c := mesh.Corner(f)*3 + k
			if s.crosses(c) && n < 2 {
				ends[n] = c
				n++
			}
		}
		if n < 2 {
			continue
		}
		s.done[f] = s.stamp
		head, tail := &s.head, &s.tail
		head.pts, head.faces = head.pts[:0], head.faces[:0]
		closed := s.walk(ends[1], f, tail)
		if closed { // the walk ends where it began: the last point is the first again
			tail.pts = tail.pts[:len(tail.pts)-1]
		} else {
			s.walk(ends[0], f, head)
		}
		n = len(head.pts) + 2 + len(tail.pts)
		c := contour{make([]Vec, 0, n), make([]float64, n), make([]mesh.FaceID, 0, len(head.faces)+1+len(tail.faces)), closed}
		for i := len(head.pts) - 1; i >= 0; i-- {
			c.pts, c.faces = append(c.pts, head.pts[i]), append(c.faces, head.faces[i])
		}
		c.pts, c.faces = append(c.pts, s.point(ends[0]), s.point(ends[1])), append(c.faces, f)
		c.pts, c.faces = append(c.pts, tail.pts...), append(c.faces, tail.faces...)
		for i, p := range c.pts {
			c.rho[i] = p.Sub(base).Dot(out)
		}
		all = append(all, c)
	}
	return all
}

// walk fills p with the section from corner c of face from, over the faces not yet walked, and reports
// whether it came back to that face.
func (s *slicer) walk(c mesh.Corner, from mesh.FaceID, p *chain) (closed bool) {
	p.pts, p.faces = p.pts[:0], p.faces[:0]
	for {
		a := s.m.Across[c]
		if a < 0 {
			return false
		}
		f := a.Face()
		if s.inPlane[f] != s.stamp {
			return false
		}
		if s.done[f] == s.stamp {
			return f == from && len(p.faces) > 1
		}
		s.done[f] = s.stamp
		next := mesh.Corner(-1)
		for k := range mesh.Corner(3) {
			if e := mesh.Corner(f)*3 + k; e != a && s.crosses(e) {
				next = e
			}
		}
		if next < 0 {
			return false
		}
		p.pts, p.faces = append(p.pts, s.point(next)), append(p.faces, f)
		c = next
	}
}

func (s *slicer) crosses(c mesh.Corner) bool {
	return (s.height[s.m.Vertex(c)] < 0) != (s.height[s.m.Vertex(c.Next())] < 0)
}

// point is where the edge of c meets the plane; the same from both of the edge's faces.
func (s *slicer) point(c mesh.Corner) Vec {
	a, b := s.m.Vertex(c), s.m.Vertex(c.Next())
	if a > b {
		a, b = b, a
	}
	t := s.height[a] / (s.height[a] - s.height[b])
	return s.loc[a].Along(t, s.loc[b].Sub(s.loc[a]))
}

// layout spreads sections over the surface: places by u (which section) and rho (how far out).
type layout interface {
	at(q Vec) (u, rho float64)
	cut(u float64) (base, out, along Vec)
}

// rows are sections at right angles to the patient's left: u is left, rho posterior.
type rows struct{}

func (rows) at(q Vec) (u, rho float64) { return q.X, q.Y }

func (rows) cut(u float64) (base, out, along Vec) { return Vec{X: u}, Vec{Y: 1}, Vec{X: 1} }

// laid is a surface laid out for sections.
type laid struct {
	layout
	m    *mesh.Mesh
	body []mesh.FaceID
	loc  []Vec
	u    []float64 // #V
	far  []bool    // #V: rho is that of the core or more
	span [2]float64
}

// lay finds where the vertices lie in a layout. Faces count that lie with all three where rho >= core.
func lay(c layout, m *mesh.Mesh, body []mesh.FaceID, loc []Vec, core float64) *laid {
	l := &laid{layout: c, m: m, body: body, loc: loc, u: make([]float64, len(loc)), far: make([]bool, len(loc))}
	inBlocks(len(loc), 1<<12, func(int) func(int) {
		return func(i int) {
			u, rho := c.at(loc[i])
			l.u[i], l.far[i] = u, rho >= core
		}
	})
	l.span = [2]float64{math.Inf(1), math.Inf(-1)}
	for i, u := range l.u {
		if l.far[i] {
			l.span[0], l.span[1] = min(l.span[0], u), max(l.span[1], u)
		}
	}
	return l
}

// sections cuts the faces at every multiple of step of the layout's u from first to last.
func (l *laid) sections(step, first, last float64) []section {
	if !(l.span[0] < l.span[1]) {
		return nil
	}
	from, to := int32(math.Ceil(max(l.span[0], first)/step)), int32(math.Floor(min(l.span[1], last)/step))
	n := int(to-from) + 1
	if n <= 0 {
		return nil
	}
	// Faces by section: count, offsets, fill.
	type crossed struct {
		f      mesh.FaceID
		lo, hi int32 // first and last section
	}
	var faces []crossed
	start := make([]int32, n+1)
	for _, f := range l.body {
		t := l.m.Tri[f]
		if !l.far[t[0]] || !l.far[t[1]] || !l.far[t[2]] {
			continue
		}
		a, b, d := l.u[t[0]], l.u[t[1]], l.u[t[2]]
		c := crossed{f, max(from, int32(math.Ceil(min(a, b, d)/step))), min(to, int32(math.Floor(max(a, b, d)/step)))}
		if c.lo > c.hi {
			continue
		}
		faces = append(faces, c)
		for i := c.lo; i <= c.hi; i++ {
			start[i-from+1]++
		}
	}
	for i := range n {
		start[i+1] += start[i]
	}
	list := make([]mesh.FaceID, start[n])
	fill := append([]int32(nil), start[:n]...)
	for _, c := range faces {
		for i := c.lo; i <= c.hi; i++ {
			list[fill[i-from]] = c.f
			fill[i-from]++
		}
	}
	out := make([]section, n)
	inBlocks(n, 8, func(int) func(int) {
		sl := newSlicer(l.m, l.loc)
		return func(i int) {
			u := float64(int(from)+i) * step
			base, o, along := l.cut(u)
			out[i] = section{u: u, out: o, contours: sl.cut(list[start[i]:start[i+1]], base, o, along)}
		}
	})
	return out
}
