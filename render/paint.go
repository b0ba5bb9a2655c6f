package render

import (
	"image"
	"image/color"
	"math"
	"slices"

	"fornix/mesh"
)

// pen draws anti-aliased shapes over a picture. Shapes gather as coverage in a mask, where
// they do not add up, and are coloured together by flush; so a line of many pieces has no
// darker joints.
type pen struct {
	img   *image.RGBA
	mask  []uint8
	dirty image.Rectangle
	clip  image.Rectangle
	depth []float32 // if not nil, of each pixel: shapes with a height behind it are not drawn
}

func (p *pen) reset(img *image.RGBA) {
	p.img, p.clip = img, img.Bounds()
	if n := img.Bounds().Dx() * img.Bounds().Dy(); len(p.mask) != n {
		p.mask = make([]uint8, n)
	}
}

// dot is a place in the picture with its height toward the viewer in mm.
type dot struct{ x, y, z float64 }

// stroke is a path in the picture.
type stroke []dot

// always is a height that nothing hides.
var always = math.Inf(1)

// cover raises the coverage of every pixel of a box by f, which tells the coverage 0 … 1 and
// the height of the shape at a pixel's middle.
func (p *pen) cover(x0, y0, x1, y1 float64, f func(x, y float64) (cov, z float64)) {
	if !(x0 < 1e6 && x1 > -1e6 && y0 < 1e6 && y1 > -1e6) {
		return
	}
	r := image.Rect(int(math.Floor(max(x0, -1e6))), int(math.Floor(max(y0, -1e6))), int(math.Ceil(min(x1, 1e6)))+1, int(math.Ceil(min(y1, 1e6)))+1).Intersect(p.clip)
	if r.Empty() {
		return
	}
	w := p.img.Bounds().Dx()
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			c, z := f(float64(x)+0.5, float64(y)+0.5)
			if c <= 0 {
				continue
			}
			i := y*w + x
			if p.depth != nil && float64(p.depth[i]) > z {
				continue
			}
			p.mask[i] = max(p.mask[i], uint8(255*min(1, c)+0.5))
		}
	}
	p.dirty = p.dirty.Union(r)
}

// sees reports whether nothing hides the middle of a shape.
func (p *pen) sees(d dot) bool {
	at := image.Pt(int(math.Floor(d.x)), int(math.Floor(d.y)))
	return p.depth == nil || at.In(p.clip) && float64(p.depth[at.Y*p.img.Bounds().Dx()+at.X]) <= d.z
}

// flush blends c over the picture where the mask is covered, and empties the mask.
func (p *pen) flush(c color.RGBA, alpha float64) {
	w := p.img.Bounds().Dx()
	for y := p.dirty.Min.Y; y < p.dirty.Max.Y; y++ {
		for x := p.dirty.Min.X; x < p.dirty.Max.X; x++ {
			m := p.mask[y*w+x]
			if m == 0 {
				continue
			}
			p.mask[y*w+x] = 0
			t := float32(float64(m) / 255 * alpha)
			q := p.img.Pix[y*p.img.Stride+4*x:][:4]
			o := mix(color.RGBA{q[0], q[1], q[2], 255}, c, t)
			q[0], q[1], q[2], q[3] = o.R, o.G, o.B, 255
		}
	}
	p.dirty = image.Rectangle{}
}

// line covers a segment of the given width with round ends.
func (p *pen) line(a, b dot, width float64) {
	dx, dy := b.x-a.x, b.y-a.y
	l2, r := dx*dx+dy*dy, width/2
	p.cover(min(a.x, b.x)-r-1, min(a.y, b.y)-r-1, max(a.x, b.x)+r+1, max(a.y, b.y)+r+1, func(x, y float64) (float64, float64) {
		t := 0.0
		if l2 > 0 {
			t = max(0, min(1, ((x-a.x)*dx+(y-a.y)*dy)/l2))
		}
		z := a.z
		if a.z != b.z {
			z += t * (b.z - a.z)
		}
		return r + 0.5 - math.Hypot(x-a.x-t*dx, y-a.y-t*dy), z
	})
}

