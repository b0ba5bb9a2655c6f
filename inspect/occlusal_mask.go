package inspect

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
)

// flatMask is the flat of a rim on a square grid in its plane: x the patient's left, y the
// patient's posterior.
type flatMask struct {
	w, h   int
	pixel  float64
	origin Vec // of pixel (0, 0)'s centre, on the plane
	x, y   Vec
	on     []bool // h rows of w
}

func newFlatMask(m *mesh.Mesh, rim *Rim, p Plane, left, posterior Vec, pixel float64) *flatMask {
	g := &flatMask{pixel: pixel, origin: p.Point}
	g.x = left.Along(-left.Dot(p.Normal), p.Normal).Unit()
	if g.x.Norm2() == 0 {
		g.x, _ = axesOf(p)
	}
	g.y = p.Normal.Cross(g.x)
	if g.y.Dot(posterior) < 0 {
		g.y = g.y.Scale(-1)
	}
	lo, hi := Vec{X: math.Inf(1), Y: math.Inf(1)}, Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, i := range rim.Faces {
		for _, v := range m.Tri[i] {
			q := g.local(m.Pos[v])
			lo, hi = lo.Min(q), hi.Max(q)
		}
	}
	// A scan in another unit, read as mm, must not ask for gigabytes.
	if most := max(hi.X-lo.X, hi.Y-lo.Y); most > 2000 {
		coarser := most / 2000
		g.pixel, pixel = pixel*coarser, pixel*coarser
		lo, hi = lo.Scale(1/coarser), hi.Scale(1/coarser)
	}
	const edge = 4 // empty pixels all around
	g.origin = g.origin.Along(pixel*(math.Floor(lo.X)-edge), g.x).Along(pixel*(math.Floor(lo.Y)-edge), g.y)
	g.w = int(math.Ceil(hi.X)-math.Floor(lo.X)) + 2*edge + 1
	g.h = int(math.Ceil(hi.Y)-math.Floor(lo.Y)) + 2*edge + 1
	g.on = make([]bool, g.w*g.h)
	for _, i := range rim.Faces {
		g.draw(m, i, func(at int, _, _ float64) { g.on[at] = true })
	}
	// Noise leaves pinholes where a small face stands on edge.
	const pinhole = 0.5
	g.on = g.closed(pinhole / 2)
	return g
}

// closed returns the mask with gaps closed over that no disc of radius r, in mm, can enter.
func (g *flatMask) closed(r float64) []bool {
	near := g.away(func(i int) bool { return g.on[i] })
	deep := g.away(func(i int) bool { return near[i] > r })
	out := make([]bool, len(g.on))
	for i := range out {
		out[i] = g.on[i] || deep[i] > r
	}
	return out
}

// local returns q in pixels.
func (g *flatMask) local(q Vec) Vec {
	d := q.Sub(g.origin).Scale(1 / g.pixel)
	return Vec{X: d.Dot(g.x), Y: d.Dot(g.y)}
}

// at returns the point of the plane at a pixel.
func (g *flatMask) at(i int) Vec {
	return g.origin.Along(g.pixel*float64(i%g.w), g.x).Along(g.pixel*float64(i/g.w), g.y)
}

// draw calls put for each pixel whose centre is on face i, with the centre's barycentric
// coordinates of the face's second and third corner.
func (g *flatMask) draw(m *mesh.Mesh, i mesh.FaceID, put func(at int, s, t float64)) {
	a, b, c := m.Corners(i)
	a, b, c = g.local(a), g.local(b), g.local(c)
	lo, hi := a.Min(b).Min(c), a.Max(b).Max(c)
	u, v := b.Sub(a), c.Sub(a)
	det := float64(u.X*v.Y) - float64(u.Y*v.X)
	if det == 0 {
		return
	}
	const slack = 1e-9 // a centre on a shared edge must not fall between two faces
	for y := max(0, int(math.Ceil(lo.Y))); y <= min(g.h-1, int(hi.Y)); y++ {
		for x := max(0, int(math.Ceil(lo.X))); x <= min(g.w-1, int(hi.X)); x++ {
			d := Vec{X: float64(x) - a.X, Y: float64(y) - a.Y}
			s := (float64(d.X*v.Y) - float64(d.Y*v.X)) / det
			t := (float64(u.X*d.Y) - float64(u.Y*d.X)) / det
			if s >= -slack && t >= -slack && s+t <= 1+slack {
				put(y*g.w+x, s, t)
			}
		}
	}
}

