package inspect

import (
	"math"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// published is a range in which a human jaw's measure lies: mean ± 2 SD of the source, or what
// is taught.
type published struct {
	name   string
	lo, hi float64
	source string
}

// The default jaws, as they are measured, are human ones.
func TestDefaultJawsAreHuman(t *testing.T) {
	got := map[string]float64{}
	for _, jaw := range []string{"upper", "lower"} {
		p := phantom.Default(jaw)
		p.Spacing = 0.5
		made, err := phantom.Make(p)
		if err != nil {
			t.Fatal(err)
		}
		rep := inspected(t, made.Mesh)
		at := func(name string) Vec {
			l, ok := rep.Landmarks[name]
			if !ok {
				t.Fatalf("%s: no %s", jaw, name)
			}
			return rep.Frame.Local(l.Point)
		}
		area := tissueArea(t, made.Mesh)
		if jaw == "upper" {
			l, r, papilla := at(HamularNotchLeft), at(HamularNotchRight), at(IncisivePapilla)
			got["between hamular notches"] = l.Dist(r)
			got["papilla to hamular notch"] = (papilla.Dist(l) + papilla.Dist(r)) / 2
			got["papilla to rear edge"] = *rep.Posterior.MidlineMM
			got["palatal height"] = vault(t, made.Mesh)
			got["upper denture-bearing area"] = area / 100
			got["upper rim height"] = *rep.Occlusal.RimHeight.Anterior
			continue
		}
		fl, fr := at(PadFrontLeft), at(PadFrontRight)
		got["between pads"] = fl.Dist(fr)
		var front float64
		for _, q := range rep.Crest {
			front = math.Min(front, rep.Frame.Local(q).Y)
		}
		got["lower arch length"] = (fl.Y+fr.Y)/2 - front
		// From its front to its summit, which lies at half its length.
		got["pad length"] = at(PadSummitLeft).Sub(fl).Norm() + at(PadSummitRight).Sub(fr).Norm()
		got["lower denture-bearing area"] = area / 100
		got["lower rim height"] = *rep.Occlusal.RimHeight.Anterior
	}
	for _, p := range []published{
		{"between hamular notches", 42.38 - 2*3.47, 44.28 + 2*3.29, "mm; 42.38 SD 3.47, Guldag et al., J Prosthodont 2010; 44.28 SD 3.29, n 100"},
		{"papilla to hamular notch", 48, 58, "mm; teaching"},
		{"papilla to rear edge", 43, 57, "mm; 45 to 55 papilla to vibrating line, teaching; the papilla is found to 2 mm"},
		{"palatal height", 11.54 - 2*2.4, 11.54 + 2*2.4, "mm; 11.54 SD 2.4, Sarilita and Soames, 63 skulls"},
		{"between pads", 48, 60, "mm; teaching"},
		{"lower arch length", 40, 50, "mm; midline crest to line of pads, teaching"},
		{"pad length", 8.9 - 2*1.8, 11.2 + 2*2.51, "mm; 8.9 SD 1.8, Naeem et al. 2021; 11.20 SD 2.51, Lopez et al., Int J Odontostomat 2008;2:39"},
		{"upper denture-bearing area", 22.96, 36.85 + 2*4.04, "cm²; 36.85 SD 4.04, Araby et al., Int J Prosthodont Restor Dent 2024;14:161; 22.96 without flanges, Watt and MacGregor"},
		{"lower denture-bearing area", 12.25, 24.51 + 2*4.46, "cm²; 24.51 SD 4.46, Araby et al. 2024; 12.25 without flanges, Watt and MacGregor"},
		{"upper rim height", 20, 24, "mm; 22, prosthodontic laboratory text 2015"},
		{"lower rim height", 16, 20, "mm; 18, prosthodontic laboratory text 2015"},
	} {
		v, ok := got[p.name]
		t.Logf("%-28s %6.2f   published %6.2f to %6.2f %s", p.name, v, p.lo, p.hi, p.source)
		if !ok || !(v >= p.lo && v <= p.hi) {
			t.Errorf("%s %.2f is outside %.2f to %.2f (%s)", p.name, v, p.lo, p.hi, p.source)
		}
	}
}

// tissueArea returns the area that bears the denture, mm²: the tissue surface inside the
// border roll.
func tissueArea(t *testing.T, m *mesh.Mesh) float64 {
	t.Helper()
	_, an := Measure(&Scan{Mesh: m}, DefaultProtocol().Method, Options{})
	area := 0.0
	for f, c := range m.Tri {
		if an.Part[c[0]] == PartTissue && an.Part[c[1]] == PartTissue && an.Part[c[2]] == PartTissue {
			area += m.FaceArea(mesh.FaceID(f))
		}
	}
	return area
}

// vault returns the greatest height of the palate over the ridge crest at the midline.
func vault(t *testing.T, m *mesh.Mesh) float64 {
	t.Helper()
	_, an := Measure(&Scan{Mesh: m}, DefaultProtocol().Method, Options{})
	var crest []float64
	for _, q := range an.Crest() {
		crest = append(crest, an.Frame.Local(q).Z)
	}
	top := math.Inf(-1)
	for v, q := range an.loc {
		if an.Part[v] == PartTissue && math.Abs(q.X) < 8 && q.Y > 0 && q.Y < 25 {
			top = max(top, q.Z)
		}
	}
	return top - median(crest)
}
