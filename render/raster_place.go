package render

import (
	"image/color"
	"math"

	"fornix/mesh"
)

// Lights stand still in the picture: one from the upper left, a weak one from the right.
var (
	keyLight  = mesh.Vec{X: -0.50, Y: 0.58, Z: 0.64}.Unit()
	fillLight = mesh.Vec{X: 0.70, Y: -0.25, Z: 0.55}.Unit()
)

// blockFaces is how many faces, one after the other in the mesh, are left out together where none of them can
// lie in the picture. Scans are mostly written along the surface, so that they lie close to each other.
const blockFaces = 128

// faceBox holds the vertices of a block of faces, those without a finite position aside.
type faceBox struct{ lo, hi mesh.Vec }

func (s *Surface) faceBoxes() []faceBox {
	s.boxed.Do(func() {
		tri := s.mesh.Tri
		s.boxes = make([]faceBox, (len(tri)+blockFaces-1)/blockFaces)
		mesh.InPieces(len(s.boxes), 64, func(from, to int) {
			for k := from; k < to; k++ {
				lo := mesh.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}
				hi := lo.Scale(-1)
				for _, t := range tri[k*blockFaces : min((k+1)*blockFaces, len(tri))] {
					for _, v := range t {
						if s.ok[v] {
							lo, hi = lo.Min(s.mesh.Pos[v]), hi.Max(s.mesh.Pos[v])
						}
					}
				}
				s.boxes[k] = faceBox{lo, hi}
			}
		})
	})
	return s.boxes
}

// along are the least and the most that a point of the box is away from another one along d.
func (b faceBox) along(d, from mesh.Vec) (lo, hi float64) {
	for _, e := range [3][3]float64{{d.X, b.lo.X - from.X, b.hi.X - from.X}, {d.Y, b.lo.Y - from.Y, b.hi.Y - from.Y}, {d.Z, b.lo.Z - from.Z, b.hi.Z - from.Z}} {
		p, q := e[0]*e[1], e[0]*e[2]
		lo, hi = lo+min(p, q), hi+max(p, q)
	}
	return lo, hi
}

// placer projects and lights vertices.
type placer struct {
	r         *Raster
	s         *Surface
	c         Camera
	tint      []color.RGBA
	key, fill [3]float32 // the lights in the scan's axes
	scale     float64    // positions to a mm
}

func (r *Raster) placer(s *Surface, c Camera, tint []color.RGBA) placer {
	inPicture := func(l mesh.Vec) [3]float32 {
		v := mesh.Vec{}.Along(l.X, c.Right).Along(l.Y, c.Up).Along(l.Z, c.Toward)
		return [3]float32{float32(v.X), float32(v.Y), float32(v.Z)}
	}
	return placer{r, s, c, tint, inPicture(keyLight), inPicture(fillLight), float64(c.Scale * over * sub)}
}

// sees reports whether the picture may show faces of the box.
func (p *placer) sees(b faceBox) bool {
	if b.lo.X > b.hi.X {
		return false
	}
	const margin = sub // positions: rounding is far less
	left, right := b.along(p.c.Right, p.c.Centre)
	low, high := b.along(p.c.Up, p.c.Centre)
	x, y := p.c.X*over*sub, p.c.Y*over*sub
	return x+p.scale*right >= -margin && x+p.scale*left <= float64(p.r.W*over*sub+margin) &&
		y-p.scale*low >= -margin && y-p.scale*high <= float64(p.r.H*over*sub+margin)
}