// path covers a polyline.
func (p *pen) path(s stroke, width float64) {
	for i := 1; i < len(s); i++ {
		p.line(s[i-1], s[i], width)
	}
}

// ring covers a circle's line.
func (p *pen) ring(c dot, radius, width float64) {
	o := radius + width/2 + 1
	p.cover(c.x-o, c.y-o, c.x+o, c.y+o, func(x, y float64) (float64, float64) {
		return width/2 + 0.5 - math.Abs(math.Hypot(x-c.x, y-c.y)-radius), c.z
	})
}

// disc covers a circle's area.
func (p *pen) disc(c dot, radius float64) {
	o := radius + 1
	p.cover(c.x-o, c.y-o, c.x+o, c.y+o, func(x, y float64) (float64, float64) {
		return radius + 0.5 - math.Hypot(x-c.x, y-c.y), c.z
	})
}

// box covers a rectangle.
func (p *pen) box(b Box) {
	p.cover(b.X, b.Y, b.X+b.W, b.Y+b.H, func(x, y float64) (float64, float64) {
		return min(x-b.X, b.X+b.W-x, y-b.Y, b.Y+b.H-y) + 0.5, always
	})
}

// area covers the inside of closed paths by the even-odd rule, with four lines of samples per
// pixel row. height gives the height of the area at a pixel.
func (p *pen) area(paths []stroke, height func(x, y float64) float64) {
	lo, hi := dot{math.Inf(1), math.Inf(1), 0}, dot{math.Inf(-1), math.Inf(-1), 0}
	for _, s := range paths {
		for _, d := range s {
			lo.x, lo.y = min(lo.x, d.x), min(lo.y, d.y)
			hi.x, hi.y = max(hi.x, d.x), max(hi.y, d.y)
		}
	}
	if !(lo.x < hi.x) {
		return
	}
	const lines = 4
	var at [lines][]float64
	row := math.Inf(-1)
	p.cover(lo.x, lo.y, hi.x, hi.y, func(x, y float64) (float64, float64) {
		if y != row {
			row = y
			for k := range at {
				at[k] = crossings(at[k][:0], paths, y-0.5+(float64(k)+0.5)/lines)
			}
		}
		c := 0.0
		for _, xs := range at {
			for j := 0; j+1 < len(xs); j += 2 {
				c += max(0, min(x+0.5, xs[j+1])-max(x-0.5, xs[j])) / lines
			}
		}
		return c, height(x, y)
	})
}

// dashes cuts a path into pieces of on pixels with gaps of off pixels.
func (s stroke) dashes(on, off float64) []stroke {
	var out []stroke
	var now stroke
	left, drawing := on, true
	for i := 1; i < len(s); i++ {
		a, b := s[i-1], s[i]
		l := math.Hypot(b.x-a.x, b.y-a.y)
		if drawing && len(now) == 0 {
			now = append(now, a)
		}
		at := 0.0
		for l-at > left {
			at += left
			t := at / l
			m := dot{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y), a.z + t*(b.z-a.z)}
			if drawing {
				out, now = append(out, append(now, m)), nil
				left = off
			} else {
				now = stroke{m}
				left = on
			}
			drawing = !drawing
		}
		left -= l - at
		if drawing {
			now = append(now, b)
		}
	}
	if len(now) > 1 {
		out = append(out, now)
	}
	return out
}

// through projects points of the scan, each lift mm nearer to the viewer than it is.
func (c Camera) through(ps []mesh.Vec, lift float64) stroke {
	s := make(stroke, 0, len(ps))
	for _, q := range ps {
		if q.Finite() {
			x, y, z := c.Project(q)
			s = append(s, dot{x, y, z + lift})
		}
	}
	return s
}

// crossings appends the sorted places where the closed paths cross the height y.
func crossings(xs []float64, paths []stroke, y float64) []float64 {
	for _, s := range paths {
		for i, b := range s {
			a := s[(i+len(s)-1)%len(s)]
			if (a.y <= y) != (b.y <= y) {
				xs = append(xs, a.x+(y-a.y)/(b.y-a.y)*(b.x-a.x))
			}
		}
	}
	slices.Sort(xs)
	return xs
}
