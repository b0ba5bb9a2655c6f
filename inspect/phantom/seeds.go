package phantom

import "math"

const (
	seedStep  = 0.75 // mm in the parameter plane
	seedSlack = 0.2  // how much nearer than its seeds a part of the sheet may come: step²/2 over the least radius, with the radius' own slope
	nearCell  = 1.0  // mm
	vast      = 16   // near cells along the cubes with which narrowing starts
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
	up := func(d float64) int { return int(d/nearCell) + 1 }
	g := &seedGrid{lo: lo, nx: up(hi.X - lo.X), ny: up(hi.Y - lo.Y), nz: up(hi.Z - lo.Z)}
	g.cell = make([]seedCell, g.nx*g.ny*g.nz)
	all := make([]int32, len(seeds))
	for i := range all {
		all[i] = int32(i)
	}
	dist := make([]float64, len(seeds))
	var lists [5][]int32 // one for each depth
	// narrow goes through a cube of n cells a side, from the seeds that can be the nearest to any of
	// its points, and halves it.
	var narrow func(x, y, z, n, depth int, from []int32)
	narrow = func(x, y, z, n, depth int, from []int32) {
		if x >= g.nx || y >= g.ny || z >= g.nz {
			return
		}
		w := float64(n) / 2
		mid := lo.Add(vec{X: float64(x) + w, Y: float64(y) + w, Z: float64(z) + w}.Scale(nearCell))
		half := nearCell * w * math.Sqrt(3)
		least, one := math.Inf(1), int32(0)
		for k, i := range from {
			dist[k] = mid.Dist(seeds[i].c) - seeds[i].r
			if dist[k] < least {
				least, one = dist[k], i
			}
		}
		if bound := least - half - seedSlack; bound >= nearReach {
			for c := z; c < min(g.nz, z+n); c++ {
				for b := y; b < min(g.ny, y+n); b++ {
					for a := x; a < min(g.nx, x+n); a++ {
						g.cell[(c*g.ny+b)*g.nx+a] = seedCell{nil, bound, one}
					}
				}
			}
			return
		}
		list := lists[depth][:0]
		for k, i := range from {
			if dist[k] <= least+2*half+seedSlack {
				list = append(list, i)
			}
		}
		lists[depth] = list
		if n == 1 {
			g.cell[(z*g.ny+y)*g.nx+x] = seedCell{append([]int32(nil), list...), least - half - seedSlack, one}
			return
		}
		n /= 2
		for o := 0; o < 8; o++ {
			narrow(x+o&1*n, y+o>>1&1*n, z+o>>2*n, n, depth+1, list)
		}
	}
	for z := 0; z < g.nz; z += vast {
		for y := 0; y < g.ny; y += vast {
			for x := 0; x < g.nx; x += vast {
				narrow(x, y, z, vast, 0, all)
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
