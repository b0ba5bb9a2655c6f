package inspect

import (
	"math"
	"math/rand/v2"
	"testing"

	"fornix/inspect/phantom"
)

// against returns the errors of all measured stations near the truth's, and the share of the
// truth's stations that have one within 1.5 mm.
func against(m measured) (diff, u []float64, cover float64) {
	var covered, all float64
	for _, b := range m.truth.Border {
		for _, a := range b.Apex {
			all++
			for i := range m.res.Border.Stations {
				if m.res.Border.Stations[i].Apex.Dist(a) <= 1.5 {
					covered++
					break
				}
			}
		}
	}
	for i := range m.res.Border.Stations {
		s := &m.res.Border.Stations[i]
		best, th := math.Inf(1), 0.0
		for _, b := range m.truth.Border {
			for k, a := range b.Apex {
				if d := a.Dist(s.Apex); d < best {
					best, th = d, b.Thickness[k]
				}
			}
		}
		if s.ThicknessMM != nil && best <= 1 {
			diff = append(diff, *s.ThicknessMM-th)
			u = append(u, *s.ThicknessUMM)
		}
	}
	return diff, u, covered / all
}

func TestBorderThicknessOfPhantoms(t *testing.T) {
	for _, name := range []string{"upper-sound", "lower-sound", "upper-thin", "upper-inside-out", "lower-holes"} {
		m := measureNamed(t, name)
		diff, u, cover := against(m)
		abs := make([]float64, len(diff))
		inside := 0
		for i, d := range diff {
			abs[i] = math.Abs(d)
			if abs[i] <= u[i] {
				inside++
			}
		}
		share := float64(inside) / float64(len(diff))
		t.Logf("%s: %d stations, median error %.3f, 95th percentile %.3f, cover %.2f, %.0f %% within the stated uncertainty", name, len(diff), median(abs), quantile(abs, 0.95), cover, 100*share)
		if median(abs) > 0.05 || quantile(abs, 0.95) > 0.15 || cover < 0.98 || share < 0.9 {
			t.Errorf("%s: median error %.3f, 95th percentile %.3f, cover %.2f, %.0f %% within the stated uncertainty", name, median(abs), quantile(abs, 0.95), cover, 100*share)
		}
	}
}

func TestStationsStandCloseTogether(t *testing.T) {
	for _, name := range []string{"upper-sound", "lower-sound"} {
		b := measureNamed(t, name).res.Border
		var step []float64
		for i := 1; i < len(b.Stations); i++ {
			if b.Stations[i].Side == b.Stations[i-1].Side {
				step = append(step, b.Stations[i].SMM-b.Stations[i-1].SMM)
			}
		}
		if q := quantile(step, 1); q > 1 {
			t.Errorf("%s: stations up to %.2f mm apart, want at most 1", name, q)
		}
	}
}

func TestTissueSideHasNoThicknessButABorder(t *testing.T) {
	b := measureNamed(t, "upper-tissue-side").res.Border
	if b.ThicknessUnmeasured == "" || len(b.Stations) < 100 {
		t.Fatalf("%d stations, reason %q", len(b.Stations), b.ThicknessUnmeasured)
	}
	for _, s := range b.Stations {
		if s.ThicknessMM != nil || s.Unmeasured == "" {
			t.Fatal("a station of a one-sided scan has a thickness, or no reason for having none")
		}
	}
}

// Finer spacing and less noise must both make the stated uncertainties smaller: of thickness and
// height of the border, and of the landmarks that are the top or bottom of a fitted course.
func TestUncertaintyShrinks(t *testing.T) {
	kinds := [3]string{"thickness", "height", "landmarks"}
	typical := func(spacing, noise float64) (u [3]float64) {
		p := phantom.Default("upper")
		p.Spacing, p.Noise = spacing, noise
		m := measure(t, p)
		_, thick, _ := against(m)
		u[0] = median(thick)
		var high []float64
		for i := range m.res.Border.Stations {
			if v := m.res.Border.Stations[i].HeightUMM; v != nil {
				high = append(high, *v)
			}
		}
		u[1] = median(high)
		for _, name := range []string{LabialFrenum, BuccalFrenumLeft, BuccalFrenumRight, IncisivePapilla, PosteriorMidline, HamularNotchLeft, HamularNotchRight} {
			l, ok := m.res.Landmarks[name]
			if !ok {
				t.Errorf("spacing %.2f, noise %.3f: no %s", spacing, noise, name)
			}
			u[2] += l.UncertaintyMM
		}
		return u
	}
	coarse, fine, quiet := typical(0.6, 0.02), typical(0.45, 0.02), typical(0.6, 0.005)
	for i, kind := range kinds {
		t.Logf("%s: expanded uncertainty %.3f; finer %.3f; less noise %.3f", kind, coarse[i], fine[i], quiet[i])
		if fine[i] >= coarse[i] || quiet[i] >= coarse[i] {
			t.Errorf("%s: uncertainty %.3f, with finer spacing %.3f, with less noise %.3f", kind, coarse[i], fine[i], quiet[i])
		}
	}
}

func TestRegionsOfTheBorderSumUpItsStations(t *testing.T) {
	b := measureNamed(t, "lower-sound").res.Border
	n := 0
	for _, r := range b.Regions {
		n += r.Stations
		if r.Measured > 0 && !(*r.MinMM <= *r.MedianMM && *r.MedianMM <= *r.MaxMM) {
			t.Errorf("%s: %.2f, %.2f, %.2f", r.Region, *r.MinMM, *r.MedianMM, *r.MaxMM)
		}
	}
	if n != len(b.Stations) {
		t.Errorf("regions hold %d stations of %d", n, len(b.Stations))
	}
	for _, want := range []string{"labial", "buccal left", "masseteric right", "sublingual", "mylohyoid left", "retromylohyoid right"} {
		found := false
		for _, r := range b.Regions {
			found = found || r.Region == want
		}
		if !found {
			t.Errorf("no region %q on a lower border", want)
		}
	}
}

// Of an arc of 25 mm radius, whose length is known, with stations each 0.45 mm that zigzag across it by
// 0.15 mm (SD), the way is told to 1 %; the steps between the stations add up to much more.
func TestPacedAlongTheBorder(t *testing.T) {
	r := rand.New(rand.NewPCG(51, 1))
	const radius, step = 25, 0.45
	var st []Station
	for a := 0.0; a < 2.5; a += step / radius {
		sin, cos := math.Sincos(a)
		off := radius + 0.15*r.NormFloat64()
		st = append(st, Station{Apex: Vec{X: off * cos, Y: off * sin}})
	}
	steps := 0.0
	for i := 1; i < len(st); i++ {
		steps += st[i].Apex.Dist(st[i-1].Apex)
	}
	want := step * float64(len(st)-1)
	got := paced(st)
	t.Logf("%.2f mm, paced %.2f, steps %.2f", want, got, steps)
	if math.Abs(got/want-1) > 0.01 || steps/want < 1.05 {
		t.Errorf("paced %.2f, steps %.2f, want %.2f", got, steps, want)
	}
	for i := 1; i < len(st); i++ {
		if d := st[i].SMM - step*float64(i); math.Abs(d) > 0.6 || st[i].SMM < st[i-1].SMM {
			t.Fatalf("station %d at %.2f, want %.2f", i, st[i].SMM, step*float64(i))
		}
	}
}
