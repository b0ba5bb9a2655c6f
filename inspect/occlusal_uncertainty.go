package inspect

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"fornix/mesh"
)

// planeSpread is how far a fitted plane may be off: standard uncertainties.
type planeSpread struct {
	offset float64 // mm, along the normal at the plane's point
	turn   float64 // radians, of the normal: both directions added in squares
}

// at is the standard uncertainty, mm, of the plane's height at a place off its point.
func (s planeSpread) at(d float64) float64 { return math.Hypot(s.offset, d*s.turn/math.Sqrt2) }

// fitRow is one point of a fit: where it is, what it weighs, what the fit leaves of it, and the
// derivatives of the fit by its parameters, of which the first three are offset, slope along x
// and slope along y.
type fitRow struct {
	x, y, weight, left float64
	by                 []float64
}

func planeRow(x, y, left, weight float64) fitRow {
	return fitRow{x: x, y: y, weight: weight, left: left, by: []float64{1, x, y}}
}

// spreadOf tells how far the plane in a weighted least-squares fit may be off, from what the
// fit leaves of the points.
//
// Unevenness of a surface is alike over some millimetres, so points do not count one by one:
// what they leave is added up over cells of cellMM, and the spread of the cells' sums is that
// of the fit (a covariance robust to clusters; Liang and Zeger, Biometrika 1986;73:13, with
// the factor G/(G - p) for few cells). It is never taken below what noise alone gives.
func spreadOf(rows []fitRow, cellMM, noise float64) (planeSpread, bool) {
	type cell [2]int
	at := make([]cell, len(rows))
	order := make([]int, 0, len(rows))
	if len(rows) == 0 {
		return planeSpread{}, false
	}
	n := len(rows[0].by)
	a, squares, b := mat.NewSymDense(n, nil), mat.NewSymDense(n, nil), mat.NewSymDense(n, nil)
	for i, q := range rows {
		if !(q.weight > 0) {
			continue
		}
		at[i] = cell{int(math.Floor(q.x / cellMM)), int(math.Floor(q.y / cellMM))}
		order = append(order, i)
		x := mat.NewVecDense(n, q.by)
		a.SymRankOne(a, q.weight, x)
		squares.SymRankOne(squares, q.weight*q.weight, x)
	}
	slices.SortFunc(order, func(i, j int) int {
		return cmp.Or(cmp.Compare(at[i][0], at[j][0]), cmp.Compare(at[i][1], at[j][1]), i-j)
	})
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return planeSpread{}, false
	}
	cells := 0
	sum := make([]float64, n)
	for i := 0; i < len(order); {
		clear(sum)
		first := at[order[i]]
		for ; i < len(order) && at[order[i]] == first; i++ {
			q := &rows[order[i]]
			for k, d := range q.by {
				sum[k] += float64(q.weight * q.left * d)
			}
		}
		b.SymRankOne(b, 1, mat.NewVecDense(n, sum))
		cells++
	}
	if cells <= n+1 {
		return planeSpread{}, false
	}
	// Covariance A⁻¹ B A⁻¹, of the cells and of the noise.
	of := func(b mat.Symmetric, factor float64) planeSpread {
		var half, c mat.Dense
		if chol.SolveTo(&half, b) != nil || chol.SolveTo(&c, half.T()) != nil {
			return planeSpread{math.Inf(1), math.Inf(1)}
		}
		return planeSpread{math.Sqrt(factor * c.At(0, 0)), math.Sqrt(factor * (c.At(1, 1) + c.At(2, 2)))}
	}
	s, e := of(b, float64(cells)/float64(cells-n)), of(squares, noise*noise)
	return planeSpread{max(s.offset, e.offset), max(s.turn, e.turn)}, true
}

