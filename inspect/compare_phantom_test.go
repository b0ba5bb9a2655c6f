package inspect

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh/register"
)

// made is a phantom as a scan, with the motion from the patient's frame into its file's coordinates.
type made struct {
	*Scan
	truth phantom.Truth
	place register.Pose
}

// mustMake makes a phantom. Its frame is drawn from the seed.
func mustMake(p phantom.Params, seed uint64) made {
	if seed != 0 {
		r := rand.New(rand.NewPCG(seed, 7))
		p.Frame = phantom.Frame{Quat: [4]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()},
			Shift: Vec{X: 100*r.Float64() - 50, Y: 100*r.Float64() - 50, Z: 100*r.Float64() - 50}}
	}
	ph, err := phantom.Make(p)
	if err != nil {
		panic(err)
	}
	s := aScan(p.Name+".stl", ph.Mesh)
	x, y, z := ph.Truth.Axes.Left, ph.Truth.Axes.Posterior, ph.Truth.Axes.TowardTissue
	pose := register.Pose{R: [3][3]float64{{x.X, y.X, z.X}, {x.Y, y.Y, z.Y}, {x.Z, y.Z, z.Z}}, T: p.Frame.Shift}
	return made{s, ph.Truth, pose}
}

// onto is the true pose of b in a's coordinates. (The patient's frame of a lower jaw is left-handed in
// either, so that the two together are a rotation.)
func (b made) onto(a made) *register.Pose {
	p := b.place.Inverse().Then(a.place)
	return &p
}

