package render

import (
	"image"
	"image/color"
	"math"
	"sync"
	"sync/atomic"

	"fornix/mesh"
)

// Surface is a mesh made ready for drawing. It is not changed by drawing, so any number of
// rasters may share it.
type Surface struct {
	mesh   *mesh.Mesh
	normal [][3]float32 // #V, out of the material
	ok     []bool       // #V, the position is finite
	main   []bool       // #V, of a piece that a view must show; the others are drawn where they fall

	insideOut bool
	second    int // vertices from this one on are of a second body, in a cooler tone; #V: none
}

// NewSurface computes the vertex normals of m, weighted by the area of the faces. insideOut
// tells that the faces wind the wrong way round. Pieces under a hundredth of the largest one's
// area are crumbs, which no view must show, since one far away would shrink the rest. O(#F).
func NewSurface(m *mesh.Mesh, insideOut bool) *Surface {
	s := &Surface{mesh: m, normal: make([][3]float32, len(m.Pos)), ok: make([]bool, len(m.Pos)), main: make([]bool, len(m.Pos)), insideOut: insideOut, second: len(m.Pos)}
	for v, p := range m.Pos {
		s.ok[v] = p.Finite()
	}
	sign := float32(1)
	if insideOut {
		sign = -1
	}
	const crumb = 0.01 // of the area of the largest piece
	piece, pieces := m.Components()
	for f, t := range m.Tri {
		if !s.ok[t[0]] || !s.ok[t[1]] || !s.ok[t[2]] {
			continue
		}
		if !(pieces[piece[f]].Area < crumb*pieces[0].Area) {
			s.main[t[0]], s.main[t[1]], s.main[t[2]] = true, true, true
		}
		a := m.Pos[t[0]]
		n := m.Pos[t[1]].Sub(a).Cross(m.Pos[t[2]].Sub(a))
		x, y, z := sign*float32(n.X), sign*float32(n.Y), sign*float32(n.Z)
		for _, v := range t {
			q := &s.normal[v]
			q[0] += x
			q[1] += y
			q[2] += z
		}
	}
	for v := range s.normal {
		q := &s.normal[v]
		n := mesh.Vec{X: float64(q[0]), Y: float64(q[1]), Z: float64(q[2])}.Unit()
		*q = [3]float32{float32(n.X), float32(n.Y), float32(n.Z)}
	}
	return s
}

// Raster draws surfaces into a picture with a depth and a face for every pixel. Its memory is
// kept from one picture to the next. A raster must not be used by two goroutines at once.
type Raster struct {
	W, H  int
	Image *image.RGBA
	Depth []float32 // #W*H, mm toward the viewer; -Inf where nothing is
	Face  []int32   // #W*H, mesh.FaceID seen; -1 where nothing is

	vert   []vertex
	seen   []int32 // faces in the picture
	start  []int32 // offsets into order, one per band
	order  []int32 // faces by band
	blurA  []float32
	blurB  []float32
	counts []uint8
	bands  []bandBuffer // one per worker
}

// vertex is a vertex in the picture: position in sixteenths of a sample, height in mm, and the
// colours of its front, plain and in the band, and of its back.
type vertex struct {
	x, y                int32
	z                   float32
	front, tinted, back [3]float32
	band                float32 // of the tint's field, 0 … 255
}

// bandBuffer holds the samples of one band of rows.
type bandBuffer struct {
	depth []float32
	face  []int32
	rgb   []uint32
}

const (
	bandRows = 16           // pixel rows of a band
	over     = 2            // samples per pixel along each axis
	subBits  = 4            // binary places of a position
	sub      = 1 << subBits // positions per sample
	farAway  = 1 << 26      // positions beyond are not drawn: their products would overflow
	nowhere  = math.MinInt32
)

// Resize gives the raster w × h pixels.
func (r *Raster) Resize(w, h int) {
	if r.W == w && r.H == h {
		return
	}
	r.W, r.H = w, h
	r.Image = image.NewRGBA(image.Rect(0, 0, w, h))
	r.Depth, r.Face = make([]float32, w*h), make([]int32, w*h)
	r.blurA, r.blurB, r.counts = make([]float32, w*h), make([]float32, w*h), make([]uint8, w*h)
	r.bands = nil
}

// Draw draws s as c sees it on paper white. tint, if not nil, holds the colour of each vertex,
// and in its alpha a field whose value between the vertices decides: from 128 on the surface
// has the colours, under it the plain material. So the edge of a coloured band cuts through
// faces. The result is the same for any number of workers.
//
// Faces are sorted into bands of rows, each band is drawn by one worker in the order of the
// faces, and of two faces at equal depth the first wins.
func (r *Raster) Draw(s *Surface, c Camera, tint []color.RGBA, workers int) {
	workers = max(1, workers)
	r.place(s, c, tint, workers)
	r.sort(s)
	for len(r.bands) < workers {
		n := r.W * over * bandRows * over
		r.bands = append(r.bands, bandBuffer{make([]float32, n), make([]int32, n), make([]uint32, n)})
	}
	var next atomic.Int32
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for {
				b := int(next.Add(1)) - 1
				if b*bandRows >= r.H {
					return
				}
				r.drawBand(s, b, &r.bands[w])
			}
		})
	}
	wg.Wait()
	r.deepen(c.Scale)
}

