package render

import (
	"math"
	"slices"

	"fornix/mesh"
)

// drawBand draws the faces of band b into w and resolves its samples into pixels.
func (r *Raster) drawBand(s *Surface, b int, w *bandBuffer) {
	minusInf := float32(math.Inf(-1))
	blank := uint32(paper.R)<<16 | uint32(paper.G)<<8 | uint32(paper.B)
	for i := range w.depth {
		w.depth[i], w.rgb[i] = minusInf, blank
	}
	row0 := b * bandRows * over
	rows := min(bandRows*over, r.H*over-row0)
	front, back := r.order[r.start[2*b]:r.start[2*b+1]], r.order[r.start[2*b+1]:r.start[2*b+2]]
	for _, f := range front {
		r.drawFace(s, f, row0, rows, w, false)
	}
	if len(back) > 0 {
		r.findFar(rows, w)
	}
	for _, f := range back {
		r.drawFace(s, f, row0, rows, w, true)
	}
	r.resolve(b, w)
}

// tile is how many samples, across and down, share the depth of the farthest of them.
const tile = 1 << tileBits

const tileBits = 3

// findFar finds the depth of the farthest sample of every tile of a band.
func (r *Raster) findFar(rows int, w *bandBuffer) {
	stride := r.W * over
	across := (stride + tile - 1) / tile
	w.far = slices.Grow(w.far[:0], across*(rows+tile-1)/tile)
	for top := 0; top < rows; top += tile {
		for left := 0; left < stride; left += tile {
			far := float32(math.Inf(1))
			for y := top; y < min(top+tile, rows); y++ {
				for _, z := range w.depth[y*stride+left : y*stride+min(left+tile, stride)] {
					if z < far {
						far = z
					}
				}
			}
			w.far = append(w.far, far)
		}
	}
}

// hides reports whether all tiles that hold samples x0 … x1 of rows y0 … y1 of the band are nearer than z everywhere.
func (w *bandBuffer) hides(z float32, x0, y0, x1, y1, stride int) bool {
	across := (stride + tile - 1) / tile
	for y := y0 >> tileBits; y <= y1>>tileBits; y++ {
		for x := x0 >> tileBits; x <= x1>>tileBits; x++ {
			if w.far[y*across+x] < z {
				return false
			}
		}
	}
	return true
}

// edge is the signed area function of one side of a face, over sample positions.
type edge struct{ dx, dy, at int64 }

// newEdge returns the function that is positive on the inner side of a → b, at the middle of
// sample x, y. A sample on the side itself belongs to the face for which the side is a top or
// left one, so that faces that share it draw every sample once.
func newEdge(a, b *spot, x, y int) edge {
	dx, dy := int64(b.x-a.x), int64(b.y-a.y)
	px, py := int64(x*sub+sub/2)-int64(a.x), int64(y*sub+sub/2)-int64(a.y)
	e := edge{-dy * sub, dx * sub, dx*py - dy*px}
	if !(dy < 0 || (dy == 0 && dx > 0)) {
		e.at--
	}
	return e
}

// narrow is how many samples of a row are tried one after the other rather than divided for.
const narrow = 6

// never is more samples than a row has.
const never = 1 << 30

// outside is how many samples of the row come before the first on the inner side; never where none is there.
func (e edge) outside() int {
	switch {
	case e.at >= 0:
		return 0
	case e.dx <= 0:
		return never
	}
	return int(min(never, (e.dx-1-e.at)/e.dx))
}

// edgeOfBand is the value of the tint's field from which on the surface is coloured.
const edgeOfBand = 128

