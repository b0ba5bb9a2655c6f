package phantom

import "math"

// loop is a closed plane curve, a uniform cubic B-spline through no point in particular, counter-
// clockwise. It is the outline of the sheet in its parameter plane and of the rim from below.
type loop struct {
	ctl [][2]float64 // one control point per unit of t

	x0, y0, cell float64
	nx, ny       int
	seed         []float32 // per raster cell, t of a nearby point of the loop
	sd           []float32 // per raster cell, signed distance of its centre; positive outside
}

const loopCell = 0.5 // mm, raster of nearest points

// newLoop makes a loop from a counter-clockwise polygon of roughly even spacing.
func newLoop(poly [][2]float64) *loop {
	l := &loop{ctl: poly, cell: loopCell}
	lo, hi := poly[0], poly[0]
	for _, p := range poly {
		for k := range p {
			lo[k], hi[k] = math.Min(lo[k], p[k]), math.Max(hi[k], p[k])
		}
	}
	const margin = 8
	l.x0, l.y0 = lo[0]-margin, lo[1]-margin
	l.nx, l.ny = int((hi[0]-lo[0]+2*margin)/l.cell)+1, int((hi[1]-lo[1]+2*margin)/l.cell)+1
	l.raster()
	return l
}

func (l *loop) wrap(t float64) float64 {
	n := float64(len(l.ctl))
	if t >= 0 && t < n {
		return t
	}
	t = math.Mod(t, n)
	if t < 0 {
		t += n
	}
	if t >= n {
		t = 0
	}
	return t
}

// at returns the point of the loop at t with its first two derivatives.
func (l *loop) at(t float64) (x, y, dx, dy, ddx, ddy float64) {
	t = l.wrap(t)
	n := len(l.ctl)
	i := int(t)
	w, d, dd := basis(t - float64(i))
	for m := 0; m < 4; m++ {
		c := &l.ctl[(i+m-1+n)%n]
		x += w[m] * c[0]
		y += w[m] * c[1]
		dx += d[m] * c[0]
		dy += d[m] * c[1]
		ddx += dd[m] * c[0]
		ddy += dd[m] * c[1]
	}
	return
}

// raster fills the table of nearest points by spreading the samples of the loop from cell to
// cell, four sweeps (Danielsson 1980); it only starts the exact search.
func (l *loop) raster() {
	const per = 4
	n := len(l.ctl) * per
	pt := make([][2]float64, n)
	for i := range pt {
		pt[i][0], pt[i][1], _, _, _, _ = l.at(float64(i) / per)
	}
	id := make([]int32, l.nx*l.ny)
	d2 := make([]float64, len(id))
	for i := range d2 {
		d2[i], id[i] = math.Inf(1), -1
	}
	try := func(c, x, y int, s int32) {
		if s < 0 {
			return
		}
		ux, uy := l.x0+float64(x)*l.cell-pt[s][0], l.y0+float64(y)*l.cell-pt[s][1]
		if d := ux*ux + uy*uy; d < d2[c] {
			d2[c], id[c] = d, s
		}
	}
	for s, p := range pt {
		x, y := int((p[0]-l.x0)/l.cell+0.5), int((p[1]-l.y0)/l.cell+0.5)
		try(y*l.nx+x, x, y, int32(s))
	}
	for pass := 0; pass < 4; pass++ {
		sx, sy := 1-2*(pass&1), 1-(pass&2)
		for yy := 0; yy < l.ny; yy++ {
			y := yy
			if sy < 0 {
				y = l.ny - 1 - yy
			}
			for xx := 0; xx < l.nx; xx++ {
				x := xx
				if sx < 0 {
					x = l.nx - 1 - xx
				}
				c := y*l.nx + x
				for _, o := range [3][2]int{{-sx, 0}, {0, -sy}, {-sx, -sy}} {
					u, v := x+o[0], y+o[1]
					if u >= 0 && v >= 0 && u < l.nx && v < l.ny {
						try(c, x, y, id[v*l.nx+u])
					}
				}
			}
		}
	}
	l.seed, l.sd = make([]float32, len(id)), make([]float32, len(id))
	for c := range id {
		t := float64(id[c]) / per
		l.seed[c] = float32(t)
		x, y := l.x0+float64(c%l.nx)*l.cell, l.y0+float64(c/l.nx)*l.cell
		l.sd[c] = float32(l.side(x, y, t) * math.Sqrt(d2[c]))
	}
}