// Lights stand still in the picture: one from the upper left, a weak one from the right.
var (
	keyLight  = mesh.Vec{X: -0.50, Y: 0.58, Z: 0.64}.Unit()
	fillLight = mesh.Vec{X: 0.70, Y: -0.25, Z: 0.55}.Unit()
)

// place projects and lights every vertex.
func (r *Raster) place(s *Surface, c Camera, tint []color.RGBA, workers int) {
	n := len(s.mesh.Pos)
	if cap(r.vert) < n {
		r.vert = make([]vertex, n)
	}
	r.vert = r.vert[:n]
	inPicture := func(l mesh.Vec) [3]float32 {
		v := mesh.Vec{}.Along(l.X, c.Right).Along(l.Y, c.Up).Along(l.Z, c.Toward)
		return [3]float32{float32(v.X), float32(v.Y), float32(v.Z)}
	}
	key, fill := inPicture(keyLight), inPicture(fillLight)
	k := float64(c.Scale * over * sub)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for i := n * w / workers; i < n*(w+1)/workers; i++ {
				v := &r.vert[i]
				if !s.ok[i] {
					v.x = nowhere
					continue
				}
				d := s.mesh.Pos[i].Sub(c.Centre)
				x := float64(c.X*over*sub) + float64(k*d.Dot(c.Right))
				y := float64(c.Y*over*sub) - float64(k*d.Dot(c.Up))
				if math.Abs(x) > farAway || math.Abs(y) > farAway {
					v.x = nowhere
					continue
				}
				v.x, v.y, v.z = int32(math.Floor(x)), int32(math.Floor(y)), float32(d.Dot(c.Toward))
				nr := s.normal[i]
				dot := func(l [3]float32) float32 {
					return float32(nr[0]*l[0]) + float32(nr[1]*l[1]) + float32(nr[2]*l[2])
				}
				a, b := dot(key), dot(fill)
				lit := 0.41 + float32(0.58*max(0, a)) + float32(0.16*max(0, b))
				unlit := 0.40 + float32(0.50*max(0, -a)) + float32(0.14*max(0, -b))
				body := material
				if i >= s.second {
					body = secondMaterial
				}
				v.front = shone(lit, body)
				v.tinted, v.band = v.front, 0
				if tint != nil && tint[i].A > 0 {
					// A colour that carries a number must not change much with the light.
					lit += float32(0.72 * (0.98 - lit))
					t := tint[i]
					v.tinted, v.band = shone(lit, t), float32(t.A)
				}
				v.back = shone(unlit, backside)
			}
		})
	}
	wg.Wait()
}

// shone is a colour in so much light.
func shone(light float32, c color.RGBA) [3]float32 {
	return [3]float32{min(255, light*float32(c.R)), min(255, light*float32(c.G)), min(255, light*float32(c.B))}
}

// mix returns a + t (b - a).
func mix(a, b color.RGBA, t float32) color.RGBA {
	m := func(p, q uint8) uint8 { return uint8(float32(p) + float32(t*(float32(q)-float32(p))) + 0.5) }
	return color.RGBA{m(a.R, b.R), m(a.G, b.G), m(a.B, b.B), 255}
}

// sort lists the faces of every band, in the order of the faces.
func (r *Raster) sort(s *Surface) {
	nb := (r.H + bandRows - 1) / bandRows
	if len(r.start) != nb+1 {
		r.start = make([]int32, nb+1)
	}
	clear(r.start)
	const rows = bandRows * over * sub
	span := func(t [3]mesh.VertexID) (lo, hi int32) {
		a, b, c := &r.vert[t[0]], &r.vert[t[1]], &r.vert[t[2]]
		if a.x == nowhere || b.x == nowhere || c.x == nowhere ||
			max(a.x, b.x, c.x) < 0 || min(a.x, b.x, c.x) >= int32(r.W*over*sub) ||
			max(a.y, b.y, c.y) < 0 || min(a.y, b.y, c.y) >= int32(r.H*over*sub) {
			return 0, -1
		}
		return max(0, min(a.y, b.y, c.y)) / rows, min(int32(nb-1), max(a.y, b.y, c.y)/rows)
	}
	r.seen = r.seen[:0]
	for f, t := range s.mesh.Tri {
		lo, hi := span(t)
		for b := lo; b <= hi; b++ {
			r.start[b+1]++
		}
		if lo <= hi {
			r.seen = append(r.seen, int32(f))
		}
	}
	for b := range nb {
		r.start[b+1] += r.start[b]
	}
	if n := int(r.start[nb]); cap(r.order) < n {
		r.order = make([]int32, n+n/8)
	}
	r.order = r.order[:cap(r.order)]
	fill := make([]int32, nb)
	copy(fill, r.start)
	for _, f := range r.seen {
		lo, hi := span(s.mesh.Tri[f])
		for b := lo; b <= hi; b++ {
			r.order[fill[b]] = f
			fill[b]++
		}
	}
}
