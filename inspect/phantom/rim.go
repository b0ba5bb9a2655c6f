package phantom

import "math"

// rimPlan draws the outline of the rim, and of the bite plate, from below: a band along the crest
// that ends at y = back. Shift moves it outward.
func (an *anatomy) rimPlan(p *Params, ar *arch, end, back, shift float64) {
	wide := func(s float64) float64 {
		return p.Rim.Front + (p.Rim.Back-p.Rim.Front)*smooth(math.Abs(s)/end, 0.2, 0.55)
	}
	var outer, inner [][2]float64
	for s := ar.s[0]; s < -ar.s[0]; s += 0.3 {
		q, n := ar.at(s)
		if q[1] > back+2 {
			continue
		}
		o, i := shift+wide(s)/2, shift-wide(s)/2
		outer = append(outer, [2]float64{q[0] + o*n[0], q[1] + o*n[1]})
		inner = append(inner, [2]float64{q[0] + i*n[0], q[1] + i*n[1]})
	}
	band := append([][2]float64(nil), outer...)
	for i := len(inner) - 1; i >= 0; i-- {
		band = append(band, inner[i])
	}
	m := len(outer) - 1
	corners := [][2]float64{outer[0], outer[m], inner[0], inner[m]}
	round := func(poly [][2]float64) [][2]float64 {
		poly = resample(poly, 0.5)
		roundCorners(poly, corners, 1.6, 0.5)
		return resample(poly, 0.6)
	}
	an.rim, an.plate = round(band), round(outer)
}

// wax is the rim or bite plate as a solid: inside an outline in plan, over the occlusal plane and
// under a top that hides in the tray, with edges rounded by rimEdge.
type wax struct {
	outline *loop
	plate   *loop
	n, p0   vec // plane, normal toward the tissue
	wave    float64
	top     float64
	backY   float64
	chips   []ball
}

type ball struct {
	c vec
	r float64
}

const (
	rimEdge    = 0.4  // mm, radius of the rim's edges
	plateThick = 2.6  // mm
	waveLength = 26.0 // mm
)

// height is the distance over the wavy plane.
func (w *wax) height(p vec) float64 {
	h := p.Sub(w.p0).Dot(w.n)
	if w.wave > 0 {
		h -= w.wave / 2 * math.Sin(2*math.Pi*(p.Y+0.45*p.X)/waveLength)
	}
	return h
}

// at is negative inside the wax; its slope is at most a few per cent over one. Where the wax is
// plainly farther than limit it returns infinity.
func (w *wax) at(p vec, limit float64) float64 {
	h := -w.height(p)
	if h > limit+1 {
		return math.Inf(1)
	}
	if w.plate == nil {
		if d, _ := w.outline.rough(p.X, p.Y); d > limit+1 {
			return math.Inf(1)
		}
	}
	side, _ := w.outline.nearest(p.X, p.Y)
	// The back ends are cut at 60 degrees to the plane. Edges are rounded only where the faces stand
	// at right angles, as else the value would change faster than the distance.
	f := math.Max(roundMax(roundMax(h, side), p.Z-w.top), (p.Y-w.backY)*0.866-(p.Z-w.p0.Z)*0.5)
	if w.plate != nil {
		d, _ := w.plate.nearest(p.X, p.Y)
		f = math.Min(f, math.Max(roundMax(roundMax(h, d), -h-plateThick), p.Y-w.backY))
	}
	for _, c := range w.chips {
		f = math.Max(f, c.r-p.Dist(c.c))
	}
	return f
}

// roundMax is the intersection of two solids with the edge between them rounded by rimEdge.
func roundMax(a, b float64) float64 {
	u, v := a+rimEdge, b+rimEdge
	if u <= 0 || v <= 0 {
		return math.Max(a, b)
	}
	return math.Hypot(u, v) - rimEdge
}

// box is a handle: a rounded block.
type box struct {
	c, half vec
	round   float64
	cos     float64 // of its dip toward the oral side
	sin     float64
}

func (b *box) at(p vec) float64 {
	d := p.Sub(b.c)
	d.Y, d.Z = b.cos*d.Y+b.sin*d.Z, -b.sin*d.Y+b.cos*d.Z
	x, y, z := math.Abs(d.X)-b.half.X+b.round, math.Abs(d.Y)-b.half.Y+b.round, math.Abs(d.Z)-b.half.Z+b.round
	in := math.Min(0, math.Max(x, math.Max(y, z)))
	x, y, z = math.Max(0, x), math.Max(0, y), math.Max(0, z)
	return in + math.Sqrt(x*x+y*y+z*z) - b.round
}
