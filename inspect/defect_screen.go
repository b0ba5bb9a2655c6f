package inspect

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
)

// screen takes the curvature of the surface at the vertices that are looked at and leaves the
// seeds: vertices where it is cup-shaped or dome-shaped, each the strongest of its
// neighbourhood, and the vertices that lie in grooves.
func (s *survey) screen() { s.screenBy(s.samples(sampleShare * s.by.FineMM)) }

// screenBy is screen with the sample of every vertex.
func (s *survey) screenBy(of []mesh.VertexID) {
	s.weak = make([]float32, len(s.m.Pos))
	s.groove = make([]float32, len(s.m.Pos))
	wide := make([]float32, len(s.m.Pos))
	fineMin, coarseMin := s.by.CupPerMM, s.by.CupPerMM/2
	s.bySamples(of, func(w *walker, v mesh.VertexID) bool {
		k1, k2, n := s.curvature(w, v, math.Max(s.by.FineMM, 1.2*float64(s.edge[v])))
		if n < 5 {
			return true
		}
		s.groove[v] = float32(math.Max(0, -k2))
		s.weak[v] = float32(cup(k1, k2))
		return math.Abs(cup(k1, k2)) >= sampleLeast*fineMin || -k2 >= sampleLeast*s.by.GroovePerMM
	}, func(v, sample mesh.VertexID) {
		s.groove[v], s.weak[v] = s.groove[sample], s.weak[sample]
	})
	s.bySamples(of, func(w *walker, v mesh.VertexID) bool {
		// The wide view costs six times as much: only where the near view does not speak
		// against it.
		if math.Abs(float64(s.weak[v])) < 0.1*fineMin {
			return false
		}
		k1, k2, _ := s.curvature(w, v, math.Max(s.by.CoarseMM, 2*float64(s.edge[v])))
		wide[v] = float32(cup(k1, k2))
		return math.Abs(cup(k1, k2)) >= sampleLeast*coarseMin
	}, func(v, sample mesh.VertexID) { wide[v] = wide[sample] })
	s.pickSeeds(s.weak, fineMin, s.by.FineMM)
	s.screenCoarse()
	s.pickSeeds(wide, coarseMin, s.by.CoarseMM)
	for _, v := range s.look {
		if float64(s.groove[v]) >= s.by.GroovePerMM {
			s.grooves = append(s.grooves, v)
		}
	}
	slices.SortStableFunc(s.grooves, func(a, b mesh.VertexID) int { return cmp.Compare(s.groove[b], s.groove[a]) })
}

// screenCoarse adds the vertices that stand out of a quadric over the ring of vertices round
// them. Where the smallest faults are hardly wider than two edges the normals, means of inside
// and outside, no longer tell a cup; heights still do.
func (s *survey) screenCoarse() {
	out := make([]float32, len(s.m.Pos))
	least := math.Max(0.25*s.by.MinDepthMM, 3*s.noise)
	s.each(len(s.look), func(w *walker, i int) {
		v := s.look[i]
		edge := float64(s.pitch[v])
		if !s.mayBeFew(edge) {
			return
		}
		near := w.ball(v, 3.2*edge)
		f := sound{o: s.m.Pos[v], n: s.nor[v]}
		f.e1, f.e2 = tangents(f.n)
		w.pts = w.pts[:0]
		var beside [16]patchPoint
		n := 0
		for _, x := range near {
			u, t, z := f.local(s.m.Pos[x])
			if float64(u*u)+float64(t*t) > 1.4*1.4*edge*edge {
				w.pts = append(w.pts, patchPoint{u: u, v: t, z: z})
			} else if x != v && n < len(beside) {
				beside[n] = patchPoint{u: u, v: t, z: z}
				n++
			}
		}
		h, ok := w.heightAt(&f, math.Max(s.noise, 0.01), least)
		if !ok || math.Abs(h) < least {
			return
		}
		// A lone vertex is no fault: one beside it must stand out the same way.
		for _, q := range beside[:n] {
			if (f.at(q.u, q.v)-q.z)*math.Copysign(1, h) > 2*s.noise {
				out[v] = float32(h)
				return
			}
		}
	})
	s.pickSeeds(out, least, s.by.FineMM)
}

