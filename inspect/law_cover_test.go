package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh/shape"
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

// The occlusal plane lies where its uncertainty says: sound, chipped and wavy rims, at the
// targets that a laboratory needs.
func TestOcclusalUncertaintyCoversTruth(t *testing.T) {
	const seed = 73
	each := 24
	if testing.Short() {
		each = 6
	}
	r := rand.New(rand.NewPCG(seed, 1))
	var all, offsets covered
	for _, kind := range []struct {
		name          string
		wavy, chipped bool
		most          float64 // degrees, of all
	}{{"sound", false, false, 0.05}, {"chipped", false, true, 0.1}, {"wavy", true, false, 0.1}, {"wavy, chipped", true, true, 0.1}} {
		var deg, mm []float64
		for i := range each {
			tray := anyTray(r, kind.wavy, kind.chipped)
			b := tray.build(uint64(i))
			rim, why := FindRim(b.m, b.m.Normals(), b.toward, occlusalDefaults)
			if rim == nil {
				t.Fatalf("%s %d of seed %d: %s", kind.name, i, seed, why)
			}
			refs := b.refs()
			refs.Grain = Grain{NoiseMM: tray.noise, EdgeMM: tray.step}
			o := FitOcclusal(b.m, rim, refs, occlusalDefaults)
			d, e := b.errors(o)
			all.add(d, o.NormalUDeg)
			offsets.add(e, o.OffsetUMM)
			deg, mm = append(deg, d), append(mm, e)
		}
		t.Logf("%s: tilt off by median %.4f°, 95 %% %.4f°, most %.4f°; offset most %.4f mm", kind.name, quantile(deg, 0.5), quantile(deg, 0.95), quantile(deg, 1), quantile(mm, 1))
		if quantile(deg, 1) > kind.most || quantile(mm, 1) > 0.03 {
			t.Errorf("%s: off by up to %.4f° and %.4f mm (seed %d)", kind.name, quantile(deg, 1), quantile(mm, 1), seed)
		}
	}
	all.check(t, "normal")
	offsets.check(t, "offset")
}

// check holds the share against 90 to 99 %, widened by what chance may do to so few.
func (c *covered) check(t *testing.T, what string) {
	t.Helper()
	c.log(t, what)
	n := float64(len(c.ratio))
	if low := 0.90 - 2*math.Sqrt(0.9*0.1/n); c.share() < low {
		t.Errorf("%s: the truth lies within the uncertainty in %.1f %% of %v only", what, 100*c.share(), n)
	}
	// An uncertainty far beyond every error says nothing.
	if c.ratio[len(c.ratio)*95/100] < 0.25 {
		t.Errorf("%s: 95 %% of the errors are below %.2f of the uncertainty", what, c.ratio[len(c.ratio)*95/100])
	}
}

// A rim's plane is the surer the less noise there is, a hole's rim the finer the faces are.
func TestRimAndHoleUncertaintyShrinks(t *testing.T) {
	last := math.Inf(1)
	for _, noise := range []float64{0.02, 0.005, 0.001} {
		b := tray{noise: noise, step: 0.4}.build(5)
		rim, why := FindRim(b.m, b.m.Normals(), b.toward, occlusalDefaults)
		if rim == nil {
			t.Fatal(why)
		}
		refs := b.refs()
		refs.Grain = Grain{NoiseMM: noise, EdgeMM: 0.4}
		o := FitOcclusal(b.m, rim, refs, occlusalDefaults)
		if !(o.NormalUDeg < last) {
			t.Errorf("noise %v: %.5f°, with more %.5f°", noise, o.NormalUDeg, last)
		}
		last = o.NormalUDeg
	}
	r := rand.New(rand.NewPCG(74, 1))
	var span, around, area covered
	var usual [2]float64
	for k, level := range []int{5, 6} {
		ball := shape.Icosphere(15, level).Mesh
		for i := range 40 {
			radius := 0.9 + 1.6*r.Float64()
			c := Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit().Scale(15)
			m := without(ball, c, radius)
			holes := FindHoles(m, m.Normals(), &Anatomy{Coverage: TwoSided}, holeDefaults)
			if len(holes) != 1 {
				t.Fatalf("%d: %d holes", i, len(holes))
			}
			h := holes[0]
			// The opening is a circle of this radius on the ball, its plane 15 mm less the sagitta away;
			// the cap that is missing is as large as a disc of the chord (Archimedes).
			flat := radius * math.Sqrt(1-radius*radius/(4*15*15))
			span.add(h.SpanMM-2*flat, h.SpanUMM)
			around.add(h.PerimeterMM-2*math.Pi*flat, h.PerimeterUMM)
			area.add(h.AreaMM2-math.Pi*radius*radius, h.AreaUMM2)
			usual[k] += h.SpanUMM / 40
		}
	}
	span.check(t, "hole span")
	around.check(t, "hole perimeter")
	area.check(t, "hole area")
	if !(usual[1] < 0.6*usual[0]) {
		t.Errorf("uncertainty of a span %.3f mm, with half the edge %.3f", usual[0], usual[1])
	}
}

// Rim heights and tilts of whole impressions lie where their uncertainty says.
func TestRimHeightUncertaintyCoversTruth(t *testing.T) {
	if testing.Short() {
		t.Skip("makes a dozen impressions")
	}
	var height, tilted, turned covered
	for i := range 12 {
		p := phantom.Random(int64(8100+i), []string{"upper", "lower"}[i%2])
		p.Spacing, p.TissueSide = 0.5, false
		p.Voids, p.Blebs, p.Folds, p.Holes = nil, nil, nil, nil
		if p.Rim.Kind == "none" {
			p.Rim.Kind = "rim"
		}
		made, err := phantom.Make(p)
		if err != nil {
			t.Fatal(err)
		}
		o, q := inspected(t, made.Mesh).Occlusal, made.Truth.Plane
		if o == nil {
			t.Errorf("impression %d: no occlusal plane", i)
			continue
		}
		turned.add(degrees(math.Acos(min(1, o.Normal.Dot(q.Normal)))), o.NormalUDeg)
		height.add(*o.RimHeight.Anterior-q.RimHeight, o.RimHeight.UMM)
		t.Logf("%d: height %.3f of %.3f, U %.3f; normal U %.4f° tilts %v", i, *o.RimHeight.Anterior, q.RimHeight, o.RimHeight.UMM, o.NormalUDeg, o.Tilts)
		l := made.Truth.Landmarks
		if tilt, ok := o.Tilts["hamular-papilla"]; ok {
			n := l[HamularNotchLeft].Sub(l[IncisivePapilla]).Cross(l[HamularNotchRight].Sub(l[IncisivePapilla])).Unit()
			if n.Dot(made.Truth.Axes.TowardTissue) < 0 {
				n = n.Scale(-1)
			}
			want := TiltAgainst(q.Normal, n, made.Truth.Axes.Left, made.Truth.Axes.Posterior)
			tilted.add(tilt.CantDeg-want.CantDeg, tilt.UDeg)
			tilted.add(tilt.PitchDeg-want.PitchDeg, tilt.UDeg)
		}
	}
	turned.log(t, "normal")
	height.check(t, "rim height")
	tilted.log(t, "tilts")
	if tilted.share() < 0.9 {
		t.Errorf("tilts lie within their uncertainty in %.0f %% only", 100*tilted.share())
	}
}