// spread tells how far the rim's plane may be off: of what the fit of plane and wave leaves,
// and of the flat's edge, which is rounded or broken out: by how much the plane moves when the
// two outermost rows of vertices are left out. A wave is not quite the fitted one: the share
// that it does not explain counts of how far taking it out moves the plane.
func (r *Rim) spread(m *mesh.Mesh, refs OcclusalRefs, method OcclusalMethod) planeSpread {
	x := refs.Left.Along(-refs.Left.Dot(r.Plane.Normal), r.Plane.Normal).Unit()
	if x.Norm2() == 0 {
		x, _ = axesOf(r.Plane)
	}
	y := r.Plane.Normal.Cross(x)
	h := make([]float64, len(r.Flat))
	for i, v := range r.Flat {
		h[i] = math.Abs(r.Plane.Height(m.Pos[v]) - r.wave.at(m.Pos[v]))
	}
	cut := max(tukeyCut*1.4826*weightedMedian(h, r.Weight), method.CutMM)
	edge := r.edgeVertices(m)
	var rows, inner, waved []fitRow
	var left, whole float64
	for i, v := range r.Flat {
		u := h[i] / cut
		if !(u < 1) {
			continue
		}
		p := m.Pos[v]
		d := p.Sub(r.Plane.Point)
		row := planeRow(d.Dot(x), d.Dot(y), r.Plane.Height(p)-r.wave.at(p), r.Weight[i]*(1-u*u)*(1-u*u))
		if !edge[v] {
			inner = append(inner, row)
		}
		if r.wave != nil {
			full := row
			full.left += r.wave.at(p)
			waved = append(waved, full)
			left, whole = left+row.weight*row.left*row.left, whole+row.weight*full.left*full.left
			row.by = append(slices.Clone(row.by), r.wave.derivatives(p)...)
		}
		rows = append(rows, row)
	}
	s, ok := spreadOf(rows, method.ClusterMM, refs.Grain.NoiseMM)
	if !ok { // too small for cells: as if the band's width were all unevenness
		return planeSpread{rectangle(method.CutMM), rectangle(method.CutMM) / max(r.BreadthMM, 1)}
	}
	add := func(rows []fitRow, part float64) {
		if moved, ok := planeOfRows(rows); ok {
			s.offset = math.Hypot(s.offset, part*moved[0])
			s.turn = math.Hypot(s.turn, part*math.Hypot(moved[1], moved[2]))
		}
	}
	add(inner, 1)
	if whole > 0 {
		add(waved, math.Sqrt(left/whole))
	}
	return s
}

// edgeVertices are the flat's two outermost rows.
func (r *Rim) edgeVertices(m *mesh.Mesh) map[mesh.VertexID]bool {
	in := make(map[mesh.VertexID]bool, len(r.Flat))
	for _, v := range r.Flat {
		in[v] = true
	}
	edge := map[mesh.VertexID]bool{}
	for range 2 {
		var row []mesh.VertexID
		for _, v := range r.Flat {
			for _, c := range m.CornersAt(v) {
				for _, w := range [2]mesh.VertexID{m.Vertex(c.Next()), m.Vertex(c.Prev())} {
					if !in[w] || edge[w] {
						row = append(row, v)
					}
				}
			}
		}
		for _, v := range row {
			edge[v] = true
		}
	}
	return edge
}

// planeOfRows fits offset and slopes to what the rows leave.
func planeOfRows(rows []fitRow) (p [3]float64, ok bool) {
	a, b := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	for _, q := range rows {
		x := mat.NewVecDense(3, q.by[:3])
		a.SymRankOne(a, q.weight, x)
		b.AddScaledVec(b, q.weight*q.left, x)
	}
	var chol mat.Cholesky
	var sol mat.VecDense
	if len(rows) < 30 || !chol.Factorize(a) || chol.SolveVecTo(&sol, b) != nil {
		return p, false
	}
	copy(p[:], sol.RawVector().Data)
	return p, true
}

// derivatives are those of the wave's height at p by its sine, its cosine and the numbers with
// which its phase grows.
func (w *wave) derivatives(p Vec) []float64 {
	at := w.coordinates(p)
	s, c := math.Sincos(phase(w.k, at))
	slope := w.sin*c - w.cos*s
	d := []float64{s, c}
	for _, k := range w.k.together() {
		d = append(d, slope*at[k])
	}
	return d
}

