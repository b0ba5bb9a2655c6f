package inspect

import (
	"math"

	"fornix/mesh"
)

// How a fold is carried on: bands of sound surface to its sides, mm; depths as shares of the known form's;
// largest RMS distance from that form, as a share of its depth; how far across, in half widths, and how far
// turned, it is looked for.
const (
	carryWideMM, carryNarrowMM    = 1.2, 0.7
	carryShallowest, carryDeepest = 0.6, 1.6
	carryMisfit                   = 0.15
	carryAcross                   = 1.0
	carryTurn                     = 0.6 // radians
)

// carry looks whether a fold whose form is known from like goes on at a place on its floor, on along
// t. Where the sound surface bends along the fold, as over a narrow crest, no cylinder lies in the
// groove; so the heights of the vertices under the sound surface, which follows that bend, are
// compared with the known form's: offset across, turn and depth are free, the rest is given. The sound
// surface is taken over a wide band to both sides, or, where that bends too much, over a narrow one.
func (s *survey) carry(w *walker, last *pit, at, t Vec, like *pit) pit {
	q := s.carryOver(w, last, at, t, like, carryWideMM)
	if q.why != "" {
		q = s.carryOver(w, last, at, t, like, carryNarrowMM)
	}
	return q
}

func (s *survey) carryOver(w *walker, last *pit, at, t Vec, like *pit, wide float64) pit {
	edge := s.meanEdge(last.in)
	q := pit{sign: 1, along: t, a: like.a, r: like.r, surface: last.surface, axis: last.axis, carried: true}
	half, band := math.Max(0.6, 2*edge), math.Max(wide, 3*edge)
	outer := q.a + band
	patch := w.reach(last.in, func(x mesh.VertexID) bool {
		return s.m.Pos[x].Dist(at) <= math.Hypot(outer, half)+last.depth
	})
	if len(patch) < 10 {
		q.why = "few vertices"
		return q
	}
	var f sound
	o := at.Along(last.depth, q.axis)
	for range 2 {
		t = t.Along(-t.Dot(q.axis), q.axis).Unit()
		f = sound{o: o, n: q.axis, e1: t, e2: q.axis.Cross(t)}
		w.pts = w.pts[:0]
		left, right := 0, 0
		for i, x := range patch {
			u, v, z := f.local(s.m.Pos[x])
			if math.Abs(u) > half || math.Abs(v) > outer || math.Abs(v) < q.a+0.3*edge || s.nor[x].Dot(q.axis) < 0.25 {
				continue
			}
			if v < 0 {
				left++
			} else {
				right++
			}
			w.pts = append(w.pts, patchPoint{u: u, v: v, z: z, i: i})
		}
		if min(left, right) < 3 || !f.fit(w.pts, 6, math.Max(s.noise, 0.01)) {
			q.why = "no sound surface"
			return q
		}
		o, q.axis = f.world(0, 0, f.c[0]), f.normal(0, 0)
	}
	type place struct{ u, v, low float64 }
	var near []place
	for _, x := range patch {
		if u, v, z := f.local(s.m.Pos[x]); math.Abs(u) <= half && math.Abs(v) <= q.a+0.6 && s.nor[x].Dot(q.axis) > -0.2 {
			near = append(near, place{u, v, f.at(u, v) - z})
		}
	}
	best, shift, turn, depth := math.Inf(1), 0.0, 0.0, 0.0
	const turns, shifts = 6, 20 // steps to each side
	for i := -turns; i <= turns; i++ {
		angle := carryTurn / turns * float64(i)
		sin, cos := math.Sincos(angle)
		for k := -shifts; k <= shifts; k++ {
			y0 := carryAcross / shifts * float64(k) * q.a
			both, form, all := 0.0, 0.0, 0.0
			inside := 0
			for _, p := range near {
				h := 0.0
				if y := float64(cos*p.v) - float64(sin*p.u) - y0; math.Abs(y) < q.a {
					h = math.Sqrt(float64(q.r*q.r)-float64(y*y)) - q.r + like.depth
					inside++
				}
				both, form, all = both+float64(h*p.low), form+float64(h*h), all+float64(p.low*p.low)
			}
			if inside < 4 || form == 0 {
				continue
			}
			if rest := all - float64(both*both)/form; rest < best {
				best, shift, turn, depth = rest, y0/cos, angle, like.depth*both/form
			}
		}
	}
	if math.IsInf(best, 1) {
		q.why = "few vertices"
		return q
	}
	q.off, q.depth = math.Sqrt(best/float64(len(near))), depth
	switch {
	case depth < carryShallowest*like.depth || depth > carryDeepest*like.depth:
		q.why = "depth"
	case q.off > math.Max(2*s.noise, carryMisfit*like.depth):
		q.why = "misfit"
	}
	q.foot, q.axis = f.world(0, shift, f.at(0, shift)), f.normal(0, shift)
	t = t.Along(math.Tan(turn), f.e2)
	q.along = t.Along(-t.Dot(q.axis), q.axis).Unit()
	for _, x := range patch {
		if u, v, _ := f.local(s.m.Pos[x]); math.Abs(u) <= half && math.Abs(v-shift-float64(u*math.Tan(turn))) < q.a {
			q.in = append(q.in, x)
		}
	}
	return q
}
