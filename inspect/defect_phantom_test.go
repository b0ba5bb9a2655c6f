package inspect

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// Impressions with faults on crest, slopes and palate, rugae and frena about them: every fault
// once, nothing else, although the whole scan is given out as tissue. The phantom's definition of
// a cap's sizes is that of Defect.
func TestDefectsOnPhantoms(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole impressions")
	}
	for _, c := range []struct {
		jaw            string
		spacing, noise float64
		voids, blebs   []phantom.Cap
		folds          []phantom.Fold
	}{
		{"upper", 0.35, 0.012,
			[]phantom.Cap{{X: 12, Y: 14, Diameter: 2, Depth: 0.7}, {X: -19, Y: 20, Diameter: 3, Depth: 1}, {X: 1, Y: 34, Diameter: 1.5, Depth: 0.5},
				{X: -9, Y: 27, Diameter: 1.2, Depth: 0.5}, {X: 21, Y: 27, Diameter: 1.4, Depth: 0.5}},
			[]phantom.Cap{{X: -4, Y: 40, Diameter: 2, Depth: 0.6}, {X: 11, Y: 36, Diameter: 1.4, Depth: 0.5}},
			[]phantom.Fold{{X: 8, Y: 24, Deg: 60, Length: 8, Width: 1.2, Depth: 0.5}}},
		{"lower", 0.3, 0.01,
			[]phantom.Cap{{X: 19, Y: 16, Diameter: 1.8, Depth: 0.7}, {X: 4, Y: 1, Diameter: 1.2, Depth: 0.45}},
			[]phantom.Cap{{X: -12, Y: 6, Diameter: 1.6, Depth: 0.5}},
			[]phantom.Fold{{X: -21, Y: 20, Deg: 70, Length: 8, Width: 1.1, Depth: 0.45},
				{X: 22, Y: 26, Deg: 110, Length: 7, Width: 0.8, Depth: 0.62}}}, // its walls hang over
		{"upper", 0.4, 0.015, nil, nil, nil},
		{"lower", 0.4, 0.015, nil, nil, nil},
	} {
		p := phantom.Default(c.jaw)
		p.Spacing, p.Noise, p.Voids, p.Blebs, p.Folds = c.spacing, c.noise, c.voids, c.blebs, c.folds
		ph, err := phantom.Make(p)
		if err != nil {
			t.Fatal(err)
		}
		found := defectsOf(ph.Mesh, c.noise)
		take := func(kind string, at Vec, r float64) *Defect {
			for i, d := range found {
				if d.Kind == kind && d.Centre.Dist(at) < r {
					found = slices.Delete(found, i, i+1)
					return &d
				}
			}
			t.Errorf("%s: %s at %.1f not found", c.jaw, kind, at)
			return nil
		}
		caps := func(kind string, truth []phantom.CapTruth) {
			for _, q := range truth {
				d := take(kind, q.Point, q.Diameter/4+0.1)
				if d == nil {
					continue
				}
				depth := q.Depth + q.Height
				t.Logf("%s %s: diameter %+.1f %%, depth %+.1f %%", c.jaw, kind, 100*(*d.DiameterMM/q.Diameter-1), 100*(d.DepthMM/depth-1))
				if math.Abs(*d.DiameterMM/q.Diameter-1) > 0.1 || math.Abs(d.DepthMM/depth-1) > 0.1 {
					t.Errorf("%s: %s %.2f wide, %.2f deep; made %.2f, %.2f", c.jaw, kind, *d.DiameterMM, d.DepthMM, q.Diameter, depth)
				}
			}
		}
		caps(Void, ph.Truth.Voids)
		caps(Bleb, ph.Truth.Blebs)
		for _, q := range ph.Truth.Folds {
			if d := take(Fold, q.Middle, 1); d != nil {
				t.Logf("%s fold: length %+.1f %%, width %+.1f %%, depth %+.1f %%", c.jaw, 100*(*d.LengthMM/q.Length-1), 100*(*d.WidthMM/q.Width-1), 100*(d.DepthMM/q.Depth-1))
				if math.Abs(*d.LengthMM/q.Length-1) > 0.05 {
					t.Errorf("%s: fold %.2f long, made %.2f", c.jaw, *d.LengthMM, q.Length)
				}
			}
		}
		for _, d := range found {
			t.Errorf("%s: invented %s at %.1f, %.2f deep", c.jaw, d.Kind, d.Centre, d.DepthMM)
		}
	}
}

// Real gum without teeth, seen from either side: nothing on it is a fault of a material. At most one
// is allowed in 20 cm², as in the table of accuracy.
func TestFewDefectsOnRealGum(t *testing.T) {
	dir := os.Getenv("FORNIX_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "..", "shared")
	}
	file, err := os.Open(filepath.Join(dir, "scans", "mouth-scans", "lower_gum_only.stl"))
	if err != nil {
		t.Skip("no real scan beside the project")
	}
	defer file.Close()
	m, _, err := mesh.Read(file, mesh.ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for side, m := range map[string]*mesh.Mesh{"cast": m, "impression": flipped(m)} {
		found := FindDefects(m, m.Normals(), allTissue(m), DefaultProtocol().Method.Defect, 0.01)
		for _, d := range found {
			t.Logf("%s: %s at %.1f, %.2f deep", side, d.Kind, d.Centre, d.DepthMM)
		}
		if area := m.Area() / 100; 20*float64(len(found)) > area {
			t.Errorf("%s: %d invented on %.1f cm²", side, len(found), area)
		}
	}
}