// away returns the distance of each pixel from the nearest one where on is set, mm.
//
// Exact squared distances by lower envelopes of parabolas: Felzenszwalb and Huttenlocher,
// Theory of Computing 2012;8:415.
func (g *flatMask) away(on func(i int) bool) []float64 {
	const far = 1e12
	d := make([]float64, g.w*g.h)
	for i := range d {
		if !on(i) {
			d[i] = far
		}
	}
	n := max(g.w, g.h)
	f, at, from := make([]float64, n), make([]int, n), make([]float64, n+1)
	pass := func(start, step, n int) {
		k := 0
		for q := range n {
			f[q] = d[start+q*step]
		}
		at[0], from[0], from[1] = 0, math.Inf(-1), math.Inf(1)
		for q := 1; q < n; q++ {
			for {
				r := at[k]
				s := (f[q] - f[r] + float64(q*q-r*r)) / float64(2*(q-r))
				if s > from[k] {
					k++
					at[k], from[k], from[k+1] = q, s, math.Inf(1)
					break
				}
				k--
			}
		}
		k = 0
		for q := range n {
			for from[k+1] < float64(q) {
				k++
			}
			d[start+q*step] = f[at[k]] + float64((q-at[k])*(q-at[k]))
		}
	}
	for x := range g.w {
		pass(x, g.w, g.h)
	}
	for y := range g.h {
		pass(y*g.w, 1, g.w)
	}
	for i := range d {
		d[i] = g.pixel * math.Sqrt(d[i])
	}
	return d
}

// inside returns how far each pixel of the flat is from the flat's outline, mm; 0 off the flat.
func (g *flatMask) inside() []float64 {
	d := g.away(func(i int) bool { return !g.on[i] })
	for i := range d {
		if d[i] > 0 {
			d[i] -= g.pixel / 2 // the outline runs between two pixels
		}
	}
	return d
}

// widths fills in the widths of the flat along rays from the middle of its rear.
func (g *flatMask) widths(inside []float64, method OcclusalMethod, into map[string]*RimWidth) {
	left, right := g.w, 0
	for i, on := range g.on {
		if on {
			left, right = min(left, i%g.w), max(right, i%g.w)
		}
	}
	var rear [2]int // of each half; one may end before the other
	for i, on := range g.on {
		if half := 2 * (i % g.w) / (left + right + 1); on {
			rear[half] = max(rear[half], i/g.w)
		}
	}
	ox, oy := float64(left+right)/2, float64(min(rear[0], rear[1]))
	ray := func(deg float64) float64 {
		s, c := math.Sincos(deg * math.Pi / 180)
		most := 0.0
		for r := 0; ; r++ {
			x, y := int(math.Round(ox+s*float64(r))), int(math.Round(oy-c*float64(r)))
			if x < 0 || y < 0 || x >= g.w {
				return 2 * most
			}
			most = max(most, inside[y*g.w+x])
		}
	}
	sector := func(name string, from, to float64) {
		var list []float64
		for deg := from; deg <= to; deg++ {
			if d := ray(deg); d > 0 {
				list = append(list, d)
			}
		}
		if len(list) > 0 {
			slices.Sort(list)
			into[name] = &RimWidth{MedianMM: list[len(list)/2], MinMM: list[0], MaxMM: list[len(list)-1]}
		}
	}
	sector("anterior", -method.AnteriorHalfDeg, method.AnteriorHalfDeg)
	sector("left", method.SideFromDeg, method.SideToDeg)
	sector("right", -method.SideToDeg, -method.SideFromDeg)
}

