package render

import (
	"math"
	"slices"
	"testing"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/shape"
)

// Halving leaves a surface without gaps and with the same area, no long edge near a place of colour,
// and what is far from it as it was.
func TestRefine(t *testing.T) {
	for _, turn := range []int{0, 1, 2} {
		m := shape.Icosphere(10, 2).Mesh // edges of 3 mm
		tri := slices.Clone(m.Tri)
		for f, v := range tri {
			tri[f] = [3]mesh.VertexID{v[turn], v[(turn+1)%3], v[(turn+2)%3]}
		}
		s := NewSurface(mesh.New(m.Pos, tri), false)
		near := func(p mesh.Vec) bool { return math.Abs(p.Z) < 2 }
		s.refine(near)
		got := mesh.New(s.mesh.Pos, s.mesh.Tri)
		if top := got.Topology(); top.BoundaryEdges+top.NonManifoldEdges > 0 || top.Euler != 2 {
			t.Errorf("halved, a ball is %+v", top)
		}
		if a, b := area(got), area(m); math.Abs(a-b) > 1e-9*b {
			t.Errorf("area %g became %g", b, a)
		}
		if n := len(got.Tri); n < 4*len(m.Tri) {
			t.Errorf("%d faces of %d", n, len(m.Tri))
		}
		kept := map[[3]mesh.VertexID]bool{}
		for _, v := range got.Tri {
			kept[v] = true
			for k := range v {
				p, q := got.Pos[v[k]], got.Pos[v[(k+1)%3]]
				if l := p.Dist(q); l > refineMM && (near(p) || near(q)) {
					t.Fatalf("an edge of %.2f mm at %v", l, p)
				}
			}
		}
		for _, v := range tri {
			if a, b, c := m.Pos[v[0]].Z, m.Pos[v[1]].Z, m.Pos[v[2]].Z; (min(a, b, c) > 2 || max(a, b, c) < -2) && !kept[v] {
				t.Fatalf("a face from %.2f, %.2f, %.2f is gone", a, b, c)
			}
		}
		for i, p := range got.Pos { // the shading is that of the ball still
			n := s.normal[i]
			if d := p.Unit().Dot(mesh.Vec{X: float64(n[0]), Y: float64(n[1]), Z: float64(n[2])}); d < 0.99 {
				t.Fatalf("normal off by %.1f°", math.Acos(d)*180/math.Pi)
			}
		}
	}
}

func area(m *mesh.Mesh) (sum float64) {
	for f := range m.Tri {
		a, b, c := m.Corners(mesh.FaceID(f))
		sum += b.Sub(a).Cross(c.Sub(a)).Norm() / 2
	}
	return sum
}

// What a whole view draws lies within the stated error of the scan, seen head on, and its band of colour
// ends at the same pixels.
func TestWholeViewIsThatOfTheScan(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	s := NewScan(m, rep)
	full, coarse := s.fine(Scale{}.orDefault()), s.whole(Scale{}.orDefault())
	if a, b := len(m.Tri), len(s.small().mesh.Tri); b > a*3/4 {
		t.Errorf("%d faces of %d", b, a)
	}
	var rasters [2]Raster
	for i, d := range []drawn{full, coarse} {
		r := &rasters[i]
		r.Resize(400, 400)
		r.Draw(d.surface, views(rep)[0].Camera.fit(Box{10, 10, 380, 380}, full.surface), d.tint, 2)
	}
	deep, colours, seen := 0, 0, 0
	a, b := &rasters[0], &rasters[1]
	for i, z := range a.Depth {
		if math.IsInf(float64(z), -1) {
			continue
		}
		seen++
		if math.Abs(float64(z-b.Depth[i])) > 3*ViewErrorMM { // it is told along the normal, not the line of sight
			deep++
		}
		for k := range 3 {
			if abs(int(a.Image.Pix[4*i+k])-int(b.Image.Pix[4*i+k])) > 60 {
				colours++
				break
			}
		}
	}
	t.Logf("of %d pixels %d are deeper or less deep, %d of another colour", seen, deep, colours)
	if deep*100 > seen || colours*200 > seen {
		t.Errorf("of %d pixels %d are deeper or less deep, %d of another colour", seen, deep, colours)
	}
}

// Pictures begun on while the scan is measured, by Workers of both beside each other, are those that are made
// after it.
func TestAheadWorkers(t *testing.T) {
	p, _ := phantom.Named("upper-sound")
	p.Spacing = 0.8
	made, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	var begun func(*inspect.Report) *Scan
	out := inspect.Run(&inspect.Scan{Mesh: made.Mesh}, inspect.DefaultProtocol(), inspect.Options{Surface: func(m *mesh.Mesh) { begun = Ahead(m) }})
	got, want := begun(out.Report), NewScan(out.Mesh, out.Report)
	if got.Mesh != out.Mesh || len(got.small().mesh.Tri) >= len(out.Mesh.Tri)/2 {
		t.Fatal("it is another surface, or was not simplified")
	}
	if a, b := got.small(), want.small(); !slices.Equal(a.of, b.of) || !slices.Equal(a.mesh.Tri, b.mesh.Tri) || !slices.Equal(a.mesh.Pos, b.mesh.Pos) {
		t.Error("begun ahead, the surface for viewing is another")
	}
}
