package shape

import (
	"math"
	"testing"

	"fornix/mesh"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.9g, want %.9g ± %.2g", what, got, want, tolerance)
	}
}

func sound(t *testing.T, what string, m *mesh.Mesh, euler, boundary int) {
	t.Helper()
	if err := m.Validate(); err != nil {
		t.Errorf("%s: %v", what, err)
	}
	want := mesh.Topology{Edges: (3*len(m.Tri) + boundary) / 2, BoundaryEdges: boundary, Euler: euler}
	if got := m.Topology(); got != want {
		t.Errorf("%s: %+v, want %+v", what, got, want)
	}
}

// TestIcosphere compares with area and volume of the meshed unit sphere as computed apart from
// this program, with those of the regular icosahedron at level 0 (5√3 a², 5/12 (3+√5) a³).
func TestIcosphere(t *testing.T) {
	table := []struct{ area, volume float64 }{
		{9.574541383274, 2.536150710120}, {11.665931391718, 3.658712208512}, {12.329848595235, 4.047044679979},
		{12.506492733970, 4.152740817093}, {12.551353880096, 4.179738947995}, {12.562613468058, 4.186524949279},
	}
	edge := 1 / math.Sin(2*math.Pi/5)
	near(t, "area of the icosahedron", Icosphere(1, 0).Mesh.Area(), 5*math.Sqrt(3)*edge*edge, 1e-12)
	for level, want := range table {
		s := Icosphere(1, level)
		sound(t, "icosphere", s.Mesh, 2, 0)
		near(t, "area", s.Mesh.Area(), want.area, 1e-11)
		near(t, "volume", s.Mesh.Volume(), want.volume, 1e-11)
	}
	near(t, "exact area", Icosphere(2, 0).Area, 16*math.Pi, 1e-12)
	near(t, "exact volume", Icosphere(3, 0).Volume, 36*math.Pi, 1e-12)
}

// TestTorus compares with values of the meshed torus computed apart from this program.
func TestTorus(t *testing.T) {
	for _, c := range []struct {
		around, along int
		area, volume  float64
	}{{24, 12, 1453.175076, 1048.217133}, {48, 24, 1473.583946, 1094.558328}, {96, 48, 1478.723951, 1106.372056}, {192, 96, 1480.011324, 1109.339920}} {
		s := Torus(25, 1.5, c.around, c.along)
		sound(t, "torus", s.Mesh, 0, 0)
		// The diagonal of a rectangle may run either way, which moves area in the fourth digit.
		near(t, "area", s.Mesh.Area(), c.area, 1e-4*c.area)
		near(t, "volume", s.Mesh.Volume(), c.volume, 1e-6)
		near(t, "exact area", s.Area, 1480.440660, 1e-6)
		near(t, "exact volume", s.Volume, 1110.330495, 1e-6)
	}
}

func TestSphericalShell(t *testing.T) {
	s := SphericalShell(20, 18, 4)
	sound(t, "shell", s.Mesh, 4, 0)
	// A face of edge e on a ball of radius r sags e²/6r at most between its corners.
	edge := 20 * 1.2 / 16
	near(t, "volume", s.Mesh.Volume(), s.Volume, s.Area*edge*edge/(6*18))
	if s.Mesh.Volume() < 0.9*s.Volume {
		t.Error("the inner ball is not wound toward its middle")
	}
}

func TestPlate(t *testing.T) {
	s := Plate(30, 20, 2, 0.7)
	sound(t, "plate", s.Mesh, 2, 0)
	near(t, "area", s.Mesh.Area(), 2*(600+40+60), 1e-9)
	near(t, "volume", s.Mesh.Volume(), 1200, 1e-9)
	lo, hi := s.Bounds()
	if lo != (mesh.Vec{X: -15, Y: -10, Z: -1}) || hi != (mesh.Vec{X: 15, Y: 10, Z: 1}) {
		t.Errorf("box %v %v", lo, hi)
	}
}

// TestCap holds the classic formulas π(a²+h²) and πh(3a²+h²)/6: base radius 1, height 0.5.
func TestCap(t *testing.T) {
	for _, n := range []int{8, 32} {
		s := Cap(1, 0.5, n)
		sound(t, "cap", s.Mesh, 1, 6*n)
		near(t, "exact area", s.Area, 3.926991, 1e-6)
		near(t, "exact volume", s.Volume, 0.850848, 1e-6)
		edge := 1.2 / float64(n)
		near(t, "area", s.Mesh.Area(), s.Area, s.Area*edge*edge)
		for v, p := range s.Pos {
			near(t, "distance from the middle", p.Add(mesh.Vec{Z: 0.75}).Norm(), 1.25, 1e-12)
			if v > 50 {
				break
			}
		}
		if s.FaceNormal(0).Z < 0.9 {
			t.Error("wound inward")
		}
	}
}

func TestTrough(t *testing.T) {
	s := Trough(5, 40, 64, 80)
	sound(t, "trough", s.Mesh, 1, 2*(64+80))
	edge := math.Pi * 5 / 64
	near(t, "area", s.Mesh.Area(), s.Area, s.Area*edge*edge/(24*25)*1.01)
	loops := s.Loops()
	if len(loops) != 1 {
		t.Fatalf("%d loops", len(loops))
	}
	near(t, "loop", s.LoopLength(loops[0]), 2*math.Pi*5+80, 2*math.Pi*5*edge*edge/(24*25)*1.01)
	if c := s.Centroid(0); s.FaceNormal(0).Dot(c) > 0 {
		t.Error("the normals point out of the trough")
	}
}
