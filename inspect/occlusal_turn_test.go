package inspect

import (
	"math"
	"math/rand/v2"
	"testing"
)

// How far a landmark's height is unknown where its place on a bent slope is: held against shifts drawn at
// random, in several directions of the normal, and against a place off the surface. A finer or coarser
// scan of the same surface changes nothing, for the surface has no noise.
func TestLandmarkAlongNormal(t *testing.T) {
	for _, step := range []float64{0.1, 0.3} {
		for _, c := range []struct{ gx, gy, xx, xy, yy, u, off float64 }{
			{0.4, -0.2, 0, 0, 0, 0.6, 0},      // a slope alone
			{0, 0, 0.5, 0.2, -0.3, 0.8, 0},    // a saddle, level in the middle
			{0.15, 0.3, 0.4, 0, 0.6, 0.5, 0},  // both
			{0.1, 0, 0.2, -0.1, 0, 0.4, 0.05}, // the landmark stands off the surface
			{0, 0, 0, 0, 0, 0.5, 0},           // level: nothing is unknown
		} {
			height := func(x, y float64) float64 { return c.gx*x + c.gy*y + c.xx*x*x/2 + c.xy*x*y + c.yy*y*y/2 }
			r := rand.New(rand.NewPCG(1, 2))
			var sum float64
			const draws = 200000
			for range draws {
				// The standard uncertainty is that of the distance: it is shared by two directions.
				s := c.u / 2 / math.Sqrt2
				h := height(s*r.NormFloat64(), s*r.NormFloat64())
				sum += h*h + c.off*c.off
			}
			want := math.Sqrt(sum / draws)
			m := sheet(int(6/step), step)
			mid := m.Pos[len(m.Pos)/2]
			for _, turn := range []float64{0, 40, 115} {
				sin, cos := math.Sincos(turn * math.Pi / 180)
				turned := func(p Vec) Vec { return Vec{X: p.X, Y: cos*p.Y - sin*p.Z, Z: sin*p.Y + cos*p.Z} }
				of := *m
				of.Pos = make([]Vec, len(m.Pos))
				for v, p := range m.Pos {
					d := p.Sub(mid)
					of.Pos[v] = turned(Vec{X: d.X, Y: d.Y, Z: height(d.X, d.Y) + c.off})
				}
				an := &Anatomy{grain: Grain{EdgeMM: step}}
				got := an.alongU(&of, turned(Vec{Z: 1}), Landmark{UncertaintyMM: c.u})
				near(t, "height of a landmark", got, want, 0.01*want+1e-6)
			}
		}
	}
	// Where there is no surface nothing but the landmark's own uncertainty is known.
	an := &Anatomy{grain: Grain{EdgeMM: 0.1}}
	near(t, "without a surface", an.alongU(sheet(2, 1), Vec{Z: 1}, Landmark{UncertaintyMM: 0.6, Point: Vec{X: 90}}), 0.3/math.Sqrt(3), 1e-12)
}
