package main

import (
	"bytes"
	_ "embed"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"fornix/mesh"
	"fornix/mesh/register"
)

//go:embed oracle/nearest.cpp
var nearestProgram []byte

// Distances of all vertices of one real mouth scan from another, both ways, as the Computational
// Geometry Algorithms Library finds them (Debian's libcgal-dev): a scan against the same one with
// the teeth cut away, and two different mouths laid on each other's middle.
func TestDistancesAgreeWithComputationalGeometryLibrary(t *testing.T) {
	root := os.Getenv("FORNIX_SHARED")
	if testing.Short() || !haveCGAL() || root == "" {
		t.Skip("libcgal-dev and g++ are not installed, FORNIX_SHARED is not set, or a short run")
	}
	program := filepath.Join(t.TempDir(), "nearest")
	write(t, program+".cpp", nearestProgram)
	if out, err := exec.Command("g++", "-O1", "-DNDEBUG", "-o", program, program+".cpp", "-lgmp", "-lmpfr").CombinedOutput(); err != nil {
		t.Fatalf("g++: %v\n%s", err, out)
	}
	read := func(name string) *mesh.Mesh {
		b, err := os.ReadFile(filepath.Join(root, "scans", "mouth-scans", name))
		if err != nil {
			t.Skip(err)
		}
		m, _, err := mesh.Read(bytes.NewReader(b), mesh.ReadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	for _, pair := range [][2]string{{"lower_100k.stl", "lower_gum_only.stl"}, {"up_01_10k.stl", "up_15_10k.stl"}} {
		a, b := read(pair[0]), read(pair[1])
		if pair[0] == "up_01_10k.stl" {
			alo, ahi := a.Bounds()
			blo, bhi := b.Bounds()
			shift := blo.Add(bhi).Sub(alo).Sub(ahi).Scale(0.5)
			for i, p := range a.Pos { // freshly read: nobody else's
				a.Pos[i] = p.Add(shift)
			}
		}
		compareNearest(t, program, pair[0]+" to "+pair[1], a.Pos, b)
		compareNearest(t, program, pair[1]+" to "+pair[0], b.Pos, a)
	}
}

// compareNearest holds our distances of points from a surface against the reference's.
func compareNearest(t *testing.T, program, what string, points []mesh.Vec, to *mesh.Mesh) {
	t.Helper()
	dir := t.TempDir()
	var off, at bytes.Buffer
	fmt.Fprintf(&off, "OFF\n%d %d 0\n", len(to.Pos), len(to.Tri))
	for _, p := range to.Pos {
		fmt.Fprintf(&off, "%.17g %.17g %.17g\n", p.X, p.Y, p.Z)
	}
	for _, f := range to.Tri {
		fmt.Fprintf(&off, "3 %d %d %d\n", f[0], f[1], f[2])
	}
	for _, p := range points {
		fmt.Fprintf(&at, "%.17g %.17g %.17g\n", p.X, p.Y, p.Z)
	}
	surface, places := filepath.Join(dir, "surface.off"), filepath.Join(dir, "points.txt")
	write(t, surface, off.Bytes())
	write(t, places, at.Bytes())
	var want []float64
	ask(t, &want, program, surface, places)
	if len(want) != len(points) {
		t.Fatalf("%s: %d distances for %d points", what, len(want), len(points))
	}
	worst, most, below := 0.0, 0.0, 0
	for i, s := range register.Distances(points, register.NewBody(to), math.Inf(1), 0) {
		if !s.Found {
			t.Fatalf("%s: point %d is near nothing", what, i)
		}
		worst, most = max(worst, math.Abs(math.Abs(s.MM)-want[i])), max(most, want[i])
		if s.MM < 0 {
			below++
		}
	}
	t.Logf("%s: %d points up to %.2f mm away, %d of them below; off by up to %.2g mm", what, len(points), most, below, worst)
	if worst > 1e-5 {
		t.Errorf("%s: distances are off by up to %.3g mm", what, worst)
	}
}