// chips lists where the flat is broken out: surface that lies back from the plane inside the
// flat's outline, once gaps up to ChipMM wide are closed over. Largest first. The area is that
// of the gap in the plane; a gap at the edge is under-estimated, for the closing disc enters it.
func (g *flatMask) chips(m *mesh.Mesh, rim *Rim, p Plane, method OcclusalMethod) []Chip {
	r := method.ChipMM / 2
	grown := g.padded(int(r/g.pixel) + 2)
	whole := grown.closed(r)

	depth, wall := make([]float64, len(grown.on)), make([]bool, len(grown.on))
	steep := cosDeg(method.WallDeg)
	for i := range depth {
		depth[i] = math.Inf(1)
	}
	for i := range m.Tri {
		a, b, c := m.Corners(mesh.FaceID(i))
		ha, hb, hc := p.Height(a), p.Height(b), p.Height(c)
		if min(ha, hb, hc) > method.ChipMM || max(ha, hb, hc) < 0 {
			continue
		}
		isWall := math.Abs(m.FaceNormal(mesh.FaceID(i)).Dot(p.Normal)) < steep
		grown.draw(m, mesh.FaceID(i), func(at int, s, t float64) {
			if d := ha + float64(s*(hb-ha)) + float64(t*(hc-ha)); d < depth[at] {
				depth[at], wall[at] = d, isWall
			}
		})
	}
	gap := func(i int) bool {
		return !grown.on[i] && whole[i] && depth[i] > method.ChipDepthMM/2 && depth[i] < r
	}
	var chips []Chip
	seen := make([]bool, len(depth))
	for i := range depth {
		if seen[i] || !gap(i) {
			continue
		}
		queue := []int{i}
		seen[i] = true
		var sum Vec
		chip, level := Chip{}, 0
		for k := 0; k < len(queue); k++ {
			q := queue[k]
			sum = sum.Add(grown.at(q).Along(depth[q], p.Normal))
			if !wall[q] {
				level++
				chip.DepthMM = max(chip.DepthMM, depth[q])
			}
			for _, o := range [4]int{q - 1, q + 1, q - grown.w, q + grown.w} {
				if o >= 0 && o < len(seen) && !seen[o] && gap(o) {
					seen[o] = true
					queue = append(queue, o)
				}
			}
		}
		chip.AreaMM2 = float64(len(queue)) * g.pixel * g.pixel
		chip.Centre = sum.Scale(1 / float64(len(queue)))
		if chip.AreaMM2 >= method.ChipAreaMM2 && 5*level >= len(queue) && chip.DepthMM >= method.ChipDepthMM {
			chips = append(chips, chip)
		}
	}
	slices.SortFunc(chips, func(a, b Chip) int {
		return cmp.Or(cmp.Compare(b.AreaMM2, a.AreaMM2), cmp.Compare(a.Centre.X, b.Centre.X))
	})
	return chips
}

// padded returns the mask with n more empty pixels all around.
func (g *flatMask) padded(n int) *flatMask {
	p := *g
	p.w, p.h = g.w+2*n, g.h+2*n
	p.origin = g.origin.Along(-g.pixel*float64(n), g.x).Along(-g.pixel*float64(n), g.y)
	p.on = make([]bool, p.w*p.h)
	for i, on := range g.on {
		p.on[(i/g.w+n)*p.w+i%g.w+n] = on
	}
	return &p
}

// outline chains the outer edges of the flat's faces into closed paths, longest first. Paths
// that touch at a vertex are told apart by turning around it on the flat's side. A path begins
// where it is farthest from the flat's centroid. Pinholes made by noise, with paths under 3 mm,
// are left out.
func (r *Rim) outline(m *mesh.Mesh) [][]Vec {
	in := make(map[mesh.FaceID]bool, len(r.Faces))
	for _, f := range r.Faces {
		in[f] = true
	}
	open := func(c mesh.Corner) bool { a := m.Across[c]; return a < 0 || !in[a.Face()] }
	done := map[mesh.Corner]bool{}
	var paths [][]Vec
	for _, f := range r.Faces {
		for k := range 3 {
			first := mesh.Corner(3*int(f) + k)
			if !open(first) || done[first] {
				continue
			}
			var path []Vec
			for c := first; !done[c]; {
				done[c] = true
				path = append(path, m.Pos[m.Vertex(c)])
				c = c.Next()
				for !open(c) {
					c = m.Across[c].Next()
				}
			}
			start := 0
			for i, q := range path {
				if q.Sub(r.Plane.Point).Norm2() > path[start].Sub(r.Plane.Point).Norm2() {
					start = i
				}
			}
			path = slices.Concat(path[start:], path[:start])
			if path = append(path, path[0]); pathLength(path) >= 3 {
				paths = append(paths, path)
			}
		}
	}
	slices.SortStableFunc(paths, func(a, b []Vec) int { return cmp.Compare(pathLength(b), pathLength(a)) })
	return paths
}

func pathLength(path []Vec) float64 {
	sum := 0.0
	for i := 1; i < len(path); i++ {
		sum += path[i].Dist(path[i-1])
	}
	return sum
}
