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

	boxed sync.Once
	boxes []faceBox // of every blockFaces faces; made when it is drawn first
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

	spot   []spot  // #V
	light  []light // #V
	round  uint32  // how often a picture was drawn
	seen   []seenFace
	start  []int32 // offsets into order, two per band: of the faces seen from their front, and from their back
	order  []int32 // faces by band
	blurA  []float32
	blurB  []float32
	counts []uint8
	bands  []bandBuffer // one per worker
}

// spot is where a vertex lies in the picture: in sixteenths of a sample, and its height in mm.
type spot struct {
	x, y  int32
	z     float32
	round uint32 // of the picture for which this was found
}

// light is the colours of a vertex's front, plain and in the band, and of its back.
type light struct {
	front, tinted, back [3]float32
	band                float32 // of the tint's field, 0 … 255
}

// seenFace is a face in the picture and the bands that it reaches.
type seenFace struct {
	face     int32
	from, to int16
	back     uint8 // 1: seen from its back
}

// bandBuffer holds the samples of one band of rows.
type bandBuffer struct {
	depth []float32
	face  []int32
	rgb   []uint32
	far   []float32 // of every tile the depth of its farthest sample, once the fronts are drawn
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
// Faces are sorted into bands of rows, and each band is drawn by one worker: first those seen from their front, in
// the order of the faces, then those seen from their back, most of which a scan hides. Of two at equal depth
// the one drawn first wins.
func (r *Raster) Draw(s *Surface, c Camera, tint []color.RGBA, workers int) {
	workers = max(1, workers)
	r.place(s, c, tint)
	for len(r.bands) < workers {
		n := r.W * over * bandRows * over
		r.bands = append(r.bands, bandBuffer{make([]float32, n), make([]int32, n), make([]uint32, n), nil})
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
