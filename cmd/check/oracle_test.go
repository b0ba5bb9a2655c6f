package main

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/shape"
	"fornix/mesh/tree"
)

//go:embed oracle/vtk.py
var vtkScript []byte

//go:embed oracle/cgal.cpp
var cgalProgram []byte

// probes is how many points the distances are compared at.
const probes = 2000

// subject is one surface that all libraries measure, and points around it.
type subject struct {
	m      *mesh.Mesh
	points []mesh.Vec
	dir    string // holds scan.stl, scan.off and points.txt
}

// subjects are an impression with openings, a closed one with a crumb beside it, and two
// balls that cross.
func subjects(t *testing.T) map[string]subject {
	upper, lower := phantom.Default("upper"), phantom.Default("lower")
	upper.Spacing, lower.Spacing = 0.6, 0.6
	upper.Holes = []phantom.Hole{{X: 6, Y: 25, Radius: 2, Surface: "tissue"}, {X: -12, Y: 20, Radius: 1.5, Surface: "outer"}}
	lower.Voids = []phantom.Cap{{X: 15, Y: 12, Diameter: 2.5, Depth: 1}}
	ball := shape.Icosphere(5, 3).Mesh
	out := map[string]subject{}
	for name, m := range map[string]*mesh.Mesh{
		"openings": made(t, upper),
		"closed":   shape.Join(made(t, lower), shape.Map(ball, func(p mesh.Vec) mesh.Vec { return p.Scale(0.2).Add(mesh.Vec{X: 60}) })),
		"crossing": shape.Join(ball, shape.Map(ball, func(p mesh.Vec) mesh.Vec { return p.Add(mesh.Vec{X: 3, Y: 0.17, Z: 0.29}) })),
	} {
		s := subject{dir: t.TempDir()}
		// All read what a file holds.
		var b bytes.Buffer
		if err := mesh.WriteSTL(&b, m, "oracle"); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(s.dir, "scan.stl"), b.Bytes())
		var err error
		if s.m, _, err = mesh.Read(&b, mesh.ReadOptions{}); err != nil {
			t.Fatal(err)
		}
		var off, points bytes.Buffer
		fmt.Fprintf(&off, "OFF\n%d %d 0\n", len(s.m.Pos), len(s.m.Tri))
		for _, p := range s.m.Pos {
			fmt.Fprintf(&off, "%.17g %.17g %.17g\n", p.X, p.Y, p.Z)
		}
		for _, f := range s.m.Tri {
			fmt.Fprintf(&off, "3 %d %d %d\n", f[0], f[1], f[2])
		}
		write(t, filepath.Join(s.dir, "scan.off"), off.Bytes())
		r := rand.New(rand.NewPCG(11, 6))
		lo, hi := s.m.Bounds()
		for range probes {
			u := mesh.Vec{X: r.Float64(), Y: r.Float64(), Z: r.Float64()}
			d := hi.Sub(lo)
			p := lo.Add(mesh.Vec{X: u.X * d.X, Y: u.Y * d.Y, Z: u.Z * d.Z})
			s.points = append(s.points, p)
			fmt.Fprintf(&points, "%.17g %.17g %.17g\n", p.X, p.Y, p.Z)
		}
		write(t, filepath.Join(s.dir, "points.txt"), points.Bytes())
		out[name] = s
	}
	return out
}

func made(t *testing.T, p phantom.Params) *mesh.Mesh {
	t.Helper()
	ph, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	return ph.Mesh
}

func write(t *testing.T, name string, data []byte) {
	t.Helper()
	if err := os.WriteFile(name, data, 0o600); err != nil {
		t.Fatal(err)
	}
}

// ask runs a reference and reads its answer.
func ask(t *testing.T, into any, name string, args ...string) {
	t.Helper()
	c := exec.Command(name, args...)
	var stderr bytes.Buffer
	c.Stderr = &stderr
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, stderr.Bytes())
	}
	if err := json.Unmarshal(out, into); err != nil {
		t.Fatal(err)
	}
}

func near(t *testing.T, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)) {
		t.Errorf("%s: %.9g, the reference says %.9g", what, got, want)
	}
}

func (s subject) compareDistances(t *testing.T, want []float64, tolerance float64) {
	t.Helper()
	if len(want) != len(s.points) {
		t.Fatalf("%d distances for %d points", len(want), len(s.points))
	}
	near := tree.New(s.m)
	worst := 0.0
	for i, p := range s.points {
		h, ok := near.Nearest(p, math.Inf(1), nil)
		if !ok {
			t.Fatal("nothing near")
		}
		worst = max(worst, math.Abs(h.Dist-want[i]))
	}
	if worst > tolerance {
		t.Errorf("nearest distances are off by up to %.3g mm", worst)
	}
}

