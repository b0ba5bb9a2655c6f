package inspect

import (
	"math"
	"math/rand/v2"
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

// makeScan makes a phantom. Its frame is drawn from the seed.
func makeScan(t *testing.T, p phantom.Params, seed uint64) made {
	t.Helper()
	if seed != 0 {
		r := rand.New(rand.NewPCG(seed, 7))
		p.Frame = phantom.Frame{Quat: [4]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()},
			Shift: Vec{X: 100*r.Float64() - 50, Y: 100*r.Float64() - 50, Z: 100*r.Float64() - 50}}
	}
	ph, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	s := &Scan{Mesh: ph.Mesh, Info: ScanInfo{File: p.Name + ".stl", Unit: "mm", UnitToMM: 1, Faces: len(ph.Mesh.Tri), Vertices: len(ph.Mesh.Pos)}}
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
	base := smallPhantom("upper")
	base.Rim.Kind = "none"
	before := makeScan(t, base, 1)
	for i, thick := range []float64{0.4, 0.8, -0.3} {
		p := base
		p.Spacing, p.Seed = 0.55, base.Seed
		p.Layers = []phantom.Layer{{Y: 25, Thickness: thick, Fade: 3}}
		after := makeScan(t, p, uint64(i+2))
		out := compare(t, before, after, CompareOptions{Purpose: AsLayer, Pose: after.onto(before)})
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
		near(t, "volume", l.AddedMM3-l.RemovedMM3, want, 0.03*math.Abs(want))
	}
}