// side is 1 outside and -1 inside, judged at the loop's point t.
func (l *loop) side(x, y, t float64) float64 {
	px, py, dx, dy, _, _ := l.at(t)
	if dx*(y-py)-dy*(x-px) > 0 {
		return -1
	}
	return 1
}

// rough returns the raster's signed distance, within about one cell, and its t.
func (l *loop) rough(x, y float64) (d, t float64) {
	i := int(math.Max(0, math.Min(float64(l.nx-1), (x-l.x0)/l.cell+0.5)))
	k := int(math.Max(0, math.Min(float64(l.ny-1), (y-l.y0)/l.cell+0.5)))
	c := k*l.nx + i
	return float64(l.sd[c]), float64(l.seed[c])
}

// nearest returns the signed distance to the loop, positive outside, and the nearest t.
func (l *loop) nearest(x, y float64) (d, t float64) {
	_, t = l.rough(x, y)
	for it := 0; it < 20; it++ {
		px, py, dx, dy, ddx, ddy := l.at(t)
		ux, uy := px-x, py-y
		g := ux*dx + uy*dy
		h := dx*dx + dy*dy + ux*ddx + uy*ddy
		if h < 0.2*(dx*dx+dy*dy) {
			h = dx*dx + dy*dy
		}
		st := math.Max(-1, math.Min(1, -g/h))
		t += st
		if math.Abs(st) < 1e-10 {
			break
		}
	}
	t = l.wrap(t)
	px, py, _, _, _, _ := l.at(t)
	return l.side(x, y, t) * math.Hypot(px-x, py-y), t
}

// resample walks a closed polygon in even steps of about step.
func resample(p [][2]float64, step float64) [][2]float64 {
	n := len(p)
	at := make([]float64, n+1)
	for i := range p {
		q := p[(i+1)%n]
		at[i+1] = at[i] + math.Hypot(q[0]-p[i][0], q[1]-p[i][1])
	}
	m := int(at[n]/step + 0.5)
	out := make([][2]float64, m)
	for i, k := 0, 0; i < m; i++ {
		s := at[n] * float64(i) / float64(m)
		for k < n-1 && at[k+1] < s {
			k++
		}
		u := (s - at[k]) / math.Max(1e-12, at[k+1]-at[k])
		a, b := p[k], p[(k+1)%n]
		out[i] = [2]float64{a[0] + u*(b[0]-a[0]), a[1] + u*(b[1]-a[1])}
	}
	return out
}

// roundCorners smooths an evenly sampled polygon where it turns sharply, within reach points.
func roundCorners(p [][2]float64, corners [][2]float64, reach, step float64) {
	n := len(p)
	for pass := 0; pass < int(reach*reach/step/step/2); pass++ {
		prev := append([][2]float64(nil), p...)
		for i := range p {
			w := 0.0
			for _, c := range corners {
				w = math.Max(w, 1-smooth(math.Hypot(prev[i][0]-c[0], prev[i][1]-c[1]), 0.8*reach, 1.6*reach))
			}
			for k := 0; k < 2 && w > 0; k++ {
				p[i][k] += w * (0.25*prev[(i+1)%n][k] + 0.25*prev[(i+n-1)%n][k] - 0.5*prev[i][k])
			}
		}
	}
}

// smooth rises from 0 at a to 1 at b with level ends.
func smooth(x, a, b float64) float64 {
	t := math.Max(0, math.Min(1, (x-a)/(b-a)))
	return t * t * (3 - 2*t)
}
