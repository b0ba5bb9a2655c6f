package render

import (
	"image/color"
	"math"

	"fornix/mesh"
)

// seenMark is a mark that shows in a view, with its place in the picture and its radius there.
type seenMark struct {
	Mark
	x, y, r float64
	clear   float64 // how near a leader may come
	outline stroke  // the hole's rim or the fold's line
}

// visible returns the marks that lie in the picture with no surface in front of them. A mark
// may lie 1.5 mm behind the surface: a bleb's centre lies on the sound surface under it.
func (p *page) visible(marks []Mark, cam Camera) []seenMark {
	const behind = 1.5
	var out []seenMark
	r := &p.raster
	for _, m := range marks {
		if !m.At.Finite() {
			continue
		}
		x, y, z := cam.Project(m.At)
		px, py := int(math.Floor(x)), int(math.Floor(y))
		if px < 4 || py < 4 || px >= r.W-4 || py >= r.H-4 {
			continue
		}
		if float64(r.Depth[py*r.W+px]) > z+behind && m.Kind != LineHeight {
			continue
		}
		if m.Kind == MarkLandmark && !r.near(px, py, z, 2) {
			continue // seen through a gap, before what lies behind: its cross would mislead
		}
		s := seenMark{Mark: m, x: x, y: y, r: max(m.RadiusMM*cam.Scale+6*p.u, 14*p.u)}
		switch m.Kind {
		case MarkLandmark, MarkSpot:
			s.r = 8 * p.u
		case LineThin, LineThick, LinePlace:
			s.r = 12 * p.u
		case LinePlane:
			s.r = 4 * p.u
		case LineHeight:
			s.r, s.outline = 4*p.u, cam.through(m.Path, 0)
		case MarkHole, MarkFold:
			s.outline = cam.through(m.Path, 0)
		}
		s.clear = s.r + 5*p.u
		switch m.Kind {
		case MarkHole:
			s.clear = s.r + 13*p.u
		case MarkBleb:
			s.clear = 1.4*s.r + 5*p.u
		case MarkPlace:
			s.clear = 1.2*s.r + 4*p.u
		case MarkFold:
			if len(s.outline) > 1 {
				s.clear = 17 * p.u
			}
		}
		out = append(out, s)
		if m.Kind != MarkLandmark {
			p.addKey(m.Kind)
		}
	}
	return out
}

// near reports whether any pixel round x, y shows surface within mm of height z.
func (r *Raster) near(x, y int, z, mm float64) bool {
	for j := y - 3; j <= y+3; j++ {
		for i := x - 3; i <= x+3; i++ {
			if math.Abs(float64(r.Depth[j*r.W+i])-z) <= mm {
				return true
			}
		}
	}
	return false
}

// twice draws a shape with a white halo and then in ink, so that it reads on light and dark.
func (p *page) twice(q *pen, width float64, c color.RGBA, shape func(width float64)) {
	shape(width + 4.5*p.u)
	q.flush(paper, 0.9)
	shape(width)
	q.flush(c, 1)
}

// mark draws one mark into the picture.
func (p *page) mark(m seenMark) {
	p.symbol(&p.inside, m.Kind, dot{m.x, m.y, always}, m.r, m.outline, m.Number == 0 && m.Kind != MarkLandmark)
}

// symbol draws the shape of a kind, faintly for what is within the limits and so no finding.
func (p *page) symbol(q *pen, k Kind, at dot, r float64, outline stroke, faint bool) {
	u, thick, ink := p.u, 3.4*p.u, ink
	if faint {
		thick, ink = 1.6*u, softInk
	}
	switch k {
	case MarkHole:
		p.twice(q, thick, ink, func(w float64) {
			q.ring(at, r+3*u, w)
			q.ring(at, r+11*u, w)
		})
		if len(outline) > 2 {
			q.path(append(outline, outline[0]), 2*u)
			q.flush(ink, 1)
		}
	case MarkVoid:
		p.twice(q, thick, ink, func(w float64) { q.ring(at, r+2*u, w) })
	case MarkBleb:
		s := 1.9*r + 3*u // round a circle it would be 2 r
		p.twice(q, thick, ink, func(w float64) { q.path(polygon(at, s, 3, -math.Pi/2), w) })
	case MarkFold:
		if len(outline) < 2 {
			p.twice(q, thick, ink, func(w float64) { q.path(polygon(at, r+4*u, 4, 0), w) })
			return
		}
		a, b := outline.beside(11*u), outline.beside(-11*u)
		p.twice(q, thick, ink, func(w float64) {
			q.path(a, w)
			q.path(b, w)
		})
	case LineHeight:
		p.dimension(q, outline)
	case MarkSpot:
		q.disc(at, 8*u)
		q.flush(paper, 0.9)
		q.disc(at, 5*u)
		q.flush(ink, 1)
	case MarkPlace:
		p.twice(q, thick, ink, func(w float64) { q.path(polygon(at, 1.3*r, 4, math.Pi/4), w) })
	case MarkLandmark:
		d := r * 0.8
		p.twice(q, 2.6*u, ink, func(w float64) {
			q.line(dot{at.x - d, at.y - d, at.z}, dot{at.x + d, at.y + d, at.z}, w)
			q.line(dot{at.x - d, at.y + d, at.z}, dot{at.x + d, at.y - d, at.z}, w)
		})
	}
}

