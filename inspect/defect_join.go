package inspect

import (
	"math"
	"slices"
)

// joinFolds makes one fold of pieces that overlap or continue one another.
func (s *survey) joinFolds(fs []fold) []fold {
	for again := true; again; {
		again = false
	pairs:
		for i := range fs {
			for j := range fs {
				if i == j || fs[j].length > fs[i].length || fs[j].length == fs[i].length && j < i {
					continue
				}
				if g, ok := joined(fs[i], fs[j]); ok {
					fs[i] = g
					fs = slices.Delete(fs, j, j+1)
					again = true
					break pairs
				}
			}
		}
	}
	return fs
}

// joined adds to the longer fold f what of g lies beyond one of its ends; nothing, if g lies
// along f. False if the two are two.
func joined(f, g fold) (fold, bool) {
	near := math.Max(f.width, g.width)/2 + 0.3
	covered := 0
	for _, q := range g.path {
		if distPath(q, f.path) < near {
			covered++
		}
	}
	if 2*covered >= len(g.path) {
		return f, true
	}
	for range 2 {
		end := f.path[len(f.path)-1]
		ahead := end.Sub(f.path[len(f.path)-2]).Unit()
		for range 2 {
			var beyond []Vec
			for _, q := range g.path {
				if distPath(q, f.path) >= near || len(beyond) > 0 {
					beyond = append(beyond, q)
				}
			}
			if len(beyond) > 1 {
				gap := beyond[0].Sub(end)
				back := beyond[1].Sub(beyond[0]).Unit()
				if l := gap.Norm(); l < 1.5*math.Max(f.width, g.width)+0.5 && gap.Dot(ahead) > 0.7*l && ahead.Dot(back) > 0.6 {
					return extended(f, g, beyond), true
				}
			}
			g.path = slices.Clone(g.path)
			slices.Reverse(g.path)
		}
		f.path = slices.Clone(f.path)
		slices.Reverse(f.path)
	}
	return fold{}, false
}

// extended returns f with the points beyond of g behind its end.
func extended(f, g fold, beyond []Vec) fold {
	h := f
	h.path = append(slices.Clone(f.path), beyond...)
	h.length = 0
	for i := 1; i < len(h.path); i++ {
		h.length += h.path[i].Dist(h.path[i-1])
	}
	k := f.length / (f.length + g.length)
	h.volume = f.volume * h.length / f.length
	h.width = float64(k*f.width) + float64((1-k)*g.width)
	h.depth = float64(k*f.depth) + float64((1-k)*g.depth)
	h.in = append(slices.Clone(f.in), g.in...)
	h.centre = middle(h.path, h.length)
	return h
}

// middle returns the point half of the length along a path.
func middle(path []Vec, length float64) Vec {
	rest := length / 2
	for i := 1; i < len(path); i++ {
		l := path[i].Dist(path[i-1])
		if rest <= l {
			return path[i-1].Along(rest/l, path[i].Sub(path[i-1]))
		}
		rest -= l
	}
	return path[len(path)-1]
}

func distPath(q Vec, path []Vec) float64 {
	d := math.Inf(1)
	for i := 1; i < len(path); i++ {
		d = math.Min(d, distSegment(q, path[i-1], path[i]))
	}
	return d
}

func distSegment(q, a, b Vec) float64 {
	d := b.Sub(a)
	t := 0.0
	if n := d.Norm2(); n > 0 {
		t = math.Min(1, math.Max(0, q.Sub(a).Dot(d)/n))
	}
	return q.Dist(a.Along(t, d))
}