// drawFace draws the samples of a face that nothing hides. perhaps tells that it may be hidden as a whole.
func (r *Raster) drawFace(s *Surface, f int32, row0, rows int, w *bandBuffer, perhaps bool) {
	t := s.mesh.Tri[f]
	a, b, c := &r.spot[t[0]], &r.spot[t[1]], &r.spot[t[2]]
	// The samples whose middles lie in the face's box. Many a small face has none.
	x0, x1 := max(0, firstFrom(min(a.x, b.x, c.x))), min(r.W*over-1, lastUpTo(max(a.x, b.x, c.x)))
	y0, y1 := max(row0, firstFrom(min(a.y, b.y, c.y))), min(row0+rows-1, lastUpTo(max(a.y, b.y, c.y)))
	if x0 > x1 || y0 > y1 {
		return
	}
	area := doubleArea(a, b, c)
	if area == 0 || perhaps && w.hides(max(a.z, b.z, c.z), x0, y0-row0, x1, y1-row0, r.W*over) {
		return
	}
	facing := (area < 0) != s.insideOut
	if area < 0 {
		b, c, area = c, b, -area
		t[1], t[2] = t[2], t[1]
	}
	ea, eb, ec := newEdge(b, c, x0, y0), newEdge(c, a, x0, y0), newEdge(a, b, x0, y0)
	inv := 1 / float32(area)
	zb, zc := b.z-a.z, c.z-a.z
	var look look
	seen := false
	for y := y0; y <= y1; y++ {
		wa, wb, wc := ea.at, eb.at, ec.at
		x := x0
		if x1-x0 > narrow {
			skip := max(ea.outside(), eb.outside(), ec.outside())
			x += skip
			wa, wb, wc = wa+int64(skip)*ea.dx, wb+int64(skip)*eb.dx, wc+int64(skip)*ec.dx
		}
		for x <= x1 && wa|wb|wc < 0 {
			x, wa, wb, wc = x+1, wa+ea.dx, wb+eb.dx, wc+ec.dx
		}
		base, wide := (y-row0)*r.W*over, x1+1
		depth, face, rgb := w.depth[base:][:wide], w.face[base:][:wide], w.rgb[base:][:wide]
		now := look.shade.sample(x, y)
		for ; x < len(depth) && wa|wb|wc >= 0; x++ {
			lb, lc := float32(wb)*inv, float32(wc)*inv
			z := a.z + float32(lb*zb) + float32(lc*zc)
			if z > depth[x] {
				if !seen {
					seen, look = true, r.look(t, facing, eb, ec, inv, x0, y, row0, rows)
					now = look.shade.sample(x, y)
				}
				depth[x], face[x] = z, f
				if look.stepped {
					rgb[x] = inRGB(now)
				} else {
					rgb[x] = look.mixed(lb, lc)
				}
			}
			wa, wb, wc, now = wa+ea.dx, wb+eb.dx, wc+ec.dx, now+look.shade.dx
		}
		ea.at, eb.at, ec.at = ea.at+ea.dy, eb.at+eb.dy, ec.at+ec.dy
	}
}

// firstFrom and lastUpTo are the first sample whose middle is no less than a position, and the last whose
// is no more.
func firstFrom(at int32) int { return (int(at) + sub/2 - 1) >> subBits }
func lastUpTo(at int32) int  { return (int(at) - sub/2) >> subBits }

// look is how a face is coloured. It is made when the first sample of the face is seen: many are hidden.
type look struct {
	a, b, c    *light
	ca, cb, cc *[3]float32
	banded     bool // the edge of the tint's band cuts through it
	stepped    bool // its colours are those of shade; else they are mixed for every sample
	shade      shade
}

// look of the face of three vertices, clockwise as they are seen, whose edges are given at sample x, y.
func (r *Raster) look(t [3]mesh.VertexID, facing bool, eb, ec edge, inv float32, x, y, row0, rows int) look {
	a, b, c := &r.light[t[0]], &r.light[t[1]], &r.light[t[2]]
	l := look{a: a, b: b, c: c, ca: &a.front, cb: &b.front, cc: &c.front}
	l.banded = facing && max(a.band, b.band, c.band) >= edgeOfBand
	switch {
	case !facing:
		l.ca, l.cb, l.cc = &a.back, &b.back, &c.back
	case l.banded && min(a.band, b.band, c.band) >= edgeOfBand:
		l.ca, l.cb, l.cc, l.banded = &a.tinted, &b.tinted, &c.tinted, false
	}
	// The shade goes over a box with a sample more to each side.
	p, q, o := &r.spot[t[0]], &r.spot[t[1]], &r.spot[t[2]]
	left, top := max(0, int(min(p.x, q.x, o.x)-sub/2)/sub), max(row0, int(min(p.y, q.y, o.y)-sub/2)/sub)
	wide := min(r.W*over-1, int(max(p.x, q.x, o.x)-sub/2)/sub+1) - left
	high := min(row0+rows-1, int(max(p.y, q.y, o.y)-sub/2)/sub+1) - top
	if l.stepped = wide <= stepsAcross && !l.banded; l.stepped {
		eb.at -= int64(x-left)*eb.dx + int64(y-top)*eb.dy
		ec.at -= int64(x-left)*ec.dx + int64(y-top)*ec.dy
		l.shade = newShade(l.ca, l.cb, l.cc, eb, ec, inv, wide, high)
		l.shade.at -= int64(left)*l.shade.dx + int64(top)*l.shade.dy
	}
	return l
}

