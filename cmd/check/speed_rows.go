//go:build linux

package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"syscall"
	"time"

	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/register"
)

// surface measures reading, what is counted on a surface, and nearest points.
func (b *bench) surface(scan string, faces int) error {
	var m *mesh.Mesh
	read, err := b.middle(func() (err error) {
		f, err := os.Open(scan)
		if err != nil {
			return err
		}
		defer f.Close()
		m, _, err = mesh.Read(f, mesh.ReadOptions{})
		return err
	})
	if err != nil {
		return err
	}
	pieces, area := 0, 0.0
	var fresh []*mesh.Mesh // a surface keeps its pieces once they are found
	for range b.times {
		fresh = append(fresh, mesh.New(m.Pos, m.Tri))
	}
	counted, _ := b.middle(func() error {
		m := fresh[0]
		fresh = fresh[1:]
		_, parts := m.Components()
		pieces, area = len(parts), m.Area()
		m.Loops()
		m.Volume()
		return nil
	})
	times := strconv.Itoa(b.times)
	vtk := map[string]float64{}
	if haveVTK() {
		vtk = b.ask("VTK", debianPython, filepath.Join(b.dir, "speed", "toolkit.py"), scan, times)
	} else {
		b.missing = append(b.missing, vtkPackage+" is not there")
	}
	if vtk["pieces"] > 0 && (int(vtk["pieces"]) != pieces || math.Abs(vtk["area"]/area-1) > 1e-4) {
		return fmt.Errorf("VTK counts %g pieces and an area of %.6g, fornix %d and %.6g", vtk["pieces"], vtk["area"], pieces, area)
	}
	what := fmt.Sprintf("binary STL, %.2f M faces, read and made into a surface with adjacency", float64(faces)/1e6)
	b.beside(what, read, vtk["read"], "VTK's reader and feature edges", 0.35)
	b.alone("the same", fmt.Sprintf("%.3f s", read), "≤ 0.25 s", read <= 0.25)
	b.beside("boundary loops, pieces, area, volume", counted, vtk["measure"], "VTK", 0.25)
	return b.nearest(m, scan, read)
}

const nearestWords = "nearest point of 200,000 near that surface, which jump about on it, one core"

// nearest asks by one core for the points of the surface nearest to 200,000 others.
func (b *bench) nearest(m *mesh.Mesh, scan string, read float64) error {
	points := pointsNear(m, 200000)
	body := register.NewBody(m)
	was := runtime.GOMAXPROCS(1)
	sum := 0.0
	ours, _ := b.middle(func() error {
		sum = 0
		for _, s := range register.Distances(points, body, math.Inf(1), 1) {
			sum += math.Abs(s.MM)
		}
		return nil
	})
	runtime.GOMAXPROCS(was)
	var file bytes.Buffer
	for _, n := range []int{len(m.Pos), len(m.Tri), len(points)} {
		binary.Write(&file, binary.NativeEndian, uint64(n))
	}
	for _, x := range []any{m.Pos, m.Tri, points} {
		if err := binary.Write(&file, binary.NativeEndian, x); err != nil {
			return err
		}
	}
	surface := filepath.Join(b.dir, "surface.bin")
	if err := os.WriteFile(surface, file.Bytes(), 0o600); err != nil {
		return err
	}
	times := strconv.Itoa(b.times)
	for _, k := range []struct {
		name, who string
		libs      []string
		most      float64
	}{{"embree", "the ray-tracing kernel Embree", []string{"-lembree3"}, 2}, {"cgal", "CGAL's tree", []string{"-lgmp", "-lmpfr"}, 0.5}} {
		var got map[string]float64
		if program := b.compiled(k.name, k.libs...); program != "" {
			got = b.ask(k.name, program, surface, times)
		}
		// Embree counts in single precision.
		if got["sum"] > 0 && math.Abs(got["sum"]/sum-1) > 1e-3 {
			return fmt.Errorf("%s: distances add up to %.9g mm, fornix says %.9g", k.name, got["sum"], sum)
		}
		b.beside(nearestWords, ours, got["nearest"], k.who, k.most)
	}
	js := b.javascript(scan, surface, times)
	if js["sum"] > 0 && math.Abs(js["sum"]/sum-1) > 1e-3 { // it too counts in single precision
		return fmt.Errorf("%s: distances add up to %.9g mm, fornix says %.9g", bvh.name, js["sum"], sum)
	}
	b.beside(nearestWords, ours, js["nearest"], "three-mesh-bvh on node", 0)
	b.beside("the scan read, as above", read, js["read"], "three.js on node, without adjacency", 0)
	return nil
}