// dimension draws a line between two points with a stroke across each end, over whatever is in
// front of it.
func (p *page) dimension(q *pen, s stroke) {
	if len(s) < 2 {
		return
	}
	a, b := s[0], s[len(s)-1]
	a.z, b.z = always, always
	l := math.Hypot(b.x-a.x, b.y-a.y)
	if l == 0 {
		return
	}
	dx, dy := 10*p.u*(b.y-a.y)/l, -10*p.u*(b.x-a.x)/l
	p.twice(q, 2.4*p.u, crestInk, func(w float64) {
		q.line(a, b, w)
		for _, e := range [2]dot{a, b} {
			q.line(dot{e.x - dx, e.y - dy, always}, dot{e.x + dx, e.y + dy, always}, w)
		}
	})
}

// polygon returns a closed regular polygon with the given radius to its corners.
func polygon(c dot, r float64, n int, turn float64) stroke {
	s := make(stroke, n+1)
	for i := range s {
		a := turn + 2*math.Pi*float64(i%n)/float64(n)
		s[i] = dot{c.x + r*math.Cos(a), c.y + r*math.Sin(a), c.z}
	}
	return s
}

// beside returns the path moved d pixels to its side.
func (s stroke) beside(d float64) stroke {
	out := make(stroke, len(s))
	for i, q := range s {
		a, b := s[max(0, i-1)], s[min(len(s)-1, i+1)]
		l := math.Hypot(b.x-a.x, b.y-a.y)
		out[i] = q
		if l > 0 {
			out[i].x -= d * (b.y - a.y) / l
			out[i].y += d * (b.x - a.x) / l
		}
	}
	return out
}

// overlay draws a line of the scene where the surface does not hide it, and reports whether
// any of it lies in the picture.
func (p *page) overlay(l Line, cam Camera) bool {
	path := l.Path
	if l.Closed && len(path) > 0 {
		path = append(append([]mesh.Vec{}, path...), path[0])
	}
	s := cam.through(path, l.LiftMM)
	if len(s) < 2 || l.Kind == LinePlane && s.extent() < slit*p.u {
		return false
	}
	// The lines follow faces; 2 mm of them to both sides take the steps out.
	s = s.smooth(4*p.u, max(2, int(2*cam.Scale/(4*p.u))), l.Closed)
	p.inked(&p.inside, l.Kind, s)
	for _, d := range s {
		x, y := int(d.x), int(d.y)
		if x >= 0 && y >= 0 && x < p.raster.W && y < p.raster.H && float64(p.raster.Depth[y*p.raster.W+x]) <= d.z {
			return true
		}
	}
	return false
}

// inked draws a path in the manner of its kind.
func (p *page) inked(q *pen, k Kind, s stroke) {
	u := p.u
	all := func(parts []stroke) func(float64) {
		return func(w float64) {
			for _, d := range parts {
				q.path(d, w)
			}
		}
	}
	switch k {
	case LineCrest:
		p.twice(q, 3*u, crestInk, all(s.dashes(14*u, 11*u)))
	case LineRear:
		p.twice(q, 3.6*u, rearInk, all(append(s.dashes(26*u, 18*u), shifted(s, 35*u).dashes(0.5*u, 43.5*u)...)))
	case LinePlane:
		p.twice(q, 2.4*u, planeInk, all([]stroke{s}))
	case LinePlace:
		p.twice(q, 3*u, ink, all([]stroke{s.beside(10 * u), s.beside(-10 * u)}))
	case LineThin:
		even := s.even(13 * u)
		a, b := even.beside(13*u), even.beside(-13*u)
		var ticks []stroke
		for i := range even {
			if q.sees(even[i]) {
				ticks = append(ticks, stroke{a[i], b[i]})
			}
		}
		p.twice(q, 2.6*u, ink, all(ticks))
	case LineThick:
		p.twice(q, 3*u, ink, func(w float64) {
			for _, d := range s.even(26 * u) {
				if q.sees(d) {
					q.ring(d, 8*u, w)
				}
			}
		})
	}
}

