package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.12g, want %.12g within %g", what, got, want, tol)
	}
}

var rimXY = []Vec{{X: -25, Y: -20}, {X: -22, Y: -5}, {X: -14, Y: 8}, {Y: 15}, {X: 14, Y: 8}, {X: 22, Y: -5}, {X: 25, Y: -20}}

func lift(xy []Vec, z ...float64) []Vec {
	out := slices.Clone(xy)
	for i := range out {
		out[i].Z = z[i]
	}
	return out
}

func turnedAboutX(points []Vec, deg float64) []Vec {
	s, c := math.Sincos(deg * math.Pi / 180)
	out := slices.Clone(points)
	for i, p := range points {
		out[i] = Vec{X: p.X, Y: c*p.Y - s*p.Z, Z: s*p.Y + c*p.Z}
	}
	return out
}

// Worked plane and flatness examples: residuals, least-squares plane and minimum zone computed
// independently by singular values and by brute force over all face and edge-pair normals.
func TestPlaneWorkedExamples(t *testing.T) {
	grid := []Vec{{X: -1, Y: -1}, {Y: -1}, {X: 1, Y: -1}, {X: -1}, {}, {X: 1}, {X: -1, Y: 1}, {Y: 1}, {X: 1, Y: 1}}
	square := []Vec{{X: -10, Y: -10}, {X: 10, Y: -10}, {X: 10, Y: 10}, {X: -10, Y: 10}, {}}
	for _, c := range []struct {
		name                      string
		points                    []Vec
		normal                    Vec
		fltt, fltp, fltv, rms, mz float64
	}{
		{"A", []Vec{{X: 1.1, Y: 2.1, Z: 8.1}, {X: 3.2, Y: 4.2, Z: 8.0}, {X: 5.3, Y: 1.3, Z: 8.2}, {X: 3.4, Y: 2.4, Z: 8.3}, {X: 1.5, Y: 4.5, Z: 8.0}},
			Vec{X: -0.0147304629, Y: 0.0628887423, Z: 0.9979118295}, 0.196956679, 0.140814527, 0.056142152, 0.073070150, 0.189169139},
		{"B saddle", lift(square[:4], .2, -.2, .2, -.2), Vec{Z: 1}, 0.4, 0.2, 0.2, 0.2, 0.4},
		{"C pyramid", lift(square, 0, 0, 0, 0, .5), Vec{Z: 1}, 0.5, 0.4, 0.1, 0.2, 0.5},
		{"D turned rim", turnedAboutX(rimXY, 3), Vec{Y: -0.0523359562, Z: 0.9986295348}, 0, 0, 0, 0, 0},
		{"E wavy rim", lift(rimXY, .1, -.1, .1, -.1, .1, -.1, .1), Vec{Y: 0.0022829965, Z: 0.9999973940}, 0.229678434, 0.110174739, 0.119503694, 0.094544316, 0.2},
		{"F one high", lift(rimXY, 0, 0, 0, .6, 0, 0, 0), Vec{Y: -0.0092320632, Z: 0.9999573836}, 0.535349988, 0.350724393, 0.184625595, 0.173387923, 0.479929485},
		{"G grid", lift(grid, 0, .1, 0, .1, .4, .1, 0, .1, 0), Vec{Z: 1}, 0.4, 0.311111111, 0.088888889, 0.119670329, 0.4},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, ok := FitPlane(c.points, nil)
			if !ok {
				t.Fatal("no plane")
			}
			p = p.Facing(Vec{Z: 1})
			near(t, "normal error", p.Normal.Dist(c.normal), 0, 2e-10)
			fl := MeasureFlatness(c.points, p)
			near(t, "FLTt", fl.PeakToValley, c.fltt, 1e-9)
			near(t, "FLTp", fl.Peak, c.fltp, 1e-9)
			near(t, "FLTv", fl.Valley, c.fltv, 1e-9)
			near(t, "FLTq", fl.RMS, c.rms, 1e-9)
			gap, mid, ok := MinimumZone(c.points)
			if !ok {
				t.Fatal("no minimum zone")
			}
			near(t, "minimum zone", gap, c.mz, 1e-9)
			about := MeasureFlatness(c.points, mid)
			near(t, "peak about the middle plane", about.Peak, gap/2, 1e-9)
			near(t, "valley about the middle plane", about.Valley, gap/2, 1e-9)
		})
	}
}

func TestTiltFromLandmarksAndSigns(t *testing.T) {
	// Papilla at the origin, notches at (-22,-50,2) and (22,-50,2): 2.290610 degrees.
	ref, _ := FitPlane([]Vec{{}, {X: -22, Y: -50, Z: 2}, {X: 22, Y: -50, Z: 2}}, nil)
	left, posterior := Vec{X: 1}, Vec{Y: -1}
	tilt := TiltAgainst(Vec{Z: 1}, ref.Facing(Vec{Z: 1}).Normal, left, posterior)
	near(t, "total", tilt.TotalDeg, 2.290610043, 1e-8)
	near(t, "cant", tilt.CantDeg, 0, 1e-9)
	near(t, "pitch", tilt.PitchDeg, -2.290610043, 1e-8) // the notches are nearer the tissue than a level plane

	s, c := math.Sincos(3 * math.Pi / 180)
	tilt = TiltAgainst(Vec{X: -s, Z: c}, Vec{Z: 1}, Vec{X: 1}, Vec{Y: 1})
	near(t, "plane rising to the left", tilt.CantDeg, 3, 1e-12)
	tilt = TiltAgainst(Vec{Y: -s, Z: c}, Vec{Z: 1}, Vec{X: 1}, Vec{Y: 1})
	near(t, "plane rising to the back", tilt.PitchDeg, 3, 1e-12)
}

