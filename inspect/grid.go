package inspect

import (
	"math"

	"fornix/mesh"
)

// grid is a height map: for each cell of a square lattice the surface point that is highest,
// and the one that is lowest, along a direction.
type grid struct {
	x0, y0, cell float64
	nx, ny       int
	top, bottom  []float64 // nx*ny; -Inf and +Inf where there is no surface
	topUp        []bool    // the highest face is wound so that its normal points up
	bottomDown   []bool    // the lowest face is wound so that its normal points down
}

// newGrid samples faces given by positions in a frame whose z is the direction of sight.
// O(#F + cells covered).
func newGrid(loc []Vec, tri [][3]mesh.VertexID, body []mesh.FaceID, cell float64) *grid {
	lo, hi := bounds(loc)
	// Whole cells from the origin, so that a mirrored surface is sampled at the mirrored places.
	i0, j0 := math.Floor(lo.X/cell)-1, math.Floor(lo.Y/cell)-1
	g := &grid{x0: i0 * cell, y0: j0 * cell, cell: cell}
	g.nx = int(math.Floor(hi.X/cell)-i0) + 2
	g.ny = int(math.Floor(hi.Y/cell)-j0) + 2
	n := g.nx * g.ny
	g.top, g.bottom = make([]float64, n), make([]float64, n)
	g.topUp, g.bottomDown = make([]bool, n), make([]bool, n)
	for i := range g.top {
		g.top[i], g.bottom[i] = math.Inf(-1), math.Inf(1)
	}
	for _, f := range body {
		t := tri[f]
		g.add(loc[t[0]], loc[t[1]], loc[t[2]])
	}
	return g
}

func bounds(p []Vec) (lo, hi Vec) {
	inf := math.Inf(1)
	lo, hi = Vec{X: inf, Y: inf, Z: inf}, Vec{X: -inf, Y: -inf, Z: -inf}
	for _, q := range p {
		lo, hi = lo.Min(q), hi.Max(q)
	}
	return lo, hi
}

// add enters one face at the cell centres that it covers.
func (g *grid) add(a, b, c Vec) {
	area := (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X)
	if area == 0 {
		return
	}
	i0 := int(math.Ceil((min(a.X, b.X, c.X)-g.x0)/g.cell - 0.5))
	i1 := int(math.Floor((max(a.X, b.X, c.X)-g.x0)/g.cell - 0.5))
	j0 := int(math.Ceil((min(a.Y, b.Y, c.Y)-g.y0)/g.cell - 0.5))
	j1 := int(math.Floor((max(a.Y, b.Y, c.Y)-g.y0)/g.cell - 0.5))
	for j := j0; j <= j1; j++ {
		y := g.y0 + (float64(j)+0.5)*g.cell
		for i := i0; i <= i1; i++ {
			x := g.x0 + (float64(i)+0.5)*g.cell
			wa := ((b.X-x)*(c.Y-y) - (b.Y-y)*(c.X-x)) / area
			wb := ((c.X-x)*(a.Y-y) - (c.Y-y)*(a.X-x)) / area
			wc := 1 - wa - wb
			if wa < -1e-9 || wb < -1e-9 || wc < -1e-9 {
				continue
			}
			z := wa*a.Z + wb*b.Z + wc*c.Z
			k := j*g.nx + i
			if z > g.top[k] {
				g.top[k], g.topUp[k] = z, area > 0
			}
			if z < g.bottom[k] {
				g.bottom[k], g.bottomDown[k] = z, area < 0
			}
		}
	}
}

// at returns the cell at x, y and whether it holds surface.
func (g *grid) at(x, y float64) (int, bool) {
	i, j := int(math.Floor((x-g.x0)/g.cell)), int(math.Floor((y-g.y0)/g.cell))
	if i < 0 || j < 0 || i >= g.nx || j >= g.ny {
		return 0, false
	}
	k := j*g.nx + i
	return k, !math.IsInf(g.top[k], -1)
}

// heights returns the highest and the lowest surface over x, y, and whether there is any:
// between four cells that hold surface in proportion, so that nothing jumps at their edges,
// beside an empty one that of the cell itself.
func (g *grid) heights(x, y float64) (top, bottom float64, ok bool) {
	u, v := (x-g.x0)/g.cell-0.5, (y-g.y0)/g.cell-0.5
	i, j := int(math.Floor(u)), int(math.Floor(v))
	if i >= 0 && j >= 0 && i+1 < g.nx && j+1 < g.ny {
		c := j*g.nx + i
		t0, t1, b0, b1 := g.top[c:c+2], g.top[c+g.nx:c+g.nx+2], g.bottom[c:c+2], g.bottom[c+g.nx:c+g.nx+2]
		if none := math.Inf(-1); t0[0] != none && t0[1] != none && t1[0] != none && t1[1] != none {
			u, v = u-float64(i), v-float64(j)
			w0, w1, w2, w3 := (1-u)*(1-v), u*(1-v), (1-u)*v, u*v
			return w0*t0[0] + w1*t0[1] + w2*t1[0] + w3*t1[1], w0*b0[0] + w1*b0[1] + w2*b1[0] + w3*b1[1], true
		}
	}
	k, ok := g.at(x, y)
	if !ok {
		return 0, 0, false
	}
	return g.top[k], g.bottom[k], true
}

// centre returns the middle of cell k.
func (g *grid) centre(k int) (x, y float64) {
	return g.x0 + (float64(k%g.nx)+0.5)*g.cell, g.y0 + (float64(k/g.nx)+0.5)*g.cell
}
