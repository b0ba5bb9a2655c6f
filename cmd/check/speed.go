//go:build linux

package main

import (
	"embed"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"time"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// speedPrograms time general-purpose libraries at the same work on the same files.
//
//go:embed speed
var speedPrograms embed.FS

// embreePackage is the embedded ray-tracing kernel (embree.org); VTK and CGAL are oracles too.
const embreePackage = "libembree-dev"

// fast is one line of the table: seconds of ours and of another's in one run, or one number alone.
type fast struct {
	What, Ours, Theirs, Target, Reached string
	Met                                 bool
}

// bench is one run of `check speed`.
type bench struct {
	dir, fornix string
	times       int
	log         io.Writer
	rows        []fast
	missing     []string
}

// speed measures how long the main work takes beside general-purpose libraries and prints a table in
// Markdown. Every number is the middle one of several. It wants quiet cores.
func speed(args []string, stdout, stderr io.Writer) int {
	fs := flag.NewFlagSet("speed", flag.ContinueOnError)
	fs.SetOutput(stderr)
	times := fs.Int("times", 5, "how often each is measured; the middle one counts")
	spacing := fs.Float64("spacing", 0.15, "of the scan, in mm: 0.15 makes a million faces")
	if err := fs.Parse(args); err != nil {
		return 2
	}
	dir, err := os.MkdirTemp("", "speed")
	if err != nil {
		fmt.Fprintln(stderr, err)
		return 1
	}
	defer os.RemoveAll(dir)
	b := &bench{dir: dir, fornix: filepath.Join(dir, "fornix"), times: *times, log: stderr}
	if err := b.run(*spacing); err != nil {
		fmt.Fprintln(stderr, err)
		return 1
	}
	fmt.Fprintf(stdout, "|  | work | fornix | beside it | ratio | target |\n|---|---|---|---|---|---|\n")
	for _, r := range b.rows {
		met := "missed"
		switch {
		case r.Target == "":
			met = ""
		case r.Met:
			met = "met"
		}
		fmt.Fprintf(stdout, "| %s | %s | %s | %s | %s | %s |\n", met, r.What, r.Ours, r.Theirs, r.Reached, r.Target)
	}
	for _, m := range b.missing {
		fmt.Fprintf(stdout, "\nNot compared: %s\n", m)
	}
	return 0
}

func (b *bench) run(spacing float64) error {
	if err := b.build(); err != nil {
		return err
	}
	scan, made, err := b.scan("scan.stl", spacing)
	if err != nil {
		return err
	}
	faces := len(made.Tri)
	fmt.Fprintf(b.log, "%d faces, %d processors\n", faces, runtime.NumCPU())
	if err := b.surface(scan, faces); err != nil {
		return err
	}
	if err := b.whole(scan, made); err != nil {
		return err
	}
	if err := b.batch(); err != nil {
		return err
	}
	return b.start()
}

// bvh is a mesh library of npm, on top of three.js.
var bvh = npmPackage{"three-mesh-bvh", "0.9.17", "uU2DNnTHsMcrsAM1kiLXEeLx4JNsPLayLTPE5Rf7exbFRuQYEifS4DhGEA+lDiU8/7mID1PsE9sH8i6p5prZSg=="}

// javascript measures it on a scan and on the surface with points that the others were measured on; nil
// where it cannot.
func (b *bench) javascript(scan, surface, times string) map[string]float64 {
	modules := filepath.Join(b.dir, "node_modules")
	err := os.Mkdir(modules, 0o755)
	for _, p := range []npmPackage{three, bvh} {
		if err == nil {
			err = p.unpack(modules)
		}
	}
	if err != nil {
		b.missing = append(b.missing, fmt.Sprintf("%s: %v", bvh.name, err))
		return nil
	}
	return b.ask(bvh.name, "node", filepath.Join(b.dir, "speed", "bvh.mjs"), scan, surface, times)
}

// build makes the program as it is handed out, and installs what it is compared with.
func (b *bench) build() error {
	c := exec.Command("go", "build", "-trimpath", "-tags", shippedTags, "-ldflags", "-s -w", "-o", b.fornix, "./cmd/fornix")
	c.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("%s%w", out, err)
	}
	installOracles()
	if _, err := os.Stat("/usr/include/embree3/rtcore.h"); err != nil {
		c := exec.Command("apt-get", "install", "-y", "-q", "--no-install-recommends", embreePackage)
		c.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
		if out, err := c.CombinedOutput(); err != nil {
			b.missing = append(b.missing, fmt.Sprintf("%s: %v %s", embreePackage, err, lastLine(out)))
		}
	}
	return os.CopyFS(b.dir, speedPrograms)
}

