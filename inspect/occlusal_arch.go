package inspect

import (
	"cmp"
	"math"
	"slices"
)

// archPlace is a point of the middle line of a flat.
type archPlace struct {
	x, y, angle, arc float64
	half             float64 // of the way from the place before
}

// coordinates returns where p is: x and y mm, and those of the nearest place on the middle line
// (angle in radians, the rest mm), so that a wave around the arch runs square to it.
func (w *wave) coordinates(p Vec) waveVec {
	d := p.Sub(w.origin)
	x, y := d.Dot(w.u), d.Dot(w.v)
	at := waveVec{x, y, math.Atan2(x, y)}
	n := len(w.middle)
	if n > 1 {
		// Most of the line lies farther away than its part in that direction.
		i, _ := slices.BinarySearchFunc(w.middle[1:n-1], at[aroundAngle], func(a archPlace, angle float64) int { return cmp.Compare(a.angle, angle) })
		_, e := w.beside(i+1, x, y)
		reach := math.Sqrt(e) * (1 + 1e-9)
		best := math.Inf(1)
		for i := 1; i < n; i++ {
			a, b := &w.middle[i-1], &w.middle[i]
			if i > 1 && i < n-1 {
				mx, my, r := x-(a.x+b.x)/2, y-(a.y+b.y)/2, reach+b.half
				if mx*mx+my*my > r*r {
					continue
				}
			}
			if t, e := w.beside(i, x, y); e < best {
				best = e
				at[aroundAngle], at[aroundArc] = a.angle+t*(b.angle-a.angle), a.arc+t*(b.arc-a.arc)
			}
		}
	}
	if n > 0 {
		half := w.middle[n-1].arc / 2
		d := at[aroundArc] - half
		at[aroundSquare], at[aroundCube] = d*d/half, d*d*d/(half*half)
	}
	return at
}

// beside returns how far along the i-th part of the middle line the place nearest to (x, y) lies, as a
// share of its length, and the square of the distance to it. Beyond the ends the line goes straight on.
func (w *wave) beside(i int, x, y float64) (t, d2 float64) {
	a, b := &w.middle[i-1], &w.middle[i]
	dx, dy := b.x-a.x, b.y-a.y
	t = (float64((x-a.x)*dx) + float64((y-a.y)*dy)) / (float64(dx*dx) + float64(dy*dy))
	if i > 1 {
		t = max(t, 0)
	}
	if i < len(w.middle)-1 {
		t = min(t, 1)
	}
	ex, ey := x-a.x-t*dx, y-a.y-t*dy
	return t, float64(ex*ex) + float64(ey*ey)
}

// newWave sets up the coordinates: origin midway between the rear ends of the flat, which are
// where the arch opens; arc length along the middles of the flat at each degree.
func newWave(points []Vec, weight []float64, p Plane) *wave {
	w := &wave{}
	w.u, w.v = axesOf(p)
	// The arch opens to the side where its hull's middle lies off its centroid.
	var c Vec
	total := 0.0
	for i, q := range points {
		c = c.Along(weight[i], q)
		total += weight[i]
	}
	c = c.Scale(1 / total)
	c = c.Along(-p.Height(c), p.Normal)
	far := func(from Vec) Vec {
		best := points[0]
		for _, q := range points {
			if q.Sub(from).Norm2() > best.Sub(from).Norm2() {
				best = q
			}
		}
		return best
	}
	a := far(c)
	b := far(a)
	w.origin = a.Add(b).Scale(0.5)
	w.origin = w.origin.Along(-p.Height(w.origin), p.Normal)
	if front := c.Sub(w.origin); front.Norm() > 1 {
		w.v = front.Unit()
		w.u = w.v.Cross(p.Normal)
	}
	const bins = 120 // of 3 degrees
	var sum [bins]archPlace
	var n [bins]float64
	for i, q := range points {
		at := w.coordinates(q) // no middle line yet: the angle is that of q
		k := min(int((at[aroundAngle]/(2*math.Pi)+0.5)*bins), bins-1)
		sum[k].x += weight[i] * at[alongX]
		sum[k].y += weight[i] * at[alongY]
		n[k] += weight[i]
	}
	arc := 0.0
	for k, c := range sum {
		if n[k] == 0 {
			continue
		}
		c.x, c.y = c.x/n[k], c.y/n[k]
		c.angle = math.Atan2(c.x, c.y)
		if l := len(w.middle); l > 0 {
			way := math.Hypot(c.x-w.middle[l-1].x, c.y-w.middle[l-1].y)
			arc, c.half = arc+way, way/2
			if arc == w.middle[l-1].arc {
				continue
			}
		}
		c.arc = arc
		w.middle = append(w.middle, c)
	}
	return w
}
