package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// coarse is a closed impression that is quick to compare.
var coarse = sync.OnceValue(func() *mesh.Mesh {
	p, _ := phantom.Named("upper-sound")
	p.Spacing, p.Noise = 1.2, 0
	made, err := phantom.Make(p)
	if err != nil {
		panic(err)
	}
	return made.Mesh
})

// writeNoisy writes a scan of an object: its vertices moved outward by an offset and by noise of a known
// standard deviation, both along the normals, and then all of it turned and shifted. It returns the
// file's SHA-256.
func writeNoisy(t *testing.T, path string, m *mesh.Mesh, offset, noise float64, seed uint64) string {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 1))
	normals := m.Normals()
	a, b := 0.3*float64(seed), 0.7*float64(seed)
	pos := make([]mesh.Vec, len(m.Pos))
	for i, p := range m.Pos {
		p = p.Along(offset+noise*r.NormFloat64(), normals[i])
		p = mesh.Vec{X: p.X*math.Cos(a) - p.Y*math.Sin(a), Y: p.X*math.Sin(a) + p.Y*math.Cos(a), Z: p.Z}
		p = mesh.Vec{X: p.X, Y: p.Y*math.Cos(b) - p.Z*math.Sin(b), Z: p.Y*math.Sin(b) + p.Z*math.Cos(b)}
		pos[i] = p.Add(mesh.Vec{X: 5 * float64(seed), Y: -3, Z: 11})
	}
	var out bytes.Buffer
	if err := mesh.WriteSTL(&out, mesh.New(pos, m.Tri), "test"); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, out.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return fmt.Sprintf("%x", sha256.Sum256(out.Bytes()))
}

// cellsOf reads a table and finds the first row that begins with the words, by column.
func cellsOf(t *testing.T, path string, words ...string) map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll() // refuses rows of unequal length
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		if strings.HasPrefix(strings.Join(row, "|"), strings.Join(words, "|")+"|") {
			out := map[string]string{}
			for i, name := range rows[0] {
				out[name] = row[i]
			}
			return out
		}
	}
	t.Fatalf("%s: no row %v", filepath.Base(path), words)
	return nil
}

