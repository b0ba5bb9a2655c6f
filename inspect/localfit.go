package inspect

import "math"

// vertexFit is a parabola through samples of a course near one place: value, slope and half the
// bend there, with what the samples' own errors leave open of them.
type vertexFit struct {
	at  float64       // the place
	c   [3]float64    // value, slope, half the second derivative
	cov [3][3]float64 // of c, for errors of density 1: variance times the length over which one error reaches
	rms float64       // of the residuals, by weight
	n   float64       // how many samples count, by their weights

	drift float64 // of a vertex: how far it lies from that of the parabola over 0.7 of the length
}

// fitLocal fits a parabola to samples at x, in order, by weights that fall from 1 at the place to
// 0 at the distance half, so that no sample comes in or drops out at once; more, where given,
// weighs each sample further. A sample stands for half the way to each neighbour. ok is false
// where the samples within reach do not hold a parabola.
func fitLocal(x, y, more []float64, at, half float64) (f vertexFit, ok bool) {
	var a, b [3][3]float64
	var v [3]float64
	var sw, sw2 float64
	weight := func(i int) (w, ds, t float64) {
		t = x[i] - at
		if math.Abs(t) >= half {
			return 0, 0, t
		}
		w = 1 - t*t/(half*half)
		w *= w
		if more != nil {
			w *= more[i]
		}
		lo, hi := max(0, i-1), min(len(x)-1, i+1)
		return w, (x[hi] - x[lo]) / float64(max(1, hi-lo)), t
	}
	for i := range x {
		w, ds, t := weight(i)
		if w <= 0 || ds <= 0 {
			continue
		}
		sw, sw2 = sw+w, sw2+w*w
		p := [3]float64{1, t, t * t}
		for j := range p {
			v[j] += w * ds * p[j] * y[i]
			for k := range p {
				a[j][k] += w * ds * p[j] * p[k]
				b[j][k] += w * w * ds * p[j] * p[k]
			}
		}
	}
	inv, ok := inverse3(a)
	if !ok || sw2 == 0 {
		return f, false
	}
	f.at, f.n = at, sw*sw/sw2
	for j := range v {
		for k := range v {
			f.c[j] += inv[j][k] * v[k]
		}
	}
	f.cov = product3(product3(inv, b), inv)
	var ss float64
	for i := range x {
		if w, _, _ := weight(i); w > 0 {
			r := y[i] - f.value(x[i])
			ss += w * r * r
		}
	}
	f.rms = math.Sqrt(ss / sw)
	return f, f.n > 4
}

// value is the parabola's at x.
func (f *vertexFit) value(x float64) float64 {
	t := x - f.at
	return f.c[0] + f.c[1]*t + f.c[2]*t*t
}

// fitExtreme moves a local fit to the top (sign -1) or bottom (sign 1) of the course near a
// place: the parabola's own vertex becomes the place of the next fit. ok is false where there
// is none within the fit's reach of where it began.
func fitExtreme(x, y, more []float64, at, half, sign float64) (f vertexFit, ok bool) {
	f, ok = vertexNear(x, y, more, at, half, sign)
	if !ok {
		return f, false
	}
	// What a parabola cannot follow shows as a vertex that hangs on the length.
	f.drift = half / 2
	if s, ok := vertexNear(x, y, more, f.at, 0.7*half, sign); ok {
		f.drift = min(f.drift, math.Abs(s.at-f.at))
	}
	return f, true
}

func vertexNear(x, y, more []float64, at, half, sign float64) (f vertexFit, ok bool) {
	from := at
	for range 12 {
		f, ok = fitLocal(x, y, more, at, half)
		if !ok || !(sign*f.c[2] > 0) {
			return f, false
		}
		d := max(-half/4, min(half/4, -f.c[1]/(2*f.c[2])))
		at += d
		if math.Abs(at-from) > half {
			return f, false
		}
		if math.Abs(d) < 1e-7 {
			break
		}
	}
	return f, true
}

// atU is the standard uncertainty of the vertex's place, for errors of the density given and for
// the course's being no parabola.
func (f *vertexFit) atU(density float64) float64 {
	return math.Hypot(math.Sqrt(density*f.cov[1][1])/math.Abs(2*f.c[2]), rectangle(f.drift))
}

// valueU is the standard uncertainty of the value at the place.
func (f *vertexFit) valueU(density float64) float64 { return math.Sqrt(density * f.cov[0][0]) }

// density is that of a course's errors: what the grain of the scan makes it, or what its own
// residuals show where that is more. reach is the length over which one error reaches.
func (f *vertexFit) density(sd, reach, half float64) float64 {
	// Weights (1 - t²)² count like 1.4 times half the window.
	if free := 1.4*half/max(reach, 0.01) - 3; free > 1 {
		sd = max(sd, f.rms*math.Sqrt((free+3)/free))
	}
	return sd * sd * reach
}

// inverse3 inverts a symmetric matrix; ok is false where it is singular.
func inverse3(a [3][3]float64) (inv [3][3]float64, ok bool) {
	cof := func(i, j int) float64 {
		r, s := (i+1)%3, (i+2)%3
		c, d := (j+1)%3, (j+2)%3
		return a[r][c]*a[s][d] - a[r][d]*a[s][c]
	}
	det := a[0][0]*cof(0, 0) + a[0][1]*cof(0, 1) + a[0][2]*cof(0, 2)
	if !(math.Abs(det) > 1e-12*math.Abs(a[0][0]*a[1][1]*a[2][2])) {
		return inv, false
	}
	for i := range inv {
		for j := range inv {
			inv[i][j] = cof(j, i) / det
		}
	}
	return inv, true
}

func product3(a, b [3][3]float64) (p [3][3]float64) {
	for i := range p {
		for j := range p {
			for k := range p {
				p[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return p
}
