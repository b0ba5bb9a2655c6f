package inspect

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A parabola is its own fit, wherever its samples lie; the vertex of any other course with one
// bottom is found to within what its skewness makes of it.
func TestLocalFitOfAParabola(t *testing.T) {
	var x, y []float64
	for i := range 60 {
		u := 0.1*float64(i) + 0.03*math.Sin(float64(i))
		x, y = append(x, u), append(y, 0.7+0.4*(u-2.9)*(u-2.9))
	}
	f, ok := fitExtreme(x, y, nil, 2.2, 1.5, 1)
	if !ok || math.Abs(f.at-2.9) > 1e-6 || math.Abs(f.c[0]-0.7) > 1e-9 || math.Abs(f.c[2]-0.4) > 1e-9 || f.rms > 1e-9 {
		t.Errorf("bottom at %.7f, value %.7f, half bend %.7f, residuals %.2g; ok %v", f.at, f.c[0], f.c[2], f.rms, ok)
	}
	if _, ok := fitExtreme(x, y, nil, 2.2, 1.5, -1); ok {
		t.Error("a bowl has a top")
	}
	if _, ok := fitExtreme(x[:20], y[:20], nil, 1, 0.8, 1); ok {
		t.Error("a slope has a bottom")
	}
}

// The vertex of noisy samples lies within its uncertainty (k = 2) about 95 times in 100, and its
// spread is what is said of it; both by simulation (JCGM 101), which knows nothing of the
// covariance.
func TestLocalFitSaysHowSureItIs(t *testing.T) {
	const seed, sd, step, rounds = 91, 0.02, 0.1, 2000
	r := rand.New(rand.NewPCG(seed, 1))
	x, y := make([]float64, 80), make([]float64, 80)
	in, n := 0, 0
	var ss, said float64
	for range rounds {
		for i := range x {
			x[i] = step * float64(i)
			y[i] = 0.1*(x[i]-4)*(x[i]-4) + sd*r.NormFloat64()
		}
		f, ok := fitExtreme(x, y, nil, 4.3, 2, 1)
		if !ok {
			continue
		}
		f.drift = 0 // a parabola is what this course is
		u := f.atU(sd * sd * step)
		if math.Abs(f.at-4) <= 2*u {
			in++
		}
		n++
		ss += (f.at - 4) * (f.at - 4)
		said += u * u
	}
	share, spread := float64(in)/float64(n), math.Sqrt(ss/said)
	t.Logf("%d of %d within k = 2 (%.1f %%); spread over what is said %.3f", in, n, 100*share, spread)
	if n < rounds*99/100 || share < 0.93 || share > 0.975 || math.Abs(spread-1) > 0.1 {
		t.Errorf("%d fits; %.1f %% within k = 2, spread over what is said %.3f (seed %d)", n, 100*share, spread, seed)
	}
}

// One sample that comes in at the edge of the window, or a stray one, hardly counts.
func TestLocalFitIsSmoothAndRobust(t *testing.T) {
	var x, y []float64
	for i := range 40 {
		u := 0.2 * float64(i)
		x, y = append(x, u), append(y, math.Sin(u/3))
	}
	a, _ := fitLocal(x, y, nil, 4, 2.0-1e-6)
	b, _ := fitLocal(x, y, nil, 4, 2.0+1e-6)
	if d := math.Abs(a.c[0] - b.c[0]); d > 1e-6 {
		t.Errorf("a sample at the window's edge moves the value by %.2g", d)
	}
	want, _ := fitLocal(x, y, nil, 4, 2)
	for i := 18; i < 23; i++ {
		y[i] -= 0.8 // a void over five sections
	}
	if d := math.Abs(follow(x, y, 2, 0.02)[20].c[0] - want.c[0]); !(d < 0.02) {
		t.Errorf("a void moves the crest by %.3f mm", d)
	}
}
