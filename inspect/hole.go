package inspect

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
)

// HoleMethod holds what changes which openings are listed.
type HoleMethod struct {
	SpanEdges  float64 `toml:"span_edges"`  // narrower openings, in median edge lengths, are not listed
	SlitEdges  float64 `toml:"slit_edges"`  // slits, in which no two rims are a fifth of an edge apart on average, from this span on
	TouchEdges float64 `toml:"touch_edges"` // a gap that touches the scan's own edge belongs to it up to this span
	SmallShare float64 `toml:"small_share"` // openings in pieces below this share of the largest one's area are not listed
}

// FindHoles lists the openings of the scanned surface that are not its own outer edge.
//
// What: rims of the scan's boundary around places that were not scanned.
// How: a boundary loop is an opening unless the surface lies plainly inside of it; then it is
// the edge of a sheet, an island or a shred. On a scan of the tissue side
// alone, and on every piece but the largest, the longest loop is the piece's own edge whatever
// it looks like. Loops and ends that meet at non-manifold edges are joined. A scanner leaves out
// whole faces, so the rim is jagged. The span (the largest distance between two points of the rim) is that
// of the rim smoothed twice, the perimeter that of one whose teeth are taken off and whose shape is kept
// (untoothed). Jagged rims as they are read 0.9 edges too wide and 30 % too long, these 0.05 edges and 0.5 %.
// The area is that of the missing surface, as far as the faces at the rim tell how it bends
// (dome); on a border it is up to twice that of the rim's projection. Centre is the middle of the
// projection along the normal, which is the rim's vector area. Widest first.
// Uncertainties (k = 2) are those of jagged rims, in edges, and of noise.
// What it cannot see: holes that the scanner's software closed.
// O(#F + n²) for loops of n vertices. Normals point out of the material, one per vertex.
func FindHoles(m *mesh.Mesh, normals []Vec, an *Anatomy, method HoleMethod) []Hole {
	loops := joinOpen(m, m.Loops())
	if len(loops) == 0 {
		return nil
	}
	label, parts := m.Components()
	edge, _ := edgeLengths(m)

	// The own edge of each piece. Loops stand longest first, but joined ones may not.
	own := make([]int, len(parts))
	for i := range own {
		own[i] = -1
	}
	for i, l := range loops {
		k := label[l.Edges[0].Face()]
		if (k > 0 || an.Coverage == TissueSide) && (own[k] < 0 || m.LoopLength(l) > m.LoopLength(loops[own[k]])) {
			own[k] = i
		}
	}
	onEdge := map[mesh.VertexID]bool{}
	for _, i := range own {
		if i >= 0 {
			for _, v := range loops[i].Verts {
				onEdge[v] = true
			}
		}
	}
	var holes []Hole
	for i, l := range loops {
		k := label[l.Edges[0].Face()]
		if own[k] == i || parts[k].Area < method.SmallShare*parts[0].Area {
			continue
		}
		h, flat, widest := measureHole(m, normals, l, an.grain.NoiseMM)
		// A flat sheet has minus twice its area, a flat opening plus twice. A slit, or a rim on
		// crumpled surface, has about nothing: it is an opening.
		if opening(m, l) < -flat/4 {
			continue
		}
		touches := slices.ContainsFunc(l.Verts, func(v mesh.VertexID) bool { return onEdge[v] })
		switch {
		case widest < method.SpanEdges*edge,
			flat < 0.2*edge*widest && widest < method.SlitEdges*edge,
			touches && widest < method.TouchEdges*edge:
			continue
		}
		h.Surface = surfaceAround(m, l, an.Part)
		h.Region = an.Region(h.Centre)
		holes = append(holes, h)
	}
	slices.SortStableFunc(holes, func(a, b Hole) int {
		return cmp.Or(cmp.Compare(b.SpanMM, a.SpanMM), cmp.Compare(a.Centre.X, b.Centre.X), cmp.Compare(a.Centre.Y, b.Centre.Y))
	})
	for i := range holes {
		holes[i].ID = i + 1
	}
	return holes
}

// joinOpen strings open runs of boundary together where they share an end, and closes what
// comes full circle. A run that stays open, such as the rim of a flap on a non-manifold edge,
// is left out.
func joinOpen(m *mesh.Mesh, loops []mesh.Loop) []mesh.Loop {
	var closed, open []mesh.Loop
	for _, l := range loops {
		if l.Closed {
			closed = append(closed, l)
		} else {
			open = append(open, l)
		}
	}
	first := func(l mesh.Loop) mesh.VertexID { return l.Verts[0] }
	last := func(l mesh.Loop) mesh.VertexID { return l.Verts[len(l.Verts)-1] }
	for len(open) > 0 {
		l := open[0]
		open = open[1:]
		l.Verts, l.Edges = slices.Clone(l.Verts), slices.Clone(l.Edges)
		for first(l) != last(l) {
			i := slices.IndexFunc(open, func(o mesh.Loop) bool { return first(o) == last(l) || last(o) == last(l) })
			if i < 0 {
				break
			}
			o := open[i]
			open = slices.Delete(open, i, i+1)
			if first(o) != last(l) {
				o.Verts, o.Edges = slices.Clone(o.Verts), slices.Clone(o.Edges)
				slices.Reverse(o.Verts)
				slices.Reverse(o.Edges)
			}
			l.Verts = append(l.Verts, o.Verts[1:]...)
			l.Edges = append(l.Edges, o.Edges...)
		}
		if first(l) == last(l) && len(l.Edges) > 2 {
			l.Verts, l.Closed = l.Verts[:len(l.Verts)-1], true
			closed = append(closed, l)
		}
	}
	return closed
}

