package inspect

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
	"fornix/mesh/register"
)

// layerFinder cuts what lies between the surface before (a) and after (b) into pieces.
type layerFinder struct {
	a, b     *register.Body // in one frame, wound outward
	an       *Anatomy       // of a; nil: unknown
	aDist    []float64      // #V of a: signed distance to b, NaN where not compared
	bDist    []float64      // #V of b
	areaA    []float64
	areaB    []float64
	doubt    compareDoubt
	method   CompareMethod
	spacing  float64       // of the vertices of a
	coarser  float64       // median edge of b by that of a
	t        []float64     // #V of a: thickness along its normals
	mean     []float64     // #V of a: over a small disc
	cut      []float64     // #V of a: what flat faces of both may cut off, over a small disc
	under    []float64     // #V of b: thickness of what is gone over it, along its normals
	underHit []mesh.FaceID // #V of b: the face of a at the other side of that
	kind     []int8        // #V of a: 1 added, -1 removed, 0 neither
	part     []int32       // #V of a: index of its part, -1 none
	fitting  func(v mesh.VertexID) bool
	walk     *walker
}

// find returns the layer and its thickness at the vertices of a.
//
// A vertex belongs to a layer where the mean thickness over a disc is more than LeastMM and what flat
// faces may cut off there; where no thickness could be taken but the surface before lies outside the
// body after by more than that, the material is gone as a whole. Connected vertices of one kind are a part; smaller ones than
// Method.PartMM2 are noise and count as unchanged.
func (l *layerFinder) find() (*Layer, []float64) {
	l.t, _ = layerThickness(l.a, l.b, nil, l.method.LayerMM)
	means := discMeans(l.a.Mesh, l.areaA, l.method.DiscMM, l.t, cutOff(l.a, l.coarser))
	l.mean, l.cut = means[0], means[1]
	l.under, l.underHit = layerThickness(l.b, l.a, func(v int) bool { return l.bDist[v] < 0 }, l.method.LayerMM)
	l.walk = newWalker(l.a.Mesh, l.a.Mesh.Links())
	l.fitting = func(v mesh.VertexID) bool {
		return l.an != nil && (l.an.Part[v] == PartTissue || l.an.Part[v] == PartBorder)
	}
	out := &Layer{LeastMM: math.Max(l.method.LeastMM, l.discU(0)), Parts: []LayerPart{}, Thin: []ThinSpot{}}
	l.sort(out.LeastMM)
	above, over := columns(l.a.Mesh, l.a.Normals, l.t), columns(l.b.Mesh, l.b.Normals, positive(l.under))
	pieces := l.pieces()
	gone := l.gone(out.LeastMM)
	for i, verts := range pieces {
		p := l.place(verts)
		edge := l.aboutEdge(verts)
		if p.Kind == LayerAdded {
			l.measureAdded(&p, verts, above)
			p.Thinnest = l.thinnest(verts, edge)
		} else {
			l.measureRemoved(&p, verts, gone[int32(i)], over)
		}
		if p.VolumeUMM3 != nil {
			*p.VolumeUMM3 = math.Hypot(*p.VolumeUMM3, 2*rectangle(l.fringe(edge, above)))
		}
		p.ID = i + 1
		out.Parts = append(out.Parts, p)
	}
	l.sum(out)
	out.Thin = l.thinSpots(out)
	return out, l.t
}

// discU is the expanded uncertainty of a mean over a disc where faces may cut off so much; the mean of
// that is anything up to half of it.
func (l *layerFinder) discU(cut float64) float64 {
	n := math.Max(1, math.Pi*l.method.DiscMM*l.method.DiscMM/(l.spacing*l.spacing))
	return expanded(l.doubt.noise/math.Sqrt(n), l.doubt.pose, rectangle(cut/2))
}

// sort tells for each vertex whether it got a layer, lost one, or neither.
func (l *layerFinder) sort(least float64) {
	l.kind = make([]int8, len(l.t))
	for v, t := range l.mean {
		least := least + l.cut[v]
		switch {
		case t > least:
			l.kind[v] = 1
		case t < -least, math.IsNaN(t) && l.aDist[v] < -least:
			l.kind[v] = -1
		}
	}
}

// pieces returns the connected vertices of each part, largest area first, and fills part. Kinds of
// pieces that are too small are taken back.
func (l *layerFinder) pieces() [][]mesh.VertexID {
	l.part = make([]int32, len(l.kind))
	for i := range l.part {
		l.part[i] = -1
	}
	type piece struct {
		verts []mesh.VertexID
		area  float64
	}
	var all []piece
	seen := make([]bool, len(l.kind))
	for v, k := range l.kind {
		if k == 0 || seen[v] {
			continue
		}
		p := piece{verts: slices.Clone(l.walk.reach([]mesh.VertexID{mesh.VertexID(v)}, func(u mesh.VertexID) bool { return l.kind[u] == k }))}
		for _, u := range p.verts {
			seen[u] = true
			p.area += l.areaA[u]
		}
		if p.area < l.method.PartMM2 {
			for _, u := range p.verts {
				l.kind[u] = 0
			}
			continue
		}
		all = append(all, p)
	}
	slices.SortStableFunc(all, func(a, b piece) int { return cmp.Compare(b.area, a.area) })
	var out [][]mesh.VertexID
	for i, p := range all {
		for _, u := range p.verts {
			l.part[u] = int32(i)
		}
		out = append(out, p.verts)
	}
	return out
}

