package phantom

import "math"

const (
	seedStep  = 0.75 // mm in the parameter plane
	seedSlack = 0.2  // how much nearer than its seeds a part of the sheet may come: step²/2 over the least radius, with the radius' own slope
	nearCell  = 1.0  // mm
	coarse    = 5    // near cells along a coarse one
	nearReach = 2.6  // farther than this from the surface distances are bounds
)

// seedGrid lists, for each cell of space near the surface, the seeds that can be the nearest to a
// point of the cell; farther away it keeps a lower bound of the distance.
type seedGrid struct {
	lo         vec
	nx, ny, nz int
	cell       []seedCell
}

type seedCell struct {
	list  []int32
	bound float64 // lower bound of the signed distance in the cell
	one   int32   // nearest seed to the centre
}

func (s *sheet) plant(lo, hi vec) {
	var j jet
	add := func(a, b, t float64) {
		s.at(a, b, &j)
		s.seeds = append(s.seeds, seed{j.pos(), j.v[3], a, b, t})
	}
	for i := 0; i < len(s.trim.ctl); i++ {
		x, y, _, _, _, _ := s.trim.at(float64(i))
		add(x, y, float64(i))
	}
	// The parameter plane may be stretched into space: steps are set by the sheet's own lengths.
	for a := s.a0; a < s.a0+s.step*float64(s.na); a += seedStep {
		for b := s.b0; b < s.b0+s.step*float64(s.nb); b += seedStep {
			if d, _ := s.trim.rough(a, b); d > 0 {
				continue
			}
			s.at(a, b, &j)
			na := int(math.Ceil(math.Min(3, xyz(&j.a).Norm()/1.2)))
			nb := int(math.Ceil(math.Min(3, xyz(&j.b).Norm()/1.2)))
			for u := 0; u < na; u++ {
				for v := 0; v < nb; v++ {
					x, y := a+seedStep*float64(u)/float64(na), b+seedStep*float64(v)/float64(nb)
					if d, _ := s.trim.rough(x, y); d < -0.3 {
						add(x, y, -1)
					}
				}
			}
		}
	}
	s.near = newSeedGrid(s.seeds, lo, hi)
}

func newSeedGrid(seeds []seed, lo, hi vec) *seedGrid {
	up := func(d float64) int { return (int(d/nearCell)/coarse + 1) * coarse }
	g := &seedGrid{lo: lo, nx: up(hi.X - lo.X), ny: up(hi.Y - lo.Y), nz: up(hi.Z - lo.Z)}
	g.cell = make([]seedCell, g.nx*g.ny*g.nz)
	all := make([]int32, len(seeds))
	for i := range all {
		all[i] = int32(i)
	}
	// keep narrows a list to the seeds that can be the nearest within half of a cube's diagonal.
	dist := make([]float64, len(seeds))
	keep := func(from, to []int32, c vec, half float64) (list []int32, least float64, one int32) {
		least = math.Inf(1)
		for k, i := range from {
			v := c.Dist(seeds[i].c) - seeds[i].r
			dist[k] = v
			if v < least {
				least, one = v, i
			}
		}
		to = to[:0]
		for k, i := range from {
			if dist[k] <= least+2*half+seedSlack {
				to = append(to, i)
			}
		}
		return to, least, one
	}
	hs, hb := nearCell*math.Sqrt(3)/2, nearCell*coarse*math.Sqrt(3)/2
	at := func(i, k, m int, w float64) vec {
		return lo.Add(vec{X: float64(i) + w/2, Y: float64(k) + w/2, Z: float64(m) + w/2}.Scale(nearCell))
	}
	// Three sizes of cell, each list narrowed from the one above.
	const huge = 5 * coarse
	hh := nearCell * huge * math.Sqrt(3) / 2
	var vast, big, small []int32
	for c := 0; c < (g.nx/huge+1)*(g.ny/huge+1)*(g.nz/huge+1); c++ {
		x0 := c % (g.nx/huge + 1) * huge
		y0 := c / (g.nx/huge + 1) % (g.ny/huge + 1) * huge
		z0 := c / (g.nx/huge + 1) / (g.ny/huge + 1) * huge
		vast, _, _ = keep(all, vast, at(x0, y0, z0, huge), hh)
		for m := z0; m < min(g.nz, z0+huge); m += coarse {
			for k := y0; k < min(g.ny, y0+huge); k += coarse {
				for i := x0; i < min(g.nx, x0+huge); i += coarse {
					big, _, _ = keep(vast, big, at(i, k, m, coarse), hb)
					for n := 0; n < coarse*coarse*coarse; n++ {
						x, y, z := i+n%coarse, k+n/coarse%coarse, m+n/coarse/coarse
						c := &g.cell[(z*g.ny+y)*g.nx+x]
						var least float64
						small, least, c.one = keep(big, small, at(x, y, z, 1), hs)
						c.bound = least - hs - seedSlack
						if c.bound < nearReach {
							c.list = append([]int32(nil), small...)
						}
					}
				}
			}
		}
	}
	return g
}

func (g *seedGrid) at(p vec) (list []int32, bound float64, one int32) {
	in := func(x float64, n int) int { return int(math.Max(0, math.Min(float64(n-1), x/nearCell))) }
	c := &g.cell[(in(p.Z-g.lo.Z, g.nz)*g.ny+in(p.Y-g.lo.Y, g.ny))*g.nx+in(p.X-g.lo.X, g.nx)]
	return c.list, c.bound, c.one
}