// scan writes the phantom that is measured.
func (b *bench) scan(name string, spacing float64) (path string, m *mesh.Mesh, err error) {
	p, _ := phantom.Named("upper-voids")
	p.Spacing = spacing
	made, err := phantom.Make(p)
	if err != nil {
		return "", nil, err
	}
	path = filepath.Join(b.dir, name)
	return path, made.Mesh, writeSTL(path, made.Mesh)
}

// inFour is the same surface with every face cut in four at the middles of its edges. Growth is measured with
// it, since phantoms are not made finer than 0.1 mm.
func inFour(m *mesh.Mesh) *mesh.Mesh {
	pos := slices.Clone(m.Pos)
	tri := make([][3]mesh.VertexID, 0, 4*len(m.Tri))
	at := make(map[[2]mesh.VertexID]mesh.VertexID, 3*len(m.Tri)/2)
	middle := func(a, b mesh.VertexID) mesh.VertexID {
		e := [2]mesh.VertexID{min(a, b), max(a, b)}
		v, ok := at[e]
		if !ok {
			v = mesh.VertexID(len(pos))
			at[e] = v
			pos = append(pos, m.Pos[e[0]].Along(0.5, m.Pos[e[1]].Sub(m.Pos[e[0]])))
		}
		return v
	}
	for _, t := range m.Tri {
		p, q, r := middle(t[0], t[1]), middle(t[1], t[2]), middle(t[2], t[0])
		tri = append(tri, [3]mesh.VertexID{t[0], p, r}, [3]mesh.VertexID{p, t[1], q},
			[3]mesh.VertexID{r, q, t[2]}, [3]mesh.VertexID{p, q, r})
	}
	return mesh.New(pos, tri)
}

// middle measures work several times, each after the memory of the one before was given back.
func (b *bench) middle(work func() error) (seconds float64, err error) {
	var took []float64
	for range b.times {
		runtime.GC()
		start := time.Now()
		if err := work(); err != nil {
			return 0, err
		}
		took = append(took, time.Since(start).Seconds())
	}
	slices.Sort(took)
	return took[len(took)/2], nil
}

// ask runs a program that prints one JSON object of numbers; nil where it cannot.
func (b *bench) ask(what string, args ...string) map[string]float64 {
	out, err := exec.Command(args[0], args[1:]...).Output()
	var got map[string]float64
	if err == nil {
		err = json.Unmarshal(out, &got)
	}
	if err != nil {
		b.missing = append(b.missing, fmt.Sprintf("%s: %v", what, err))
		return nil
	}
	return got
}

// compiled builds one of the C++ programs; "" where it cannot.
func (b *bench) compiled(name string, libs ...string) string {
	to := filepath.Join(b.dir, name)
	args := append([]string{"-O2", "-DNDEBUG", "-o", to, filepath.Join(b.dir, "speed", name+".cpp")}, libs...)
	if out, err := exec.Command("g++", args...).CombinedOutput(); err != nil {
		b.missing = append(b.missing, fmt.Sprintf("%s: %v %s", name, err, lastLine(out)))
		return ""
	}
	return to
}

// beside adds a row of ours against another's; most is the largest ratio allowed, 0 where none is asked for.
func (b *bench) beside(what string, ours, theirs float64, who string, most float64) {
	r := fast{What: what, Ours: fmt.Sprintf("%.3f s", ours), Target: fmt.Sprintf("≤ %g × %s", most, who)}
	if theirs > 0 {
		r.Theirs = fmt.Sprintf("%s %.3f s", who, theirs)
		r.Reached = fmt.Sprintf("%.2f", ours/theirs)
		r.Met = ours <= most*theirs
	}
	if most == 0 {
		r.Target = ""
	}
	b.rows = append(b.rows, r)
}

// alone adds a row of one number against a bound.
func (b *bench) alone(what, reached, target string, met bool) {
	b.rows = append(b.rows, fast{What: what, Ours: reached, Target: target, Met: met})
}

// pointsNear are points beside a surface, up to 0.1 mm off: of every so many faces one point, in an order that
// jumps over the surface.
func pointsNear(m *mesh.Mesh, n int) []mesh.Vec {
	out := make([]mesh.Vec, n)
	step := int(float64(len(m.Tri))*(math.Sqrt(5)-1)/2) | 1
	for i, f := 0, 0; i < n; i, f = i+1, (f+step)%len(m.Tri) {
		p, q, r := m.Corners(mesh.FaceID(f))
		u, v := math.Mod(0.5545*float64(i), 1), math.Mod(0.3080*float64(i), 1)
		if u+v > 1 {
			u, v = 1-u, 1-v
		}
		off := 0.2*math.Mod(0.7549*float64(i), 1) - 0.1
		out[i] = p.Along(u, q.Sub(p)).Along(v, r.Sub(p)).Along(off, q.Sub(p).Cross(r.Sub(p)).Unit())
	}
	return out
}
