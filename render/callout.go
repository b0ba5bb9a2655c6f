package render

import (
	"image"
	"math"
	"slices"
	"strconv"

	"fornix/inspect"
)

// callouts sets the labels of the marks beside the picture and returns for how many there was
// no room.
func (p *page) callouts(marks []seenMark, l layout) (lost int) {
	u := p.u
	type block struct {
		mark     seenMark
		lines    []string
		strong   int // how many of the lines are bold
		badge, w float64
	}
	var blocks []block
	var cs []Callout
	for _, m := range marks {
		if m.Label == "" || p.close(m, l) {
			continue
		}
		b := block{mark: m}
		limit := l.left.W - 8*u
		if m.Number > 0 {
			b.badge = 44 * u
			limit -= b.badge
		}
		h := 0.0
		s := plainText
		if m.Kind != MarkLandmark {
			s = strongText
		}
		b.lines = p.wrap(m.Label, limit, 2, s)
		if s.bold {
			b.strong = len(b.lines)
		}
		b.lines = append(b.lines, p.wrap(m.Detail, limit, 2, plainText)...)
		for i, t := range b.lines {
			s := plainText
			if i < b.strong {
				s = strongText
			}
			b.w = max(b.w, p.width(t, s))
			h += p.line(s)
		}
		blocks = append(blocks, b)
		c := Callout{At: Point{m.x + l.picture.X, m.y + l.picture.Y}, W: b.w + b.badge + 8*u, H: max(h, b.badge*0.9), Rank: m.Rank}
		if m.Kind == MarkLandmark {
			// Level leaders would run along the posterior border and hide it.
			c.Lean = 0.12 * (m.y - l.picture.H/2)
		}
		cs = append(cs, c)
	}
	placed := Place(cs, l.left, l.right, 10*u)
	for i, q := range placed { // leaders first, so that none crosses a label
		if q.OK {
			p.leader(q.From, blocks[i].mark, l)
		}
	}
	for i, q := range placed {
		b := blocks[i]
		if !q.OK {
			lost++
			continue
		}
		x, y := q.Box.X+4*u, q.Box.Y
		if b.badge > 0 {
			p.badge(b.mark, dot{x + 18*u, y + q.Box.H/2, always})
			x += b.badge
		}
		for k, t := range b.lines {
			s, c := plainText, softInk
			if k < b.strong {
				s, c = strongText, ink
			}
			p.write(t, x, y, s, c)
			y += p.line(s)
		}
	}
	return lost
}

// close sets the name of a landmark beside it, where its leader would otherwise run across half
// the picture, and reports whether there was a quiet place for it.
func (p *page) close(m seenMark, l layout) bool {
	u := p.u
	if m.Kind != MarkLandmark || m.Detail != "" || math.Abs(m.x-l.picture.W/2) > 0.2*l.picture.W {
		return false
	}
	w, h := p.width(m.Label, plainText)+8*u, p.line(plainText)
	for gap := m.r + 4*u; gap < m.r+64*u; gap += 6 * u {
		for _, b := range [4]Box{
			{m.x - w/2, m.y + gap, w, h}, {m.x - w/2, m.y - gap - h, w, h}, {m.x + gap, m.y - h/2, w, h}, {m.x - gap - w, m.y - h/2, w, h},
		} {
			if !p.quiet(b) {
				continue
			}
			on := Box{b.X + l.picture.X, b.Y + l.picture.Y, w, h}
			if slices.ContainsFunc(p.set, on.Overlaps) {
				continue
			}
			if gap > m.r+16*u {
				p.leader(Point{max(on.X, min(on.X+w, m.x+l.picture.X)), max(on.Y, min(on.Y+h, m.y+l.picture.Y))}, m, l)
			}
			p.pen.box(on)
			p.pen.flush(paper, 0.7)
			p.write(m.Label, on.X+4*u, on.Y, plainText, softInk)
			return true
		}
	}
	return false
}

// quiet reports whether a box of the picture holds no lines, marks or colours of the border.
func (p *page) quiet(b Box) bool {
	r := image.Rect(int(b.X), int(b.Y), int(b.X+b.W)+1, int(b.Y+b.H)+1)
	img := p.raster.Image
	if !r.In(img.Bounds()) {
		return false
	}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		row := img.Pix[y*img.Stride+4*r.Min.X : y*img.Stride+4*r.Max.X]
		for i := 0; i < len(row); i += 4 {
			high, low := max(row[i], row[i+1], row[i+2]), min(row[i], row[i+1], row[i+2])
			if high-low > 34 || high < 70 { // coloured, or dark as ink
				return false
			}
		}
	}
	return true
}

// leader draws the line from a label to its mark.
func (p *page) leader(from Point, m seenMark, l layout) {
	u := p.u
	a, b := dot{from.X, from.Y, always}, dot{m.x + l.picture.X, m.y + l.picture.Y, always}
	d := math.Hypot(b.x-a.x, b.y-a.y)
	if t := 1 - m.clear/max(d, 1); t > 0 {
		b = dot{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y), always}
	}
	width, c := 2.2*u, ink
	if m.Kind == MarkLandmark {
		width, c = 1.4*u, softInk
	}
	p.pen.line(a, b, width+3*u)
	p.pen.flush(paper, 0.65)
	p.pen.line(a, b, width)
	p.pen.flush(c, 1)
}

// badge draws the number of a finding: white on dark for a failure, dark on white otherwise.
func (p *page) badge(m seenMark, at dot) {
	u := p.u
	c := ink
	p.pen.disc(at, 18*u)
	p.pen.flush(ink, 1)
	if m.Severity == inspect.Fail {
		c = paper
	} else {
		p.pen.disc(at, 15*u)
		p.pen.flush(paper, 1)
	}
	n := strconv.Itoa(m.Number)
	w := p.width(n, strongText)
	p.write(n, at.x-w/2, at.y-14.5*u, strongText, c)
}
