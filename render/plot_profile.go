package render

import (
	"fmt"
	"image/color"
	"math"
)

// ProfileStation is one place along the arch over many scans.
type ProfileStation struct {
	Along          float64  // share of the way, 0 to 1, from the patient's right to left
	N              int      // scans with a value
	Mean, Min, Max float64  // of them
	SD             *float64 // nil: fewer than two
}

// Profile is the description of a band around the arch. Stations without a value are left out, and
// the band has a gap there.
type Profile struct {
	Quantity, Unit string
	Step           float64 // from station to station, share of the way: farther apart is a gap
	Stations       []ProfileStation
	Places         []PlotTick // names of regions, at their middles
}

// PlotTick names a place on the horizontal scale.
type PlotTick struct {
	At   float64
	Name string
}

// Figure lays the plot out: 174 × 80 mm. The pale band is the range, the darker one mean ± SD, the
// line the mean.
func (d Profile) Figure() *Figure {
	f := &Figure{W: 174, H: 80}
	low, high, most := math.Inf(1), math.Inf(-1), 0
	for _, s := range d.Stations {
		low, high, most = min(low, s.Min), max(high, s.Max), max(most, s.N)
		if s.SD != nil {
			low, high = min(low, s.Mean-*s.SD), max(high, s.Mean+*s.SD)
		}
	}
	if len(d.Stations) == 0 {
		low, high = 0, 1
	}
	f.Alt = fmt.Sprintf("%s along the arch: mean, SD and range of up to %d scans", d.Quantity, most)
	a := axes{Figure: f, box: Box{X: 15, Y: 13, W: 155, H: 50}, x1: 1}
	var step float64
	a.y0, a.y1, step = span(low, high, 6)
	for from := 0; from < len(d.Stations); {
		to := from + 1
		for to < len(d.Stations) && d.Stations[to].Along-d.Stations[to-1].Along < 1.5*d.Step {
			to++
		}
		a.band(d.Stations[from:to])
		from = to
	}
	a.frame(within(d.Quantity, d.Unit), step)
	for from := 0; from < len(d.Stations); {
		to := from + 1
		for to < len(d.Stations) && d.Stations[to].Along-d.Stations[to-1].Along < 1.5*d.Step {
			to++
		}
		var mean [][2]float64
		for _, s := range d.Stations[from:to] {
			mean = append(mean, a.at(s.Along, s.Mean))
		}
		f.line(ink, 0.45, mean...)
		from = to
	}
	a.key()
	y := a.box.Y + a.box.H
	free := [2]float64{math.Inf(-1), math.Inf(-1)} // where each of two rows of names ends
	for _, p := range d.Places {
		x, w := a.x(p.At), f.width(f.legible(p.Name))
		f.line(ink, figureLine, [2]float64{x, y}, [2]float64{x, y + 1})
		for row := range free {
			if x-w/2 > free[row] {
				free[row] = x + w/2 + 1.5
				f.words(p.Name, x, y+4+float64(row)*figureType*1.35, 0.5, ink)
				break
			}
		}
	}
	f.words("along the border, from the patient's right to left", a.box.X+a.box.W/2, y+13, 0.5, ink)
	return f
}

// band draws the range and mean ± SD of neighbouring stations.
func (a axes) band(s []ProfileStation) {
	ring := func(low, high func(ProfileStation) float64) (out [][2]float64) {
		for _, k := range s {
			out = append(out, a.at(k.Along, high(k)))
		}
		for i := len(s) - 1; i >= 0; i-- {
			out = append(out, a.at(s[i].Along, low(s[i])))
		}
		return out
	}
	sd := func(k ProfileStation) float64 {
		if k.SD == nil {
			return 0
		}
		return *k.SD
	}
	a.area(lightArea, ring(func(k ProfileStation) float64 { return k.Min }, func(k ProfileStation) float64 { return k.Max })...)
	a.area(midArea, ring(func(k ProfileStation) float64 { return max(k.Min, k.Mean-sd(k)) }, func(k ProfileStation) float64 { return min(k.Max, k.Mean+sd(k)) })...)
}

// key tells what the bands are, above the frame.
func (a axes) key() {
	x, y := a.box.X, 9.5
	for i, t := range [3]string{"range", "mean ± SD, within the range", "mean"} {
		if i == 2 {
			a.line(ink, 0.45, [2]float64{x, y - 1}, [2]float64{x + 6, y - 1})
		} else {
			c := [2]color.RGBA{lightArea, midArea}[i]
			a.area(c, [2]float64{x, y - 2.4}, [2]float64{x + 6, y - 2.4}, [2]float64{x + 6, y}, [2]float64{x, y})
		}
		a.words(t, x+7.5, y, 0, ink)
		x += 12 + a.width(t)
	}
}
