package phantom

import (
	"math"
	"sort"
)

const (
	downMM  = 2.0  // how far below the apex, along the surface of the cross-section, a border's ball touches
	walkMM  = 0.05 // step of the walk there
	growMM  = 0.02 // a ball that can grow by more than this is not the sheet's own
	largest = 12.0 // mm, diameter of the largest ball that is tried
)

// border lists the stations.
func (m *maker) border() {
	by := map[uint8][]station{}
	for i := range m.an.deg {
		st := m.an.station(float64(i))
		by[st.side] = append(by[st.side], st)
	}
	for _, side := range []uint8{sideBuccal, sideLingual} {
		list := by[side]
		if len(list) == 0 {
			continue
		}
		sort.SliceStable(list, func(i, k int) bool { return list[i].deg < list[k].deg })
		b := BorderTruth{Side: map[uint8]string{sideBuccal: "buccal", sideLingual: "lingual"}[side]}
		for _, st := range list {
			b.Deg, b.Apex, b.Edge = append(b.Deg, st.deg), append(b.Apex, st.apex), append(b.Edge, 2*st.r)
		}
		m.truth.Border = append(m.truth.Border, b)
	}
	for _, st := range by[sideBack] {
		m.truth.Posterior = append(m.truth.Posterior, st.apex)
	}
	// Beside the labial frenum: where its notch has run out on either side.
	off := m.p.LabialFrenum.Width + m.p.Border + 2
	var best [2]station
	d := [2]float64{math.Inf(1), math.Inf(1)}
	mid := m.an.lowest(sideBuccal, 0, 4).apex
	for _, st := range by[sideBuccal] {
		k := 0
		if st.deg > 0 {
			k = 1
		}
		if math.Abs(st.deg) > 30 {
			continue
		}
		if v := math.Abs(math.Abs(st.apex.X-mid.X) - off); v < d[k] {
			d[k], best[k] = v, st
		}
	}
	m.apex = best[0].apex.Add(best[1].apex).Scale(0.5)
}

// thicken gives the border's stations their thickness as it is defined: of the largest ball inside the
// material that touches the tissue surface downMM from the apex, in the section across the crest. Low borders,
// and where a Stretch begins or ends, show another ball there than at the edge. Faults, laid
// later, have no part in it.
func (m *maker) thicken() {
	var crest []vec
	for _, q := range m.an.crest {
		crest = append(crest, m.an.sheet.tissuePoint(q, m.an.tissue))
	}
	edge := m.p.Spacing / math.Sqrt(1-m.p.Decimate)
	for k := range m.truth.Border {
		b := &m.truth.Border[k]
		for _, p := range b.Apex {
			q, n := m.s.below(p, acrossTo(crest, p))
			r, joint := m.s.ballAt(q, n, edge)
			b.Thickness, b.Joint = append(b.Thickness, 2*r), append(b.Joint, joint)
		}
	}
}

// acrossTo is the level direction from a place to the nearest point of the crest in plan.
func acrossTo(crest []vec, p vec) vec {
	best, dir := math.Inf(1), vec{}
	for i := 1; i < len(crest); i++ {
		q, d := p.Sub(crest[i-1]), crest[i].Sub(crest[i-1])
		q.Z, d.Z = 0, 0
		t := math.Max(0, math.Min(1, q.Dot(d)/d.Norm2()))
		if v := d.Scale(t).Sub(q); v.Norm() < best {
			best, dir = v.Norm(), v
		}
	}
	return dir.Unit()
}

// below walks from an apex downMM along the surface of the section that runs across, to the side it
// points to, and returns where it comes to, with the surface's normal.
func (s *solid) below(apex, across vec) (q, n vec) {
	along := vec{Z: 1}.Cross(across)
	land := func(p vec) (q, n vec) {
		q = p
		for range 30 {
			f, g, _ := s.at(q)
			n = g
			if math.Abs(f) < 1e-7 {
				break
			}
			g = g.Along(-g.Dot(along), along)
			q = q.Along(-f/math.Max(0.1, g.Norm2()), g)
		}
		return q, n
	}
	ahead := func(step float64) { q, n = land(q.Along(step, along.Cross(n).Unit())) }
	q, n = land(apex)
	// Where the border climbs, the section's highest point lies beside its own.
	const most = 20
	for it := 0; it < most && n.Dot(across) < 0; it++ {
		ahead(walkMM)
	}
	for it := 0; it < most && n.Dot(across) > 0; it++ {
		ahead(-walkMM)
	}
	for walked := 0.0; walked < downMM-walkMM/2; walked += walkMM {
		ahead(walkMM)
	}
	return q, n
}

// ballAt is the radius of the largest ball that touches the surface from inside at q, where it looks
// along n: the sheet's own, or where wax or handle go on behind it a larger one. joint tells that the
// inner corner between them stops that ball, or lies so near that it would grow in a scan with edges of
// the given length.
func (s *solid) ballAt(q, n vec, edge float64) (r float64, joint bool) {
	if r = s.sheet.nearest(q).r; s.fits(q, n, r+growMM, 0) {
		lo, hi := r, largest/2
		for hi-lo > 1e-3 {
			if mid := (lo + hi) / 2; s.fits(q, n, mid, 0) {
				lo = mid
			} else {
				hi = mid
			}
		}
		r = lo
	}
	return r, s.fits(q, n, r+growMM, edge)
}

// fits tells whether the ball of radius r that touches at q lies inside: places spread evenly over it
// (a spiral of the golden angle) do, where corners are filled by edges of the given length.
func (s *solid) fits(q, n vec, r, edge float64) bool {
	const places, slack = 600, 0.003
	c := q.Along(-r, n)
	for i := range places {
		z := 1 - (2*float64(i)+1)/places
		sin, cos := math.Sincos(float64(i) * math.Pi * (3 - math.Sqrt(5)))
		d := vec{X: math.Sqrt(1-z*z) * cos, Y: math.Sqrt(1-z*z) * sin, Z: z}
		p := c.Along(r, d)
		if f, _, _ := s.at(p); f > slack && !s.mayFill(p, edge) {
			return false
		}
	}
	return true
}

// mayFill tells whether a straight edge of a scan may cut the inner corner between the sheet and what
// stands on it beyond p. Along a chord from one wall to the other the distance to either falls evenly to 0
// from at most the chord's length, so both together never come to more than that.
func (s *solid) mayFill(p vec, edge float64) bool {
	ft := s.sheet.nearest(p)
	other, _ := s.standing(p, &ft, edge)
	return ft.f > 0 && other > 0 && ft.f+other < edge
}
