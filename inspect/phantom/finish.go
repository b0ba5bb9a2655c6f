package phantom

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"fornix/mesh"
)

// finish turns the exact surface into a scan: missing faces, noise, the scanner's frame, unit and
// single precision.
func (m *maker) finish(sf *surface, workers int) (*Phantom, error) {
	p := m.p
	if p.Decimate > 0 {
		decimate(sf, p.Decimate, m.rng)
	}
	if err := m.layers(sf, workers); err != nil {
		return nil, err
	}
	if p.TissueSide || p.Cast {
		m.tissueSide(sf, workers)
	}
	if err := m.holes(sf); err != nil {
		return nil, err
	}
	if p.Cast && p.Base {
		if err := m.base(sf); err != nil {
			return nil, err
		}
	}
	if m.truth.OneSided {
		m.truth.hideOral()
	}
	compact(sf)
	if p.Noise > 0 {
		noise := rand.New(rand.NewPCG(uint64(p.Seed), 0x401e))
		for i := range sf.pos {
			sf.pos[i] = sf.pos[i].Along(p.Noise*noise.NormFloat64(), sf.n[i])
		}
	}
	axes, shift := p.axes()
	world := func(v vec) vec {
		q := shift.Along(v.X, axes.Left).Along(v.Y, axes.Posterior).Along(v.Z, axes.TowardTissue)
		q = q.Scale(p.Scale)
		return vec{X: float64(float32(q.X)), Y: float64(float32(q.Y)), Z: float64(float32(q.Z))}
	}
	for i := range sf.pos {
		sf.pos[i] = world(sf.pos[i])
	}
	turned := p.Jaw == "lower" // patient's axes are left-handed there
	if turned != (p.InsideOut != p.Cast) {
		for i, t := range sf.tri {
			sf.tri[i] = [3]mesh.VertexID{t[0], t[2], t[1]}
		}
	}
	ms := mesh.New(sf.pos, sf.tri)
	m.truth.place(axes, shift, p.Scale)
	mt := MeshTruth{Vertices: len(ms.Pos), Triangles: len(ms.Tri)}
	for c, o := range ms.Across {
		switch {
		case o == mesh.OnBoundary:
			mt.BoundaryEdges++
		case o == mesh.NonManifold:
			mt.NonManifold++
		}
		if c%3 == 0 {
			a, b, d := ms.Corners(mesh.FaceID(c / 3))
			mt.Area += b.Sub(a).Cross(d.Sub(a)).Norm() / 2
		}
	}
	m.truth.Mesh = mt
	return &Phantom{ms, m.truth}, nil
}

// axes returns the patient's axes in the scanner's frame.
func (p *Params) axes() (Axes, vec) {
	q := p.Frame.Quat
	n := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2] + q[3]*q[3])
	if n == 0 {
		q, n = [4]float64{1}, 1
	}
	w, x, y, z := q[0]/n, q[1]/n, q[2]/n, q[3]/n
	a := Axes{
		Left:         vec{X: 1 - 2*(y*y+z*z), Y: 2 * (x*y + w*z), Z: 2 * (x*z - w*y)},
		Posterior:    vec{X: 2 * (x*y - w*z), Y: 1 - 2*(x*x+z*z), Z: 2 * (y*z + w*x)},
		TowardTissue: vec{X: 2 * (x*z + w*y), Y: 2 * (y*z - w*x), Z: 1 - 2*(x*x+y*y)},
	}
	if p.Jaw == "lower" {
		a.TowardTissue = a.TowardTissue.Scale(-1)
	}
	return a, p.Frame.Shift
}

// place moves all points and directions of the truth to the scanner's frame.
func (t *Truth) place(a Axes, shift vec, scale float64) {
	t.Axes = a
	dir := func(v vec) vec { return vec{}.Along(v.X, a.Left).Along(v.Y, a.Posterior).Along(v.Z, a.TowardTissue) }
	pt := func(v *vec) { *v = shift.Add(dir(*v)).Scale(scale) }
	for k, v := range t.Landmarks {
		pt(&v)
		t.Landmarks[k] = v
	}
	for i := range t.Border {
		for k := range t.Border[i].Apex {
			pt(&t.Border[i].Apex[k])
		}
	}
	for i := range t.Posterior {
		pt(&t.Posterior[i])
	}
	for i := range t.Crest {
		pt(&t.Crest[i])
	}
	for i := range t.Voids {
		pt(&t.Voids[i].Point)
	}
	for i := range t.Blebs {
		pt(&t.Blebs[i].Point)
	}
	for i := range t.Folds {
		pt(&t.Folds[i].Middle)
		for k := range t.Folds[i].Path {
			pt(&t.Folds[i].Path[k])
		}
	}
	for i := range t.Holes {
		pt(&t.Holes[i].Point)
	}
	for i := range t.Layers {
		pt(&t.Layers[i].Point)
	}
	if t.Plane != nil {
		pt(&t.Plane.Point)
		t.Plane.Normal = dir(t.Plane.Normal)
		for i := range t.Plane.Chips {
			pt(&t.Plane.Chips[i])
		}
	}
}

// hideOral takes out what a scan of the tissue side alone does not show.
func (t *Truth) hideOral() {
	t.Plane = nil
	t.Voids = slices.DeleteFunc(t.Voids, func(c CapTruth) bool { return c.Surface == "outer" })
	t.Blebs = slices.DeleteFunc(t.Blebs, func(c CapTruth) bool { return c.Surface == "outer" })
}