// heightAt fits a quadric to the points of the walker and returns its height in their middle. It ends
// early where the height has come to rest under least: steps of the reweighting get shorter, and four
// times the last one would not lead there.
func (w *walker) heightAt(f *sound, floor, least float64) (h float64, ok bool) {
	if !w.fitting.begin(f, w.pts, 6) {
		return 0, false
	}
	for i := range reweighings {
		if !w.fitting.step(f, w.pts, floor) {
			return 0, false
		}
		last := h
		if h = f.at(0, 0); i > 0 && math.Abs(h)+4*math.Abs(h-last) < least {
			break
		}
	}
	return h, true
}

// cup is the smaller curvature of a cup as a positive number, of a dome as a negative one, and
// 0 where the principal curvatures differ in sign.
func cup(k1, k2 float64) float64 {
	switch {
	case k1 < 0:
		return -k1
	case k2 > 0:
		return -k2
	}
	return 0
}

// pickSeeds adds the vertices where |k| is at least least and the largest within r.
func (s *survey) pickSeeds(k []float32, least, r float64) {
	top := make([]bool, len(s.look))
	s.each(len(s.look), func(w *walker, i int) {
		v := s.look[i]
		if math.Abs(float64(k[v])) < least {
			return
		}
		for _, x := range w.ball(v, r) {
			if k[x]*k[v] > 0 && (abs32(k[x]) > abs32(k[v]) || abs32(k[x]) == abs32(k[v]) && x < v) {
				return
			}
		}
		top[i] = true
	})
	for i, ok := range top {
		if ok {
			v := s.look[i]
			s.seeds = append(s.seeds, seed{v, math.Copysign(1, float64(k[v]))})
		}
	}
}

func abs32(x float32) float32 {
	if x < 0 {
		return -x
	}
	return x
}

// curvature returns the principal curvatures (1/mm, convex positive, k1 >= k2) at v and the
// number of vertices used: the symmetric matrix that best turns steps in the tangent plane into
// changes of the normal over the vertices within r.
func (s *survey) curvature(w *walker, v mesh.VertexID, r float64) (k1, k2 float64, n int) {
	a, b, c, n := s.shape(w, v, r)
	mid, half := (a+c)/2, math.Hypot((a-c)/2, b)
	return mid + half, mid - half, n
}

// shape returns the second fundamental form a, b, c in tangents(normal).
func (s *survey) shape(w *walker, v mesh.VertexID, r float64) (a, b, c float64, n int) {
	p, nv := s.m.Pos[v], s.nor[v]
	e1, e2 := tangents(nv)
	var uu, uv, vv, up, uq, vp, vq float64
	for _, x := range w.ball(v, r) {
		d, dn := s.m.Pos[x].Sub(p), s.nor[x].Sub(nv)
		u, t := d.Dot(e1), d.Dot(e2)
		p, q := dn.Dot(e1), dn.Dot(e2)
		uu += float64(u * u)
		uv += float64(u * t)
		vv += float64(t * t)
		up += float64(u * p)
		uq += float64(u * q)
		vp += float64(t * p)
		vq += float64(t * q)
		n++
	}
	// Least squares of (a u + b t - p)² + (b u + c t - q)².
	x := []float64{uu, uv, 0, up, uv, uu + vv, uv, uq + vp, 0, uv, vv, vq}
	if !solve(x, 3) {
		return 0, 0, 0, 0
	}
	return x[3], x[7], x[11], n
}

// solve solves n symmetric equations of a positive definite matrix in place, row after row with the
// right-hand side last, which is then the solution; false if they are singular. Only the upper half is
// read. Gaussian elimination, which for such needs no pivots (Golub and Van Loan, Matrix Computations,
// section 4.2).
func solve(a []float64, n int) bool {
	w := n + 1
	for i := range n {
		top := a[i*w : i*w+w]
		if !(top[i] > 1e-12) {
			return false
		}
		for j := i + 1; j < n; j++ {
			g := top[j] / top[i]
			row := a[j*w : j*w+w]
			for k := j; k < w; k++ {
				row[k] -= float64(g * top[k])
			}
		}
	}
	for i := n - 1; i >= 0; i-- {
		row := a[i*w : i*w+w]
		x := row[n]
		for j := i + 1; j < n; j++ {
			x -= float64(row[j] * a[j*w+n])
		}
		row[n] = x / row[i]
	}
	return true
}