// mixed is the colour of a sample by the shares of the second and the third vertex.
func (l *look) mixed(lb, lc float32) uint32 {
	ca, cb, cc := l.ca, l.cb, l.cc
	la := 1 - lb - lc
	if l.banded && float32(la*l.a.band)+float32(lb*l.b.band)+float32(lc*l.c.band) >= edgeOfBand {
		ca, cb, cc = &l.a.tinted, &l.b.tinted, &l.c.tinted
	}
	return level(la, lb, lc, ca[0], cb[0], cc[0])<<16 |
		level(la, lb, lc, ca[1], cb[1], cc[1])<<8 |
		level(la, lb, lc, ca[2], cb[2], cc[2])
}

// shade is the colour of a face over sample positions, its three channels side by side in one number, each
// with twelve binary places and half a level more, so that one addition steps all of them.
type shade struct{ at, dx, dy int64 }

// sample is the colour at a sample, where at is that of the picture's first one.
func (s *shade) sample(x, y int) int64 { return s.at + int64(x)*s.dx + int64(y)*s.dy }

// stepsAcross is how many samples are stepped over at most: steps are rounded by 2⁻¹³ of a level, over these and the
// rows of a band a quarter of one.
const stepsAcross = 2048

// farthest is by how many levels the plane of a colour may change over the box of its face, to be known to
// an eighth of one in 24 binary places. The face of one that changes more is so thin that hardly a sample lies
// in it, and has one colour.
const farthest = 1 << 20

// newShade is the shade of a face whose box is so many samples wide and high.
func newShade(ca, cb, cc *[3]float32, eb, ec edge, inv float32, wide, high int) (s shade) {
	const places = 1 << 12
	lb, bx, by := float32(eb.at)*inv, float32(eb.dx)*inv, float32(eb.dy)*inv
	lc, cx, cy := float32(ec.at)*inv, float32(ec.dx)*inv, float32(ec.dy)*inv
	for j := range ca {
		b, c := cb[j]-ca[j], cc[j]-ca[j]
		at, dx, dy := ca[j]+float32(lb*b)+float32(lc*c), float32(bx*b)+float32(cx*c), float32(by*b)+float32(cy*c)
		if max(dx, -dx)*float32(wide)+max(dy, -dy)*float32(high) > farthest {
			at, dx, dy = (ca[j]+cb[j]+cc[j])/3, 0, 0
		}
		s.at = s.at<<21 + round((at+0.5)*places)
		s.dx = s.dx<<21 + round(dx*places)
		s.dy = s.dy<<21 + round(dy*places)
	}
	return s
}

func round(v float32) int64 { return int64(math.Floor(float64(v) + 0.5)) }

// inRGB takes a colour of a shade apart.
func inRGB(c int64) uint32 {
	return uint32(c>>54)&255<<16 | uint32(c>>33)&255<<8 | uint32(c>>12)&255
}

// level mixes three values of a channel by barycentric weights.
func level(la, lb, lc, a, b, c float32) uint32 {
	v := float32(la*a) + float32(lb*b) + float32(lc*c)
	return uint32(min(255, max(0, v)))
}

// resolve averages the four samples of every pixel of a band; depth and face are those of the nearest.
func (r *Raster) resolve(b int, w *bandBuffer) {
	minusInf := float32(math.Inf(-1))
	stride := r.W * over
	for y := b * bandRows; y < min(r.H, (b+1)*bandRows); y++ {
		base := (y - b*bandRows) * over * stride
		pix := r.Image.Pix[y*r.Image.Stride:][:4*r.W]
		depths, faces := r.Depth[y*r.W:][:r.W], r.Face[y*r.W:][:r.W]
		up, low := w.depth[base:][:stride], w.depth[base+stride:][:stride]
		upper, lower := w.rgb[base:][:stride], w.rgb[base+stride:][:stride]
		for x := range r.W {
			i := over * x
			near, at := up[i], base+i
			if z := up[i+1]; z > near {
				near, at = z, base+i+1
			}
			if z := low[i]; z > near {
				near, at = z, base+stride+i
			}
			if z := low[i+1]; z > near {
				near, at = z, base+stride+i+1
			}
			depths[x], faces[x] = near, -1
			if near != minusInf {
				faces[x] = w.face[at]
			}
			p, q, s, t := upper[i], upper[i+1], lower[i], lower[i+1]
			const half = over * over / 2
			// Red and blue side by side: four levels of 8 bits and a half have 10.
			const both = 0xff00ff
			redBlue := p&both + q&both + s&both + t&both + half<<16 + half
			green := p>>8&255 + q>>8&255 + s>>8&255 + t>>8&255 + half
			px := pix[4*x : 4*x+4 : 4*x+4]
			px[0], px[1], px[2], px[3] = uint8(redBlue>>18), uint8(green>>2), uint8(redBlue>>2), 255
		}
	}
}