// Loops, components, area, volume, curvature and nearest distance as the Visualization Toolkit
// finds them (Debian's python3-vtk9).
func TestAgreesWithVisualizationToolkit(t *testing.T) {
	if !haveVTK() {
		t.Skip("python3-vtk9 is not installed; go run ./cmd/check installs it")
	}
	script := filepath.Join(t.TempDir(), "oracle.py")
	write(t, script, vtkScript)
	for name, s := range subjects(t) {
		t.Run(name, func(t *testing.T) {
			var vtk struct {
				Points, Faces, Components int
				BoundaryEdges             int `json:"boundary_edges"`
				Area, Volume              float64
				Loops, Distance           []float64
				Position                  [][3]float64
				MeanCurvature             []float64 `json:"mean_curvature"`
			}
			ask(t, &vtk, debianPython, script, filepath.Join(s.dir, "scan.stl"), filepath.Join(s.dir, "points.txt"))
			m := s.m
			if vtk.Points != len(m.Pos) || vtk.Faces != len(m.Tri) {
				t.Errorf("%d vertices and %d faces, the reference has %d and %d", len(m.Pos), len(m.Tri), vtk.Points, vtk.Faces)
			}
			near(t, "area", m.Area(), vtk.Area, 1e-5) // it adds in float32
			_, parts := m.Components()
			if len(parts) != vtk.Components {
				t.Errorf("%d components, the reference finds %d", len(parts), vtk.Components)
			}
			var lengths []float64
			for _, l := range m.Loops() {
				lengths = append(lengths, m.LoopLength(l))
			}
			slices.Sort(lengths)
			slices.Sort(vtk.Loops)
			if len(lengths) != len(vtk.Loops) || m.Topology().BoundaryEdges != vtk.BoundaryEdges {
				t.Fatalf("%d loops of %d edges, the reference finds %d of %d", len(lengths), m.Topology().BoundaryEdges, len(vtk.Loops), vtk.BoundaryEdges)
			}
			for i := range lengths {
				near(t, "loop length", lengths[i], vtk.Loops[i], 1e-5)
			}
			if len(lengths) == 0 {
				near(t, "volume", math.Abs(m.Volume()), vtk.Volume, 1e-4)
			}
			s.compareDistances(t, vtk.Distance, 1e-4)
			if name == "crossing" {
				compareCurvature(t, m, vtk.Position, vtk.MeanCurvature)
			}
		})
	}
}

// compareCurvature holds the median mean curvature against the toolkit's, which comes from the
// dihedral angles around each vertex; on a ball both are 1/r.
func compareCurvature(t *testing.T, m *mesh.Mesh, at [][3]float64, want []float64) {
	t.Helper()
	index := map[[3]float64]mesh.VertexID{}
	for v, p := range m.Pos {
		index[[3]float64{p.X, p.Y, p.Z}] = mesh.VertexID(v)
	}
	all := mesh.Curvature(m, 1.2)
	var a, b []float64
	for i, p := range at {
		v, ok := index[p]
		if !ok {
			t.Fatalf("the reference's vertex %v is not ours", p)
		}
		if all[v].N > 0 {
			a, b = append(a, math.Abs(all[v].Mean())), append(b, math.Abs(want[i]))
		}
	}
	slices.Sort(a)
	slices.Sort(b)
	near(t, "median mean curvature", a[len(a)/2], b[len(b)/2], 0.05)
}

// Area, volume, components, self-intersections and nearest distance as the Computational
// Geometry Algorithms Library finds them with exact predicates (Debian's libcgal-dev).
func TestAgreesWithComputationalGeometryLibrary(t *testing.T) {
	if testing.Short() || !haveCGAL() {
		t.Skip("libcgal-dev and g++ are not installed, or a short run: go run ./cmd/check installs them")
	}
	dir := t.TempDir()
	program := filepath.Join(dir, "oracle")
	write(t, program+".cpp", cgalProgram)
	if out, err := exec.Command("g++", "-O1", "-DNDEBUG", "-o", program, program+".cpp", "-lgmp", "-lmpfr").CombinedOutput(); err != nil {
		t.Fatalf("g++: %v\n%s", err, out)
	}
	for name, s := range subjects(t) {
		t.Run(name, func(t *testing.T) {
			var cgal struct {
				Faces, Components, Crossings int
				Area, Volume                 float64
				Distance                     []float64
			}
			ask(t, &cgal, program, filepath.Join(s.dir, "scan.off"), filepath.Join(s.dir, "points.txt"))
			m := s.m
			if cgal.Faces != len(m.Tri) {
				t.Fatalf("%d faces, the reference has %d", len(m.Tri), cgal.Faces)
			}
			near(t, "area", m.Area(), cgal.Area, 1e-12)
			if len(m.Loops()) == 0 {
				near(t, "volume", m.Volume(), cgal.Volume, 1e-10)
			}
			if _, parts := m.Components(); len(parts) != cgal.Components {
				t.Errorf("%d components, the reference finds %d", len(parts), cgal.Components)
			}
			near := tree.New(m)
			if n, _ := near.SelfIntersections(0); n != cgal.Crossings || n == 0 && name == "crossing" {
				t.Errorf("%d self-intersections, the reference finds %d", n, cgal.Crossings)
			}
			s.compareDistances(t, cgal.Distance, 1e-9)
		})
	}
}