// process runs the program and returns seconds and peak memory in bytes; verdicts end with 3.
func (b *bench) process(args ...string) (seconds float64, peak int64, err error) {
	c := exec.Command(b.fornix, args...)
	c.Dir = b.dir
	c.Stdout = io.Discard
	var said bytes.Buffer
	c.Stderr = &said
	start := time.Now()
	err = c.Run()
	seconds = time.Since(start).Seconds()
	if c.ProcessState != nil {
		peak = c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss << 10
		if code := c.ProcessState.ExitCode(); code == 0 || code == 3 {
			return seconds, peak, nil
		}
	}
	return seconds, peak, fmt.Errorf("fornix %v: %w\n%s", args, err, said.Bytes())
}

// whole measures `inspect` on that scan and on the same surface cut into four times as many faces.
func (b *bench) whole(scan string, made *mesh.Mesh) error {
	faces := len(made.Tri)
	var peak int64
	run := func(args ...string) (float64, error) {
		return b.middle(func() error {
			_, p, err := b.process(append([]string{"inspect"}, args...)...)
			peak = max(peak, p)
			return err
		})
	}
	plain, err := run(scan, "--json")
	if err != nil {
		return err
	}
	most := peak
	pictures, err := run(scan, "--out", filepath.Join(b.dir, "out"))
	if err != nil {
		return err
	}
	more, finer := filepath.Join(b.dir, "more.stl"), inFour(made)
	faces4 := len(finer.Tri)
	if err := writeSTL(more, finer); err != nil {
		return err
	}
	long, err := run(more, "--json")
	if err != nil {
		return err
	}
	size := fmt.Sprintf("%.2f M faces", float64(faces)/1e6)
	b.alone("whole `inspect` without images, "+size, fmt.Sprintf("%.2f s", plain), "≤ 2.0 s", plain <= 2)
	b.alone("its memory", fmt.Sprintf("%d MiB", most>>20), "≤ 350 MB", most <= 350e6)
	b.alone(fmt.Sprintf("whole `inspect` without images, %.2f M faces", float64(faces4)/1e6),
		fmt.Sprintf("%.2f s: %.2f times as long, exponent %.2f", long, long/plain, math.Log(long/plain)/math.Log(float64(faces4)/float64(faces))),
		"≤ 4.5 times", long <= 4.5*plain)
	b.alone("images, page and sheet, "+size, fmt.Sprintf("%.2f s more", pictures-plain), "≤ 2.0 s more", pictures-plain <= 2)
	return nil
}

// batch measures twelve scans of about 300,000 faces with two workers.
func (b *bench) batch() error {
	const scans = 12
	in := filepath.Join(b.dir, "in")
	if err := os.Mkdir(in, 0o755); err != nil {
		return err
	}
	faces := 0
	for i := range scans {
		p := phantom.Random(int64(7000+i), []string{"upper", "lower"}[i%2])
		p.Spacing, p.Decimate, p.TissueSide = 0.255, 0, false
		made, err := phantom.Make(p)
		if err != nil {
			return err
		}
		faces += len(made.Mesh.Tri)
		if err := writeSTL(filepath.Join(in, fmt.Sprintf("%02d.stl", i)), made.Mesh); err != nil {
			return err
		}
	}
	took, peak, err := b.process("batch", in, "--out", filepath.Join(b.dir, "study"), "--workers", "2")
	if err != nil {
		return err
	}
	rate := scans / took * 60
	b.alone(fmt.Sprintf("`batch`, two workers, scans of %.0f k faces", float64(faces)/scans/1e3),
		fmt.Sprintf("%.0f a minute, %d MiB", rate, peak>>20), "≥ 60 a minute", rate >= 60)
	return nil
}

// start measures how soon the program answers and how large it is.
func (b *bench) start() error {
	var took []float64
	for range 21 {
		s, _, err := b.process("--help")
		if err != nil {
			return err
		}
		took = append(took, s)
	}
	slices.Sort(took)
	info, err := os.Stat(b.fornix)
	if err != nil {
		return err
	}
	ms := 1000 * took[len(took)/2]
	b.alone("`fornix --help`", fmt.Sprintf("%.0f ms", ms), "≤ 30 ms", ms <= 30)
	b.alone("the program", fmt.Sprintf("%.1f MB", float64(info.Size())/1e6), "≤ 40 MB", info.Size() <= 40e6)
	return nil
}
