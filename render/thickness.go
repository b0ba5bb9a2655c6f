package render

import (
	"image/color"
	"math"

	"fornix/inspect"
	"fornix/mesh"
)

// The border is coloured as a band of even width round the line through the stations' apexes.
const (
	bandMM  = 2.25 // from the line to the edge of the band
	slopeMM = 1.5  // of the field about the band's edge, to both sides
	reachMM = bandMM + slopeMM
	bridge  = 2.0 // mm between stations that the line crosses
	evenly  = 4   // stations to both sides over which the line is smoothed
)

// borderTint gives the vertices near the border the colour of the thickness that the report
// states there, between stations by linear interpolation. Alpha is a field that falls with the
// distance from the line through the apexes and is 128 at the edge of the band, so that the
// raster can draw that edge inside faces (see Raster.Draw). Where the nearest station has no
// thickness the surface stays plain. It returns nil when there is nothing to show.
// O(#V + stations).
func borderTint(m *mesh.Mesh, b *inspect.Border, scale Scale) []color.RGBA {
	g := newStationGrid(b.Stations)
	if g == nil {
		return nil
	}
	colours := scale.colours()
	tint := make([]color.RGBA, len(m.Pos))
	for v, p := range m.Pos {
		mm, d, ok := g.at(p)
		if !ok {
			continue
		}
		c := scale.colour(mm, colours)
		c.A = uint8(max(1, min(255, 128+127*(bandMM-d)/slopeMM)))
		tint[v] = c
	}
	return tint
}

// stationGrid lists, for every cell of the border's box, the stations within reach of it.
type stationGrid struct {
	stations []inspect.Station
	line     []mesh.Vec // #stations: the apexes, smoothed along the border
	next     []bool     // #stations: the line goes on to the next station
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
	margin := mesh.Vec{X: reachMM, Y: reachMM, Z: reachMM}
	g := &stationGrid{stations: stations, lo: lo.Sub(margin)}
	size := hi.Add(margin).Sub(g.lo)
	const most = 400 // cells along an axis: 1.5 m, more than any scan of a jaw
	for k, s := range [3]float64{size.X, size.Y, size.Z} {
		g.n[k] = int(s/reachMM) + 1
		if g.n[k] > most {
			return nil
		}
	}
	g.smooth()
	g.cells = make([][]int32, g.n[0]*g.n[1]*g.n[2])
	for i, p := range g.line {
		if !p.Finite() {
			continue
		}
		c := g.cell(p)
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

// smooth lays the line through the apexes: on a flat border they wander across it from station
// to station, and the band would with them. The ends stay where they are.
func (g *stationGrid) smooth() {
	n := len(g.stations)
	g.line, g.next = make([]mesh.Vec, n), make([]bool, n)
	for i := 1; i < n; i++ {
		a, b := &g.stations[i-1], &g.stations[i]
		g.next[i-1] = a.Side == b.Side && a.Apex.Dist(b.Apex) <= bridge
	}
	for i := range n {
		lo, hi := i, i
		for k := 0; k < evenly && lo > 0 && g.next[lo-1] && g.next[hi]; k++ {
			lo, hi = lo-1, hi+1
		}
		var sum mesh.Vec
		for _, s := range g.stations[lo : hi+1] {
			sum = sum.Add(s.Apex)
		}
		g.line[i] = sum.Scale(1 / float64(hi-lo+1))
	}
}

func (g *stationGrid) cell(p mesh.Vec) [3]int {
	d := p.Sub(g.lo)
	return [3]int{int(math.Floor(d.X / reachMM)), int(math.Floor(d.Y / reachMM)), int(math.Floor(d.Z / reachMM))}
}

// at returns the thickness to show at p and the distance to the line, both in mm; not ok where
// the line is out of reach or the nearest station has no thickness.
func (g *stationGrid) at(p mesh.Vec) (mm, d float64, ok bool) {
	if !p.Finite() {
		return 0, 0, false
	}
	c := g.cell(p)
	for k := range c {
		if c[k] < 0 || c[k] >= g.n[k] {
			return 0, 0, false
		}
	}
	nearest, at := reachMM*reachMM, -1
	for _, i := range g.cells[(c[2]*g.n[1]+c[1])*g.n[0]+c[0]] {
		if d2 := p.Sub(g.line[i]).Norm2(); d2 < nearest {
			nearest, at = d2, int(i)
		}
	}
	if at < 0 || g.stations[at].ThicknessMM == nil || math.IsNaN(*g.stations[at].ThicknessMM) {
		return 0, 0, false
	}
	mm = *g.stations[at].ThicknessMM
	for _, i := range [2]int{at - 1, at} { // the two pieces of the line that end here
		if i < 0 || !g.next[i] {
			continue
		}
		a, e := g.line[i], g.line[i+1].Sub(g.line[i])
		l := e.Norm2()
		if l == 0 {
			continue
		}
		t := max(0, min(1, p.Sub(a).Dot(e)/l))
		d2 := p.Sub(a.Along(t, e)).Norm2()
		s, f := g.stations[i].ThicknessMM, g.stations[i+1].ThicknessMM
		if d2 < nearest {
			nearest = d2
			if s != nil && f != nil {
				mm = *s + float64(t*(*f-*s))
			}
		}
	}
	return mm, math.Sqrt(nearest), !math.IsNaN(mm)
}
