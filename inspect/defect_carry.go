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
// t. Where the sound surface bends along the fold, as over a narrow crest or the border's roll, no cylinder
// lies in the groove; so the vertices are taken by where they lie under the sound surface, which follows that bend,
// along its normals, and compared with the known form there: offset across, turn and depth are free, the
// width is given. The sound surface is taken over a wide band to both sides, or, where that bends too much, over a
// narrow one.
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
	half, band := math.Max(0.4, 1.5*edge), math.Max(wide, 3*edge)
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
	var near []lowSpot
	for _, x := range patch {
		if l := f.under(s.m.Pos[x]); math.Abs(l.u) <= half && math.Abs(l.v) <= q.a+0.6 && s.nor[x].Dot(q.axis) > -0.2 {
			near = append(near, l)
		}
	}
	best, inside := math.Inf(1), 0
	var shift, turn, depth float64
	try := func(y0, angle, deep float64) {
		r := (float64(q.a*q.a) + float64(deep*deep)) / (2 * deep)
		sin, cos := math.Sincos(angle)
		sum, n := 0.0, 0
		for _, p := range near {
			y, z := float64(cos*p.v)-float64(sin*p.u)-y0, p.low+r-deep
			d := math.Min(p.low, math.Sqrt(float64(y*y)+float64(z*z))-r)
			sum += float64(d * d)
			if math.Abs(y) < q.a {
				n++
			}
		}
		if sum < best {
			best, inside, shift, turn, depth = sum, n, y0, angle, deep
		}
	}
	// Depth after place and turn, which hang on it little, and all once more, finer.
	const steps, depths = 5, 20 // to each side; from a little less than is accepted to a little more
	const least, most = carryShallowest - 0.1, carryDeepest + 0.1
	across, bend := carryAcross*q.a, carryTurn
	depth = like.depth
	for range 3 {
		y0, angle, deep := shift, turn, depth
		for i := -steps; i <= steps; i++ {
			for k := -steps; k <= steps; k++ {
				try(y0+across*float64(i)/steps, angle+bend*float64(k)/steps, deep)
			}
		}
		y0, angle = shift, turn
		for i := range depths + 1 {
			try(y0, angle, like.depth*(least+float64((most-least)*float64(i)/depths)))
		}
		across, bend = across/4, bend/4
	}
	if inside < 4 {
		q.why = "few vertices"
		return q
	}
	shift /= math.Cos(turn)
	q.off = math.Sqrt(best / float64(len(near)))
	q.depth = depth
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