// planeTurn is the standard uncertainty, in radians, of the plane with normal n through three
// landmarks.
func (an *Anatomy) planeTurn(m *mesh.Mesh, n Vec, l, r, p Landmark) float64 {
	across := l.Point.Dist(r.Point)
	ahead := l.Point.Add(r.Point).Scale(0.5).Dist(p.Point)
	ul, ur, up := an.alongU(m, n, l), an.alongU(m, n, r), an.alongU(m, n, p)
	return math.Hypot(math.Hypot(ul, ur)/across, math.Hypot(up, math.Hypot(ul, ur)/2)/ahead)
}

// alongU is the standard uncertainty, mm, of a landmark along a normal. The landmark may lie anywhere
// about its place, along the surface: a quadric through the tissue near it tells how its height changes
// then, by slope g and bend H, and how well its height is known at all. Its share of the whole where
// too little surface is near.
//
// For a shift of two independent normal parts of variance s each, the height g·x + xHx/2 has the mean
// square s|g|² + s²(2|H|² + (tr H)²)/4: moments of a quadratic form, from memory.
func (an *Anatomy) alongU(m *mesh.Mesh, n Vec, l Landmark) float64 {
	const unknown = 6
	reach := max(l.UncertaintyMM, 3*an.grain.EdgeMM)
	e1, e2 := tangents(n)
	var a, first [unknown * (unknown + 1)]float64 // normal equations: of the fit, of the variance of its first number
	var square, count float64
	for v, p := range m.Pos {
		d := p.Sub(l.Point)
		if d.Norm() > reach || an.Part != nil && an.Part[v] == PartOuter {
			continue
		}
		x, y, h := d.Dot(e1), d.Dot(e2), d.Dot(n)
		row := [unknown + 1]float64{1, x, y, x * x / 2, x * y, y * y / 2, h}
		for i := range unknown {
			for j, r := range row {
				a[i*(unknown+1)+j] += float64(row[i] * r)
			}
		}
		square, count = square+float64(h*h), count+1
	}
	var c, right [unknown]float64
	first = a
	for i := range unknown {
		right[i] = a[i*(unknown+1)+unknown]
		first[i*(unknown+1)+unknown] = 0
	}
	first[unknown] = 1
	if count < 2*unknown || !solve(a[:], unknown) || !solve(first[:], unknown) {
		return l.UncertaintyMM / 2 / math.Sqrt(3)
	}
	for i := range c {
		c[i] = a[i*(unknown+1)+unknown]
		square -= float64(c[i] * right[i])
	}
	left := max(0, square) / (count - unknown)
	s := l.UncertaintyMM * l.UncertaintyMM / 8 // half of the standard uncertainty's square along each of two directions
	bend := (2*(c[3]*c[3]+2*c[4]*c[4]+c[5]*c[5]) + (c[3]+c[5])*(c[3]+c[5])) / 4
	return math.Sqrt(s*(c[1]*c[1]+c[2]*c[2]) + s*s*bend + c[0]*c[0] + left*first[unknown])
}

// crestTurn is the standard uncertainty, in radians, of the crest's plane, from how far the
// crest along the front and sides wanders about it.
func (an *Anatomy) crestTurn(cellMM float64) float64 {
	var points []Vec
	var h []float64
	for i := range an.slices {
		if s := &an.slices[i]; s.basin > 0 && math.Abs(s.u) < an.chart.radius*(math.Pi/2+0.6) {
			points = append(points, s.crest)
			h = append(h, s.crest.Z)
		}
	}
	if len(points) == 0 {
		return 0
	}
	level := median(h)
	var mid Vec
	for i, q := range points {
		mid = mid.Along(1/float64(len(points)), q)
		h[i] = math.Abs(q.Z - level)
	}
	cut := tukeyCut * (1.4826*median(h) + 0.1)
	var rows []fitRow
	for i, q := range points {
		if u := h[i] / cut; u < 1 {
			rows = append(rows, planeRow(q.X-mid.X, q.Y-mid.Y, q.Z-level, (1-u*u)*(1-u*u)))
		}
	}
	s, _ := spreadOf(rows, cellMM, an.grain.NoiseMM)
	return s.turn
}
