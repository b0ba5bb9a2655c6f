package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/tree"
)

// covered counts how often the truth lies within the stated uncertainty.
type covered struct {
	ratio []float64 // of error and uncertainty
}

func (c *covered) add(err, u float64) { c.ratio = append(c.ratio, math.Abs(err)/u) }

func (c *covered) share() float64 {
	n := 0.0
	for _, r := range c.ratio {
		if r <= 1 {
			n++
		}
	}
	return n / float64(len(c.ratio))
}

func (c *covered) log(t *testing.T, what string) {
	slices.Sort(c.ratio)
	n := len(c.ratio)
	t.Logf("%-24s %4d within U: %.1f %%; error/U median %.2f, 95 %% %.2f, most %.2f", what, n, 100*c.share(), c.ratio[n/2], c.ratio[n*95/100], c.ratio[n-1])
}

// anyTray draws a tray: sound, wavy, chipped or both; noise up to 0.02, spacing 0.3 to 0.5.
func anyTray(r *rand.Rand, wavy, chipped bool) tray {
	in := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	c := tray{noise: in(0, 0.02), step: in(0.3, 0.5), tilt: in(-4, 4), edge: in(0, 0.5)}
	if wavy {
		amp, k, ph := in(0.1, 0.5), in(5, 12), in(0, 6.3)
		if r.Float64() < 0.5 {
			c.wave = func(_, _, phi float64) float64 { return amp * math.Sin(k*phi+ph) }
		} else {
			dir, f := in(0, 3.14), in(0.15, 0.5)
			s, q := math.Sincos(dir)
			c.wave = func(x, y, _ float64) float64 { return amp * math.Sin(f*(q*x+s*y)+ph) }
		}
	}
	if chipped {
		for range 1 + r.IntN(3) {
			x, y := archPoint(in(-1.4, 1.4), in(-3, 3))
			c.chips = append(c.chips, Vec{X: x, Y: y, Z: in(1.5, 4)})
		}
	}
	return c
}

// The occlusal plane lies where its uncertainty says, and that shrinks with the noise.
func TestOcclusalUncertaintyCoversTruth(t *testing.T) {
	const seed, each = 73, 24
	r := rand.New(rand.NewPCG(seed, 1))
	var all, offsets covered
	for _, kind := range []struct {
		name           string
		wavy, chipped  bool
		median, most95 float64 // degrees
	}{{"sound", false, false, 0.01, 0.05}, {"chipped", false, true, 0.02, 0.1}, {"wavy", true, false, 0.05, 0.1}, {"wavy, chipped", true, true, 0.05, 0.1}} {
		var off, turned covered
		var deg, mm []float64
		for i := range each {
			b := anyTray(r, kind.wavy, kind.chipped).build(uint64(i))
			rim, why := FindRim(b.m, b.m.Normals(), b.toward, occlusalDefaults)
			if rim == nil {
				t.Fatalf("%s %d of seed %d: %s", kind.name, i, seed, why)
			}
			refs := b.refs()
			q := MeasureQuality(b.m, b.m.Normals(), tree.New(b.m), mesh.ReadStats{}, DefaultProtocol().Method.Quality)
			refs.Grain = q.Grain()
			o := FitOcclusal(b.m, rim, refs, occlusalDefaults)
			d, e := b.errors(o)
			turned.add(d, o.NormalUDeg)
			off.add(e, o.OffsetUMM)
			all.add(d, o.NormalUDeg)
			offsets.add(e, o.OffsetUMM)
			deg, mm = append(deg, d), append(mm, e)
		}
		turned.log(t, kind.name+", normal")
		off.log(t, kind.name+", offset")
		t.Logf("%s: median %.4f°, 95 %% %.4f°, most %.4f°; offset 95 %% %.4f, most %.4f mm", kind.name, quantile(deg, 0.5), quantile(deg, 0.95), quantile(deg, 1), quantile(mm, 0.95), quantile(mm, 1))
	}
	all.log(t, "normal")
	offsets.log(t, "offset")
}