// shifted returns the path without its first d pixels.
func shifted(s stroke, d float64) stroke {
	for i := 1; i < len(s); i++ {
		l := math.Hypot(s[i].x-s[i-1].x, s[i].y-s[i-1].y)
		if d < l {
			t := d / l
			m := dot{s[i-1].x + t*(s[i].x-s[i-1].x), s[i-1].y + t*(s[i].y-s[i-1].y), s[i-1].z + t*(s[i].z-s[i-1].z)}
			return append(stroke{m}, s[i:]...)
		}
		d -= l
	}
	return nil
}

// extent returns the diagonal of the box round the path.
func (s stroke) extent() float64 {
	lo, hi := s[0], s[0]
	for _, d := range s {
		lo = dot{min(lo.x, d.x), min(lo.y, d.y), 0}
		hi = dot{max(hi.x, d.x), max(hi.y, d.y), 0}
	}
	return math.Hypot(hi.x-lo.x, hi.y-lo.y)
}

// smooth returns the path as points d pixels apart, each the mean of itself and up to wide on
// both sides, so that a line that follows the edges of faces does not jitter. The ends of an
// open path stay where they are.
func (s stroke) smooth(d float64, wide int, closed bool) stroke {
	even := append(s.even(d), s[len(s)-1])
	n := len(even)
	out := make(stroke, n)
	for i := range even {
		k := min(wide, (n-2)/4)
		if !closed {
			k = min(k, i, n-1-i)
		}
		for j := i - k; j <= i+k; j++ {
			at := j
			if closed {
				at = (j + 4*(n-1)) % (n - 1) // the last point is the first again
			}
			e := even[at]
			out[i].x, out[i].y, out[i].z = out[i].x+e.x, out[i].y+e.y, out[i].z+e.z
		}
		w := 1 / float64(2*k+1)
		out[i] = dot{w * out[i].x, w * out[i].y, w * out[i].z}
	}
	return out
}

// even returns points d pixels apart along the path, from its first to near its last.
func (s stroke) even(d float64) stroke {
	out := stroke{s[0]}
	left := d
	for i := 1; i < len(s); i++ {
		a, b := s[i-1], s[i]
		l := math.Hypot(b.x-a.x, b.y-a.y)
		at := 0.0
		for ; l-at >= left; left = d {
			at += left
			t := at / l
			out = append(out, dot{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y), a.z + t*(b.z-a.z)})
		}
		left -= l - at
	}
	return out
}

// slit is the size, in units, of openings in the rim's flat that are not drawn: they would
// only clutter it, and what matters among them is a finding of its own.
const slit = 60.0

// flatOn reports whether the plane faces the viewer, so that its rectangle would only veil the
// whole picture.
func (s *Sheet) flatOn(c Camera) bool { return math.Abs(s.Normal.Dot(c.Toward)) > 0.9 }

// plane draws the occlusal plane: a tint over the rim's flat, a weaker one over the rectangle
// round it where the surface does not hide it, and the rectangle's edge, which is all that
// shows when the plane is seen from the side.
func (p *page) plane(s *Sheet, cam Camera) {
	n := mesh.Vec{X: s.Normal.Dot(cam.Right), Y: s.Normal.Dot(cam.Up), Z: s.Normal.Dot(cam.Toward)}
	px, py, pz := cam.Project(s.Point)
	q := &p.inside
	flatOn := s.flatOn(cam)
	if math.Abs(n.Z) > 0.01 {
		height := func(x, y float64) float64 {
			return pz + 0.15 - (n.X*(x-px)-n.Y*(y-py))/(n.Z*cam.Scale)
		}
		if !flatOn {
			q.area([]stroke{cam.through(s.Edge, 0)}, height)
			q.flush(planeFill, 0.22)
		}
		var flats []stroke
		for _, f := range s.Flat {
			if t := cam.through(f, 0); len(t) > 2 && t.extent() >= slit*p.u {
				flats = append(flats, t)
			}
		}
		lifted := func(x, y float64) float64 { return height(x, y) + 1 }
		q.area(flats, lifted)
		q.flush(planeFill, 0.40)
	}
	if len(s.Edge) > 0 && !flatOn {
		e := append(append([]mesh.Vec{}, s.Edge...), s.Edge[0])
		p.inked(q, LinePlane, cam.through(e, 0.5))
		p.addKey(LinePlane)
	}
}
