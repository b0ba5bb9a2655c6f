package phantom

import (
	"math"
	"testing"
)

// A layer moves vertices along the normals of the solid by its thickness, so that the solid's own
// distance, which is exact, says it back: everywhere far from the edge on the tissue side, and nothing
// on the oral side.
func TestLayerIsAsThickAsItSays(t *testing.T) {
	for jaw, thick := range map[string]float64{"upper": 0.8, "lower": -0.3} {
		p := Default(jaw)
		p.Spacing, p.Noise, p.Rim.Kind = 1.5, 0, "none"
		p.Layers = []Layer{{X: 18, Y: 20, Thickness: thick, Fade: 4}}
		made, m := madeOf(t, p)
		whole, none, between := 0, 0, 0
		for _, q := range local(made, p) {
			f, _, _ := m.s.at(q)
			switch {
			case math.Abs(f-thick) < 1e-4:
				whole++
			case math.Abs(f) < 1e-4:
				none++
			case f*thick > 0 && math.Abs(f) < math.Abs(thick):
				between++
			default:
				t.Errorf("%s, %g: a vertex lies %.4f off", jaw, thick, f)
			}
		}
		if n := len(made.Mesh.Pos); whole < n/8 || none < n/3 || between == 0 {
			t.Errorf("%s, %g: of %d vertices %d are moved by all of it, %d by none", jaw, thick, n, whole, none)
		}
		if len(made.Truth.Layers) != 1 || made.Truth.Layers[0].Thickness != thick {
			t.Errorf("truth: %+v", made.Truth.Layers)
		}
	}
}

// madeOf makes a phantom and its solid.
func madeOf(t *testing.T, p Params) (*Phantom, *maker) {
	t.Helper()
	made, err := Make(p)
	if err != nil {
		t.Fatal(err)
	}
	m, err := prepare(&p)
	if err != nil {
		t.Fatal(err)
	}
	return made, m
}

// A disc of a layer keeps to its radius in plan.
func TestLayerDisc(t *testing.T) {
	p := Default("upper")
	p.Spacing, p.Noise = 1.2, 0
	p.Layers = []Layer{{X: 3, Y: 25, Radius: 6, Thickness: 0.5, Fade: 2}}
	made, m := madeOf(t, p)
	whole := 0
	for _, q := range local(made, p) {
		f, _, _ := m.s.at(q)
		r := math.Hypot(q.X-3, q.Y-25)
		if r > 6.5 && math.Abs(f) > 1e-3 {
			t.Errorf("%.2f mm from the middle a vertex lies %.4f off", r, f)
		}
		if r < 3.5 && f > 1e-3 {
			if math.Abs(f-0.5) > 1e-4 {
				t.Errorf("%.2f mm from the middle it is %.4f thick", r, f)
			}
			whole++
		}
	}
	if whole < 10 {
		t.Errorf("only %d vertices are moved", whole)
	}
}
