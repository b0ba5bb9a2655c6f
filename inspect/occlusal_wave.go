package inspect

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"fornix/mesh"
)

// wave is a regular waviness of a flat: a sine and a cosine of a phase that grows along a
// direction in the plane, or with the angle or the length around the arch.
type wave struct {
	origin, u, v Vec // middle of the arch's opening, axes in the plane
	k            waveVec
	sin, cos     float64     // mm
	middle       []archPlace // the middle line of the flat, from one end to the other
}

// Coordinates in which the phase may grow: x and y mm; or angle and arc length, and square and
// cube of the arc length from the middle over its half, for waves that grow longer or shorter
// along the arch.
const (
	alongX = iota
	alongY
	aroundAngle
	aroundArc
	aroundSquare
	aroundCube
	waveVecLen
)

type waveVec [waveVecLen]float64

// across and around are the coordinates that are refined together.
var (
	across = []int{alongX, alongY}
	around = []int{aroundAngle, aroundArc, aroundSquare, aroundCube}
)

// together returns those of a phase.
func (k waveVec) together() []int {
	if k[alongX] != 0 || k[alongY] != 0 {
		return across
	}
	return around
}

// at returns how far the wavy surface stands over the plane at p, mm; 0 for no wave.
func (w *wave) at(p Vec) float64 {
	if w == nil || w.sin == 0 && w.cos == 0 {
		return 0
	}
	s, c := math.Sincos(phase(w.k, w.coordinates(p)))
	return float64(w.sin*s) + float64(w.cos*c)
}

// amplitude is half the wave's peak to valley, mm.
func (w *wave) amplitude() float64 {
	if w == nil {
		return 0
	}
	return math.Hypot(w.sin, w.cos)
}

func phase(k, at waveVec) float64 {
	sum := 0.0
	for i := range k {
		sum += float64(k[i] * at[i])
	}
	return sum
}

// sample is a place of the flat for the fit of a wave.
type sample struct {
	at     waveVec
	h, w   float64 // height over the plane, weight
	weight float64
}

// findWave looks for the one wave that, fitted together with a plane, leaves least of the
// flat's unevenness, and returns it with the plane. It is nil when that wave does not explain
// WaveShare of the variance, or would not go through one period within the flat. Without
// search, the wave that the rim has already is fitted anew.
//
// Why: a least-squares plane over part of a period is tilted by the wave. Form and waviness
// are separated, as ISO 21920-2 does for profiles, before the plane is told.
func (f *rimFinder) findWave(rim *Rim, search bool) (*wave, Plane) {
	w := rim.wave
	if w == nil || search {
		points := make([]Vec, len(rim.Flat))
		for i, v := range rim.Flat {
			points[i] = f.m.Pos[v]
		}
		w = newWave(points, rim.Weight, rim.Plane)
	}
	list := f.samples(rim, w)
	base, _ := fitWave(list, waveVec{})
	if !(base > 0) {
		return nil, rim.Plane
	}
	var lo, hi waveVec
	for i, s := range list {
		for c := range s.at {
			if i == 0 || s.at[c] < lo[c] {
				lo[c] = s.at[c]
			}
			if i == 0 || s.at[c] > hi[c] {
				hi[c] = s.at[c]
			}
		}
	}
	best, k := math.Inf(1), w.k
	try := func(c waveVec) {
		// At least one period across the flat, none shorter than WaveMM.
		most, least := math.Inf(-1), math.Inf(1)
		for _, s := range list {
			p := phase(c, s.at)
			most, least = max(most, p), min(least, p)
		}
		if most-least < 2*math.Pi {
			return
		}
		if left, _ := fitWave(list, c); left < best {
			best, k = left, c
		}
	}
	limit := 2 * math.Pi / f.method.WaveMM
	span := func(c int) float64 { return math.Pi / (2 * (hi[c] - lo[c])) } // a quarter period over the flat
	sx, sy := span(alongX), span(alongY)
	if search {
		best = base
		for kx := -limit; kx <= limit; kx += sx {
			for ky := 0.0; ky <= limit; ky += sy {
				if kx*kx+ky*ky <= limit*limit {
					try(waveVec{kx, ky})
				}
			}
		}
		length := hi[aroundArc] - lo[aroundArc]
		for q := 4.0; q*math.Pi/2 <= limit*length; q++ {
			try(waveVec{aroundAngle: q * span(aroundAngle)})
			try(waveVec{aroundArc: q * span(aroundArc)})
		}
	}
	if k == (waveVec{}) {
		return nil, rim.Plane
	}
	// Refine within the coordinates that did best: across, or around by any mixture of angle and
	// length. Then what the wave does not explain, such as chips, loses its weight.
	by := k.together()
	step := make([]float64, len(by))
	for i, c := range by {
		step[i] = span(c)
	}
	var x [5]float64
	var left float64
	for range 2 {
		k = refine(list, k, by, step)
		_, x = fitWave(list, k)
		reweigh(list, k, x, f.method.CutMM)
		base, _ = fitWave(list, waveVec{})
		left, x = fitWave(list, k)
	}
	if !(left < (1-f.method.WaveShare)*base) {
		return nil, rim.Plane
	}
	next := *w
	next.k, next.sin, next.cos = k, x[3], x[4]
	// Plane x[0] + x[1] x + x[2] y over the old one.
	n := rim.Plane.Normal.Along(-x[1], w.u).Along(-x[2], w.v).Unit()
	return &next, Plane{w.origin.Along(x[0], rim.Plane.Normal), n}
}