func randomSheet(r *rand.Rand, n int, noise float64) []Vec {
	points := make([]Vec, n)
	for i := range points {
		points[i] = Vec{X: 60 * (r.Float64() - .5), Y: 40 * (r.Float64() - .5), Z: noise * r.NormFloat64()}
	}
	return turnedAboutX(points, 20)
}

// bruteZone looks at every plane through three points and every pair of lines through two.
func bruteZone(points []Vec) float64 {
	best := math.Inf(1)
	try := func(n Vec) {
		if l := n.Norm(); l > 1e-9 {
			n = n.Scale(1 / l)
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, q := range points {
				d := q.Sub(points[0]).Dot(n)
				lo, hi = min(lo, d), max(hi, d)
			}
			best = min(best, hi-lo)
		}
	}
	var lines []Vec
	for i, a := range points {
		for _, b := range points[:i] {
			lines = append(lines, b.Sub(a))
		}
	}
	for i, u := range lines {
		for _, v := range lines[:i] {
			try(u.Cross(v))
		}
	}
	return best
}

func TestMinimumZoneAgainstBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for round := range 60 {
		points := randomSheet(r, 4+round%9, []float64{0.02, 1, 30}[round%3])
		if round%4 == 0 { // many points of one plane or line
			for i := range points {
				points[i] = Vec{X: math.Round(points[i].X / 20), Y: math.Round(points[i].Y / 20), Z: math.Round(points[i].Z / 20)}
			}
		}
		if _, ok := FitPlane(points, nil); !ok {
			continue
		}
		gap, _, ok := MinimumZone(points)
		if !ok {
			t.Fatal("no minimum zone")
		}
		near(t, "minimum zone", gap, bruteZone(points), 1e-9)
	}
}

// The gap along a fixed axis, minimised over all slopes, is a linear program; a general solver
// gives its optimum, and turning the axis onto the found plane makes it the minimum zone of
// that neighbourhood.
func TestMinimumZoneAgainstLinearProgram(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 5 {
		points := randomSheet(r, 60, 0.2)
		gap, mid, _ := MinimumZone(points)
		u := mid.Normal.Cross(Vec{X: 1}).Unit()
		v := mid.Normal.Cross(u)
		// Variables a+, a-, b+, b-, c+, c-, half gap; |z - a x - b y - c| <= half gap.
		g, h := mat.NewDense(2*len(points), 7, nil), make([]float64, 2*len(points))
		for i, q := range points {
			d := q.Sub(mid.Point)
			x, y, z := d.Dot(u), d.Dot(v), d.Dot(mid.Normal)
			g.SetRow(2*i, []float64{x, -x, y, -y, 1, -1, -1})
			g.SetRow(2*i+1, []float64{-x, x, -y, y, -1, 1, -1})
			h[2*i], h[2*i+1] = z, -z
		}
		nonneg := mat.NewDense(7, 7, nil)
		for i := range 7 {
			nonneg.Set(i, i, -1)
		}
		var all mat.Dense
		all.Stack(g, nonneg)
		c, a, b := lp.Convert([]float64{0, 0, 0, 0, 0, 0, 1}, &all, append(h, make([]float64, 7)...), nil, nil)
		half, _, err := lp.Simplex(c, a, b, 1e-10, nil)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "minimum zone", gap, 2*half, 1e-7)
	}
}

func TestPlaneRefusesWhatIsNoPlane(t *testing.T) {
	for name, points := range map[string][]Vec{
		"none": nil, "two": {{}, {X: 1}}, "line": {{}, {X: 1, Y: 1}, {X: 2, Y: 2}, {X: 5, Y: 5}},
		"nan": {{X: math.NaN()}, {X: 1}, {Y: 1}}, "inf": {{Z: math.Inf(1)}, {X: 1}, {Y: 1}, {}},
	} {
		if _, ok := FitPlane(points, nil); ok {
			t.Errorf("%s: FitPlane gave a plane", name)
		}
		if _, _, ok := MinimumZone(points); ok {
			t.Errorf("%s: MinimumZone gave a gap", name)
		}
	}
}

func TestFitPlaneWeights(t *testing.T) {
	p, ok := FitPlane([]Vec{{}, {X: 1}, {Y: 1}, {X: 1, Y: 1}, {Z: 9}}, []float64{1, 1, 1, 1, 0})
	if !ok || p.Normal.Dist(Vec{Z: 1}) > 1e-15 || p.Point.Dist(Vec{X: .5, Y: .5}) > 1e-15 {
		t.Errorf("plane %v %v", p, ok)
	}
}

func BenchmarkMinimumZone(b *testing.B) {
	points := randomSheet(rand.New(rand.NewPCG(5, 6)), 20000, 0.02)
	for b.Loop() {
		MinimumZone(points)
	}
}