// Two scans of one object with noise of 0.03 mm and an offset of 0.05 mm, each in a frame of its own,
// one more that is gone, one that has other bytes than the table says, and one that the batch could not
// read. What must come out is known: a distance between two repeats at a vertex is the difference of
// two noises, so that s_r is the noise; the mean distance from the object itself is the offset, and the
// mean square the sum of both squares. Vertices lie on each other, so that between them nothing is
// interpolated; what is left open is chance (0.03/√8,000 vertices) and edges, where an offset along
// mean normals is not that of the faces, together below 5 %; on a part alone the fit may shift the scan
// by as much again.
func TestStudyOfPairsFindsNoiseAndOffset(t *testing.T) {
	const noise, offset = 0.03, 0.05
	dir := t.TempDir()
	m := coarse()
	in := func(name string) string { return filepath.Join(dir, name) }
	reference := writeNoisy(t, in("object.stl"), m, 0, 0, 9)
	rows := "path,subject,device,status,reason,report,sha256,unit,jaw,codes\n"
	add := func(name, device, status, reason, sum string) {
		rows += fmt.Sprintf("%s,s1,%s,%s,%s,,%s,mm,upper,\n", filepath.ToSlash(in(name)), device, status, reason, sum)
	}
	add("object.stl", "laboratory", "measured", "", reference)
	for seed := range uint64(2) {
		name := fmt.Sprintf("scan%d.stl", seed+1)
		add(name, "hand", "measured", "", writeNoisy(t, in(name), m, offset, noise, seed+1))
	}
	add("gone.stl", "hand", "measured", "", reference)
	add("changed.stl", "other", "measured", "", reference)
	add("broken.stl", "other", "failed", "no scan", "")
	if err := os.WriteFile(in("changed.stl"), []byte("other bytes"), 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(in("scans.csv"), []byte(rows), 0o644); err != nil {
		t.Fatal(err)
	}
	study := func(out string, more ...string) string {
		var stdout, stderr bytes.Buffer
		args := append([]string{"study", in("scans.csv"), "--out", in(out), "--pairs", "--reference", "device=laboratory"}, more...)
		if code := run(args, nil, &stdout, &stderr); code != exitDone {
			t.Fatalf("exit code %d: %s", code, stderr.String())
		}
		return stdout.String()
	}
	said := study("one", "--workers", "1")
	near := func(what string, want, part float64, file string, column string, words ...string) {
		t.Helper()
		v, err := strconv.ParseFloat(cellsOf(t, filepath.Join(in("one"), file), words...)[column], 64)
		t.Logf("%s: %.5f, known %.5f", what, v, want)
		if !(math.Abs(v-want) <= part*want) || err != nil {
			t.Errorf("%s is %v (%v), want %v within %g %%", what, v, err, want, 100*part)
		}
	}
	total := math.Hypot(offset, noise)
	near("repeatability SD of the surface", noise, 0.05, "statistics.csv", "value", "precision_sr_mm", "mm", "description", "hand", "mean")
	near("RMS of pairs", math.Sqrt2*noise, 0.05, "statistics.csv", "value", "precision_rms_mm", "mm", "description", "hand", "mean")
	near("median distance of pairs", 0.674490*math.Sqrt2*noise, 0.05, "statistics.csv", "value", "precision_abs_p50_mm", "mm", "description", "hand", "mean")
	near("95 % of pairs", 1.959964*math.Sqrt2*noise, 0.05, "statistics.csv", "value", "precision_abs_p95_mm", "mm", "description", "hand", "mean")
	near("mean from the reference", offset, 0.05, "statistics.csv", "value", "trueness_mean_mm", "mm", "description", "hand", "mean")
	near("RMS from the reference", total, 0.05, "statistics.csv", "value", "trueness_rms_mm", "mm", "description", "hand", "mean")
	near("on the palate", offset, 0.1, "statistics.csv", "value", "trueness_mean_palate_mm", "mm", "description", "hand", "mean")
	near("maximum of the only pair", math.Sqrt2*noise, 0.05, "statistics.csv", "value", "precision_rms_mm", "mm", "pairs", "hand", "maximum of pairs")
	near("scans with a trueness", 2, 0, "statistics.csv", "value", "trueness_rms_mm", "mm", "description", "all", "n")
	near("scans without", 4, 0, "statistics.csv", "value", "trueness_rms_mm", "mm", "description", "all", "missing")

	path := func(name string) string { return filepath.ToSlash(in(name)) }
	pairs := filepath.Join(in("one"), "pairs.csv")
	for _, c := range []struct{ kind, subject, condition, a, b, reason string }{
		{"precision", "s1 upper", "hand", path("scan1.stl"), path("gone.stl"), "no such file"},
		{"precision", "s1 upper", "other", "", path("changed.stl"), "there is no other scan"},
		{"precision", "s1 upper", "other", "", path("broken.stl"), "no scan"},
		{"trueness", "s1 upper", "hand", path("object.stl"), path("gone.stl"), "no such file"},
		{"trueness", "s1 upper", "other", path("object.stl"), path("changed.stl"), "its bytes are not those that the batch measured"},
	} {
		got := cellsOf(t, pairs, c.kind, c.subject, c.condition, c.a, c.b)
		if got["status"] != "failed" || !strings.Contains(got["reason"], c.reason) || got["rms_mm"] != "" {
			t.Errorf("%s of %s: %v, want %q", c.kind, filepath.Base(c.b), got, c.reason)
		}
	}
	for _, want := range []string{"compared 1, could not be 5; scans that are not there: 1", "compared 2, could not be 3; scans that are not there: 1", "not there: " + path("gone.stl")} {
		if !strings.Contains(said, want) {
			t.Errorf("not told: %q in\n%s", want, said)
		}
	}
	checkMap(t, filepath.Join(in("one"), "map-1.csv"), len(m.Pos), offset, noise)
	if err := os.Mkdir(in("many"), 0o755); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"map-2.csv", "map-2-oral.png", "map-1-of-mine.png"} {
		if err := os.WriteFile(filepath.Join(in("many"), name), []byte("of an earlier study"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	study("many", "--workers", "3")
	if got, err := filepath.Glob(filepath.Join(in("many"), "map-*")); err != nil || len(got) != 5 {
		t.Errorf("maps %v: %v", got, err)
	}
	entries, err := os.ReadDir(in("one"))
	if err != nil || len(entries) < 8 {
		t.Fatalf("%v: %d files", err, len(entries))
	}
	for _, e := range entries {
		a, err1 := os.ReadFile(filepath.Join(in("one"), e.Name()))
		b, err2 := os.ReadFile(filepath.Join(in("many"), e.Name()))
		if err1 != nil || err2 != nil || !bytes.Equal(a, b) {
			t.Errorf("%s differs between one worker and three: %v, %v", e.Name(), err1, err2)
		}
	}
}

// checkMap holds a map of two scans against what is known: the vertices of the reference in its file's
// coordinates, on the mean the offset, and scattered about it by what two scans leave of the noise,
// noise/√2, all within 5 %. Nothing ends or has a hole, so both scans cover all but what lies at
// sharp edges.
func checkMap(t *testing.T, path string, vertices int, offset, noise float64) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil || len(rows) != vertices+1 {
		t.Fatalf("%v: %d rows for %d vertices", err, len(rows), vertices)
	}
	var sum, squares, n float64
	both := 0
	for _, r := range rows[1:] {
		if r[3] == "2" {
			both++
		}
		if (r[4] == "") != (r[3] == "0") {
			t.Fatalf("a mean of no scan, or none of some: %v", r)
		}
		if v, err := strconv.ParseFloat(r[4], 64); err == nil {
			sum, squares, n = sum+v, squares+v*v, n+1
		}
	}
	mean := sum / n
	sd := math.Sqrt(squares/n - mean*mean)
	t.Logf("map: mean %.5f, known %.5f; SD %.5f, known %.5f; %d of %d vertices covered by both", mean, offset, sd, noise/math.Sqrt2, both, vertices)
	if math.Abs(mean-offset) > 0.05*offset || math.Abs(sd-noise/math.Sqrt2) > 0.05*noise || both < vertices*99/100 {
		t.Errorf("map: mean %v, SD %v, %d of %d vertices covered by both", mean, sd, both, vertices)
	}
}
