package register

import (
	"errors"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strconv"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// arch is a tube bent to the shape of a jaw, open behind, its section and course uneven, so that
// left and right differ; kind changes it to another one. It is cut into along × around
// rectangles, from a place that shift moves. Noise of s mm along the normals.
func arch(kind float64, along, around int, shift, s float64, r *rand.Rand) *mesh.Mesh {
	m := shape.Grid(along, around, false, true, func(u, v float64) mesh.Vec {
		a := 2 * math.Pi * (v + shift)
		w := math.Pi * (1.15*u - 0.075) // along
		sw, cw := math.Sincos(w)
		out := mesh.Vec{X: 24 * cw, Y: 30 * sw} // of the course
		across := mesh.Vec{X: cw / 24, Y: sw / 30}.Unit()
		sa, ca := math.Sincos(a)
		wide := 4 + 1.2*math.Sin(2*w+kind) + 0.8*math.Cos(3*w+1+2*kind)
		high := 6 + 1.5*math.Cos(w+2-kind) + 0.7*math.Sin(5*w)
		bump := 0.5*math.Sin(3*a+4*w+kind) + 0.4*math.Cos(2*a-7*w)
		return out.Along(ca*(wide+bump), across).Add(mesh.Vec{Z: sa*(high+bump) + 2*math.Sin(2*w+0.5)})
	})
	if s == 0 {
		return m
	}
	n := m.Normals()
	pos := make([]mesh.Vec, len(m.Pos))
	for i, p := range m.Pos {
		pos[i] = p.Along(s*r.NormFloat64(), n[i])
	}
	return mesh.New(pos, m.Tri)
}

// cut takes away the share of the faces that lies farthest along a random direction.
func cut(m *mesh.Mesh, share float64, r *rand.Rand) *mesh.Mesh {
	n := mesh.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
	d := make([]float64, len(m.Tri))
	for f := range d {
		d[f] = m.Centroid(mesh.FaceID(f)).Dot(n)
	}
	sorted := append([]float64(nil), d...)
	median(sorted)
	limit := sorted[int(float64(len(d)-1)*(1-share))]
	return shape.Keep(m, func(f mesh.FaceID) bool { return d[f] < limit })
}

// flip turns a surface inside out.
func flip(m *mesh.Mesh) *mesh.Mesh {
	tri := make([][3]mesh.VertexID, len(m.Tri))
	for f, t := range m.Tri {
		tri[f] = [3]mesh.VertexID{t[0], t[2], t[1]}
	}
	return mesh.New(m.Pos, tri)
}

func mirrored(m *mesh.Mesh) *mesh.Mesh {
	return flip(shape.Map(m, func(p mesh.Vec) mesh.Vec { p.X = -p.X; return p }))
}

// off is by how much a fit misses: the turn in degrees, and the shift at its centre in mm.
func off(f Fit, want Pose) (deg, mm float64) {
	e := want.Inverse().Then(f.Pose)
	return e.AngleDeg(), e.Apply(f.CentreMM).Dist(f.CentreMM)
}

// starts is how many random starts are tried.
func starts(few int) int {
	if n, err := strconv.Atoi(os.Getenv("FORNIX_STARTS")); err == nil && n > 0 {
		return n
	}
	return few
}

// selfFits moves m about at random and brings it back.
func selfFits(t *testing.T, m *mesh.Mesh, few int) {
	t.Helper()
	fixed := NewBody(m)
	r := rand.New(rand.NewPCG(20, 4))
	var deg, mm float64
	for range starts(few) {
		p := randomPose(r, 200)
		fit, err := Align(NewBody(shape.Map(m, p.Apply)), fixed, Options{})
		if err != nil {
			t.Fatal(err)
		}
		a, d := off(fit, p.Inverse())
		deg, mm = max(deg, a), max(mm, d)
		if !fit.Searched || fit.OverlapShare < 0.99 || fit.RMSMM > 1e-6 || a > 0.01 || d > 0.01 {
			t.Errorf("off by %g degrees, %g mm: %+v", a, d, fit)
		}
	}
	t.Logf("off by up to %.2g degrees, %.2g mm", deg, mm)
}

func TestAlignWithItselfMoved(t *testing.T) { selfFits(t, arch(0, 180, 60, 0, 0, nil), 4) }

// Another triangulation, noise, and nearly a third cut away, at random.
func TestAlignNoisyCut(t *testing.T) {
	fixed := NewBody(arch(0, 180, 60, 0, 0, nil))
	r := rand.New(rand.NewPCG(5, 4))
	within := 0
	const n = 6
	for range n {
		m := cut(arch(0, 130, 50, 0.4, 0.02, r), 0.3, r)
		p := randomPose(r, 200)
		fit, err := Align(NewBody(shape.Map(m, p.Apply)), fixed, Options{})
		if err != nil {
			t.Fatal(err)
		}
		a, d := off(fit, p.Inverse())
		t.Logf("off by %.4f ± %.4f degrees, %.4f ± %.4f mm; overlap %.3f, %.3f", a, fit.TurnUDeg, d, fit.ShiftUMM, fit.OverlapShare, fit.FixedShare)
		if a > 0.05 || d > 0.03 || fit.OverlapShare < 0.95 || math.Abs(fit.FixedShare-0.7) > 0.1 {
			t.Errorf("off by %g degrees, %g mm: %+v", a, d, fit)
		}
		if a > 2*fit.TurnUDeg || d > 2*fit.ShiftUMM || fit.TurnUDeg > 0.05 || fit.ShiftUMM > 0.03 {
			t.Errorf("off by %g ± %g degrees, %g ± %g mm", a, fit.TurnUDeg, d, fit.ShiftUMM)
		}
		if a < fit.TurnUDeg && d < fit.ShiftUMM {
			within++
		}
	}
	if within < n-2 {
		t.Errorf("only %d of %d within the stated uncertainty", within, n)
	}
}

func TestAlignRefuses(t *testing.T) {
	a := arch(0, 120, 44, 0, 0, nil)
	bent := shape.Map(a, func(p mesh.Vec) mesh.Vec { return mesh.Vec{X: p.X * 1.3, Y: p.Y * 0.75, Z: p.Z + p.X*p.X/100} })
	r := rand.New(rand.NewPCG(8, 8))
	for _, c := range []struct {
		name          string
		moving, fixed *mesh.Mesh
		want          error
	}{
		{"mirror image", mirrored(a), a, ErrMirror},
		{"mirror image, cut", cut(mirrored(a), 0.2, r), a, ErrMirror},
		{"inside out", flip(a), a, ErrOverlap},
		{"another shape", bent, a, ErrOverlap},
		{"a ball for an arch", shape.Icosphere(20, 4).Mesh, a, ErrOverlap},
		{"ball", shape.Icosphere(10, 4).Mesh, shape.Icosphere(10, 4).Mesh, ErrUndetermined},
		{"ring", shape.Torus(20, 6, 90, 40).Mesh, shape.Torus(20, 6, 100, 44).Mesh, ErrUndetermined},
		{"trough", shape.Trough(8, 50, 40, 60).Mesh, shape.Trough(8, 60, 44, 80).Mesh, ErrUndetermined},
		{"cap", shape.Cap(15, 6, 24).Mesh, shape.Cap(15, 6, 30).Mesh, ErrUndetermined},
		{"plate", shape.Plate(40, 30, 6, 1).Mesh, shape.Plate(40, 30, 6, 0.8).Mesh, ErrAmbiguous},
		{"nothing", mesh.New(nil, nil), a, ErrOverlap},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := randomPose(r, 50)
			fit, err := Align(NewBody(shape.Map(c.moving, p.Apply)), NewBody(c.fixed), Options{})
			if !errors.Is(err, c.want) {
				t.Errorf("%v, not %v: %+v", err, c.want, fit)
			}
		})
	}
}