// place tells kind, area and place of a part.
func (l *layerFinder) place(verts []mesh.VertexID) LayerPart {
	p := LayerPart{Kind: LayerAdded}
	if l.kind[verts[0]] < 0 {
		p.Kind = LayerRemoved
	}
	surface := map[string]float64{}
	var centre Vec
	for _, v := range verts {
		p.AreaMM2 += l.areaA[v]
		centre = centre.Along(l.areaA[v], l.a.Mesh.Pos[v])
		surface[l.surfaceOf(v)] += l.areaA[v]
	}
	l.locate(&p, verts, centre.Scale(1/p.AreaMM2), surface)
	return p
}

// measureAdded measures a part along the normals of the surface before.
func (l *layerFinder) measureAdded(p *LayerPart, verts []mesh.VertexID, column []float64) {
	f := &distances{pos: l.a.Mesh.Pos, dist: l.t, area: l.areaA}
	l.measure(p, f, l.mean, l.cut, sags(l.a, l.coarser), verts, column)
}

// measureRemoved measures a part along the normals of the surface after, at its vertices under what is
// gone.
func (l *layerFinder) measureRemoved(p *LayerPart, verts, under []mesh.VertexID, column []float64) {
	for _, v := range verts {
		if d := -l.aDist[v]; p.CutBackMM == nil && d > 0 || p.CutBackMM != nil && d > *p.CutBackMM {
			p.CutBackMM, p.CutBackUMM = ptr(d), ptr(l.doubt.place())
		}
	}
	if len(under) == 0 {
		p.Unmeasured = "nothing of the surface after lies under it"
		return
	}
	f := &distances{pos: l.b.Mesh.Pos, dist: l.under, area: l.areaB}
	l.measure(p, f, discMeans(l.b.Mesh, l.areaB, l.method.DiscMM, l.under)[0], cutOff(l.b, 1/l.coarser), sags(l.b, 1/l.coarser), under, column)
}

// measure fills the numbers of a part from the thickness f at verts, its means over discs, what flat
// faces may cut off and do on the mean, and the volumes of columns.
func (l *layerFinder) measure(p *LayerPart, f *distances, mean, cut, sag []float64, verts []mesh.VertexID, column []float64) {
	in := make([]bool, len(f.dist))
	p.Thickest = &Extreme{MM: math.Inf(-1)}
	volume, bias := 0.0, 0.0
	for _, v := range verts {
		in[v] = true
		volume += column[v]
		bias += sag[v] / float64(len(verts))
		if mean[v] > p.Thickest.MM {
			*p.Thickest = Extreme{mean[v], f.pos[v]}
			p.DiscUMM = ptr(l.discU(cut[v]))
		}
	}
	doubt := l.doubt
	doubt.flat = rectangle(math.Abs(bias))
	d := f.deviation(func(v int) bool { return in[v] }, doubt)
	p.MeanMM, p.MeanUMM, p.MedianMM = &d.MeanMM, &d.MeanUMM, &d.Percentiles.P50
	p.VolumeMM3, p.VolumeUMM3 = &volume, ptr(d.AreaMM2*d.MeanUMM)
}

// gone returns for each removed part the vertices of b under it: those from which the ray to what is
// gone ends on the part.
func (l *layerFinder) gone(least float64) map[int32][]mesh.VertexID {
	out := map[int32][]mesh.VertexID{}
	for v, t := range l.under {
		if !(t > least) || !(l.areaB[v] > 0) {
			continue
		}
		for _, u := range l.a.Mesh.Tri[l.underHit[v]] {
			if l.kind[u] < 0 && l.part[u] >= 0 {
				out[l.part[u]] = append(out[l.part[u]], mesh.VertexID(v))
				break
			}
		}
	}
	return out
}

// sum adds up the areas of a and the volumes of the parts.
func (l *layerFinder) sum(out *Layer) {
	var fitting, covered float64
	for v, w := range l.areaA {
		switch {
		case l.kind[v] > 0:
			out.AddedMM2 += w
		case l.kind[v] < 0:
			out.RemovedMM2 += w
		case math.IsNaN(l.t[v]):
			out.UncoveredMM2 += w
			continue
		default:
			out.SameMM2 += w
		}
		if l.fitting(mesh.VertexID(v)) {
			fitting += w
			if l.kind[v] > 0 {
				covered += w
			}
		}
	}
	if fitting > 0 {
		out.CoveredShare = ptr(covered / fitting)
	}
	for i := range out.Parts {
		p := &out.Parts[i]
		switch {
		case p.VolumeMM3 == nil:
		case p.Kind == LayerAdded:
			out.AddedMM3, out.AddedUMM3 = out.AddedMM3+*p.VolumeMM3, out.AddedUMM3+*p.VolumeUMM3
		default:
			out.RemovedMM3, out.RemovedUMM3 = out.RemovedMM3+*p.VolumeMM3, out.RemovedUMM3+*p.VolumeUMM3
		}
	}
}

