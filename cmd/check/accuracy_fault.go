package main

import (
	"cmp"
	"math"
	"slices"

	"fornix/inspect"
)

// pair is a truth and what was found for it; found is -1 where it was missed.
type pair struct{ truth, found int }

// match pairs truths with what was found, nearest first, each once, within reach.
func match(truth, found []vec, reach func(i int) float64) (pairs []pair, extra []int) {
	type candidate struct {
		pair
		d float64
	}
	var all []candidate
	for i, p := range truth {
		for k, q := range found {
			if d := p.Dist(q); d <= reach(i) {
				all = append(all, candidate{pair{i, k}, d})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(a.d, b.d) })
	of := make([]int, len(truth))
	for i := range of {
		of[i] = -1
	}
	taken := make([]bool, len(found))
	for _, a := range all {
		if of[a.truth] < 0 && !taken[a.found] {
			of[a.truth], taken[a.found] = a.found, true
		}
	}
	for i, k := range of {
		pairs = append(pairs, pair{i, k})
	}
	for k := range found {
		if !taken[k] {
			extra = append(extra, k)
		}
	}
	return
}

// rimSpan is the greatest distance between two vertices of the boundary loop nearest to a place.
func (c *comparison) rimSpan(at vec) float64 {
	best, span := math.Inf(1), math.NaN()
	for _, l := range c.mesh.Loops() {
		var mid vec
		for _, v := range l.Verts {
			mid = mid.Add(c.mesh.Pos[v].Scale(1 / float64(len(l.Verts))))
		}
		if d := mid.Dist(at); d < best {
			best, span = d, 0
			for i, v := range l.Verts {
				for _, w := range l.Verts[:i] {
					span = math.Max(span, c.mesh.Pos[v].Dist(c.mesh.Pos[w]))
				}
			}
		}
	}
	return span
}

// holes compares openings. The nominal span is the circle's that was asked for; the rim's is
// that of the faces that are really missing, which is wider by up to an edge.
func (c *comparison) holes() {
	var truth, found []vec
	for _, h := range c.truth.Holes {
		truth = append(truth, h.Point)
	}
	for _, h := range c.rep.Holes {
		found = append(found, h.Centre)
	}
	pairs, extra := match(truth, found, func(i int) float64 { return c.truth.Holes[i].Radius + 1 })
	for _, p := range pairs {
		h := &c.truth.Holes[p.truth]
		c.ask("hole", p.found >= 0)
		if p.found < 0 {
			c.fail("missed a hole of radius %.2f on the %s", h.Radius, h.Surface)
			continue
		}
		got := &c.rep.Holes[p.found]
		rim := c.rimSpan(h.Point)
		c.err("hole span nominal", math.Abs(got.SpanMM/(2*h.Radius)-1))
		c.err("hole span rim", math.Abs(got.SpanMM/rim-1))
		if math.Abs(got.SpanMM/(2*h.Radius)-1) > 0.1 {
			c.fail("hole on the %s %.2f wide (rim %.2f) measured %.2f", h.Surface, 2*h.Radius, rim, got.SpanMM)
		}
		// What a phantom calls outer includes its rim.
		same := got.Surface == h.Surface || h.Surface == inspect.OnOuter && got.Surface == inspect.OnRim
		c.ask("hole surface", same)
		if !same {
			c.fail("hole on the %s told on the %s", h.Surface, got.Surface)
		}
		c.err("hole area", math.Abs(got.AreaMM2/h.Area-1))
		c.certain("hole span", got.SpanMM-2*h.Radius, got.SpanUMM)
		c.certain("hole perimeter", got.PerimeterMM-h.Rim, got.PerimeterUMM)
		c.certain("hole area", got.AreaMM2-h.Area, got.AreaUMM2)
	}
	for _, k := range extra {
		c.ask("hole invented", true)
		c.fail("invented a hole %.2f wide on the %s", c.rep.Holes[k].SpanMM, c.rep.Holes[k].Surface)
	}
}

func or0(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

func (c *comparison) defects() {
	at := map[string][]vec{}
	of := map[string][]*inspect.Defect{}
	for i := range c.rep.Defects {
		d := &c.rep.Defects[i]
		at[d.Kind], of[d.Kind] = append(at[d.Kind], d.Centre), append(of[d.Kind], d)
	}
	for _, kind := range []string{inspect.Void, inspect.Bleb} {
		caps := c.truth.Voids
		if kind == inspect.Bleb {
			caps = c.truth.Blebs
		}
		var places []vec
		for _, q := range caps {
			places = append(places, q.Point)
		}
		pairs, extra := match(places, at[kind], func(i int) float64 { return math.Max(1, caps[i].Diameter/2+0.3) })
		for _, p := range pairs {
			q := &caps[p.truth]
			depth := q.Depth + q.Height
			key := "small"
			switch {
			case q.Diameter >= 1 && depth >= 0.35:
				key = "cap"
			case q.Diameter >= 0.8 && q.Diameter < 1 && depth >= 0.3 && c.truth.Noise >= 0.018:
				key = "fine cap"
				if kind == inspect.Void && c.p.Spacing <= 0.3 {
					c.ask("fine cap, spacing to 0.3", p.found >= 0)
				}
			}
			c.ask(key, p.found >= 0)
			if p.found < 0 {
				if key != "small" {
					c.fail("missed a %s %.2f wide, %.2f deep (spacing %.2f, noise %.3f)", kind, q.Diameter, depth, c.p.Spacing, c.truth.Noise)
				}
				continue
			}
			d := of[kind][p.found]
			if key == "cap" {
				a, b := math.Abs(or0(d.DiameterMM)/q.Diameter-1), math.Abs(d.DepthMM/depth-1)
				c.err("cap diameter", a)
				c.err("cap depth", b)
				if a > 0.1 || b > 0.1 {
					c.fail("%s %.2f x %.2f measured %.2f ± %.2f x %.2f ± %.2f (spacing %.2f, noise %.3f)", kind, q.Diameter, depth,
						or0(d.DiameterMM), or0(d.DiameterUMM), d.DepthMM, d.DepthUMM, c.p.Spacing, c.truth.Noise)
				}
				if a > 0.1 && or0(d.DiameterUMM) <= 0.1*q.Diameter || b > 0.1 && d.DepthUMM <= 0.1*depth {
					c.ask("cap surely off", true)
				}
			}
			c.certain("void and bleb diameter", or0(d.DiameterMM)-q.Diameter, or0(d.DiameterUMM))
			c.certain("void and bleb depth", d.DepthMM-depth, d.DepthUMM)
			c.certain("void and bleb volume", d.VolumeMM3-q.Volume, d.VolumeUMM3)
		}
		for _, k := range extra {
			c.ask("cap invented", true)
			d := of[kind][k]
			c.fail("invented a %s %.2f wide, %.2f deep, %s", kind, or0(d.DiameterMM), d.DepthMM, d.Region)
		}
	}
	c.folds(at[inspect.Fold], of[inspect.Fold])
}

// edgeTurnDeg is the turn of the surface across a fold, from rim to rim, over which it lies along an edge, whose
// sides no longer face one way, and not in a face: it takes the edge off, and nothing beside it tells how far.
const edgeTurnDeg = 90

// folds pairs by the middle; a groove told in pieces counts as missed. Of those that take an edge off nothing
// is asked, and they are counted.
func (c *comparison) folds(at []vec, of []*inspect.Defect) {
	var places []vec
	for _, f := range c.truth.Folds {
		places = append(places, f.Middle)
	}
	pairs, extra := match(places, at, func(i int) float64 { return c.truth.Folds[i].Length/4 + 0.5 })
	for _, p := range pairs {
		f := &c.truth.Folds[p.truth]
		if f.Turn > edgeTurnDeg {
			c.ask("fold along an edge", p.found >= 0)
			continue
		}
		key := "faint fold"
		if f.Width >= 1 && f.Depth >= 0.4 {
			key = "fold"
		}
		c.ask(key, p.found >= 0)
		if p.found < 0 {
			if key == "fold" {
				c.fail("missed a fold %.1f long, %.2f wide, %.2f deep (spacing %.2f, noise %.3f)", f.Length, f.Width, f.Depth, c.p.Spacing, c.truth.Noise)
			}
			continue
		}
		d := of[p.found]
		if key == "fold" {
			e := math.Abs(or0(d.LengthMM)/f.Length - 1)
			c.err("fold length", e)
			if e > 0.15 {
				c.fail("fold %.1f long measured %.1f", f.Length, or0(d.LengthMM))
			}
		}
		c.certain("fold length", or0(d.LengthMM)-f.Length, or0(d.LengthUMM))
		c.certain("fold width", or0(d.WidthMM)-f.Width, or0(d.WidthUMM))
		c.certain("fold depth", d.DepthMM-f.Depth, d.DepthUMM)
	}
	for _, k := range extra {
		c.ask("fold invented", true)
		c.fail("invented a fold %.1f long, %.2f deep, %s", or0(of[k].LengthMM), of[k].DepthMM, of[k].Region)
	}
}
