package inspect

import (
	"math"
	"testing"
)

// Norris, NIST Statistical Reference Datasets, linear regression, lower difficulty: (y, x).
// https://www.itl.nist.gov/div898/strd/lls/data/Norris.shtml
var norris = [][2]float64{
	{.1, .2}, {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1}, {228.1, 226.5}, {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6},
	{778.9, 777.0}, {559.2, 558.2}, {.3, .4}, {.1, .6}, {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
	{557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {.3, .3}, {.6, .3}, {557.6, 556.8}, {339.3, 339.1},
	{888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0}, {10.2, 11.1}, {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {.2, .5},
}

// Certified values.
const (
	norrisIntercept  = -0.262323073774029
	norrisSlope      = 1.00211681802045
	norrisResidualSD = 0.884796396144373
)

// The slope of a rear profile is a line of least squares.
func TestProfileSlopeOfNorris(t *testing.T) {
	e := &archEnd{}
	for _, p := range norris {
		e.t, e.z = append(e.t, p[1]), append(e.z, p[0])
	}
	if s := e.slopeOver(0, 1000); math.Abs(s-norrisSlope) > 1e-11 {
		t.Errorf("slope %.15g, certified %.15g", s, norrisSlope)
	}
}

// The plane under a rim's wave is fitted by least squares: with every point at y = -1 and
// y = 1 it is the line, and what it leaves is twice the line's sum of squares.
func TestPlaneUnderWaveOfNorris(t *testing.T) {
	var list []sample
	for _, p := range norris {
		for _, y := range []float64{-1, 1} {
			list = append(list, sample{at: waveVec{alongX: p[1], alongY: y}, h: p[0], w: 1})
		}
	}
	left, x := fitWave(list, waveVec{})
	if math.Abs(x[0]-norrisIntercept) > 1e-10 || math.Abs(x[1]-norrisSlope) > 1e-12 || math.Abs(x[2]) > 1e-10 {
		t.Errorf("%.15g + %.15g x + %.2g y, certified %.15g, %.15g", x[0], x[1], x[2], norrisIntercept, norrisSlope)
	}
	// The sum of squares is what remains of a number a million times larger.
	if sd := math.Sqrt(left / 2 / 34); math.Abs(sd-norrisResidualSD) > 1e-6 {
		t.Errorf("residual SD %.12g, certified %.12g", sd, norrisResidualSD)
	}
}

// The crest's plane is fitted with weights that fall to nothing: on points of a plane it is
// that plane, with one stray point too.
func TestCrestPlaneOfExactPoints(t *testing.T) {
	want := Vec{X: -0.05, Y: 0.03, Z: 1}.Unit()
	var p []Vec
	for i := range 40 {
		x, y := 20*math.Cos(float64(i)), 20*math.Sin(2*float64(i))
		p = append(p, Vec{X: x, Y: y, Z: 3 + 0.05*x - 0.03*y})
	}
	p[7].Z += 6
	if n, ok := robustPlane(p); !ok || n.Dist(want) > 1e-9 {
		t.Errorf("%v, want %v", n, want)
	}
}
