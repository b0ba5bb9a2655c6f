package inspect

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/register"
)

// randomTurn returns a random pose: an even turn (a quaternion of four normal deviates) and a shift.
func randomTurn(r *rand.Rand) register.Pose {
	w, x, y, z := r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
	n := math.Sqrt(w*w + x*x + y*y + z*z)
	w, x, y, z = w/n, x/n, y/n, z/n
	return register.Pose{
		R: [3][3]float64{{1 - 2*(y*y+z*z), 2 * (x*y - w*z), 2 * (x*z + w*y)}, {2 * (x*y + w*z), 1 - 2*(x*x+z*z), 2 * (y*z - w*x)}, {2 * (x*z - w*y), 2 * (y*z + w*x), 1 - 2*(x*x+y*y)}},
		T: Vec{X: 100 * r.NormFloat64(), Y: 100 * r.NormFloat64(), Z: 100 * r.NormFloat64()},
	}
}

func moved(m *mesh.Mesh, p register.Pose) *mesh.Mesh {
	pos := make([]Vec, len(m.Pos))
	for i, q := range m.Pos {
		pos[i] = p.Apply(q)
	}
	return mesh.New(pos, m.Tri)
}

// A scan against itself moved at random, with no start given: every start is found, to 0.01 degrees
// and 0.01 mm. FORNIX_STARTS=200 tries that many.
func TestAlignFromRandomStarts(t *testing.T) {
	n := 4
	if v, err := strconv.Atoi(os.Getenv("FORNIX_STARTS")); err == nil {
		n = v
	}
	r := rand.New(rand.NewPCG(2026, 11))
	var bodies []*register.Body
	for _, name := range []string{"upper-sound", "lower-sound"} {
		p, _ := phantom.Named(name)
		p.Spacing = 0.6
		made, err := phantom.Make(p)
		if err != nil {
			t.Fatal(err)
		}
		bodies = append(bodies, register.NewBody(made.Mesh))
	}
	found, mostDeg, mostMM := 0, 0.0, 0.0
	for i := range n {
		b := bodies[i%2]
		pose := randomTurn(r)
		fit, err := register.Align(b, register.NewBody(moved(b.Mesh, pose)), register.Options{})
		if err != nil {
			t.Errorf("start %d: %v", i, err)
			continue
		}
		deg := fit.Pose.Then(pose.Inverse()).AngleDeg()
		off := 0.0
		for v := 0; v < len(b.Mesh.Pos); v += 997 {
			off = max(off, fit.Pose.Apply(b.Mesh.Pos[v]).Dist(pose.Apply(b.Mesh.Pos[v])))
		}
		mostDeg, mostMM = max(mostDeg, deg), max(mostMM, off)
		if deg > 0.01 || off > 0.01 {
			t.Errorf("start %d: off by %.4f degrees and %.4f mm", i, deg, off)
			continue
		}
		found++
	}
	t.Logf("%d of %d starts, off by at most %.2g degrees and %.2g mm", found, n, mostDeg, mostMM)
}
