package render

import (
	"fmt"
	"math"
	"sort"
	"strconv"
)

// PlotPoint is one value of a plot.
type PlotPoint struct {
	X, Y float64
	Tip  string // what it is
	Link string // opened in SVG by a click; empty: none
}

// axes is a frame with two scales. Lengths are mm on the figure.
type axes struct {
	*Figure
	box            Box     // where values lie
	x0, x1, y0, y1 float64 // the values at its edges
}

func (a axes) x(v float64) float64 { return a.box.X + a.box.W*(v-a.x0)/(a.x1-a.x0) }
func (a axes) y(v float64) float64 { return a.box.Y + a.box.H*(1-(v-a.y0)/(a.y1-a.y0)) }

func (a axes) at(x, y float64) [2]float64 { return [2]float64{a.x(x), a.y(y)} }

// span widens the range of values to whole steps of a round width; equal values get a range of their
// own size.
func span(low, high float64, steps float64) (from, to, step float64) {
	if !(high > low) {
		d := max(0.1, math.Abs(low)/10)
		low, high = low-d, high+d
	}
	step = nice((high - low) / steps)
	return step * math.Floor(low/step+1e-9), step * math.Ceil(high/step-1e-9), step
}

// tickText writes a value of an axis with as many digits as its step needs.
func tickText(v, step float64) string {
	digits := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	return strconv.FormatFloat(math.Round(v/step)*step+0, 'f', digits, 64)
}

// frame draws the vertical scale with light lines across, and its name above it.
func (a axes) frame(name string, step float64) {
	for i := 0; ; i++ {
		v := a.y0 + float64(i)*step
		if v > a.y1+step/1e3 {
			break
		}
		y := a.y(v)
		a.line(ruleInk, 0.1, [2]float64{a.box.X, y}, [2]float64{a.box.X + a.box.W, y})
		a.words(tickText(v, step), a.box.X-1.2, y+figureType*0.36, 1, ink)
	}
	a.line(ink, figureLine, [2]float64{a.box.X, a.box.Y}, [2]float64{a.box.X, a.box.Y + a.box.H})
	a.line(ink, figureLine, [2]float64{a.box.X, a.box.Y + a.box.H}, [2]float64{a.box.X + a.box.W, a.box.Y + a.box.H})
	for i, l := range a.fit(name, a.W-4) {
		a.words(l, 2, 4.5+float64(i)*figureType*1.25, 0, ink)
	}
}

// below draws the ticks of the horizontal scale and its name under them.
func (a axes) below(name string, step float64) {
	for i := 0; ; i++ {
		v := a.x0 + float64(i)*step
		if v > a.x1+step/1e3 {
			break
		}
		x, y := a.x(v), a.box.Y+a.box.H
		a.line(ink, figureLine, [2]float64{x, y}, [2]float64{x, y + 1})
		a.words(tickText(v, step), x, y+4, 0.5, ink)
	}
	a.words(a.fit(name, a.box.W)[0], a.box.X+a.box.W/2, a.box.Y+a.box.H+8.5, 0.5, ink)
}

// within is a name with its unit.
func within(name, unit string) string {
	if unit == "" {
		return name
	}
	return name + ", " + unit
}

// BlandAltman is the description of a plot of differences over means. Lower, Upper and intervals may
// be missing.
type BlandAltman struct {
	A, B, Unit                     string // what was compared, and the unit of all values
	Points                         []PlotPoint
	Bias                           float64
	Limits                         *[2]float64 // bias ± 1.96 SD
	BiasRange, LowRange, HighRange *[2]float64 // confidence intervals, drawn as bars beside the frame
}

// Figure lays the plot out: 120 × 80 mm. Limits are dashed; right of the frame stand the intervals, each a bar
// of its own since those of few pairs overlap, and then the values, moved apart where they would meet.
func (d BlandAltman) Figure() *Figure {
	f := &Figure{W: 120, H: 80, Alt: fmt.Sprintf("Bland-Altman plot of %s and %s, %d pairs, bias %s %s", d.A, d.B, len(d.Points), sig(d.Bias), d.Unit)}
	xl, xh, yl, yh := math.Inf(1), math.Inf(-1), d.Bias, d.Bias
	for _, p := range d.Points {
		xl, xh, yl, yh = min(xl, p.X), max(xh, p.X), min(yl, p.Y), max(yh, p.Y)
	}
	for _, r := range []*[2]float64{d.Limits, d.BiasRange, d.LowRange, d.HighRange} {
		if r != nil {
			yl, yh = min(yl, r[0]), max(yh, r[1])
		}
	}
	yl, yh = min(yl, 0), max(yh, 0)
	a := axes{Figure: f, box: Box{X: 15, Y: 8, W: 72, H: 60}}
	var sx, sy float64
	a.x0, a.x1, sx = span(xl, xh, 5)
	a.y0, a.y1, sy = span(yl, yh, 6)
	right := a.box.X + a.box.W
	a.frame(within("difference "+d.A+" - "+d.B, d.Unit), sy)
	a.below(within("mean of both", d.Unit), sx)
	f.line(ink, 0.4, [2]float64{a.box.X, a.y(d.Bias)}, [2]float64{right, a.y(d.Bias)})
	const bars, cap = 2.4, 0.8 // from bar to bar, and half the width of its ends
	for i, r := range []*[2]float64{d.LowRange, d.BiasRange, d.HighRange} {
		if r == nil {
			continue
		}
		x := right + bars*float64(i+1)
		f.line(ink, 0.3, [2]float64{x, a.y(r[0])}, [2]float64{x, a.y(r[1])})
		for _, y := range r {
			f.line(ink, 0.3, [2]float64{x - cap, a.y(y)}, [2]float64{x + cap, a.y(y)})
		}
	}
	names, values := []string{"bias"}, []float64{d.Bias}
	if d.Limits != nil {
		for i, v := range d.Limits {
			f.dashed(ink, 0.3, 2, 1.2, [2]float64{a.box.X, a.y(v)}, [2]float64{right, a.y(v)})
			names, values = append(names, [2]string{"-1.96 SD", "+1.96 SD"}[i]), append(values, v)
		}
	}
	// Each name has two lines.
	var at []float64
	for _, v := range values {
		at = append(at, a.y(v))
	}
	for i, y := range apart(at, figureType*2.7, a.box.Y+2, a.box.Y+a.box.H-2) {
		// A thin line leads from the value past its own bar to its name.
		f.line(softInk, 0.12, [2]float64{right, at[i]}, [2]float64{right + 3.5*bars, at[i]}, [2]float64{right + 4*bars, y})
		f.words(names[i], right+4*bars+0.5, y-0.3, 0, ink)
		f.words(valued(sig(values[i]), d.Unit), right+4*bars+0.5, y+figureType, 0, ink)
	}
	for _, p := range d.Points {
		f.mark(a.at(p.X, p.Y), p.Tip, p.Link)
	}
	return f
}

