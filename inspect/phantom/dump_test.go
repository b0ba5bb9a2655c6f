package phantom

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// TestDump writes phantoms as files when FORNIX_PHANTOM_DIR names a directory: the cases of
// FORNIX_PHANTOM_CASES (names, or jaw:seed for random ones; default all names).
func TestDump(t *testing.T) {
	dir := os.Getenv("FORNIX_PHANTOM_DIR")
	if dir == "" {
		t.Skip("FORNIX_PHANTOM_DIR is not set")
	}
	list := Names()
	if s := os.Getenv("FORNIX_PHANTOM_CASES"); s != "" {
		list = strings.Fields(s)
	}
	for _, name := range list {
		p, ok := Named(name)
		if jaw, seed, is := strings.Cut(name, ":"); is {
			n, err := strconv.ParseInt(seed, 10, 64)
			if err != nil {
				t.Fatal(err)
			}
			p, ok = Random(n, jaw), true
			p.Name = jaw + "-random-" + seed
		}
		if !ok {
			t.Fatalf("no phantom is named %q", name)
		}
		if s, err := strconv.ParseFloat(os.Getenv("FORNIX_PHANTOM_SPACING"), 64); err == nil {
			p.Spacing = s
		}
		t0 := time.Now()
		ph, err := Make(p)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		m := ph.Truth.Mesh
		t.Logf("%s: %.2f s, %d faces, %d boundary edges, %d non-manifold, off %.2g mm", p.Name, time.Since(t0).Seconds(), m.Triangles, m.BoundaryEdges, m.NonManifold, ph.Truth.Deviation)
		b := make([]byte, 84, 84+50*len(ph.Mesh.Tri))
		binary.LittleEndian.PutUint32(b[80:], uint32(len(ph.Mesh.Tri)))
		put := func(v vec) {
			for _, x := range [3]float64{v.X, v.Y, v.Z} {
				b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(x)))
			}
		}
		for _, f := range ph.Mesh.Tri {
			u, v, w := ph.Mesh.Pos[f[0]], ph.Mesh.Pos[f[1]], ph.Mesh.Pos[f[2]]
			put(v.Sub(u).Cross(w.Sub(u)).Unit())
			put(u)
			put(v)
			put(w)
			b = append(b, 0, 0)
		}
		js, err := json.Marshal(ph.Truth)
		if err != nil {
			t.Fatal(err)
		}
		for ext, data := range map[string][]byte{".stl": b, ".truth.json": js} {
			if err := os.WriteFile(filepath.Join(dir, p.Name+ext), data, 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