// aboutEdge returns the vertices, of the part or not, within EdgeMM of the edge of a part.
func (l *layerFinder) aboutEdge(verts []mesh.VertexID) map[mesh.VertexID]bool {
	me := l.part[verts[0]]
	near := map[mesh.VertexID]bool{}
	for _, v := range verts {
		if l.touches(v, func(u mesh.VertexID) bool { return l.part[u] != me }) {
			for _, u := range l.walk.ball(v, l.method.EdgeMM) {
				near[u] = true
			}
		}
	}
	return near
}

// fringe is the volume of a layer about the edge of a part where it is too thin to be told from none.
// In order of the vertices, so that the sum has the same bits each time.
func (l *layerFinder) fringe(edge map[mesh.VertexID]bool, column []float64) float64 {
	var sum float64
	for v, k := range l.kind {
		if k == 0 && edge[mesh.VertexID(v)] {
			sum += column[v]
		}
	}
	return math.Abs(sum)
}

// thinnest returns the thinnest place of a part that has nothing but the part within EdgeMM around.
func (l *layerFinder) thinnest(verts []mesh.VertexID, edge map[mesh.VertexID]bool) *Extreme {
	var out *Extreme
	for _, v := range verts {
		if !edge[v] && !math.IsNaN(l.mean[v]) && (out == nil || l.mean[v] < out.MM) {
			out = &Extreme{l.mean[v], l.a.Mesh.Pos[v]}
		}
	}
	return out
}

// touches reports whether an edge joins v to a vertex for which is holds.
func (l *layerFinder) touches(v mesh.VertexID, is func(mesh.VertexID) bool) bool {
	m := l.a.Mesh
	for _, c := range m.CornersAt(v) {
		if is(m.Vertex(c.Next())) || is(m.Vertex(c.Prev())) {
			return true
		}
	}
	return false
}

// surfaceOf names the surface on which a vertex of a lies.
func (l *layerFinder) surfaceOf(v mesh.VertexID) string {
	if l.an == nil {
		return ""
	}
	switch l.an.Part[v] {
	case PartTissue:
		return OnTissue
	case PartBorder:
		return OnBorder
	case PartRim:
		return OnRim
	case PartHandle:
		return OnHandle
	}
	return OnOuter
}

// locate says where a part is: on the surface with most of its area, in the region of the vertex that
// is nearest to its middle.
func (l *layerFinder) locate(p *LayerPart, verts []mesh.VertexID, middle Vec, surface map[string]float64) {
	p.Centre = l.nearestTo(verts, middle)
	most := -1.0
	for _, name := range []string{OnTissue, OnBorder, OnOuter, OnRim, OnHandle, ""} {
		if surface[name] > most {
			p.Surface, most = name, surface[name]
		}
	}
	p.Region = l.regionAt(p.Centre, p.Surface)
}

// nearestTo returns the vertex of a that is nearest to a point.
func (l *layerFinder) nearestTo(verts []mesh.VertexID, p Vec) Vec {
	best, at := math.Inf(1), verts[0]
	for _, v := range verts {
		if d := l.a.Mesh.Pos[v].Sub(p).Norm2(); d < best {
			best, at = d, v
		}
	}
	return l.a.Mesh.Pos[at]
}

func (l *layerFinder) regionAt(p Vec, surface string) string {
	switch {
	case l.an == nil:
		return ""
	case surface == OnBorder:
		return l.an.nearestBorderRegion(p)
	case surface == OnTissue:
		return l.an.Region(p)
	}
	return ""
}

// nearestBorderRegion names the region of the border whose apex is nearest to a point.
func (an *Anatomy) nearestBorderRegion(world Vec) string {
	p := an.Frame.Local(world)
	best, name := math.Inf(1), ""
	try := func(side string, a *apex) {
		if a == nil {
			return
		}
		if d := a.p.Sub(p).Norm2(); d < best {
			best, name = d, an.borderRegion(side, a.p)
		}
	}
	for i := range an.slices {
		try("outer", an.slices[i].outer)
		try("lingual", an.slices[i].inner)
	}
	for i := range an.rear {
		try("posterior", an.rear[i].outer)
	}
	return name
}

// positive keeps what is above zero and makes the rest NaN.
func positive(t []float64) []float64 {
	out := slices.Clone(t)
	for i, x := range out {
		if !(x > 0) {
			out[i] = math.NaN()
		}
	}
	return out
}
