package inspect

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// sharedPhantom reads a public phantom and its truth, or skips the test where there is none.
func sharedPhantom(t testing.TB, name string, truth any) *mesh.Mesh {
	t.Helper()
	dir := os.Getenv("FORNIX_SHARED")
	if dir == "" {
		dir = "../../shared" // beside the project
	}
	data, err := os.ReadFile(filepath.Join(dir, "phantoms", name+".stl"))
	if err != nil {
		t.Skip("the public phantoms are not here")
	}
	told, err := os.ReadFile(filepath.Join(dir, "phantoms", name+".truth.json"))
	if err != nil {
		t.Skip("the public phantoms are not here")
	}
	if err := json.Unmarshal(told, truth); err != nil {
		t.Fatal(err)
	}
	m, _, err := mesh.Read(bytes.NewReader(data), mesh.ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

type planeTruth struct {
	Name string
	Axes struct {
		Left, Posterior Vec
		Toward          Vec `json:"toward_tissue"`
	}
	Landmarks map[string]Vec
	Border    []struct {
		Side string
		Apex []Vec
	}
	Noise float64 `json:"noise_mm"`
	Holes []struct {
		Point  Vec
		Radius float64
	}
	Mesh struct {
		Boundary    int     `json:"boundary_edges"`
		NonManifold int     `json:"non_manifold_edges"`
		Area        float64 `json:"area_mm2"`
	}
	Plane *struct {
		Point, Normal Vec
		Pitch         float64 `json:"pitch_deg"`
		Height        float64 `json:"rim_height_mm"`
	}
}

var publicNames = []string{"lower-holes", "lower-rim-canted", "lower-sound", "upper-short", "upper-sound", "upper-thin", "upper-voids"}

// A reader that tells its size is believed, also while what is read is hashed: the mesh is not grown.
func TestReadTakesRoomOnce(t *testing.T) {
	m := shape.Grid(150, 90, false, false, func(u, v float64) Vec { return Vec{X: 90 * u, Y: 60 * v} })
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, m, "sheet"); err != nil {
		t.Fatal(err)
	}
	s, err := Read(bytes.NewReader(b.Bytes()), "sheet.stl", ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(s.Mesh.Tri); n != len(m.Tri) || cap(s.Mesh.Tri) != n {
		t.Errorf("%d faces of %d read, room for %d", n, len(m.Tri), cap(s.Mesh.Tri))
	}
}
