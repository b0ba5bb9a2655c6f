package inspect

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"fornix/mesh"
)

// Rim is the flat of an occlusion rim or bite plate.
type Rim struct {
	Plane      Plane           // normal out of the material, away from the tissue; point: centroid of the flat
	Flat       []mesh.VertexID // vertices of the flat, in order
	Weight     []float64       // #Flat: area of flat at the vertex, mm²
	Faces      []mesh.FaceID   // faces of the flat, up to its edge, in order
	AreaMM2    float64         // of Faces
	WallShare  float64         // share of wall in the sloping surface around the flat: 1 a sharp edge, 0 a smooth surface
	LevelShare float64         // share of the flat that slopes less than half of SlopeDeg: a cylinder or roll has one half
	DiscMM     float64         // diameter of the widest disc in the flat
	LengthMM   float64         // extent along the flat's longer side
	BreadthMM  float64         // and across it

	wave *wave // nil: none
}

// FindRim finds the flat of the occlusion rim on the side away from toward, or says why there
// is none. Normals point out of the material, one per vertex; toward may be off by 15 degrees.
//
// The surface that looks away from the tissue is averaged over cells; planes through three
// cells are scored by the area near them; the best of them are fitted by least squares with
// Tukey's weights to the connected flat around them. A flat is a rim when it is large, spans
// the arch (a handle does not) and ends in walls (a smooth oral surface turns away slowly:
// there the part of the skirt steeper than WallDeg is small). Coplanar pieces count together.
// O(#V + Guesses × cells). The guesses are the same in every run.
func FindRim(m *mesh.Mesh, normals []Vec, toward Vec, method OcclusalMethod) (*Rim, string) {
	f := &rimFinder{m: m, normals: normals, method: method, area: vertexAreas(m)}
	return f.find(toward.Unit().Scale(-1))
}

// FindRimAt finds the flat of the rim about the plane through three points that lie on it, or says why
// there is none. What FindRim says holds, but the plane may lean from toward by any angle under 90
// degrees, for the points say where the rim is.
func FindRimAt(m *mesh.Mesh, normals []Vec, on [3]Vec, toward Vec, method OcclusalMethod) (*Rim, string) {
	p := Plane{on[0], on[1].Sub(on[0]).Cross(on[2].Sub(on[0])).Unit()}.Facing(toward.Scale(-1))
	f := &rimFinder{m: m, normals: normals, method: method, area: vertexAreas(m)}
	rim, why := f.fit(p)
	if why != "" {
		return nil, why
	}
	return rim, ""
}

// RimEnd is what was found at one end of an axis.
type RimEnd struct {
	Rim     *Rim   // nil: none
	Reason  string // why there is none
	AreaMM2 float64
}

// FindRims looks for a rim at both ends of an axis: [0] on the side axis points away from,
// [1] on the side it points to. What FindRim says holds for each.
func FindRims(m *mesh.Mesh, normals []Vec, axis Vec, method OcclusalMethod) [2]RimEnd {
	f := &rimFinder{m: m, normals: normals, method: method, area: vertexAreas(m)}
	var ends [2]RimEnd
	for i, out := range [2]Vec{axis.Unit().Scale(-1), axis.Unit()} {
		ends[i].Rim, ends[i].Reason = f.find(out)
		if r := ends[i].Rim; r != nil {
			ends[i].AreaMM2 = r.AreaMM2
		}
	}
	return ends
}

type rimFinder struct {
	m       *mesh.Mesh
	normals []Vec
	area    []float64 // #V
	method  OcclusalMethod

	in, seen []bool    // #V, of grow
	dist     []float32 // #V, of wallShare
	done     []bool    // #F, of wallShare
}

func (f *rimFinder) find(out Vec) (*Rim, string) {
	reason := "no flat surface on the oral side"
	told := false
	for _, guess := range f.guesses(f.cells(out), out) {
		rim, why := f.fit(guess)
		if why == "" {
			return rim, ""
		}
		if rim != nil && !told {
			reason, told = why, true
		}
	}
	return nil, reason
}

// vertexAreas gives each vertex a third of the area of its faces.
func vertexAreas(m *mesh.Mesh) []float64 {
	area := make([]float64, len(m.Pos))
	for i, t := range m.Tri {
		a, b, c := m.Corners(mesh.FaceID(i))
		s := b.Sub(a).Cross(c.Sub(a)).Norm() / 6
		for _, v := range t {
			area[v] += s
		}
	}
	return area
}

// patch is the surface in one cell: mean point and normal, area.
type patch struct {
	at, normal Vec
	area       float64
}