func compare(t *testing.T, a, b made, opt CompareOptions) *CompareOutcome {
	t.Helper()
	out, err := Compare(a.Scan, b.Scan, DefaultProtocol(), opt)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// smallPhantom is quick to make and still finer than a layer is wide.
func smallPhantom(jaw string) phantom.Params {
	p := phantom.Default(jaw)
	p.Spacing, p.Noise = 0.6, 0.01
	return p
}

// A layer of known thickness on the tissue surface, made on other triangles, with noise and in another
// frame: thickness on palate and crest, where it has its whole thickness, within 0.02 mm on the mean.
func TestLayerOfKnownThickness(t *testing.T) {
	before := sharedUpper()
	for i, thick := range []float64{0.8, 0.4, -0.3} {
		p := smallPhantom("upper")
		p.Spacing = 0.65
		p.Layers = []phantom.Layer{{Y: 25, Thickness: thick, Fade: 3}}
		after := mustMake(p, uint64(i+2))
		opt := CompareOptions{Purpose: AsLayer}
		if i > 0 {
			opt.Pose = after.onto(before)
		}
		out := compare(t, before, after, opt)
		parts(t, out)
		if i == 0 {
			aligned(t, out, before, after, ZoneOuter)
		}
		place := out.AnatomyA.placeOf()
		f := &distances{pos: out.A.Pos, dist: out.Thickness, area: vertexAreas(out.A)}
		for k, name := range comparePlaces {
			if name != PlacePalate && name != PlaceCrest {
				continue
			}
			d := f.deviation(func(v int) bool { return int(place[v]) == k }, compareDoubt{})
			t.Logf("%s, layer of %.1f: mean %.4f, median %.4f, SD %.4f, uncovered %.1f of %.0f mm2", name, thick, d.MeanMM, d.Percentiles.P50, d.SDMM, d.UncoveredMM2, d.AreaMM2)
			near(t, "mean thickness, "+name, d.MeanMM, thick, 0.02)
			near(t, "median thickness, "+name, d.Percentiles.P50, thick, 0.02)
			if d.UncoveredMM2 > 0.005*d.AreaMM2 {
				t.Errorf("%s: %.1f mm2 are not compared", name, d.UncoveredMM2)
			}
		}
		l := out.Comparison.Layer
		if len(l.Parts) != 1 || l.Parts[0].Surface != OnTissue {
			t.Fatalf("parts: %+v", l.Parts)
		}
		part := l.Parts[0]
		if want := map[bool]string{true: LayerAdded, false: LayerRemoved}[thick > 0]; part.Kind != want {
			t.Errorf("%s, want %s", part.Kind, want)
		}
		near(t, "median of the part", *part.MedianMM, math.Abs(thick), 0.02)
		t.Logf("part: %.0f mm2, mean %.3f ± %.3f, median %.4f, thickest %.3f, volume %.1f ± %.1f, covered %.2f", part.AreaMM2, *part.MeanMM, *part.MeanUMM, *part.MedianMM, part.Thickest.MM, *part.VolumeMM3, *part.VolumeUMM3, *l.CoveredShare)
		want := math.Abs(after.Mesh.Volume()) - math.Abs(before.Mesh.Volume())
		t.Logf("volume %.1f, the solids differ by %.1f", l.AddedMM3-l.RemovedMM3, want)
		// The bodies' own volumes lack what their faces of 0.6 and 0.65 mm cut off rolls of 15 mm radius.
		lack := before.Mesh.Area() * (0.65*0.65 - 0.6*0.6) / (8 * 15)
		near(t, "volume", l.AddedMM3-l.RemovedMM3, want, lack+l.AddedUMM3+l.RemovedUMM3)
	}
}

// A wash that missed one place, scanned with a hole in another: the place is told, with about its width;
// the margin of the wash, which runs out toward the border, is no such place; and over the hole nothing
// is said, as no distance and no layer comes from the far side.
func TestShowThroughAndHole(t *testing.T) {
	before := sharedUpper()
	p := smallPhantom("upper")
	p.Spacing = 0.5
	p.Layers = []phantom.Layer{{Y: 10, Thickness: 0.6, Fade: 3}, {X: -10, Y: 30, Radius: 4, Thickness: -0.6, Fade: 1.5}}
	p.Holes = []phantom.Hole{{X: 9, Y: 26, Radius: 4, Surface: "tissue"}}
	after := mustMake(p, 5)
	out := compare(t, before, after, CompareOptions{Purpose: AsLayer, Pose: after.onto(before)})
	c := out.Comparison
	if len(c.Layer.Thin) != 1 {
		t.Fatalf("%d places: %+v", len(c.Layer.Thin), c.Layer.Thin)
	}
	s := c.Layer.Thin[0]
	// 0.15 mm are reached 2.99 mm from the middle in plan; the surface slopes a little there.
	near(t, "width", s.DiameterMM, 6.2, 0.7)
	near(t, "thinnest", s.ThinnestMM, 0, s.UMM)
	middle := after.onto(before).Apply(after.truth.Layers[1].Point)
	if d := s.Centre.Dist(middle); d > 1 {
		t.Errorf("%.1f mm from its middle", d)
	}
	if c.Verdict != Correct || len(c.Findings) == 0 || c.Findings[0].Code != "layer-thin" {
		t.Errorf("%s: %+v", c.Verdict, c.Findings)
	}

	middle = after.onto(before).Apply(after.truth.Holes[0].Point)
	inside := 0
	for v, q := range out.A.Pos {
		part := out.AnatomyA.Part[v]
		if d := q.Dist(middle); d < 3 && part == PartTissue {
			inside++
			if !math.IsNaN(out.ADist[v]) || !math.IsNaN(out.Thickness[v]) {
				t.Fatalf("%.1f mm from the middle of the hole: %.3f, %.3f", d, out.ADist[v], out.Thickness[v])
			}
		}
		if x := out.Thickness[v]; part == PartTissue && (x < -0.1 || x > 0.75) {
			t.Fatalf("a layer of %.3f where there is one of 0 to 0.6", x)
		}
	}
	if inside < 20 || c.Layer.UncoveredMM2 < 40 {
		t.Errorf("%d vertices over the hole, %.0f mm2 not compared", inside, c.Layer.UncoveredMM2)
	}
}

// A border cut down over a stretch: a removed part at the border, as deep as it was cut; the volumes are
// those by which the closed surfaces differ. (The phantom's lowered border keeps its thickness, so that
// under it the outer surface gains a little.)
func TestTrimmedBorder(t *testing.T) {
	before := sharedUpper()
	p := smallPhantom("upper")
	p.Spacing = 0.65
	p.Stretch = []phantom.Stretch{{Side: "buccal", From: 57, To: 80, Lower: 3}}
	after := mustMake(p, 6)
	out := compare(t, before, after, CompareOptions{Purpose: AsLayer, Pose: after.onto(before)})
	parts(t, out)
	l := out.Comparison.Layer
	if len(l.Parts) != 2 || l.Parts[0].Kind != LayerRemoved || l.Parts[1].Surface != OnOuter {
		t.Fatalf("%+v", l.Parts)
	}
	part := l.Parts[0]
	t.Logf("cut back %.2f ± %.2f, mean %.2f, thickest %.2f, volumes %.1f and %.1f", *part.CutBackMM, *part.CutBackUMM, *part.MeanMM, part.Thickest.MM, l.RemovedMM3, l.AddedMM3)
	near(t, "cut back", *part.CutBackMM, 3, 0.4)
	want := math.Abs(before.Mesh.Volume()) - math.Abs(after.Mesh.Volume())
	near(t, "volume", l.RemovedMM3-l.AddedMM3, want, 0.1*want)
	if !strings.HasSuffix(part.Region, "left") {
		t.Errorf("region %q", part.Region)
	}
}

// One object scanned twice, with noise and other triangles: no bias, and on smooth surfaces an RMS that
// the noise of both explains. (Along the sharp edges of the rim faces of 0.6 mm cut corners.)
func TestRepeatWithNoise(t *testing.T) {
	a := sharedUpper()
	p := smallPhantom("upper")
	p.Noise, p.Spacing = 0.02, 0.5
	b := mustMake(p, 7)
	out := compare(t, a, b, CompareOptions{Purpose: AsRepeat})
	aligned(t, out, a, b, ZoneAll)
	parts(t, out)
	c := out.Comparison
	smooth := 0
	for _, w := range append(c.Regions, c.Overall) {
		for _, d := range []*Deviation{w.AtA, w.AtB} {
			t.Logf("%s: mean %.4f ± %.4f, RMS %.4f ± %.4f, from %.3f to %.3f", w.Region, d.MeanMM, d.MeanUMM, d.RMSMM, d.RMSUMM, d.Lowest.MM, d.Highest.MM)
			near(t, "mean of "+w.Region, d.MeanMM, 0, d.MeanUMM)
			near(t, "uncovered", d.UncoveredMM2, 0, 1e-9)
			if w.Region != PlacePalate && w.Region != PlaceCrest {
				continue
			}
			smooth++
			near(t, "mean of "+w.Region, d.MeanMM, 0, 0.01)
			// A vertex has all of its scan's noise, a face between three of the other's part of it.
			if !(d.RMSMM > 0.012 && d.RMSMM < 1.1*math.Hypot(0.01, 0.02)) {
				t.Errorf("%s: RMS %.4f", w.Region, d.RMSMM)
			}
		}
	}
	if c.Verdict != Send || smooth != 4 {
		t.Errorf("%s, %d parts: %+v", c.Verdict, len(c.Regions), c.Findings)
	}
}

// An impression and the cast poured from it: the fitting surface agrees, and the outer surface is not
// compared. A bump on the cast is seen, and a cast made larger all over shows as one that stands too high.
func TestImpressionAgainstCast(t *testing.T) {
	a := sharedUpper()
	p := smallPhantom("upper")
	p.Cast, p.Rim.Kind, p.Spacing = true, "none", 0.55
	for _, grown := range []float64{0, 0.3} {
		q := p
		// On a foot the cast has walls and a floor, which no impression shows, and is closed.
		q.Base = grown == 0
		if grown == 0 {
			// A void of the impression that was filled before the scan: on the cast it stands up.
			q.Voids = []phantom.Cap{{X: 9, Y: 26, Diameter: 3, Depth: 1.2}}
		} else {
			// What is taken off the impression stands up on the cast.
			q.Layers = []phantom.Layer{{Y: 25, Thickness: -grown, Fade: 3}}
		}
		b := mustMake(q, 8)
		opt := CompareOptions{Purpose: AsCast}
		if grown > 0 {
			opt.Pose = b.onto(a)
		}
		out := compare(t, a, b, opt)
		parts(t, out)
		c := out.Comparison
		if grown == 0 {
			aligned(t, out, a, b, ZoneTissue)
		}
		for _, d := range []*Deviation{c.Zone.AtA, c.Zone.AtB} {
			t.Logf("grown by %.1f: mean %.4f, RMS %.4f, 95 %% within %.3f, from %.2f to %.2f, %.0f mm2, %.0f not seen", grown, d.MeanMM, d.RMSMM, d.AbsP95MM, d.Lowest.MM, d.Highest.MM, d.AreaMM2, d.UncoveredMM2)
			near(t, "median", d.Percentiles.P50, -grown, 0.02)
			near(t, "95 %", d.AbsP95MM, grown, 0.05)
			if d.UncoveredMM2 > 0.05*d.AreaMM2 {
				t.Errorf("%.0f of %.0f mm2 are not compared", d.UncoveredMM2, d.AreaMM2)
			}
		}
		for _, w := range c.Regions {
			if w.Region == PlaceOuter || w.Region == PlaceRim {
				t.Errorf("the %s is compared with a cast: %+v", w.Region, w)
			}
			if d := w.AtB; w.Region == PlaceBorder && grown == 0 && !(math.Abs(d.Percentiles.P50) < 0.05 && d.AbsP95MM < 1.5) {
				t.Errorf("95 %% of the border within %.2f mm, median %.3f", d.AbsP95MM, d.Percentiles.P50)
			}
		}
		if grown == 0 {
			bump := b.onto(a).Apply(b.truth.Voids[0].Point)
			for _, d := range []*Deviation{c.Zone.AtA, c.Zone.AtB} {
				near(t, "the bump's height", d.Lowest.MM, -1.2, 0.15)
				near(t, "off its place", d.Lowest.At.Dist(bump), 0, 1.3)
			}
		}
		if grown > 0 && (c.Verdict != Rescan || c.Findings[0].Code != "cast-deviation" || !strings.Contains(c.Findings[0].Text, "too high")) {
			t.Errorf("%s: %+v", c.Verdict, c.Findings)
		}
	}
}
