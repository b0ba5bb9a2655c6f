package inspect

import (
	"bytes"
	"math"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// soup makes a mesh of any bytes: the count of vertices, a scale from 1/1000 to 100 000, vertices of
// three bytes each, and faces of three bytes each.
func soup(b []byte) *mesh.Mesh {
	if len(b) < 2 {
		return nil
	}
	n, scale := int(b[0]), math.Pow(10, float64(b[1]%9)-3)
	b = b[2:]
	if n == 0 || len(b) < 3*n+3 {
		return nil
	}
	var pos []Vec
	for ; len(pos) < n; b = b[3:] {
		pos = append(pos, Vec{X: scale * (float64(b[0]) - 128), Y: scale * (float64(b[1]) - 128), Z: scale * (float64(b[2]) - 128)})
	}
	// Only what a face uses, and equal positions once, as reading gives it.
	var file bytes.Buffer
	var tri [][3]mesh.VertexID
	for ; len(b) >= 3; b = b[3:] {
		tri = append(tri, [3]mesh.VertexID{mesh.VertexID(int(b[0]) % n), mesh.VertexID(int(b[1]) % n), mesh.VertexID(int(b[2]) % n)})
	}
	if mesh.WriteSTL(&file, mesh.New(pos, tri), "") != nil {
		return nil
	}
	m, _, err := mesh.Read(&file, mesh.ReadOptions{})
	if err != nil {
		return nil
	}
	return m
}

// bytesOf is a mesh as soup reads it, at most 255 vertices.
func bytesOf(m *mesh.Mesh, scale byte) []byte {
	b := []byte{byte(len(m.Pos)), scale}
	for _, p := range m.Pos {
		b = append(b, byte(math.Round(p.X)+128), byte(math.Round(p.Y)+128), byte(math.Round(p.Z)+128))
	}
	for _, t := range m.Tri {
		b = append(b, byte(t[0]), byte(t[1]), byte(t[2]))
	}
	return b
}

// horseshoe is a trough along half an ellipse, as coarse as 255 vertices allow.
func horseshoe(turn float64) *mesh.Mesh {
	const along, across = 20, 9
	var pos []Vec
	var tri [][3]mesh.VertexID
	for i := range along {
		s, c := math.Sincos(math.Pi * float64(i) / (along - 1))
		for j := range across {
			x := float64(j-across/2) * 2.5
			p := Vec{X: (25 + x) * c, Y: -(30 + x) * s, Z: turn * x * x / 9}
			pos = append(pos, p)
			if i > 0 && j > 0 {
				v := mesh.VertexID(i*across + j)
				tri = append(tri, [3]mesh.VertexID{v, v - 1, v - across}, [3]mesh.VertexID{v - 1, v - across - 1, v - across})
			}
		}
	}
	return mesh.New(pos, tri)
}

// FuzzRun: any faces at all are inspected without a panic, the report can be written (which fails
// on NaN), and is the same for the same faces in another order of corners.
func FuzzRun(f *testing.F) {
	f.Add(bytesOf(horseshoe(1), 3))
	f.Add(bytesOf(horseshoe(-1), 3))
	f.Add(bytesOf(horseshoe(-1), 0))
	f.Add(bytesOf(shape.Icosphere(50, 2).Mesh, 3))
	f.Add(bytesOf(shape.Icosphere(50, 1).Mesh, 8))
	f.Add(bytesOf(shape.Torus(40, 12, 20, 10).Mesh, 3))
	f.Add([]byte{4, 3, 0, 0, 0, 200, 0, 0, 0, 200, 0, 0, 0, 200, 0, 1, 2, 0, 3, 1, 0, 2, 3, 0, 0, 1})
	f.Fuzz(func(t *testing.T, b []byte) {
		m := soup(b)
		if m == nil || len(m.Tri) > 500 {
			return
		}
		// A run must stay well under the ten seconds that Go's fuzzing waits, also at a low priority.
		p := DefaultProtocol()
		p.Method.Occlusal.Guesses, p.Method.Frame.CellMM = 60, 4*p.Method.Frame.CellMM
		run := func(m *mesh.Mesh) *Report {
			s := &Scan{Mesh: m, Info: ScanInfo{Faces: len(m.Tri), Vertices: len(m.Pos), UnitToMM: 1}}
			s.Info.Unit, s.Info.UnitHow = decideUnit(m, "")
			return Run(s, p, Options{}).Report
		}
		rep := run(m)
		var out bytes.Buffer
		if err := WriteJSON(&out, rep); err != nil {
			t.Fatal(err)
		}
		if err := WriteText(&out, rep); err != nil {
			t.Fatal(err)
		}
		if rep.Verdict == Send && rep.Frame == nil {
			t.Error("send, and no jaw was found")
		}
		if len(m.Tri) > 50 {
			return
		}
		if again := run(mesh.New(slices.Clone(m.Pos), slices.Clone(m.Tri))); again.Verdict != rep.Verdict || len(again.Findings) != len(rep.Findings) {
			t.Errorf("%s and %d findings, then %s and %d", rep.Verdict, len(rep.Findings), again.Verdict, len(again.Findings))
		}
	})
}

// FuzzGiven: the files in which users tell landmarks, a pose or the planes of the face.
func FuzzGiven(f *testing.F) {
	f.Add([]byte(`{"incisive_papilla": [1.2, 3.4, 5.6], "reference_plane": [[0,0,0], [1,0,0], [0,1,0]]}`))
	f.Add([]byte(`{"rim": [[0,0,0], [1,0,0], [0,1,0]]}`))
	f.Add([]byte(`{"hamular_notch_left": {"point": [1, 2, 3], "source": "found", "uncertainty_mm": 1}}`))
	f.Add([]byte(`{"rotation": [[1,0,0],[0,1,0],[0,0,1]], "shift_mm": [1,2,3]}`))
	f.Add([]byte(`{"ala_tragus": [[0,0,0],[1,0,0],[0,1,0]], "pupils": [[0,0,0],[60,0,0]]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		if g, err := ReadGiven(bytes.NewReader(b)); err == nil {
			for name, p := range g.Landmarks {
				if !p.Finite() || !slices.Contains(landmarkNames, name) {
					t.Errorf("landmark %q at %v", name, p)
				}
			}
			if g.Reference != nil && math.Abs(g.Reference.Norm()-1) > 1e-9 {
				t.Errorf("a normal of length %v", g.Reference.Norm())
			}
		}
		if p, err := ReadPose(bytes.NewReader(b)); err == nil {
			// Rigid: it keeps the distance of two points.
			a, c := Vec{X: 1, Y: -2, Z: 3}, Vec{X: -40, Y: 5, Z: 60}
			if d := p.Apply(a).Dist(p.Apply(c)); math.Abs(d-a.Dist(c)) > 1e-3 {
				t.Errorf("a pose that makes %v of %v mm", d, a.Dist(c))
			}
		}
		if _, err := ReadReferences(bytes.NewReader(b)); err != nil {
			return
		}
	})
}