// back reports whether more than one in two hundred of the pixels of the surface, by every
// fourth in each direction, show the back of a face.
func (r *Raster) back(s *Surface, c Camera) bool {
	seen, back := 0, 0
	for y := 0; y < r.H; y += 4 {
		for x := 0; x < r.W; x += 4 {
			f := r.Face[y*r.W+x]
			if f < 0 {
				continue
			}
			seen++
			p, q, t := s.mesh.Corners(mesh.FaceID(f))
			if (q.Sub(p).Cross(t.Sub(p)).Dot(c.Toward) < 0) != s.insideOut {
				back++
			}
		}
	}
	return back*200 > seen
}

// deepen darkens what lies deeper than its surroundings and lightens what stands out, so that
// pits and edges read. It is the unsharp mask of the depth buffer of T. Luft, C. Colditz and
// O. Deussen, "Image enhancement by unsharp masking the depth buffer" (ACM TOG 25(3), 2006),
// with a box of 2.4 mm, and no less than 9 pixels, for the blur.
func (r *Raster) deepen(scale float64) {
	n := max(4, min(60, int(math.Round(1.2*scale))))
	const deepest = 1.2 // mm at which the effect no longer grows
	blurRows(r.Depth, r.blurA, r.counts, r.W, n)
	blurColumns(r.blurA, r.counts, r.blurB, r.W, n)
	for y := range r.H {
		pix, row := r.Image.Pix[y*r.Image.Stride:], y*r.W
		for x, z := range r.Depth[row : row+r.W] {
			if r.Face[row+x] < 0 {
				continue
			}
			d := max(-deepest, min(deepest, z-r.blurB[row+x])) / deepest
			k := float32(0.10)
			if d < 0 {
				k = 0.42
			}
			p, by := pix[4*x:][:3], 1+float32(k*d)
			p[0], p[1], p[2] = uint8(min(255, float32(p[0])*by)), uint8(min(255, float32(p[1])*by)), uint8(min(255, float32(p[2])*by))
		}
	}
}

// blurRows sets sum and count to the sum and the number of the values of in over 2n+1 pixels along the
// rows of width w; -Inf stands for no value. n is at most 127.
func blurRows(in, sum []float32, count []uint8, w, n int) {
	none := float32(math.Inf(-1))
	for row := 0; row < len(in); row += w {
		src := in[row : row+w]
		var all float64
		have := uint8(0)
		for x := -n; x < w; x++ {
			if e := x + n; e < w && src[e] != none {
				all, have = all+float64(src[e]), have+1
			}
			if l := x - n - 1; l >= 0 && src[l] != none {
				all, have = all-float64(src[l]), have-1
			}
			if x >= 0 {
				sum[row+x], count[row+x] = float32(all), have
			}
		}
	}
}

// blurColumns sets mean to that of all values over 2n+1 rows, of whose rows sum and count are given;
// -Inf where there is none. Each value counts alike, so that the mean changes little where a surface
// far behind begins.
func blurColumns(sum []float32, count []uint8, mean []float32, w, n int) {
	h := len(sum) / w
	all, have := make([]float64, w), make([]int32, w)
	add := func(y int, sign float64) {
		if y < 0 || y >= h {
			return
		}
		for x, v := range sum[y*w : y*w+w] {
			all[x] += sign * float64(v)
			have[x] += int32(sign) * int32(count[y*w+x])
		}
	}
	for y := -n; y < h; y++ {
		add(y+n, 1)
		add(y-n-1, -1)
		if y < 0 {
			continue
		}
		for x := range w {
			mean[y*w+x] = float32(math.Inf(-1))
			if have[x] > 0 {
				mean[y*w+x] = float32(all[x] / float64(have[x]))
			}
		}
	}
}
