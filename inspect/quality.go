package inspect

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"fornix/mesh"
)

// QualityMethod holds what changes the numbers of the scan's quality.
type QualityMethod struct {
	NoiseRadiusMM float64 `toml:"noise_radius_mm"` // radius of a local fit; two and a half edges where that is more
	NoiseSamples  int     `toml:"noise_samples"`   // neighbourhoods looked at
	NoiseLeast    int     `toml:"noise_least"`     // fewest neighbourhoods that tell the noise
	SmallShare    float64 `toml:"small_share"`     // a piece below this share of the largest one's area is small
	Crossings     int     `toml:"crossings"`       // self-intersections are counted up to here; 0: all
}

// MeasureQuality tells how good the scan is as a scan.
//
// What: lengths of all edges, density, noise along the normal, and what is wrong with the mesh.
// How: noise is the standard deviation of the vertices about quadric surfaces fitted to
// neighbourhoods spread over the scan (n - 6 degrees of freedom), the median over the flatter
// half of them, so that the shape of the jaw does not count. Noise that neighbouring vertices
// share, such as a bend of the whole scan, is not in it, and neither is what smoothing took
// away. Volume is that of a closed surface, without sign. Counts are of the mesh as read;
// SelfIntersections is left to a tree over it. O(#F).
func MeasureQuality(m *mesh.Mesh, normals []Vec, read mesh.ReadStats, method QualityMethod) Quality {
	q := measureGrain(m, normals, method)
	q.countFlaws(m, read, method)
	return q
}

// measureGrain is the part of MeasureQuality that other measurements hang on: area, extent, lengths of
// edges, noise.
func measureGrain(m *mesh.Mesh, normals []Vec, method QualityMethod) Quality {
	q := Quality{AreaMM2: m.Area()}
	if len(m.Pos) > 0 {
		lo, hi := m.Bounds()
		q.Extent = hi.Sub(lo)
	}
	if q.AreaMM2 > 0 {
		q.VerticesPerMM2 = float64(len(m.Pos)) / q.AreaMM2
	}
	q.EdgeMedianMM, q.EdgeP95MM = edgeLengths(m)
	if noise, why := measureNoise(m, normals, q.EdgeMedianMM, method); why == "" {
		q.NoiseMM = &noise
	} else {
		q.NoiseUnmeasured = why
	}
	return q
}

// countFlaws is the rest of it.
func (q *Quality) countFlaws(m *mesh.Mesh, read mesh.ReadStats, method QualityMethod) {
	topo := m.Topology()
	_, parts := m.Components()
	q.Components, q.BoundaryLoops, q.BoundaryEdges = len(parts), len(m.Loops()), topo.BoundaryEdges
	q.NonManifoldEdges, q.NonManifoldVerts = topo.NonManifoldEdges, topo.NonManifoldVertices
	q.DegenerateFaces, q.DuplicateFaces, q.NonFiniteFaces = topo.DegenerateFaces, topo.DuplicateFaces, read.NonFinite
	q.WindingConflicts = topo.WindingConflicts
	for _, p := range parts {
		if p.Area < method.SmallShare*parts[0].Area {
			q.SmallComponents++
		}
	}
	if q.AreaMM2 > 0 {
		q.FacesPerMM2 = float64(len(m.Tri)-topo.DegenerateFaces) / q.AreaMM2
	}
	if len(m.Tri) > 0 && topo.BoundaryEdges == 0 && topo.WindingConflicts == 0 {
		v := math.Abs(m.Volume())
		q.VolumeMM3 = &v
	}
}

// edgeLengths returns the median and the 95th percentile of the lengths of the edges, each
// counted once; the lower of two middle ones.
func edgeLengths(m *mesh.Mesh) (median, p95 float64) {
	length := make([]float32, 0, len(m.Across)/2+1)
	for i, d := range m.Across {
		c := mesh.Corner(i)
		a, b := m.Vertex(c), m.Vertex(c.Next())
		// Of an edge with many faces the corners are not linked: its lower vertex counts it
		// where it comes first, which holds for all but oddly wound faces.
		if a == b || d > mesh.OnBoundary && d < c || d == mesh.NonManifold && a > b {
			continue
		}
		length = append(length, float32(m.Pos[a].Dist(m.Pos[b])))
	}
	if len(length) == 0 {
		return 0, 0
	}
	of := ranks(length)
	return float64(of((len(length) - 1) / 2)), float64(of((len(length) - 1) * 95 / 100))
}

// ranks returns what gives the k-th smallest of numbers that are not negative, counted from 0. It sorts
// only those that share their upper bits with it, for such numbers lie as their bits do (IEEE 754).
func ranks(x []float32) func(k int) float32 {
	const low = 16
	var count [1 << (32 - low)]int32
	for _, v := range x {
		count[math.Float32bits(v)>>low]++
	}
	return func(k int) float32 {
		bin := uint32(0)
		for k >= int(count[bin]) {
			k -= int(count[bin])
			bin++
		}
		same := make([]float32, 0, count[bin])
		for _, v := range x {
			if math.Float32bits(v)>>low == bin {
				same = append(same, v)
			}
		}
		slices.Sort(same)
		return same[k]
	}
}

