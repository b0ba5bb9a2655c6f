package phantom

import (
	"math"
	"testing"

	"fornix/mesh"
)

// A hole is as wide as stated, on its own side of the material, also where vertices were taken out.
func TestHoles(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole impressions")
	}
	p, _ := Named("upper-holes")
	p.Spacing, p.Decimate, p.Noise = 0.5, 0.3, 0
	p.Holes = append(p.Holes, Hole{X: 20, Y: 10, Radius: 1.8, Surface: "border"})
	ph, err := Make(p)
	if err != nil {
		t.Fatal(err)
	}
	truth, missing := 0.0, -ph.Mesh.Area()
	for _, h := range ph.Truth.Holes {
		truth += h.Area
		if flat := 2 * math.Pi * h.Radius; h.Rim < 0.97*flat || h.Rim > 1.15*flat {
			t.Errorf("%s hole of radius %.1f has a rim of %.2f mm", h.Surface, h.Radius, h.Rim)
		}
	}
	p.Holes = nil
	whole, err := Make(p)
	if err != nil {
		t.Fatal(err)
	}
	if missing += whole.Mesh.Area(); math.Abs(missing-truth) > 0.03*truth {
		t.Errorf("faces of %.2f mm² are missing, by the truth %.2f", missing, truth)
	}
	for _, h := range ph.Truth.Holes {
		far, n := 0.0, 0
		for c, o := range ph.Mesh.Across {
			if v := ph.Mesh.Pos[ph.Mesh.Vertex(mesh.Corner(c))]; o == mesh.OnBoundary && v.Dist(h.Point) < 2*h.Radius {
				far, n = math.Max(far, v.Dist(h.Point)), n+1
			}
		}
		if n < 8 || math.Abs(far-h.Radius) > 1.3*p.Spacing {
			t.Errorf("%s hole of radius %.1f: %d boundary edges, out to %.2f mm", h.Surface, h.Radius, n, far)
		}
	}
}

// A one-sided scan is open, shows the tissue side only, and its truth tells of nothing else.
func TestTissueSide(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole solids")
	}
	p, _ := Named("lower-tissue-side")
	p.Spacing, p.Frame, p.Noise = 0.9, Frame{}, 0
	p.Voids = []Cap{{X: 19, Y: 16, Diameter: 3, Depth: 0.9}, {X: -24, Y: 30, Diameter: 2, Depth: 0.7, Outer: true}}
	p.Blebs = []Cap{{X: -21, Y: 14, Diameter: 3, Depth: 0.8}}
	p.Handle = true
	ph, err := Make(p)
	if err != nil {
		t.Fatal(err)
	}
	if ph.Truth.Plane != nil || len(ph.Truth.Voids) != 1 || ph.Truth.Mesh.BoundaryEdges == 0 || !ph.Truth.OneSided {
		t.Errorf("plane %v, %d voids, %d boundary edges", ph.Truth.Plane, len(ph.Truth.Voids), ph.Truth.Mesh.BoundaryEdges)
	}
	if l := ph.Mesh.Loops(); len(l) != 1 {
		t.Errorf("%d openings: a void's or a bleb's shade is one", len(l))
	}
	v := local(ph, p)
	for _, f := range ph.Mesh.Tri {
		a, b, c := v[f[0]], v[f[1]], v[f[2]]
		// z turned over: outward is against the axes' hand. Steep walls of a void may lean over.
		if n := b.Sub(a).Cross(c.Sub(a)).Unit(); n.Z > 0.6 {
			t.Fatalf("a face at %v looks away from the tissue", a)
		}
	}
}