// An impression and its cast face each other.
func TestAlignOpposed(t *testing.T) {
	fixed := NewBody(arch(0, 150, 50, 0, 0, nil))
	r := rand.New(rand.NewPCG(9, 8))
	p := randomPose(r, 50)
	m := flip(arch(0, 120, 44, 0.3, 0.01, r))
	fit, err := Align(NewBody(shape.Map(m, p.Apply)), fixed, Options{Opposed: true})
	if a, d := off(fit, p.Inverse()); err != nil || a > 0.02 || d > 0.01 {
		t.Errorf("off by %g degrees, %g mm: %v", a, d, err)
	}
}

// Only the zone counts: elsewhere the surface has been pushed out.
func TestAlignOnZones(t *testing.T) {
	m := arch(0, 150, 50, 0, 0, nil)
	zone := make([]bool, len(m.Pos))
	pos := make([]mesh.Vec, len(m.Pos))
	for i, p := range m.Pos {
		zone[i] = p.Y < 12
		if pos[i] = p; !zone[i] {
			pos[i].Z += 0.25
		}
	}
	p := randomPose(rand.New(rand.NewPCG(1, 8)), 50)
	moving := NewBody(shape.Map(mesh.New(pos, m.Tri), p.Apply))
	fixed := NewBody(m)
	fit, err := Align(moving, fixed, Options{MovingZone: zone, FixedZone: zone})
	if a, d := off(fit, p.Inverse()); err != nil || a > 1e-4 || d > 1e-4 {
		t.Errorf("off by %g degrees, %g mm: %v", a, d, err)
	}
	// Neither zone: nothing to go by.
	if _, err := Align(moving, fixed, Options{MovingZone: make([]bool, len(zone))}); !errors.Is(err, ErrOverlap) {
		t.Error(err)
	}
}

