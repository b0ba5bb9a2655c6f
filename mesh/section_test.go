package mesh_test

import (
	"math"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// checkLines holds that every point is on the plane and every piece in its face.
func checkLines(t *testing.T, m *mesh.Mesh, lines []mesh.Polyline, point, normal mesh.Vec) {
	t.Helper()
	for i, l := range lines {
		pieces := len(l.Pts) - 1
		if l.Closed {
			pieces = len(l.Pts)
		}
		if len(l.Faces) != pieces || pieces < 1 {
			t.Fatalf("line %d: %d points, %d faces, closed %v", i, len(l.Pts), len(l.Faces), l.Closed)
		}
		for j, f := range l.Faces {
			p, q := l.Pts[j], l.Pts[(j+1)%len(l.Pts)]
			if p == q || math.Abs(p.Sub(point).Dot(normal.Unit())) > 1e-9 {
				t.Fatalf("line %d: piece %d from %v to %v", i, j, p, q)
			}
			a, b, c := m.Corners(f)
			n := m.FaceNormal(f)
			if mid := p.Add(q).Scale(0.5); math.Abs(mid.Sub(a).Dot(n)) > 1e-9 || math.Abs(b.Sub(a).Cross(mid.Sub(a)).Norm()+
				c.Sub(b).Cross(mid.Sub(b)).Norm()+a.Sub(c).Cross(mid.Sub(c)).Norm()-2*m.FaceArea(f)) > 1e-9 {
				t.Fatalf("line %d: piece %d is not in face %d", i, j, f)
			}
			if q.Sub(p).Dot(normal.Cross(n)) < 0 {
				t.Fatalf("line %d: piece %d runs against normal × face normal", i, j)
			}
		}
	}
}

func TestSectionOfATorus(t *testing.T) {
	m := shape.Torus(25, 4, 200, 64).Mesh
	cases := []struct {
		name          string
		point, normal mesh.Vec
		lines         int
		length        float64
	}{
		{"across, through vertices", mesh.Vec{}, mesh.Vec{Y: 1}, 2, 2 * 2 * math.Pi * 4},
		{"across, between vertices", mesh.Vec{Y: 0.1}, mesh.Vec{Y: 3}, 2, 2 * 2 * math.Pi * 4},
		{"level, through vertices", mesh.Vec{}, mesh.Vec{Z: 1}, 2, 2 * math.Pi * (21 + 29)},
		{"level, off the middle", mesh.Vec{Z: 2}, mesh.Vec{Z: -1}, 2, 2 * math.Pi * 50},
		{"beside", mesh.Vec{X: 30}, mesh.Vec{X: 1}, 0, 0},
		// Touching at the top from below and from above: no line, or one around the top.
		{"on the top", mesh.Vec{X: 29}, mesh.Vec{X: -1}, 0, 0},
	}
	for _, c := range cases {
		lines := mesh.Section(m, c.point, c.normal)
		checkLines(t, m, lines, c.point, c.normal)
		length := 0.0
		for _, l := range lines {
			length += l.Length()
			if !l.Closed {
				t.Errorf("%s: an open line", c.name)
			}
		}
		if len(lines) != c.lines || math.Abs(length-c.length) > 0.002*c.length {
			t.Errorf("%s: %d lines, %v mm, want %d, %v", c.name, len(lines), length, c.lines, c.length)
		}
	}
}

// TestSectionOfABox: exact outline, also in the plane of a row of vertices and of a side.
func TestSectionOfABox(t *testing.T) {
	m := shape.Plate(10, 6, 4, 1).Mesh
	for _, z := range []float64{-2, -1, -0.3, 0, 1.999} {
		for _, n := range []float64{1, -1} {
			point, normal := mesh.Vec{Z: z}, mesh.Vec{Z: n}
			lines := mesh.Section(m, point, normal)
			checkLines(t, m, lines, point, normal)
			// A side in the plane counts as above it: cut from outside it gives no line.
			want := 1
			if z == -2 && n == 1 {
				want = 0
			}
			if len(lines) != want || want == 1 && math.Abs(lines[0].Length()-32) > 1e-9 {
				t.Errorf("z %v, normal %v: %d lines", z, n, len(lines))
			}
		}
	}
}

func TestSectionOfAnOpenSheet(t *testing.T) {
	m := shape.Trough(5, 20, 64, 40).Mesh
	lines := mesh.Section(m, mesh.Vec{X: 3}, mesh.Vec{X: 1})
	checkLines(t, m, lines, mesh.Vec{X: 3}, mesh.Vec{X: 1})
	if len(lines) != 1 || lines[0].Closed || math.Abs(lines[0].Length()-math.Pi*5) > 0.01 {
		t.Errorf("%d lines", len(lines))
	}
	// Faces whose windings disagree still make one line.
	tri := append([][3]mesh.VertexID(nil), m.Tri...)
	for f := range tri {
		if f%3 == 0 {
			tri[f][0], tri[f][1] = tri[f][1], tri[f][0]
		}
	}
	if mixed := mesh.Section(mesh.New(m.Pos, tri), mesh.Vec{X: 3}, mesh.Vec{X: 1}); len(mixed) != 1 || math.Abs(mixed[0].Length()-lines[0].Length()) > 1e-9 {
		t.Errorf("%d lines of mixed windings", len(mixed))
	}
}