// holes takes the faces out whose middle lies within the radius, on the side of the place only.
func (m *maker) holes(sf *surface) error {
	for _, h := range m.p.Holes {
		if m.truth.OneSided && h.Surface == "outer" {
			continue
		}
		var c vec
		switch h.Surface {
		case "tissue", "outer":
			q, _, ok := m.s.hit(h.X, h.Y, h.Surface == "outer")
			if !ok {
				return fmt.Errorf("phantom: no surface for a hole at %g, %g", h.X, h.Y)
			}
			c = q
		case "border":
			best := math.Inf(1)
			for i := range m.an.deg {
				if st := m.an.station(float64(i)); st.side != sideBack {
					if d := math.Hypot(st.apex.X-h.X, st.apex.Y-h.Y); d < best {
						best, c = d, st.apex
					}
				}
			}
		default:
			return fmt.Errorf("phantom: a hole's surface is %q, not tissue, outer or border", h.Surface)
		}
		// Grow from the nearest vertex, so that the far side of thin material stays.
		n, near := -1, math.Inf(1)
		in := make([]bool, len(sf.pos))
		for i, v := range sf.pos {
			d := v.Dist(c)
			in[i] = d <= h.Radius*1.4
			if d < near {
				n, near = i, d
			}
		}
		reach := make([]bool, len(sf.pos))
		reach[n] = true
		for grown := true; grown; {
			grown = false
			for _, t := range sf.tri {
				if reach[t[0]] || reach[t[1]] || reach[t[2]] {
					for _, v := range t {
						if in[v] && !reach[v] {
							reach[v], grown = true, true
						}
					}
				}
			}
		}
		kept := sf.tri[:0]
		for _, t := range sf.tri {
			mid := sf.pos[t[0]].Add(sf.pos[t[1]]).Add(sf.pos[t[2]]).Scale(1.0 / 3)
			if reach[t[0]] && reach[t[1]] && reach[t[2]] && mid.Dist(c) <= h.Radius {
				continue
			}
			kept = append(kept, t)
		}
		if len(kept) == len(sf.tri) {
			return fmt.Errorf("phantom: a hole of radius %g mm at %g, %g is too small for these faces", h.Radius, h.X, h.Y)
		}
		sf.tri = kept
		area, rim := m.s.disc(c, h.Radius)
		m.truth.Holes = append(m.truth.Holes, HoleTruth{c, h.Radius, h.Surface, area, rim})
	}
	return nil
}

// tissueSide keeps the faces that are seen along z from the tissue: turned toward it by more than
// 6 degrees and with nothing of the solid before them, without the wax and the handle. Small patches out of sight among them, in
// the shade of a bleb or the wall of a void, are kept too: a scanner is moved about and sees them.
func (m *maker) tissueSide(sf *surface, workers int) {
	seen := make([]bool, len(sf.pos))
	each(len(seen), workers, func(i int) {
		if sf.n[i].Z < 0.1 {
			return
		}
		if sf.part[i] == partWax || sf.part[i] == partHandle {
			return
		}
		q := sf.pos[i].Add(vec{Z: 0.05})
		for q.Z < m.s.hi.Z {
			f, _, _ := m.s.at(q)
			if f < 0 {
				return
			}
			q.Z += f + 0.02
		}
		seen[i] = true
	})
	hidden := [][3]mesh.VertexID{}
	kept := sf.tri[:0]
	for _, t := range sf.tri {
		if seen[t[0]] && seen[t[1]] && seen[t[2]] {
			kept = append(kept, t)
		} else {
			hidden = append(hidden, t)
		}
	}
	size := pieces(hidden, len(sf.pos))
	most := 0
	for _, n := range size {
		most = max(most, n)
	}
	for i, t := range hidden {
		if part := sf.part[t[0]]; size[i] < most && part != partWax && part != partHandle {
			kept = append(kept, t)
		}
	}
	sf.tri = kept
	dropSmall(sf, 200)
}

// dropSmall takes pieces of fewer than n faces out, as a scanner's own cleaning does.
func dropSmall(sf *surface, n int) {
	size := pieces(sf.tri, len(sf.pos))
	kept := sf.tri[:0]
	for i, t := range sf.tri {
		if size[i] >= n {
			kept = append(kept, t)
		}
	}
	sf.tri = kept
}

// pieces tells for each face how many faces hang together with it by vertices.
func pieces(tri [][3]mesh.VertexID, verts int) []int {
	root := make([]mesh.VertexID, verts)
	for i := range root {
		root[i] = mesh.VertexID(i)
	}
	find := func(v mesh.VertexID) mesh.VertexID {
		for root[v] != v {
			root[v] = root[root[v]]
			v = root[v]
		}
		return v
	}
	for _, t := range tri {
		a := find(t[0])
		root[find(t[1])] = a
		root[find(t[2])] = find(a)
	}
	count := make([]int, verts)
	for _, t := range tri {
		count[find(t[0])]++
	}
	size := make([]int, len(tri))
	for i, t := range tri {
		size[i] = count[find(t[0])]
	}
	return size
}

// compact drops the vertices that no face uses.
func compact(sf *surface) {
	to := make([]mesh.VertexID, len(sf.pos))
	for _, t := range sf.tri {
		for _, v := range t {
			to[v] = 1
		}
	}
	n := 0
	for i := range to {
		if to[i] == 0 {
			continue
		}
		sf.pos[n], sf.n[n], sf.f[n], sf.part[n] = sf.pos[i], sf.n[i], sf.f[i], sf.part[i]
		to[i] = mesh.VertexID(n)
		n++
	}
	sf.pos, sf.n, sf.f, sf.part = sf.pos[:n], sf.n[:n], sf.f[:n], sf.part[:n]
	for i, t := range sf.tri {
		sf.tri[i] = [3]mesh.VertexID{to[t[0]], to[t[1]], to[t[2]]}
	}
}
