package inspect

import (
	"slices"

	"fornix/mesh"
)

// On a surface much finer than the balls over which the screen takes curvature, balls about neighbours
// hold nearly the same vertices. So it looks at samples first, and at every vertex only round those where it
// comes near to a limit: of n vertices in a mm² not n balls of n are walked but n of a fixed number.
const (
	// sampleShare is how far apart samples stand, in radii of the smaller ball.
	sampleShare = 1.0 / 3
	// sampleLeast is the share of a limit from which on the vertices of a sample are looked at. At sharp
	// edges curvature changes by half over a sampleShare.
	sampleLeast = 0.25
)

// samples chooses vertices that stand at least r apart, and returns the nearest of them for every vertex that is
// looked at: it is joined to it within r. A vertex with edges longer than r is its own. The choice hangs on distances
// alone, not on the frame nor on the order of the vertices.
func (s *survey) samples(r float64) (of []mesh.VertexID) { // #V
	type place struct {
		far float64
		v   mesh.VertexID
	}
	of = make([]mesh.VertexID, len(s.m.Pos))
	for v := range of {
		of[v] = -1
	}
	var mean Vec
	var order []place
	for _, v := range s.look {
		mean = mean.Along(1/float64(len(s.look)), s.m.Pos[v])
		if float64(s.edge[v]) > r {
			of[v] = v
		} else {
			order = append(order, place{v: v})
		}
	}
	for i := range order {
		order[i].far = s.m.Pos[order[i].v].Sub(mean).Norm2()
	}
	slices.SortFunc(order, func(a, b place) int {
		switch {
		case a.far < b.far:
			return -1
		case a.far > b.far:
			return 1
		}
		return int(a.v - b.v)
	})
	for _, p := range order {
		if of[p.v] >= 0 {
			continue
		}
		for _, x := range s.walkers[0].ball(p.v, r) {
			if float64(s.edge[x]) > r {
				continue
			}
			at := s.m.Pos[x]
			if old := of[x]; old < 0 || at.Sub(s.m.Pos[p.v]).Norm2() < at.Sub(s.m.Pos[old]).Norm2() {
				of[x] = p.v
			}
		}
	}
	return of
}

// bySamples measures at the samples, then at the vertices of those for which measure says so; the others
// take what their sample has.
func (s *survey) bySamples(of []mesh.VertexID, measure func(w *walker, v mesh.VertexID) bool, take func(v, sample mesh.VertexID)) {
	near := make([]bool, len(of))
	s.each(len(s.look), func(w *walker, i int) {
		if v := s.look[i]; of[v] == v {
			near[v] = measure(w, v)
		}
	})
	s.each(len(s.look), func(w *walker, i int) {
		switch v := s.look[i]; {
		case of[v] == v:
		case near[of[v]]:
			measure(w, v)
		default:
			take(v, of[v])
		}
	})
}