func valued(value, unit string) string {
	if unit == "" {
		return value
	}
	return value + " " + unit
}

// sig writes a value with three digits that count, and to 0.0001 at most.
func sig(v float64) string {
	if v == 0 {
		return "0"
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	return strconv.FormatFloat(v, 'f', max(0, min(4, digits)), 64)
}

// PlotGroup is one group of a plot of groups. What is nil is not drawn.
type PlotGroup struct {
	Name   string
	Points []PlotPoint // by Y
	Box    *[3]float64 // first quartile, median, third quartile
	Mean   *float64
	Range  *[2]float64 // the mean's confidence interval
}

// Groups is the description of a plot of dots and boxes by group.
type Groups struct {
	Quantity, Unit string
	Groups         []PlotGroup
}

// Figure lays the plot out: 80 mm high and as wide as its groups need, 80 to 174 mm. Every value is a
// dot; the box has quartiles and median; right of it a cross bar is the mean with its interval.
func (d Groups) Figure() *Figure {
	n := float64(max(1, len(d.Groups)))
	f := &Figure{W: max(80, min(174, 20+26*n)), H: 80}
	low, high, count := math.Inf(1), math.Inf(-1), 0
	for _, g := range d.Groups {
		count += len(g.Points)
		for _, p := range g.Points {
			low, high = min(low, p.Y), max(high, p.Y)
		}
		if g.Range != nil {
			low, high = min(low, g.Range[0]), max(high, g.Range[1])
		}
	}
	if count == 0 {
		low, high = 0, 1
	}
	f.Alt = fmt.Sprintf("%s by group, %d values in %d groups", d.Quantity, count, len(d.Groups))
	a := axes{Figure: f, box: Box{X: 15, Y: 8, W: f.W - 18, H: 58}, x1: n}
	var step float64
	a.y0, a.y1, step = span(low, high, 6)
	a.frame(within(d.Quantity, d.Unit), step)
	slot := a.box.W / n
	for i, g := range d.Groups {
		x := a.x(float64(i) + 0.5)
		half := min(8, 0.3*slot)
		if b := g.Box; b != nil {
			l, r := x-half, x+half
			q := [4][2]float64{{l, a.y(b[2])}, {r, a.y(b[2])}, {r, a.y(b[0])}, {l, a.y(b[0])}}
			f.area(lightArea, q[:]...)
			f.line(softInk, 0.2, q[0], q[1], q[2], q[3], q[0])
			f.line(ink, 0.5, [2]float64{l, a.y(b[1])}, [2]float64{r, a.y(b[1])})
		}
		a.swarm(g.Points, x, half)
		if m := x + half + min(2, 0.1*slot); g.Mean != nil {
			if g.Range != nil {
				f.line(ink, 0.3, [2]float64{m, a.y(g.Range[0])}, [2]float64{m, a.y(g.Range[1])})
			}
			f.line(ink, 0.5, [2]float64{m - 0.9, a.y(*g.Mean)}, [2]float64{m + 0.9, a.y(*g.Mean)})
		}
		lines := append(f.fit(g.Name, slot-1), "n = "+strconv.Itoa(len(g.Points)))
		for k, l := range lines {
			f.words(l, x, a.box.Y+a.box.H+4+float64(k)*figureType*1.25, 0.5, ink)
		}
	}
	return f
}

// swarm sets dots side by side so that none covers another while there is room, in the order of
// their values.
func (a axes) swarm(points []PlotPoint, x, half float64) {
	order := append([]PlotPoint(nil), points...)
	sort.SliceStable(order, func(i, j int) bool { return order[i].Y < order[j].Y })
	var set [][2]float64
	const step = figureDot * 0.7
	for _, p := range order {
		y := a.y(p.Y)
		at := [2]float64{x, y}
		for k := 0; ; k++ {
			off := step * float64((k+1)/2)
			if off > half {
				at[0] = x
				break
			}
			at[0] = x + off*float64(1-2*(k%2))
			free := true
			for i := len(set) - 1; i >= 0 && free; i-- {
				free = math.Hypot(set[i][0]-at[0], set[i][1]-y) >= 2*figureDot
			}
			if free {
				break
			}
		}
		set = append(set, at)
		a.mark(at, p.Tip, p.Link)
	}
}