// cells averages the surface that looks out, over cubes.
func (f *rimFinder) cells(out Vec) []patch {
	lowest := cosDeg(f.method.SearchDeg + f.method.SlopeDeg/2)
	type key [3]int32
	index := map[key]int{}
	var list []patch
	for v, n := range f.normals {
		if !(n.Dot(out) > lowest) || !(f.area[v] > 0) {
			continue
		}
		p := f.m.Pos[v].Scale(1 / f.method.CellMM)
		k := key{int32(math.Floor(p.X)), int32(math.Floor(p.Y)), int32(math.Floor(p.Z))}
		i, ok := index[k]
		if !ok {
			i = len(list)
			index[k] = i
			list = append(list, patch{})
		}
		list[i].at = list[i].at.Along(f.area[v], f.m.Pos[v])
		list[i].normal = list[i].normal.Along(f.area[v], n)
		list[i].area += f.area[v]
	}
	for i, c := range list {
		list[i].at, list[i].normal = c.at.Scale(1/c.area), c.normal.Unit()
	}
	// In the order of space, not of faces.
	slices.SortFunc(list, func(a, b patch) int {
		return cmp.Or(cmp.Compare(a.at.X, b.at.X), cmp.Compare(a.at.Y, b.at.Y), cmp.Compare(a.at.Z, b.at.Z))
	})
	return list
}

// guesses returns the planes with most area near them, best first, each plainly another.
func (f *rimFinder) guesses(cells []patch, out Vec) []Plane {
	if len(cells) < 3 {
		return nil
	}
	const keep = 6
	lean, slope := cosDeg(f.method.SearchDeg), cosDeg(f.method.SlopeDeg)
	r := rand.New(rand.NewPCG(20, 26))
	type scored struct {
		Plane
		score float64
	}
	var best []scored
	for range f.method.Guesses {
		a, b, c := cells[r.IntN(len(cells))].at, cells[r.IntN(len(cells))].at, cells[r.IntN(len(cells))].at
		n := b.Sub(a).Cross(c.Sub(a))
		// A short side lets the errors of the cells turn the plane.
		if side := f.method.BreadthMM; n.Norm() < side*side/2 {
			continue
		}
		p := Plane{a, n.Unit()}.Facing(out)
		if p.Normal.Dot(out) < lean {
			continue
		}
		score := 0.0
		for _, c := range cells {
			h := p.Height(c.at) / f.method.BandMM
			if h *= h; h < 1 && c.normal.Dot(p.Normal) > slope {
				score += c.area * (1 - h)
			}
		}
		if len(best) == keep && score <= best[keep-1].score {
			continue
		}
		mid := centroidNear(cells, p, f.method.BandMM)
		same := func(s scored) bool {
			return s.Normal.Dot(p.Normal) > cosDeg(4) && math.Abs(s.Height(mid)) < f.method.BandMM
		}
		if slices.ContainsFunc(best, func(s scored) bool { return s.score >= score && same(s) }) {
			continue
		}
		best = append(slices.DeleteFunc(best, same), scored{p, score})
		slices.SortFunc(best, func(a, b scored) int { return cmp.Compare(b.score, a.score) })
		best = best[:min(len(best), keep)]
	}
	planes := make([]Plane, len(best))
	for i, s := range best {
		planes[i] = s.Plane
	}
	return planes
}

func centroidNear(cells []patch, p Plane, band float64) Vec {
	var sum Vec
	total := 0.0
	for _, c := range cells {
		if math.Abs(p.Height(c.at)) < band {
			sum, total = sum.Along(c.area, c.at), total+c.area
		}
	}
	if total == 0 {
		return p.Point
	}
	return sum.Scale(1 / total)
}

// fit grows the flat around a guessed plane and fits it. The string says why the flat is no
// rim; the rim is nil when there is no flat at all.
func (f *rimFinder) fit(p Plane) (*Rim, string) {
	none := "no flat surface on the oral side"
	// Wide band first, so that all of a wavy flat takes part; the scale of Tukey's weights
	// comes from the whole of it, so the fit cannot settle on one part of a wave.
	rim := &Rim{Plane: p}
	sigma := 0.0
	for i := range 30 {
		walled := f.grow(rim, f.method.BandMM)
		if len(rim.Flat) < 10 {
			return nil, none
		}
		// A guess that lay askew has come to rest by now, and what is too small stays so.
		if i == 2 {
			if why := f.shape(rim); !walled || rim.DiscMM < f.method.WidthMM || rim.AreaMM2 < f.method.AreaMM2 {
				return rim, why
			}
		}
		before := rim.Plane
		var ok bool
		if rim.Plane, sigma, ok = f.tukey(rim); !ok {
			return nil, none
		}
		if before.Normal.Dist(rim.Plane.Normal) < 1e-6 && math.Abs(before.Height(rim.Plane.Point)) < 1e-5 {
			break
		}
	}
	band := func() float64 { return min(f.method.BandMM, max(f.method.CutMM, tukeyCut*sigma)) }
	if sigma*tukeyCut > f.method.CutMM {
		for i := range 10 { // the flat and the wave on it each need the other
			w, plane := f.findWave(rim, i < 2)
			if w == nil {
				break
			}
			before := rim.Plane
			rim.wave, rim.Plane = w, plane
			f.grow(rim, band())
			if len(rim.Flat) < 10 {
				return nil, none
			}
			if rim.Plane, sigma, _ = f.tukey(rim); i > 1 && before.Normal.Dist(rim.Plane.Normal) < 1e-5 {
				break
			}
		}
	}
	// What lies beyond the band is broken out, or tray, handle, crumb. A real wave is not quite
	// the fitted one: half its height is still the wave.
	f.grow(rim, max(band(), rim.wave.amplitude()/2))
	if len(rim.Flat) < 10 {
		return nil, none
	}
	if why := f.shape(rim); why != "" {
		return rim, why
	}
	return rim, ""
}