// opening is positive when the surface lies outside of the loop: twice the enclosed area when
// all is flat, by the divergence theorem over the directions from each edge into its face. It
// asks nothing of the winding.
func opening(m *mesh.Mesh, l mesh.Loop) float64 {
	var c Vec
	for _, v := range l.Verts {
		c = c.Add(m.Pos[v])
	}
	c = c.Scale(1 / float64(len(l.Verts)))
	sum := 0.0
	for _, e := range l.Edges {
		a, b, third := m.Pos[m.Vertex(e)], m.Pos[m.Vertex(e.Next())], m.Pos[m.Vertex(e.Prev())]
		along := b.Sub(a).Unit()
		into := third.Sub(a)
		into = into.Along(-into.Dot(along), along).Unit()
		sum += a.Dist(b) * into.Dot(a.Add(b).Scale(0.5).Sub(c))
	}
	return sum
}

// spread fills in the expanded uncertainties: of a rim of whole faces, in the rim's own edges, and
// of noise. The parts of an edge are the standard deviations over round openings cut from
// spheres and impressions at random. To the area comes what its surface leaves open (see dome), to the
// perimeter what teeth are left, which grow in number with its length.
func (h *Hole) spread(edge, noise, form float64) {
	h.SpanUMM = expanded(0.16*edge, math.Sqrt2*noise)
	const teeth = 0.01 // at most, of the length, of triangles of any kind
	h.PerimeterUMM = expanded(0.34*edge, rectangle(teeth/2*h.PerimeterMM), noise*math.Sqrt(float64(len(h.Rim))))
	h.AreaUMM2 = expanded(0.2*edge*math.Sqrt(h.PerimeterMM*edge), noise*math.Sqrt(h.PerimeterMM*edge), form)
}

// dome returns the area of the surface that is missing inside of a rim, and its standard
// uncertainty, from the rim itself: the middle of the surface lies over the rim's where arcs that
// leave the rim as its faces do come together, and of a round surface the area is half the sum of
// squared chords from that middle by the angles between them (for a sphere: Archimedes). What the
// arcs leave open is how far they miss each other; half of what the bend adds to the projection
// counts as the width of a rectangular distribution.
// turn is -1 where the rim runs clockwise about the axis; nothing is asked of the faces' winding.
func dome(m *mesh.Mesh, l mesh.Loop, rim []Vec, centre, axis Vec, turn, flat float64) (area, u float64) {
	var sum, sum2, weight float64
	for i, e := range l.Edges {
		a, b, third := rim[i], rim[(i+1)%len(rim)], m.Pos[m.Vertex(e.Prev())]
		g := third.Sub(a).Cross(b.Sub(a)).Scale(turn)
		d := a.Add(b).Add(third).Scale(1.0 / 3).Sub(centre)
		z := d.Dot(axis)
		d = d.Along(-z, axis)
		r := d.Norm()
		if r == 0 {
			continue
		}
		const steepest = 2 * math.Pi / 3
		tilt := max(-steepest, min(steepest, math.Atan2(g.Dot(d)/r, g.Dot(axis))))
		w := a.Dist(b)
		h := z + float64(r*math.Tan(tilt/2))
		sum, sum2, weight = sum+float64(w*h), sum2+float64(w*h*h), weight+w
	}
	if weight == 0 {
		return flat, 0
	}
	at := func(h float64) float64 {
		total := 0.0
		for i, a := range rim {
			b := rim[(i+1)%len(rim)]
			d := a.Add(b).Scale(0.5).Sub(centre)
			z := d.Dot(axis)
			r2 := d.Norm2() - float64(z*z)
			// No arc turns farther than steepest: its chord is twice as long as its shadow.
			bend := min(4, 1+float64((z-h)*(z-h))/max(r2, 1e-12))
			total += a.Sub(centre).Cross(b.Sub(centre)).Dot(axis) / 2 * bend
		}
		return math.Abs(total)
	}
	h := sum / weight
	sd := math.Sqrt(max(0, sum2/weight-float64(h*h)))
	area = at(h)
	return area, math.Hypot((at(h+sd)-at(h-sd))/4, rectangle((area-flat)/4))
}

// smoothed returns a closed rim with each point half-way between the middles of its two edges.
// One of few points is left as it is: there is no telling teeth from shape.
func smoothed(rim []Vec) []Vec {
	const few = 6
	n := len(rim)
	if n < few {
		return rim
	}
	out := make([]Vec, n)
	for i, q := range rim {
		out[i] = q.Scale(0.5).Along(0.25, rim[(i+1)%n]).Along(0.25, rim[(i+n-1)%n])
	}
	return out
}

