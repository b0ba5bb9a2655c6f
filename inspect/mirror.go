package inspect

import (
	"math"
	"sync/atomic"
)

// mirrorLine finds the line in the grid's plane about which the height map is most nearly its
// own mirror image: a point on it, its direction (radians) and the share of cells that match.
//
// The measure is the mean of exp(-d²/2s²) over the cells, d the height difference to the
// mirrored cell, 0 where that is empty: bounded, so a short or chipped side pulls little.
// Based on: the reflect-and-compare method for the midsagittal plane (Benz et al. 2002).
func mirrorLine(g *grid, sigma float64) (x, y, angle, match float64) {
	var cells []int
	var sx, sy float64
	for k := range g.top {
		if !math.IsInf(g.top[k], -1) {
			cells = append(cells, k)
			cx, cy := g.centre(k)
			sx += cx
			sy += cy
		}
	}
	n := float64(len(cells))
	if n == 0 {
		return 0, 0, 0, 0
	}
	cx, cy := sx/n, sy/n
	few, full := g.held(g.thinned(cells, int(math.Sqrt(n/3000)))), g.held(cells)
	const deg = math.Pi / 180
	type line struct{ angle, off float64 }
	likeness := func(lines []line, cells []heldCell) []float64 {
		out := make([]float64, len(lines))
		inBlocks(len(lines), 1, func(int) func(int) {
			return func(i int) { out[i], _ = g.alike(cells, cx, cy, lines[i].angle, lines[i].off, sigma, nil) }
		})
		return out
	}
	// The first of the best of some lines, and how much is alike about it. A line is given up as soon as
	// it cannot be the best; they are gone through in strides, so that a good one is met soon.
	best := func(lines []line, cells []heldCell) (at line, most float64) {
		out := make([]float64, len(lines))
		const stride = 37 // has no divisor in common with 540 and 49
		var so topmost
		inBlocks(len(lines), 1, func(int) func(int) {
			return func(i int) {
				i = (i*stride + len(lines)/2) % len(lines)
				l, done := g.alike(cells, cx, cy, lines[i].angle, lines[i].off, sigma, &so)
				if out[i] = -1; done {
					out[i] = l
				}
			}
		})
		most = -1
		for i, v := range out {
			if v > most {
				at, most = lines[i], v
			}
		}
		return at, most
	}
	around := func(at line, angle, off float64) (lines []line) {
		for i := -3; i <= 3; i++ {
			for j := -3; j <= 3; j++ {
				lines = append(lines, line{at.angle + float64(i)*angle, at.off + float64(j)*off})
			}
		}
		return lines
	}
	var all []line
	for a := 0.0; a < 180; a += 3 {
		for off := -6.0; off <= 6; off += 1.5 {
			all = append(all, line{a * deg, off})
		}
	}
	at, _ := best(all, few)
	at, most := best(around(at, 1*deg, 0.75), full)
	if finer, m := best(around(at, 0.4*deg, 0.3), full); m > most {
		at = finer
	}
	// The top of the paraboloid through the places around the best one does not jump from one
	// step to the next as the surface changes.
	for range 2 {
		u, v := peak([49]float64(likeness(around(at, 0.3*deg, 0.2), full)))
		at = line{at.angle + u*0.3*deg, at.off + v*0.2}
	}
	match, _ = g.alike(full, cx, cy, at.angle, at.off, sigma, nil)
	return cx - at.off*math.Sin(at.angle), cy + at.off*math.Cos(at.angle), at.angle, match
}

// thinned returns the cells that lie on every step-th row and column on both sides of the
// origin.
func (g *grid) thinned(cells []int, step int) []int {
	if step < 2 {
		return cells
	}
	out := make([]int, 0, len(cells)/step/step+1)
	for _, k := range cells {
		x, y := g.centre(k)
		if int(math.Abs(x)/g.cell)%step == 0 && int(math.Abs(y)/g.cell)%step == 0 {
			out = append(out, k)
		}
	}
	return out
}

// peak fits f = c + bx + cy + dx² + exy + fy² to the values at 7 by 7 places around a point, row after
// row of equal x, and returns its top in steps from the point, within those places; the point itself
// where there is none.
func peak(values [49]float64) (x, y float64) {
	// On a square lattice the terms but for 1, x² and y² are at right angles.
	const s2, s4 = 28.0, 196.0 // Σi², Σi⁴ over -3 ... 3
	var z, zx, zy, zxx, zyy, zxy float64
	for i := -3; i <= 3; i++ {
		for j := -3; j <= 3; j++ {
			u, v := float64(i), float64(j)
			w := values[7*(i+3)+j+3]
			z += w
			zx += u * w
			zy += v * w
			zxx += u * u * w
			zyy += v * v * w
			zxy += u * v * w
		}
	}
	bx, by, cxy := zx/(7*s2), zy/(7*s2), zxy/(s2*s2)
	// Σ(i² - 4)² over the lattice is 7 (s4 - s2²/7).
	cxx, cyy := (zxx-4*z)/(7*(s4-s2*s2/7)), (zyy-4*z)/(7*(s4-s2*s2/7))
	det := 4*cxx*cyy - cxy*cxy
	if !(det > 0) || cxx >= 0 {
		return 0, 0
	}
	u, v := (-2*cyy*bx+cxy*by)/det, (-2*cxx*by+cxy*bx)/det
	return max(-3, min(3, u)), max(-3, min(3, v))
}

