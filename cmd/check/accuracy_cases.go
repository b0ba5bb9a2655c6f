package main

import (
	"math"
	"math/rand/v2"

	"fornix/inspect/phantom"
)

// caseOf draws the phantom of a seed: phantom.Random with faults of every kind often enough to be
// counted, and with spacings of 0.15 to 0.5 mm of which the fine ones, whose cost grows with the
// square, are seldom.
func caseOf(seed int64, jaw string) phantom.Params {
	p := phantom.Random(seed, jaw)
	r := rand.New(rand.NewPCG(uint64(seed), 0xacc))
	in := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	often := func(q float64) bool { return r.Float64() < q }
	switch u := r.Float64(); {
	case u < 0.04:
		p.Spacing = in(0.15, 0.2)
	case u < 0.2:
		p.Spacing = in(0.2, 0.28)
	case u < 0.6:
		p.Spacing = in(0.28, 0.38)
	default:
		p.Spacing = in(0.38, 0.5)
	}
	if p.Decimate > 0 && p.Spacing/math.Sqrt(1-p.Decimate) > 0.5 {
		p.Decimate = 0
	}
	if often(0.25) {
		p.Noise = 0.02
	}
	// Faults on crest, slopes and palate, apart from each other.
	var used [][2]float64
	for _, c := range append(append([]phantom.Cap(nil), p.Voids...), p.Blebs...) {
		used = append(used, [2]float64{c.X, c.Y})
	}
	for _, f := range p.Folds {
		used = append(used, [2]float64{f.X, f.Y})
	}
	for _, h := range p.Holes {
		used = append(used, [2]float64{h.X, h.Y})
	}
	place := func() (x, y float64, ok bool) {
		for try := 0; try < 60 && !ok; try++ {
			th, out := in(-1.2, 1.2), in(0.8, 1.06)
			if jaw == "upper" && often(0.4) {
				out = in(0.2, 0.8)
			}
			x = out * 0.94 * p.HalfWidth * p.Size * math.Sin(th)
			y = 0.66*p.Length*p.Size*(1-math.Cos(th)) + (1-out)*0.4*p.Length*p.Size*math.Cos(th)
			ok = true
			for _, u := range used {
				ok = ok && math.Hypot(u[0]-x, u[1]-y) > 8
			}
		}
		if ok {
			used = append(used, [2]float64{x, y})
		}
		return
	}
	lay := func(q float64, f func(x, y float64)) {
		for often(q) {
			if x, y, ok := place(); ok {
				f(x, y)
			}
		}
	}
	lay(0.45, func(x, y float64) {
		d := in(1, 2.6)
		p.Voids = append(p.Voids, phantom.Cap{X: x, Y: y, Diameter: d, Depth: math.Max(0.35, d*in(0.25, 0.5))})
	})
	if p.Noise == 0.02 {
		lay(0.6, func(x, y float64) {
			d := in(0.8, 1)
			p.Voids = append(p.Voids, phantom.Cap{X: x, Y: y, Diameter: d, Depth: d * in(0.38, 0.5)})
		})
	}
	lay(0.2, func(x, y float64) {
		p.Folds = append(p.Folds, phantom.Fold{X: x, Y: y, Deg: in(0, 180), Length: in(5, 10), Width: in(1, 1.4), Depth: in(0.4, 0.6)})
	})
	if !p.TissueSide && often(0.12) {
		th := in(-1, 1)
		p.Holes = append(p.Holes, phantom.Hole{X: 1.15 * p.HalfWidth * math.Sin(th), Y: -6 + 0.7*p.Length*(1-math.Cos(th)), Radius: in(1, 2), Surface: "border"})
	}
	return p
}
