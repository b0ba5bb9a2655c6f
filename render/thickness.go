package render

import (
	"image/color"
	"math"

	"fornix/inspect"
	"fornix/mesh"
)

// reach is how far from a station's apex, in mm, its thickness colours the surface.
const reach = 3.0

// borderTint colours the vertices near the border by the thickness the report states there:
// the mean of the stations within reach, weighted by the inverse fourth power of the distance.
// A vertex nearest to a station without a thickness stays plain (alpha 0), and so does one
// that the anatomy does not count to the border. Without anatomy the colour fades out with the
// distance. It returns nil when there is nothing to show. O(#V + stations).
func borderTint(m *mesh.Mesh, an *inspect.Anatomy, b *inspect.Border, scale Scale) []color.RGBA {
	g := newStationGrid(b.Stations)
	if g == nil {
		return nil
	}
	var part []inspect.Part
	if an != nil && len(an.Part) == len(m.Pos) {
		part = an.Part
	}
	colours := scale.colours()
	tint := make([]color.RGBA, len(m.Pos))
	for v, p := range m.Pos {
		if part != nil && part[v] != inspect.PartBorder {
			continue
		}
		mm, d, ok := g.at(p)
		if !ok {
			continue
		}
		c := colours[scale.step(mm)]
		if part == nil {
			const full = reach - 1
			c.A = uint8(255 * max(0, min(1, (reach-d)/(reach-full))))
		}
		tint[v] = c
	}
	soften(m, tint)
	return tint
}

// soften replaces each colour by the mean over the faces round it, twice, so that the edge of
// the coloured band does not follow single faces.
func soften(m *mesh.Mesh, tint []color.RGBA) {
	type sum struct{ r, g, b, a, n int32 }
	sums := make([]sum, len(tint))
	for range 2 {
		clear(sums)
		for _, t := range m.Tri {
			p, q, s := tint[t[0]], tint[t[1]], tint[t[2]]
			if p.A|q.A|s.A == 0 {
				for _, v := range t {
					sums[v].n += 3
				}
				continue
			}
			var of sum
			for _, c := range [3]color.RGBA{p, q, s} {
				a := int32(c.A)
				of = sum{of.r + int32(c.R)*a, of.g + int32(c.G)*a, of.b + int32(c.B)*a, of.a + a, 0}
			}
			for _, v := range t {
				w := &sums[v]
				*w = sum{w.r + of.r, w.g + of.g, w.b + of.b, w.a + of.a, w.n + 3}
			}
		}
		for v, w := range sums {
			if w.a > 0 {
				mean := func(x, n int32) uint8 { return uint8((x + n/2) / n) }
				tint[v] = color.RGBA{mean(w.r, w.a), mean(w.g, w.a), mean(w.b, w.a), mean(w.a, w.n)}
			}
		}
	}
}

// stationGrid lists, for every cell of the border's box, the stations within reach of it.
type stationGrid struct {
	stations []inspect.Station
	lo       mesh.Vec
	n        [3]int
	cells    [][]int32
}

func newStationGrid(stations []inspect.Station) *stationGrid {
	lo := mesh.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}
	hi := lo.Scale(-1)
	measured := false
	for _, s := range stations {
		if s.Apex.Finite() {
			lo, hi = lo.Min(s.Apex), hi.Max(s.Apex)
			measured = measured || s.ThicknessMM != nil
		}
	}
	if !measured {
		return nil
	}
	margin := mesh.Vec{X: reach, Y: reach, Z: reach}
	g := &stationGrid{stations: stations, lo: lo.Sub(margin)}
	size := hi.Add(margin).Sub(g.lo)
	const most = 400 // cells along an axis: 1.2 m, more than any scan of a jaw
	for k, s := range [3]float64{size.X, size.Y, size.Z} {
		g.n[k] = int(s/reach) + 1
		if g.n[k] > most {
			return nil
		}
	}
	g.cells = make([][]int32, g.n[0]*g.n[1]*g.n[2])
	for i, s := range stations {
		if !s.Apex.Finite() {
			continue
		}
		c := g.cell(s.Apex)
		for z := max(0, c[2]-1); z <= min(g.n[2]-1, c[2]+1); z++ {
			for y := max(0, c[1]-1); y <= min(g.n[1]-1, c[1]+1); y++ {
				for x := max(0, c[0]-1); x <= min(g.n[0]-1, c[0]+1); x++ {
					j := (z*g.n[1]+y)*g.n[0] + x
					g.cells[j] = append(g.cells[j], int32(i))
				}
			}
		}
	}
	return g
}

func (g *stationGrid) cell(p mesh.Vec) [3]int {
	d := p.Sub(g.lo)
	return [3]int{int(math.Floor(d.X / reach)), int(math.Floor(d.Y / reach)), int(math.Floor(d.Z / reach))}
}

// at returns the thickness to show at p and the distance to the nearest station, both in mm.
func (g *stationGrid) at(p mesh.Vec) (mm, nearest float64, ok bool) {
	if !p.Finite() {
		return 0, 0, false
	}
	c := g.cell(p)
	for k := range c {
		if c[k] < 0 || c[k] >= g.n[k] {
			return 0, 0, false
		}
	}
	nearest = reach * reach
	sum, weight := 0.0, 0.0
	for _, i := range g.cells[(c[2]*g.n[1]+c[1])*g.n[0]+c[0]] {
		s := &g.stations[i]
		d2 := p.Sub(s.Apex).Norm2()
		if d2 > reach*reach {
			continue
		}
		if d2 < nearest {
			nearest, ok = d2, s.ThicknessMM != nil
		}
		if s.ThicknessMM != nil {
			w := 1 / ((d2 + 0.04) * (d2 + 0.04))
			sum, weight = sum+float64(w**s.ThicknessMM), weight+w
		}
	}
	if !ok || math.IsNaN(sum) {
		return 0, 0, false
	}
	return sum / weight, math.Sqrt(nearest), true
}