// held is a cell that holds surface, by its middle and its heights.
type heldCell struct{ x, y, top, bottom float64 }

func (g *grid) held(cells []int) []heldCell {
	out := make([]heldCell, len(cells))
	for i, k := range cells {
		x, y := g.centre(k)
		out[i] = heldCell{x, y, g.top[k], g.bottom[k]}
	}
	return out
}

// topmost is the largest of values that are found side by side, none under 0.
type topmost struct{ bits atomic.Uint64 }

func (t *topmost) value() float64 { return math.Float64frombits(t.bits.Load()) }

func (t *topmost) raise(v float64) {
	for {
		old := t.bits.Load()
		if v <= math.Float64frombits(old) || t.bits.CompareAndSwap(old, math.Float64bits(v)) {
			return
		}
	}
}

// alike compares the height map with its mirror image about the line through (cx, cy) moved
// sideways by off. It is not done where it gave up because the value would stay under the topmost one.
func (g *grid) alike(cells []heldCell, cx, cy, angle, off, sigma float64, so *topmost) (value float64, done bool) {
	c, s := math.Cos(angle), math.Sin(angle)
	sum, wide := 0.0, -1/(2*sigma*sigma)
	n := float64(len(cells))
	for i := range cells {
		if so != nil && i%64 == 63 && sum+float64(len(cells)-i) < so.value()*n*(1-1e-9) {
			return 0, false
		}
		q := &cells[i]
		d := 2 * (-(q.x-cx)*s + (q.y-cy)*c - off)
		top, bottom, ok := g.heights(q.x+d*s, q.y-d*c)
		if !ok {
			continue
		}
		dt, db := q.top-top, q.bottom-bottom
		sum += 0.5 * (bell(dt*dt*wide) + bell(db*db*wide))
	}
	value = sum / n
	if so != nil {
		so.raise(value)
	}
	return value, true
}

// bell returns e^x for x not above 0, to within 1e-15 of its value: as math.Exp, in less time and with the
// same bits on every machine. e^x is 2^(n/64) e^r, of which the first factor comes from a table and the
// second from its series, r being under 0.0055.
func bell(x float64) float64 {
	if !(x > -700) {
		return 0
	}
	const parts = 64
	n := int(x*(parts/math.Ln2) - 0.5)
	r := (x - float64(float64(n)*ln2High)) - float64(float64(n)*ln2Low)
	p := 1 + float64(r*(1+float64(r*(1./2+float64(r*(1./6+float64(r*(1./24+float64(r*(1./120))))))))))
	return p * rootsOfTwo[n&(parts-1)] * math.Float64frombits(uint64(1023+n>>6)<<52)
}

// A 64th of the logarithm of 2, in two parts of which the first has zeros at its end.
const (
	ln2High = 0x2.c5c85fdf4p-8
	ln2Low  = math.Ln2/64 - ln2High
)

// rootsOfTwo are 2^(i/64).
var rootsOfTwo = func() (t [64]float64) {
	for i := range t {
		t[i] = math.Exp2(float64(i) / 64)
	}
	return t
}()

// narrowEnd returns the direction (radians) along the line that leads from the narrow end of
// the silhouette to the wide one: from the front of an arch to its back. Width is taken from the
// line outward, so that an arch with one leg cut short is as wide as the other leg.
func narrowEnd(g *grid, px, py, angle float64) float64 {
	c, s := math.Cos(angle), math.Sin(angle)
	const bin = 1.0
	half := map[int]float64{}
	lo, hi := math.MaxInt, math.MinInt
	for k := range g.top {
		if math.IsInf(g.top[k], -1) {
			continue
		}
		x, y := g.centre(k)
		t := int(math.Floor(((x-px)*c + (y-py)*s) / bin))
		half[t] = max(half[t], math.Abs(-(x-px)*s+(y-py)*c))
		lo, hi = min(lo, t), max(hi, t)
	}
	var first, last float64
	third := (hi - lo) / 3
	for t := lo; t <= hi; t++ {
		if t < lo+third {
			first += half[t]
		} else if t > hi-third {
			last += half[t]
		}
	}
	if first <= last {
		return angle
	}
	return angle + math.Pi
}