// untoothed returns a closed rim without its teeth and in its own shape: smoothed over three rounds, and
// given back what three more take off (Tukey's twicing). A single round leaves more teeth, 1 % of the length
// of wide rims, and shortens small ones, a circle of n points by (π/n)², 4 % at two edges in radius, and what
// hangs down on two sides four times as fast. What three rounds, twiced, take off goes with the fourth power
// of 1/n instead: (3π²/n²)².
func untoothed(rim []Vec) []Vec {
	once := smoothed(smoothed(smoothed(rim)))
	again := smoothed(smoothed(smoothed(once)))
	for i, q := range again {
		again[i] = once[i].Scale(2).Sub(q)
	}
	return again
}

// span is the largest distance between two of the points, mm.
func span(rim []Vec) float64 {
	most := 0.0
	for i, a := range rim {
		for _, q := range rim[i+1:] {
			most = max(most, a.Sub(q).Norm2())
		}
	}
	return math.Sqrt(most)
}

// measureHole fills in the geometry of a hole, and returns beside it the area that its rim
// encloses, seen along its normal, and the largest distance between two vertices of the rim.
func measureHole(m *mesh.Mesh, normals []Vec, l mesh.Loop, noise float64) (h Hole, flat, widest float64) {
	n := len(l.Verts)
	rim := make([]Vec, n, n+1)
	var out Vec
	for i, v := range l.Verts {
		rim[i] = m.Pos[v]
		out = out.Add(normals[v])
	}
	var length float64
	var mean, twice Vec // twice: the vector area of the loop, doubled
	for i, a := range rim {
		b := rim[(i+1)%n]
		d := a.Dist(b)
		length += d
		mean = mean.Along(d/2, a.Add(b))
		twice = twice.Add(a.Sub(rim[0]).Cross(b.Sub(rim[0])))
	}
	widest = span(rim)
	h.Centre = mean.Scale(1 / length)
	whole := untoothed(rim)
	for i, a := range whole {
		h.PerimeterMM += a.Dist(whole[(i+1)%n])
	}
	round := smoothed(rim)
	h.SpanMM = span(smoothed(round))
	// The vector area looks along the way in which the rim encloses most, also where it hangs
	// down on both sides of a border.
	flat = twice.Norm() / 2
	form := 0.0
	turn := math.Copysign(1, twice.Dot(out))
	h.Normal = twice.Unit().Scale(turn)
	h.AreaMM2 = flat
	if flat < 0.01*h.SpanMM*h.SpanMM { // a slit along a line
		h.Normal, h.SpanMM = out.Unit(), span(round) // smoothed again it loses its ends
		h.AreaMM2 = math.Abs(twice.Dot(h.Normal)) / 2
	} else {
		// Middle of the projected area: fans of triangles about the mean point, with sign.
		var sum Vec
		area := 0.0
		for i, a := range rim {
			b := rim[(i+1)%n]
			t := a.Sub(h.Centre).Cross(b.Sub(h.Centre)).Dot(h.Normal)
			sum = sum.Along(t/3, a.Add(b).Add(h.Centre))
			area += t
		}
		c := sum.Scale(1 / area)
		h.Centre = c.Along(h.Centre.Sub(c).Dot(h.Normal), h.Normal)
		h.AreaMM2, form = dome(m, l, rim, h.Centre, h.Normal, turn, flat)
	}
	h.spread(length/float64(n), noise, form)
	first := 0 // farthest from the centre, not where the loop happens to begin
	for i, q := range rim {
		if q.Sub(h.Centre).Norm2() > rim[first].Sub(h.Centre).Norm2() {
			first = i
		}
	}
	rim = slices.Concat(rim[first:], rim[:first])
	h.Rim = append(rim, rim[0])
	return h, flat, widest
}

// surfaceAround tells on which surface most of the rim and its neighbours lie.
func surfaceAround(m *mesh.Mesh, l mesh.Loop, part []Part) string {
	if len(part) != len(m.Pos) {
		return ""
	}
	var count [PartHandle + 1]int
	for _, v := range l.Verts {
		for _, c := range m.CornersAt(v) {
			for k := range 3 {
				count[part[m.Tri[c.Face()][k]]]++
			}
		}
	}
	// An opening that reaches from the tissue surface round to the outer one has taken the border.
	total := count[PartTissue] + count[PartBorder] + count[PartOuter]
	if 6*count[PartTissue] >= total && 6*count[PartOuter] >= total && total > 0 {
		return OnBorder
	}
	names := [PartHandle + 1]string{PartTissue: OnTissue, PartBorder: OnBorder, PartOuter: OnOuter, PartRim: OnRim, PartHandle: OnHandle}
	best := PartTissue
	for p := PartTissue; p <= PartHandle; p++ {
		if count[p] > count[best] {
			best = p
		}
	}
	if count[best] == 0 {
		return ""
	}
	return names[best]
}
