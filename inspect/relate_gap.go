package inspect

import (
	"math"
	"slices"
	"sync"

	"fornix/mesh"
)

// common is the surface that both rims share, on a grid of pixels seen along Up.
type common struct {
	w, h   int
	x0, y0 float64 // local coordinates of pixel (0, 0)
	pixel  float64
	both   []int     // pixels where both flats are, in order
	u, l   []float64 // #both: heights of the flats, local z
	se     []float64 // #both: standard uncertainty of their difference, from noise

	shares [2]float64 // of each flat that is shared, upper and lower
	front  float64    // local y of the foremost pixel of both
	rear   float64
	on     [2][]bool // #w*h: where the flats of upper and lower are
	reach  [2][]bool // #w*h: up to where they reach, half a face farther
}

// gap is that at the i-th shared pixel.
func (f *common) gap(i int) float64 { return f.u[i] - f.l[i] }

// place returns the local coordinates of the i-th shared pixel.
func (f *common) place(i int) (x, y float64) { return f.xy(f.both[i]) }

// xy returns the local coordinates of a pixel.
func (f *common) xy(at int) (x, y float64) {
	return f.x0 + f.pixel*float64(at%f.w), f.y0 + f.pixel*float64(at/f.w)
}

// shared lays the grid and takes the heights of both flats wherever one lies over the other.
func (p *pair) shared(workers int) *common {
	f := &common{pixel: p.method.PixelMM, front: math.Inf(1), rear: math.Inf(-1)}
	lo, hi := Vec{X: math.Inf(1), Y: math.Inf(1)}, Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, s := range []*seat{&p.upper, &p.lower} {
		for _, v := range s.rim.Flat {
			q := s.local(s.m.Pos[v])
			lo, hi = lo.Min(q), hi.Max(q)
		}
	}
	const edge = 4 // empty pixels all around
	f.x0, f.y0 = f.pixel*(math.Floor(lo.X/f.pixel)-edge), f.pixel*(math.Floor(lo.Y/f.pixel)-edge)
	f.w, f.h = int((hi.X-f.x0)/f.pixel)+edge+1, int((hi.Y-f.y0)/f.pixel)+edge+1
	for i, s := range []*seat{&p.upper, &p.lower} {
		f.on[i], f.reach[i] = s.mask(f, 1), s.mask(f, 0.5)
	}
	n := [2]int{}
	for at := range f.on[0] {
		a, b := f.on[0][at], f.on[1][at]
		if a {
			n[0]++
		}
		if b {
			n[1]++
		}
		if a && b {
			f.both = append(f.both, at)
			_, y := f.xy(at)
			f.front, f.rear = min(f.front, y-f.pixel/2), max(f.rear, y+f.pixel/2)
		}
	}
	for i := range f.shares {
		f.shares[i] = float64(len(f.both)) / float64(max(1, n[i]))
	}
	var su, sl []float64
	f.u, su = p.upper.heights(f, f.both, p.method.MeanMM, workers)
	f.l, sl = p.lower.heights(f, f.both, p.method.MeanMM, workers)
	f.se = make([]float64, len(su))
	for i := range f.se {
		f.se[i] = math.Hypot(su[i], sl[i])
	}
	return f
}

// mask draws the jaw's flat on the grid, as far as the share of it among the vertices of a face,
// between them by straight lines, is at least the level: 1 takes faces that lie in it with all
// three, 0.5 goes half-way to the next vertex outside.
func (s *seat) mask(f *common, level float64) []bool {
	g := &flatMask{w: f.w, h: f.h, pixel: f.pixel, x: s.x, y: s.y, on: make([]bool, f.w*f.h)}
	g.origin = s.origin.Along(f.x0, s.x).Along(f.y0, s.y)
	in := make(map[mesh.VertexID]float64, len(s.rim.Flat))
	for _, v := range s.rim.Flat {
		in[v] = 1
	}
	for _, i := range s.rim.Faces {
		t := s.m.Tri[i]
		a, b, c := in[t[0]], in[t[1]], in[t[2]]
		g.draw(s.m, i, func(at int, u, v float64) {
			if a+u*(b-a)+v*(c-a) >= level-1e-9 {
				g.on[at] = true
			}
		})
	}
	const pinhole = 0.5 // noise leaves holes where a small face stands on edge
	return g.closed(pinhole / 2)
}

// flatPoint is one vertex of a flat: where it is, how far over its plane along z, its weight.
type flatPoint struct{ x, y, over, weight float64 }