func TestAlignFromStart(t *testing.T) {
	m := arch(0, 150, 50, 0, 0, nil)
	fixed := NewBody(m)
	r := rand.New(rand.NewPCG(4, 8))
	p := randomPose(r, 50)
	moving := NewBody(shape.Map(m, p.Apply))
	nudge := turnBy(mesh.Vec{X: 0.02, Y: -0.03, Z: 0.02})
	nudge.T = mesh.Vec{X: 0.5, Y: -0.7, Z: 0.4}
	start := p.Inverse().Then(nudge)
	start.R[0][0] += 1e-5 // as one typed in
	fit, err := Align(moving, fixed, Options{Start: &start})
	if a, d := off(fit, p.Inverse()); err != nil || a > 1e-6 || d > 1e-6 || fit.Searched || !fit.Pose.Proper(1e-12) {
		t.Errorf("off by %g degrees, %g mm: %v", a, d, err)
	}
	away := start
	away.T.X += 40
	if _, err := Align(moving, fixed, Options{Start: &away}); !errors.Is(err, ErrOverlap) {
		t.Errorf("a start far off: %v", err)
	}
	start.R[0] = [3]float64{-start.R[0][0], -start.R[0][1], -start.R[0][2]}
	if _, err := Align(moving, fixed, Options{Start: &start}); err == nil {
		t.Error("a reflection was taken as a start")
	}
}

func TestAlignSameBytesForAnyWorkers(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 8))
	fixed := NewBody(arch(0, 60, 30, 0, 0, nil))
	moving := NewBody(shape.Map(arch(0, 64, 28, 0.2, 0.01, r), randomPose(r, 50).Apply))
	one, err := Align(moving, fixed, Options{WorkersN: 1})
	if err != nil {
		t.Fatal(err)
	}
	five, err := Align(moving, fixed, Options{WorkersN: 5})
	if err != nil || !reflect.DeepEqual(one, five) {
		t.Errorf("%v\n%+v\n%+v", err, one, five)
	}
}

// Real scans of mouths, from outside the repository.
func TestAlignRealScans(t *testing.T) {
	root := os.Getenv("FORNIX_SHARED")
	if root == "" {
		t.Skip("FORNIX_SHARED is not set")
	}
	for _, name := range []string{"lower_100k.stl", "up_01_10k.stl"} {
		f, err := os.Open(filepath.Join(root, "scans", "mouth-scans", name))
		if err != nil {
			t.Skip(err)
		}
		m, _, err := mesh.Read(f, mesh.ReadOptions{})
		f.Close()
		if err != nil {
			t.Fatal(err)
		}
		t.Run(name, func(t *testing.T) { selfFits(t, m, 2) })
	}
}
