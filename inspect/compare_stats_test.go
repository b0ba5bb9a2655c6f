package inspect

import (
	"math"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

func equalWeights(d []float64) *distances {
	f := &distances{dist: d, pos: make([]Vec, len(d)), area: make([]float64, len(d))}
	for i := range f.area {
		f.area[i] = 1
	}
	return f
}

// NIST Statistical Reference Datasets, univariate: NumAcc3 and NumAcc4 break a variance from sums of
// squares. Certified: mean 1000000.2 and 10000000.2, SD (n - 1) 0.1. The tolerance is that of the
// data, which double precision holds to 1e-9.
func TestDeviationKeepsItsDigits(t *testing.T) {
	for _, base := range []float64{0, 1, 1e6, 1e7} {
		d := []float64{base + 0.2}
		for range 500 {
			d = append(d, base+0.1, base+0.3)
		}
		got := equalWeights(d).deviation(nil, compareDoubt{})
		n := float64(len(d))
		near(t, "mean", got.MeanMM, base+0.2, 1e-9)
		near(t, "SD", got.SDMM*math.Sqrt(n/(n-1)), 0.1, 2e-9)
	}
}

// With equal weights the quantile is Hazen's: of 1 2 3 10 the median is 2.5 and the quartiles are the
// means of neighbours, 1.5 and 6.5.
func TestAreaQuantile(t *testing.T) {
	x, w := []float64{1, 2, 3, 10}, []float64{1, 1, 1, 1}
	for p, want := range map[float64]float64{0: 1, 0.125: 1, 0.25: 1.5, 0.5: 2.5, 0.75: 6.5, 0.875: 10, 1: 10} {
		near(t, "quantile", areaQuantile(x, w, p), want, 1e-12)
	}
	// A value that weighs as much as the rest together is the middle.
	near(t, "weighted median", areaQuantile([]float64{0, 5, 9}, []float64{1, 4, 3}, 3.0/8), 5, 1e-12)
}

// Folded about a centre: of -3 -1 0 2 6 the distances from 0 are 0 1 2 3 6, from 2 they are 0 2 3 4 5.
func TestFoldedQuantile(t *testing.T) {
	x, w := []float64{-3, -1, 0, 2, 6}, []float64{1, 1, 1, 1, 1}
	near(t, "median from 0", foldedQuantile(x, w, 0, 0.5), 2, 1e-12)
	near(t, "median from 2", foldedQuantile(x, w, 2, 0.5), 3, 1e-12)
	near(t, "least from 9", foldedQuantile(x, w, 9, 0), 3, 1e-12)
	near(t, "most from -9", foldedQuantile(x, w, -9, 1), 15, 1e-12)
}

// onSphere returns the distances, exact, of the vertices of a sphere about c from a sphere about the
// origin of the other radius, with the area of each vertex on the sphere itself.
func onSphere(radius float64, c Vec, other float64, level int) *distances {
	m := shape.Icosphere(radius, level).Mesh
	f := &distances{area: vertexAreas(m)}
	for _, p := range m.Pos {
		f.pos = append(f.pos, p.Add(c))
		f.dist = append(f.dist, p.Add(c).Norm()-other)
	}
	return f
}

// Two equal spheres, their middles d apart: over one surface the signed mean is d²/(3R), the RMS d/√3,
// the greatest d (by integration over the height, which is spread evenly over a sphere). The sum over an icosphere is no integral: it is even in every
// direction through its 10,242 vertices, and what it misses falls with their spacing squared, 0.04²
// of the part that varies: 1e-4 d for the RMS, 1e-4 d²/R for the mean.
func TestDeviationOfEqualSpheres(t *testing.T) {
	const r, d = 10.0, 0.3
	got := onSphere(r, Vec{Z: d}, r, 5).deviation(nil, compareDoubt{})
	near(t, "mean", got.MeanMM, d*d/(3*r), 1e-4*d*d/r)
	near(t, "RMS", got.RMSMM, d/math.Sqrt(3), 1e-4*d)
	near(t, "highest", got.Highest.MM, d, 1e-3*d)
	near(t, "lowest", got.Lowest.MM, -d, 1e-3*d)
	near(t, "SD", got.SDMM*got.SDMM, got.RMSMM*got.RMSMM-got.MeanMM*got.MeanMM, 1e-12)
	// Over a sphere heights are spread evenly (Archimedes), so that the distance, d times height but
	// for d²/2R, is too: 5 % of the area lie beyond 0.9 d, a half within d/2. One ring of vertices,
	// 0.06 of 20 high, is 0.3 % of the area.
	near(t, "95th percentile", got.Percentiles.P95, 0.9*d, d*d/(2*r)+0.006*d)
	near(t, "MAD", got.MADMM, d/2, d*d/(2*r)+0.006*d)
	near(t, "median of the absolute distances", got.AbsP50MM, d/2, d*d/(2*r)+0.006*d)
	near(t, "share within 0.1", got.Within[1].Share, 1.0/3, 0.01)
	if !(got.Highest.At.Z > 9.9) || !(got.Lowest.At.Z < -9.6) {
		t.Errorf("extremes at %v and %v", got.Highest.At, got.Lowest.At)
	}
}

// A shell: concentric spheres are R - r apart everywhere.
func TestDeviationOfShell(t *testing.T) {
	got := onSphere(20, Vec{}, 18, 3).deviation(nil, compareDoubt{})
	for what, v := range map[string]float64{"mean": got.MeanMM, "RMS": got.RMSMM, "lowest": got.Lowest.MM, "highest": got.Highest.MM,
		"P1": got.Percentiles.P1, "P99": got.Percentiles.P99, "half": got.AbsP50MM, "abs": got.AbsP95MM} {
		near(t, what, v, 2, 1e-12)
	}
	near(t, "SD", got.SDMM, 0, 1e-12)
	near(t, "MAD", got.MADMM, 0, 1e-12)
	near(t, "area", got.AreaMM2, shape.Icosphere(20, 3).Mesh.Area(), 1e-9)
}

// A flat strip of length L tilted by a about its middle: RMS L sin(a)/√12, greatest L sin(a)/2, by
// integration. Weights make unequal cells count by their length; a sum over middles misses w²/24 of
// the square.
func TestDeviationOfTiltedStrip(t *testing.T) {
	f := &distances{}
	at := -25.0
	for i := 0; at < 25; i++ {
		w := math.Min(0.01+0.02*float64(i%3), 25-at)
		x := at + w/2
		f.dist, f.area, f.pos = append(f.dist, x*math.Sin(math.Pi/180)), append(f.area, w), append(f.pos, Vec{X: x})
		at += w
	}
	got := f.deviation(nil, compareDoubt{})
	near(t, "RMS", got.RMSMM, 50*math.Sin(math.Pi/180)/math.Sqrt(12), 1e-6)
	near(t, "greatest", got.Highest.MM, 0.436310, 0.025*math.Sin(math.Pi/180)+1e-6)
	near(t, "mean", got.MeanMM, 0, 1e-9)
}

// Parts add up to the whole: areas, means and mean squares by area, histogram.
func TestDeviationsAddUp(t *testing.T) {
	f := onSphere(10, Vec{X: 0.2, Y: -0.1}, 9.9, 3)
	for v := 0; v < len(f.dist); v += 7 {
		f.dist[v] = math.NaN()
	}
	whole := f.deviation(nil, compareDoubt{})
	var area, uncovered, mean, square float64
	places := 0
	for part := range 3 {
		d := f.deviation(func(v int) bool { return v%3 == part }, compareDoubt{})
		places += d.Places
		area, uncovered = area+d.AreaMM2, uncovered+d.UncoveredMM2
		mean, square = mean+d.AreaMM2*d.MeanMM, square+d.AreaMM2*d.RMSMM*d.RMSMM
	}
	if places != whole.Places {
		t.Errorf("%d places of %d", places, whole.Places)
	}
	near(t, "area", area, whole.AreaMM2, 1e-9)
	near(t, "uncovered", uncovered, whole.UncoveredMM2, 1e-9)
	near(t, "all area", area+uncovered, shape.Icosphere(10, 3).Mesh.Area(), 1e-9)
	near(t, "mean", mean/area, whole.MeanMM, 1e-12)
	near(t, "mean square", square/area, whole.RMSMM*whole.RMSMM, 1e-12)
	if none := f.deviation(func(int) bool { return false }, compareDoubt{}); none != nil {
		t.Errorf("nothing compared gives %+v", none)
	}

	h := histogram(f, onSphere(9.9, Vec{}, 10, 3))
	sum := h.BelowAMM2 + h.AboveAMM2
	for _, a := range h.AtAMM2 {
		sum += a
	}
	near(t, "histogram at A", sum, whole.AreaMM2, 1e-9)
	if len(h.AtAMM2) != len(h.AtBMM2) || len(h.AtAMM2) > 60 || len(h.AtAMM2) < 12 {
		t.Errorf("%d bins of %v mm", len(h.AtAMM2), h.BinMM)
	}
	if i := math.Floor((-0.1 - h.FromMM) / h.BinMM); !slices.ContainsFunc(h.AtBMM2[max(0, int(i)-1):int(i)+2], func(a float64) bool { return a > 0 }) {
		t.Errorf("the shell at -0.1 mm is not in bin %v of %v", i, h)
	}
}

// Where a surface is cut into more faces it does not count more: a plate's upper side of two
// densities, one half 0.1 and the other 0.3 mm away.
func TestDeviationCountsArea(t *testing.T) {
	half := func(x0 float64, n int) *mesh.Mesh {
		return shape.Grid(n, n, false, false, func(u, v float64) Vec { return Vec{X: x0 + 10*u, Y: 10 * v} })
	}
	m := shape.Join(half(0, 2), half(20, 40))
	f := &distances{pos: m.Pos, area: vertexAreas(m)}
	for _, p := range m.Pos {
		d := 0.1
		if p.X > 15 {
			d = 0.3
		}
		f.dist = append(f.dist, d)
	}
	near(t, "mean", f.deviation(nil, compareDoubt{}).MeanMM, 0.2, 1e-12)
}

// The uncertainty of a mean falls with the number of places as far as noise makes it, and no farther.
func TestCompareDoubt(t *testing.T) {
	c := newCompareDoubt(Grain{NoiseMM: 0.03, EdgeMM: 0.3}, Grain{NoiseMM: 0.04, EdgeMM: 0.3}, 0)
	near(t, "noise", c.noise, 0.05, 1e-12)
	c.sag, c.flat = 0, 0
	near(t, "one place", c.place(), 0.1, 1e-12)
	near(t, "mean of 100", c.mean(100), 0.01, 1e-12)
	c.pose = 0.02
	near(t, "mean of many", c.mean(1e12), 0.04, 1e-6)
	w := BothWays{AtA: &Deviation{MeanMM: -0.01, Places: 1e9}, AtB: &Deviation{MeanMM: 0.02, Places: 1e9}}
	c.bothWays(&w)
	near(t, "mean of both ways", w.AtB.MeanUMM, math.Hypot(0.04, 2*0.03/math.Sqrt(3)), 1e-6)
	if c.rms(100, 0.05) <= c.mean(100) {
		t.Error("noise adds nothing to an RMS that it alone makes")
	}
}