// refine moves some coordinates of k, in units of step, to the least sum of squares.
func refine(list []sample, k waveVec, by []int, step []float64) waveVec {
	moved := func(d []float64) waveVec {
		n := k
		for i, c := range by {
			n[c] += d[i] * step[i]
		}
		return n
	}
	problem := optimize.Problem{Func: func(d []float64) float64 {
		left, _ := fitWave(list, moved(d))
		return left
	}}
	settings := &optimize.Settings{FuncEvaluations: 60 * len(by)}
	result, err := optimize.Minimize(problem, make([]float64, len(by)), settings, &optimize.NelderMead{SimplexSize: 0.5})
	if result == nil || err != nil {
		return k
	}
	return moved(result.X)
}

// reweigh gives each sample Tukey's weight by what the fit leaves of it.
func reweigh(list []sample, k waveVec, x [5]float64, least float64) {
	rest, area := make([]float64, len(list)), make([]float64, len(list))
	for i, s := range list {
		sin, cos := math.Sincos(phase(k, s.at))
		rest[i] = math.Abs(s.h - x[0] - x[1]*s.at[alongX] - x[2]*s.at[alongY] - x[3]*sin - x[4]*cos)
		area[i] = s.weight
	}
	cut := max(tukeyCut*1.4826*weightedMedian(rest, area), least)
	for i := range list {
		list[i].w = 0
		if u := rest[i] / cut; u < 1 {
			list[i].w = area[i] * (1 - u*u) * (1 - u*u)
		}
	}
}

// samples thins the flat to some thousand places, evenly over its vertices in the order of
// arc length and x, with the fit's weights.
func (f *rimFinder) samples(rim *Rim, w *wave) []sample {
	h := make([]float64, len(rim.Flat))
	list := make([]sample, len(rim.Flat))
	for i, v := range rim.Flat {
		p := f.m.Pos[v]
		list[i] = sample{at: w.coordinates(p), h: rim.Plane.Height(p), weight: rim.Weight[i]}
		h[i] = math.Abs(f.height(rim, v))
	}
	cut := tukeyCut * max(1.4826*weightedMedian(h, rim.Weight), f.method.CutMM/tukeyCut)
	for i := range list {
		if u := h[i] / cut; u < 1 {
			list[i].w = list[i].weight * (1 - u*u) * (1 - u*u)
		}
	}
	list = slices.DeleteFunc(list, func(s sample) bool { return s.w == 0 })
	slices.SortFunc(list, func(a, b sample) int {
		for _, c := range [2]int{aroundArc, alongX} {
			if a.at[c] != b.at[c] {
				if a.at[c] < b.at[c] {
					return -1
				}
				return 1
			}
		}
		return 0
	})
	const enough = 1000
	every := max(1, len(list)/enough)
	thin := list[:0]
	for i := 0; i < len(list); i += every {
		thin = append(thin, list[i])
	}
	return thin
}

// fitWave fits h = a + bx + cy + d sin + e cos of the phase k by weighted least squares and
// returns what it leaves of the sum of squares. For k = 0 it fits the plane alone.
func fitWave(list []sample, k waveVec) (left float64, x [5]float64) {
	n := 5
	if k == (waveVec{}) {
		n = 3
	}
	var ata [25]float64
	var atb [5]float64
	bb := 0.0
	for _, s := range list {
		r := [5]float64{1, s.at[alongX], s.at[alongY]}
		if n == 5 {
			r[3], r[4] = math.Sincos(phase(k, s.at))
		}
		for i := range n {
			wr := s.w * r[i]
			for j := i; j < n; j++ {
				ata[n*i+j] += float64(wr * r[j])
			}
			atb[i] += float64(wr * s.h)
		}
		bb += s.w * float64(s.h*s.h)
	}
	var chol mat.Cholesky
	if !chol.Factorize(mat.NewSymDense(n, ata[:n*n])) {
		return math.Inf(1), x
	}
	var sol mat.VecDense
	if chol.SolveVecTo(&sol, mat.NewVecDense(n, atb[:n])) != nil {
		return math.Inf(1), x
	}
	left = bb
	for i := range n {
		x[i] = sol.AtVec(i)
		left -= x[i] * atb[i]
	}
	return max(left, 0), x
}

// height is how far a vertex stands over the plane and its wave.
func (f *rimFinder) height(rim *Rim, v mesh.VertexID) float64 {
	p := f.m.Pos[v]
	return rim.Plane.Height(p) - rim.wave.at(p)
}
