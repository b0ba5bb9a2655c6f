package inspect

import "math"

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
	stride := max(1, len(cells)/3000)
	best := -1.0
	var bestAngle, bestOff float64
	try := func(angle, off float64, stride int) {
		if v := g.alike(cells, stride, cx, cy, angle, off, sigma); v > best {
			best, bestAngle, bestOff = v, angle, off
		}
	}
	const deg = math.Pi / 180
	for a := 0.0; a < 180; a += 3 {
		for off := -6.0; off <= 6; off += 1.5 {
			try(a*deg, off, stride)
		}
	}
	best = -1
	a0, o0 := bestAngle, bestOff
	for _, step := range []struct{ a, o float64 }{{1, 0.75}, {0.4, 0.3}, {0.15, 0.1}} {
		for i := -3; i <= 3; i++ {
			for j := -3; j <= 3; j++ {
				try(a0+float64(i)*step.a*deg, o0+float64(j)*step.o, max(1, stride/3))
			}
		}
		a0, o0 = bestAngle, bestOff
	}
	return cx - bestOff*math.Sin(bestAngle), cy + bestOff*math.Cos(bestAngle), bestAngle, best
}

// alike compares the height map with its mirror image about the line through (cx, cy) moved
// sideways by off.
func (g *grid) alike(cells []int, stride int, cx, cy, angle, off, sigma float64) float64 {
	c, s := math.Cos(angle), math.Sin(angle)
	var sum, n float64
	for i := 0; i < len(cells); i += stride {
		k := cells[i]
		x, y := g.centre(k)
		n++
		d := 2 * (-(x-cx)*s + (y-cy)*c - off)
		j, ok := g.at(x+d*s, y-d*c)
		if !ok {
			continue
		}
		dt, db := g.top[k]-g.top[j], g.bottom[k]-g.bottom[j]
		sum += 0.5*math.Exp(-dt*dt/(2*sigma*sigma)) + 0.5*math.Exp(-db*db/(2*sigma*sigma))
	}
	return sum / n
}

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