// put places vertex i.
func (p *placer) put(i mesh.VertexID) {
	s, v := p.s, &p.r.spot[i]
	v.round = p.r.round
	if !s.ok[i] {
		v.x = nowhere
		return
	}
	d := s.mesh.Pos[i].Sub(p.c.Centre)
	x := float64(p.c.X*over*sub) + float64(p.scale*d.Dot(p.c.Right))
	y := float64(p.c.Y*over*sub) - float64(p.scale*d.Dot(p.c.Up))
	if math.Abs(x) > farAway || math.Abs(y) > farAway {
		v.x = nowhere
		return
	}
	v.x, v.y, v.z = int32(math.Floor(x)), int32(math.Floor(y)), float32(d.Dot(p.c.Toward))
	nr := s.normal[i]
	dot := func(l [3]float32) float32 {
		return float32(nr[0]*l[0]) + float32(nr[1]*l[1]) + float32(nr[2]*l[2])
	}
	a, b := dot(p.key), dot(p.fill)
	lit := 0.41 + float32(0.58*max(0, a)) + float32(0.16*max(0, b))
	unlit := 0.40 + float32(0.50*max(0, -a)) + float32(0.14*max(0, -b))
	body := material
	if int(i) >= s.second {
		body = secondMaterial
	}
	l := &p.r.light[i]
	l.front = shone(lit, body)
	l.tinted, l.band = l.front, 0
	if p.tint != nil && p.tint[i].A > 0 {
		// A colour that carries a number must not change much with the light.
		lit += float32(0.72 * (0.98 - lit))
		t := p.tint[i]
		l.tinted, l.band = shone(lit, t), float32(t.A)
	}
	l.back = shone(unlit, backside)
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

// place finds where the faces in the picture lie, and lists those of every band, in the order of the faces.
func (r *Raster) place(s *Surface, c Camera, tint []color.RGBA) {
	if n := len(s.mesh.Pos); len(r.spot) < n {
		r.spot, r.light = make([]spot, n), make([]light, n)
	}
	r.round++
	nb := (r.H + bandRows - 1) / bandRows
	if len(r.start) != 2*nb+1 {
		r.start = make([]int32, 2*nb+1)
	}
	clear(r.start)
	r.seen = r.seen[:0]
	p := r.placer(s, c, tint)
	tri := s.mesh.Tri
	for k, box := range s.faceBoxes() {
		if !p.sees(box) {
			continue
		}
		for f := k * blockFaces; f < min((k+1)*blockFaces, len(tri)); f++ {
			for _, v := range tri[f] {
				if r.spot[v].round != r.round {
					p.put(v)
				}
			}
			from, to := r.bandsOf(tri[f], nb)
			if from > to {
				continue
			}
			back := int32(0)
			if !r.facing(s, tri[f]) {
				back = 1
			}
			r.seen = append(r.seen, seenFace{int32(f), int16(from), int16(to), uint8(back)})
			for b := from; b <= to; b++ {
				r.start[2*b+back+1]++
			}
		}
	}
	for b := range 2 * nb {
		r.start[b+1] += r.start[b]
	}
	if n := int(r.start[2*nb]); cap(r.order) < n {
		r.order = make([]int32, n+n/8)
	}
	r.order = r.order[:cap(r.order)]
	fill := make([]int32, 2*nb)
	copy(fill, r.start)
	for _, f := range r.seen {
		for b := f.from; b <= f.to; b++ {
			at := &fill[2*int(b)+int(f.back)]
			r.order[*at] = f.face
			*at++
		}
	}
}

// facing reports whether a face is seen from its front. y runs down, so one that winds counter-clockwise as seen has
// a negative area.
func (r *Raster) facing(s *Surface, t [3]mesh.VertexID) bool {
	return (doubleArea(&r.spot[t[0]], &r.spot[t[1]], &r.spot[t[2]]) < 0) != s.insideOut
}

// doubleArea is twice the area of a face in the picture, in squares of positions.
func doubleArea(a, b, c *spot) int64 {
	return int64(b.x-a.x)*int64(c.y-a.y) - int64(b.y-a.y)*int64(c.x-a.x)
}

// bandsOf are the first and the last of nb bands that a face reaches; none where it lies beside the picture.
func (r *Raster) bandsOf(t [3]mesh.VertexID, nb int) (from, to int32) {
	a, b, c := &r.spot[t[0]], &r.spot[t[1]], &r.spot[t[2]]
	top, low := min(a.y, b.y, c.y), max(a.y, b.y, c.y)
	if a.x == nowhere || b.x == nowhere || c.x == nowhere ||
		max(a.x, b.x, c.x) < 0 || min(a.x, b.x, c.x) >= int32(r.W*over*sub) || low < 0 || top >= int32(r.H*over*sub) {
		return 0, -1
	}
	const rows = bandRows * over * sub
	return max(0, top) / rows, min(int32(nb-1), low/rows)
}