// grow collects the flat: vertices near the plane and little sloped, in connected pieces that
// are not small against the largest, end in walls and lie in one arch with it. When none does, the largest is kept, so
// that shape can say why it is no rim, and walled is false.
func (f *rimFinder) grow(rim *Rim, band float64) (walled bool) {
	slope := cosDeg(f.method.SlopeDeg)
	m, p := f.m, rim.Plane
	if f.in == nil {
		f.in, f.seen = make([]bool, len(m.Pos)), make([]bool, len(m.Pos))
	}
	in, seen := f.in, f.seen
	clear(seen)
	for v := range m.Pos {
		in[v] = false
		if f.normals[v].Dot(p.Normal) > slope {
			in[v] = math.Abs(f.height(rim, mesh.VertexID(v))) < band
		}
	}
	var pieces [][]mesh.VertexID
	var size []float64
	for v := range m.Pos {
		if !in[v] || seen[v] {
			continue
		}
		piece := []mesh.VertexID{mesh.VertexID(v)}
		seen[v] = true
		s := 0.0
		for i := 0; i < len(piece); i++ {
			s += f.area[piece[i]]
			for _, c := range m.CornersAt(piece[i]) {
				for _, w := range [2]mesh.VertexID{m.Vertex(c.Next()), m.Vertex(c.Prev())} {
					if in[w] && !seen[w] {
						seen[w] = true
						piece = append(piece, w)
					}
				}
			}
		}
		pieces, size = append(pieces, piece), append(size, s)
	}
	rim.Flat = rim.Flat[:0]
	if len(size) > 0 {
		largest := slices.Index(size, slices.Max(size))
		least, main := size[largest]/25, -1
		for i, piece := range pieces {
			if size[i] < least || f.wallShare(piece, in, p) < f.method.WallShare {
				size[i] = 0
			} else if main < 0 || size[i] > size[main] {
				main = i
			}
		}
		for i, piece := range pieces {
			if size[i] > 0 && (i == main || !f.behind(piece, pieces[main], p)) {
				rim.Flat = append(rim.Flat, piece...)
			}
		}
		if walled = main >= 0; !walled {
			rim.Flat = append(rim.Flat, pieces[largest]...)
		}
	}
	slices.Sort(rim.Flat)
	f.weigh(rim, in)
	return walled
}

// weigh gives each vertex of the flat its share of the faces that are wholly flat: vertices on
// the very edge lie inside a rounded or bevelled corner, so they count for less.
func (f *rimFinder) weigh(rim *Rim, in []bool) {
	rim.Weight = rim.Weight[:0]
	for _, v := range rim.Flat {
		s := 0.0
		for _, c := range f.m.CornersAt(v) {
			if t := f.m.Tri[c.Face()]; in[t[0]] && in[t[1]] && in[t[2]] {
				a, b, d := f.m.Corners(c.Face())
				s += b.Sub(a).Cross(d.Sub(a)).Norm() / 6
			}
		}
		rim.Weight = append(rim.Weight, s)
	}
}

// tukeyCut is where Tukey's biweight ends, in standard deviations: 95 % efficiency for normal errors.
const tukeyCut = 4.685

// tukey returns the plane of one step of weighted least squares, and the robust standard
// deviation of the flat about the plane before it (1.4826 × median of absolute distances).
func (f *rimFinder) tukey(rim *Rim) (Plane, float64, bool) {
	points := make([]Vec, len(rim.Flat))
	h := make([]float64, len(rim.Flat))
	for i, v := range rim.Flat {
		points[i] = f.m.Pos[v].Along(-rim.wave.at(f.m.Pos[v]), rim.Plane.Normal)
		h[i] = math.Abs(f.height(rim, v))
	}
	sigma := max(1.4826*weightedMedian(h, rim.Weight), f.method.CutMM/tukeyCut)
	w := make([]float64, len(h))
	for i := range h {
		if u := h[i] / (tukeyCut * sigma); u < 1 {
			u = 1 - u*u
			w[i] = rim.Weight[i] * u * u
		}
	}
	p, ok := FitPlane(points, w)
	return p.Facing(rim.Plane.Normal), sigma, ok
}

func weightedMedian(x, w []float64) float64 {
	order := make([]int, len(x))
	total := 0.0
	for i := range order {
		order[i] = i
		total += w[i]
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(x[a], x[b]), a-b) })
	sum := 0.0
	for _, i := range order {
		if sum += w[i]; sum >= total/2 {
			return x[i]
		}
	}
	return math.NaN()
}