// measureNoise is the noise part of MeasureQuality.
func measureNoise(m *mesh.Mesh, normals []Vec, edge float64, method QualityMethod) (noise float64, why string) {
	type local struct{ variance, bend float64 }
	var fits []local
	walker := mesh.NewWalker(m)
	var buf []mesh.VertexID
	for _, v := range evenSample(m, method.NoiseSamples) {
		// 19 points (two rings) leave enough over for a sound estimate; where the mesh is
		// coarse the neighbourhood grows until it has them.
		for _, radius := range [3]float64{method.NoiseRadiusMM, 1.5 * method.NoiseRadiusMM, 2.5 * method.NoiseRadiusMM} {
			radius = max(radius, 2.5*edge)
			if buf = walker.Within(v, radius, buf); len(buf) < 19 {
				continue
			}
			if variance, bend, ok := fitQuadric(m, normals, buf, radius); ok {
				fits = append(fits, local{variance, bend})
			}
			break
		}
	}
	if len(fits) < method.NoiseLeast {
		return 0, fmt.Sprintf("only %d places of the scan are dense enough for a local fit", len(fits))
	}
	slices.SortFunc(fits, func(a, b local) int {
		return cmp.Or(cmp.Compare(a.bend, b.bend), cmp.Compare(a.variance, b.variance))
	})
	flat := fits[:(len(fits)+1)/2]
	slices.SortFunc(flat, func(a, b local) int { return cmp.Compare(a.variance, b.variance) })
	return math.Sqrt(flat[len(flat)/2].variance), ""
}

// evenSample picks up to n vertices evenly from all over the scan, the same whatever the order of
// the faces and the scan's axes: those that lie nearest above one of many spheres about the
// surface's centroid.
func evenSample(m *mesh.Mesh, n int) []mesh.VertexID {
	const apartMM = 0.05 // of the spheres: less than the spacing of any scan
	var c Vec
	area := 0.0
	for f := range m.Tri {
		a := m.FaceArea(mesh.FaceID(f))
		p, q, r := m.Corners(mesh.FaceID(f))
		c, area = c.Along(a/3, p.Add(q).Add(r)), area+a
	}
	c = c.Scale(1 / area)
	type ranked struct {
		above float64
		v     mesh.VertexID
	}
	var list []ranked
	// Most vertices lie far above the n lowest and need no sorting.
	limit := 1.0
	if len(m.Pos) > 4*n {
		limit = 2 * float64(n) / float64(len(m.Pos))
	}
	for v, p := range m.Pos {
		if _, above := math.Modf(p.Dist(c) / apartMM); above <= limit && len(m.CornersAt(mesh.VertexID(v))) > 0 {
			list = append(list, ranked{above, mesh.VertexID(v)})
		}
	}
	slices.SortFunc(list, func(a, b ranked) int {
		p, q := m.Pos[a.v], m.Pos[b.v]
		return cmp.Or(cmp.Compare(a.above, b.above), cmp.Compare(p.X, q.X), cmp.Compare(p.Y, q.Y), cmp.Compare(p.Z, q.Z))
	})
	list = list[:min(n, len(list))]
	out := make([]mesh.VertexID, len(list))
	for i, r := range list {
		out[i] = r.v
	}
	return out
}

// fitQuadric fits h = a + bx + cy + dx² + exy + fy² over the tangent plane of the first of the
// vertices and returns the variance normal to the surface, on the median-unbiased scale, and how strongly it bends (sum of
// squared principal curvatures, 1/mm²).
func fitQuadric(m *mesh.Mesh, normals []Vec, at []mesh.VertexID, radius float64) (variance, bend float64, ok bool) {
	var n Vec
	for _, v := range at {
		n = n.Add(normals[v])
	}
	n = n.Unit()
	// A patch folded over itself has no height over a plane.
	for _, v := range at {
		if !(normals[v].Dot(n) > 0.5) {
			return 0, 0, false
		}
	}
	origin := m.Pos[at[0]]
	u, w := axesOf(Plane{Normal: n})
	var ata [36]float64
	var atb [6]float64
	row := func(v mesh.VertexID) (r [6]float64, h float64) {
		d := m.Pos[v].Sub(origin).Scale(1 / radius)
		x, y := d.Dot(u), d.Dot(w)
		return [6]float64{1, x, y, float64(x * x), float64(x * y), float64(y * y)}, d.Dot(n)
	}
	for _, v := range at {
		r, h := row(v)
		for i := range 6 {
			for j := i; j < 6; j++ {
				ata[6*i+j] += float64(r[i] * r[j])
			}
			atb[i] += float64(r[i] * h)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(mat.NewSymDense(6, ata[:])) || chol.Cond() > 1e10 {
		return 0, 0, false
	}
	var x mat.VecDense
	if chol.SolveVecTo(&x, mat.NewVecDense(6, atb[:])) != nil {
		return 0, 0, false
	}
	k := x.RawVector().Data
	ss := 0.0
	for _, v := range at {
		r, h := row(v)
		for i := range 6 {
			h -= float64(r[i] * k[i])
		}
		ss += float64(h * h)
	}
	steep := 1 + float64(k[1]*k[1]) + float64(k[2]*k[2])
	// The median of a variance with ν degrees of freedom is below its mean by (1 - 2/9ν)³
	// (Wilson and Hilferty, PNAS 1931;17:684): a median over places must not be.
	free := float64(len(at) - 6)
	variance = ss * radius * radius / steep / free / math.Pow(1-2/(9*free), 3)
	a, b, c := 2*k[3]/radius, k[4]/radius, 2*k[5]/radius
	return variance, float64(a*a) + 2*float64(b*b) + float64(c*c), true
}
