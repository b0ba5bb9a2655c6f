package register

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"fornix/mesh"
)

var kabsch = []mesh.Vec{{}, {X: 1}, {Y: 2}, {Z: 3}}

// Worked numbers of rigid alignment, computed with a separate program: the papers (Horn, J Opt
// Soc Am A 1987; Kabsch, Acta Cryst 1976) print none.
func TestAbsoluteWorkedNumbers(t *testing.T) {
	five := 5 * math.Pi / 180
	each := func(f func(mesh.Vec) mesh.Vec) []mesh.Vec {
		out := make([]mesh.Vec, len(kabsch))
		for i, p := range kabsch {
			out[i] = f(p)
		}
		return out
	}
	quarter := func(p mesh.Vec) mesh.Vec { return mesh.Vec{X: 10 - p.Y, Y: 20 + p.X, Z: 30 + p.Z} }
	stretched := each(quarter)
	stretched[1].X += 0.3
	jaw := []mesh.Vec{{}, {X: -22, Y: -50, Z: 2}, {X: 22, Y: -50, Z: 2}, {Y: -48, Z: 10}}
	var turned []mesh.Vec
	for _, p := range jaw {
		s, c := math.Sincos(five)
		turned = append(turned, mesh.Vec{X: p.X, Y: c*p.Y - s*p.Z, Z: s*p.Y + c*p.Z})
	}
	for _, k := range []struct {
		name       string
		from, to   []mesh.Vec
		quaternion [4]float64
		rmsd, deg  float64
		tolerance  float64
	}{
		{"K1", kabsch, each(quarter), [4]float64{0.7071067812, 0, 0, 0.7071067812}, 0, 90, 1e-10},
		{"K2", kabsch, each(func(p mesh.Vec) mesh.Vec { return mesh.Vec{X: p.Z + 1, Y: p.X - 2, Z: p.Y + 3} }),
			[4]float64{0.5, 0.5, 0.5, 0.5}, 0, 120, 1e-10},
		{"K3", kabsch, stretched, [4]float64{}, 0.111894549975, 86.665372, 5e-7},
		{"K5", jaw, turned, [4]float64{0.9990482216, 0.0436193874, 0, 0}, 0, 5, 1e-10},
	} {
		pose, rmsd, err := Absolute(k.from, k.to)
		if err != nil {
			t.Fatal(k.name, err)
		}
		if math.Abs(rmsd-k.rmsd) > 1e-12 {
			t.Errorf("%s: left %.15g mm, not %.15g", k.name, rmsd, k.rmsd)
		}
		if a := pose.AngleDeg(); math.Abs(a-k.deg) > k.tolerance {
			t.Errorf("%s: turned by %.12g degrees, not %.12g", k.name, a, k.deg)
		}
		if q := k.quaternion; q != [4]float64{} {
			if d := pose.Then(Pose{R: ofQuaternion(q[0], q[1], q[2], q[3]).R}.Inverse()).AngleDeg(); d > 1e-7 {
				t.Errorf("%s: off the quaternion by %g degrees", k.name, d)
			}
		}
		if !pose.Proper(1e-14) {
			t.Errorf("%s: not a rotation: %v", k.name, pose.R)
		}
	}
	pose, _, err := Absolute(kabsch, stretched)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.083845972, 0.172835106, 0.112828846, 0.021191786} { // K3
		if got := pose.Apply(kabsch[i]).Dist(stretched[i]); math.Abs(got-want) > 1e-9 {
			t.Errorf("K3: residual %d is %.9f, not %.9f", i, got, want)
		}
	}
}

// K4 of the same source: a mirror image is matched by the best rotation, never by a reflection.
func TestAbsoluteNeverReflects(t *testing.T) {
	mirrored := make([]mesh.Vec, len(kabsch))
	for i, p := range kabsch {
		mirrored[i] = mesh.Vec{X: -p.X, Y: p.Y, Z: p.Z}
	}
	pose, rmsd, err := Absolute(kabsch, mirrored)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(rmsd-0.671302390501) > 1e-12 || !pose.Proper(1e-14) {
		t.Errorf("left %.12f mm by %v", rmsd, pose.R)
	}
}

func TestAbsoluteRefusesWhatLeavesATurnOpen(t *testing.T) {
	line := []mesh.Vec{{X: 1}, {X: 2}, {X: 4}, {X: 7}}
	for name, p := range map[string][]mesh.Vec{"two": line[:2], "line": line, "one place": make([]mesh.Vec, 5)} {
		if _, _, err := Absolute(p, p); !errors.Is(err, ErrUndetermined) {
			t.Errorf("%s: %v", name, err)
		}
	}
	// The corners of a regular tetrahedron and their mirror image fit in several ways.
	q := []mesh.Vec{{X: 1, Y: 1, Z: 1}, {X: 1, Y: -1, Z: -1}, {X: -1, Y: 1, Z: -1}, {X: -1, Y: -1, Z: 1}}
	var back []mesh.Vec
	for _, p := range q {
		back = append(back, p.Scale(-1))
	}
	if _, _, err := Absolute(q, back); !errors.Is(err, ErrUndetermined) {
		t.Errorf("inversion: %v", err)
	}
	if _, _, err := Absolute(kabsch, kabsch[:3]); err == nil {
		t.Error("rows of different length fit")
	}
	if _, _, err := Absolute([]mesh.Vec{{X: math.NaN()}, {}, {Y: 1}}, kabsch[:3]); err == nil {
		t.Error("no number fits")
	}
}

// randomPose is uniform over all turns (Shoemake, Graphics Gems III, 1992), shifted by up to far.
func randomPose(r *rand.Rand, far float64) Pose {
	p := ofQuaternion(r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64())
	p.T = mesh.Vec{X: far * (2*r.Float64() - 1), Y: far * (2*r.Float64() - 1), Z: far * (2*r.Float64() - 1)}
	return p
}

func TestPoseLaws(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	for range 100 {
		a, b := randomPose(r, 100), randomPose(r, 100)
		p := mesh.Vec{X: r.Float64(), Y: r.Float64(), Z: r.Float64()}
		if d := a.Then(b).Apply(p).Dist(b.Apply(a.Apply(p))); d > 1e-12 {
			t.Errorf("then is off by %g", d)
		}
		if d := a.Then(a.Inverse()).Apply(p).Dist(p); d > 1e-12 {
			t.Errorf("back is off by %g", d)
		}
		if d := a.about(p).Apply(p).Dist(p); d > 1e-12 {
			t.Errorf("the pivot moves by %g", d)
		}
		w := mesh.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
		for _, deg := range []float64{1e-9, 1e-3, 1, 179.9999999} {
			if got := turnBy(w.Unit().Scale(deg * math.Pi / 180)).AngleDeg(); math.Abs(got-deg) > 1e-7*deg {
				t.Errorf("%g degrees came out as %g", deg, got)
			}
		}
	}
	mirror := Identity()
	mirror.R[0][0] = -1
	if mirror.Proper(1e-6) || (Pose{}).Proper(1e-6) || !Identity().Proper(0) {
		t.Error("a reflection or nothing is proper, or the identity is not")
	}
}