// heights returns the local z of the jaw's flat at some pixels, and its standard uncertainty from
// noise.
//
// It is the plane of the rim with its wave and, of what that leaves of the vertices within reach, a straight-line
// fit weighted by area and by 1 - (d/reach)² (local linear regression: Cleveland, J Am Stat Assoc
// 1979;74:829), which a lean of the surface does not bias at the edge.
func (s *seat) heights(f *common, pixels []int, reach float64, workers int) (z, se []float64) {
	z, se = make([]float64, len(pixels)), make([]float64, len(pixels))
	cell := map[[2]int][]flatPoint{}
	of := func(x, y float64) [2]int { return [2]int{int(math.Floor(x / reach)), int(math.Floor(y / reach))} }
	for i, v := range s.rim.Flat {
		if w := s.rim.Weight[i]; w > 0 {
			q := s.local(s.m.Pos[v])
			k := of(q.X, q.Y)
			cell[k] = append(cell[k], flatPoint{q.X, q.Y, q.Z - s.modelAt(q.X, q.Y), w})
		}
	}
	inChunks(len(pixels), workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			x, y := f.xy(pixels[i])
			var sum localFit
			k := of(x, y)
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					for _, q := range cell[[2]int{k[0] + dx, k[1] + dy}] {
						u, v := (q.x-x)/reach, (q.y-y)/reach
						if d := float64(u*u) + float64(v*v); d < 1 {
							sum.add(u, v, q.over, q.weight*(1-d))
						}
					}
				}
			}
			over, share := sum.value()
			z[i] = s.modelAt(x, y) + over
			se[i] = s.grain.NoiseMM * math.Sqrt(share)
		}
	})
	return z, se
}

// modelAt is the height over (x, y) of the rim's plane and wave.
func (s *seat) modelAt(x, y float64) float64 {
	z := s.planeAt(x, y)
	if s.rim.wave == nil {
		return z
	}
	n := s.turned(s.rim.Plane.Normal)
	return z + s.rim.wave.at(s.origin.Along(x, s.x).Along(y, s.y).Along(z, s.z))/n.Z
}

// localFit adds up a weighted fit of a + b u + c v.
type localFit struct {
	n, nn, x, y, xx, xy, yy, h, hx, hy float64
}

func (s *localFit) add(u, v, h, w float64) {
	s.n += w
	s.nn += float64(w * w)
	s.x += float64(w * u)
	s.y += float64(w * v)
	s.xx += float64(w * u * u)
	s.xy += float64(w * u * v)
	s.yy += float64(w * v * v)
	s.h += float64(w * h)
	s.hx += float64(w * u * h)
	s.hy += float64(w * v * h)
}

// value returns a, and the variance of a as a share of that of one point. Where too few points are
// near, or all on a line, a is their mean; where none is, 0 with the share of a single point.
func (s *localFit) value() (a, share float64) {
	if !(s.n > 0) {
		return 0, 1
	}
	mean := s.nn / (s.n * s.n)
	mx, my, mh := s.x/s.n, s.y/s.n, s.h/s.n
	xx, xy, yy := s.xx/s.n-mx*mx, s.xy/s.n-mx*my, s.yy/s.n-my*my
	hx, hy := s.hx/s.n-mx*mh, s.hy/s.n-my*mh
	det := xx*yy - xy*xy
	if mean > 1.0/6 || !(det > 1e-4) { // a half disc has 0.005
		return mh, mean
	}
	b, c := (hx*yy-hy*xy)/det, (hy*xx-hx*xy)/det
	return mh - b*mx - c*my, mean * (1 + (mx*mx*yy-2*mx*my*xy+my*my*xx)/det)
}

// inChunks calls do for pieces of 0..n on some workers, 0: one for each processor.
func inChunks(n, workers int, do func(lo, hi int)) {
	const piece = 1024
	if workers == 1 || n <= piece {
		do(0, n)
		return
	}
	var all sync.WaitGroup
	for lo := 0; lo < n; lo += piece {
		all.Go(func() { do(lo, min(n, lo+piece)) })
	}
	all.Wait()
}

// quantileOf returns the q-quantile of sorted values, between neighbours by straight lines (type 7
// of Hyndman and Fan, Am Stat 1996;50:361).
func quantileOf(sorted []float64, q float64) float64 {
	at := q * float64(len(sorted)-1)
	i := int(at)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (at-float64(i))*(sorted[i+1]-sorted[i])
}

// part names where a local place lies along the arch, one of GapPartNames, and its side.
func (p *pair) part(f *common, x, y float64) (part, side string) {
	side = "left"
	if x < 0 {
		side = "right"
	}
	switch a := degrees(math.Atan2(math.Abs(x), f.rear-y)); {
	case a <= p.method.AnteriorDeg:
		return "anterior", side
	case a <= p.method.PremolarDeg:
		return "premolar " + side, side
	}
	return "molar " + side, side
}

// sortedGaps returns the gaps of some shared pixels in order.
func (f *common) sortedGaps(at []int) []float64 {
	g := make([]float64, len(at))
	for k, i := range at {
		g[k] = f.gap(i)
	}
	slices.Sort(g)
	return g
}
