package mesh_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// TestCurvatureOfATorus holds the textbook values: 1/r around the tube and cos v/(R + r cos v)
// along it. A quadric over the radius ρ leaves out terms of fourth order, of relative size
// (ρ/r)²/4 on the tube.
func TestCurvatureOfATorus(t *testing.T) {
	const ring, tube, radius = 25, 4, 1.0
	m := shape.Torus(ring, tube, 360, 60).Mesh
	for _, s := range []*mesh.Mesh{m, shuffled(m, 2)} {
		for v, c := range mesh.Curvature(s, radius) {
			p := s.Pos[v]
			out := math.Hypot(p.X, p.Y) - ring
			want1, want2 := 1.0/tube, out/tube/(ring+out)
			tolerance := radius * radius / (tube * tube) / 4 / tube
			if c.N < 10 || math.Abs(c.K1-want1) > tolerance || math.Abs(c.K2-want2) > tolerance {
				t.Fatalf("vertex %d: %v and %v over %d vertices, want %v and %v ± %v", v, c.K1, c.K2, c.N, want1, want2, tolerance)
			}
			along := mesh.Vec{X: -p.Y, Y: p.X}.Unit()
			if math.Abs(c.D2.Dot(along)) < 0.999 || math.Abs(c.D1.Dot(along)) > 0.045 || math.Abs(c.D1.Norm()-1) > 1e-9 {
				t.Fatalf("vertex %d: directions %v, %v", v, c.D1, c.D2)
			}
		}
	}
}

// TestCurvatureSign: convex from outside is positive, inside out it is negative, and saddle and
// plane stay what they are.
func TestCurvatureSign(t *testing.T) {
	ball := shape.Icosphere(5, 5).Mesh
	for i, m := range []*mesh.Mesh{ball, ball.Flip(), turned(ball)} {
		want := []float64{0.2, -0.2, 0.2}[i]
		for _, c := range mesh.CurvatureAt(m, []mesh.VertexID{0, 50, 900}, m.Normals(), 1) {
			if math.Abs(c.K1-want) > 0.004 || math.Abs(c.K2-want) > 0.004 || math.Abs(c.Mean()-want) > 0.004 || math.Abs(c.Gauss()-0.04) > 0.002 {
				t.Errorf("mesh %d: %+v", i, c)
			}
		}
	}
	flat := shape.Plate(20, 20, 2, 0.5).Mesh
	for v, c := range mesh.Curvature(flat, 1.6) {
		if p := flat.Pos[v]; math.Abs(p.X) < 8 && math.Abs(p.Y) < 8 && (math.Abs(c.K1) > 1e-9 || math.Abs(c.K2) > 1e-9 || c.RMS > 1e-9) {
			t.Fatalf("%+v on a plane", c)
		}
	}
}

// TestCurvatureUnderNoise: noise is told by RMS, and disturbs the curvature as its comment says,
// the same for both densities.
func TestCurvatureUnderNoise(t *testing.T) {
	const noise, radius, sphere = 0.02, 1.5, 8.0
	for _, level := range []int{5, 6} {
		rng := rand.New(rand.NewPCG(5, uint64(level)))
		m := shape.Map(shape.Icosphere(sphere, level).Mesh, func(p mesh.Vec) mesh.Vec { return p.Along(noise*rng.NormFloat64()/sphere, p) })
		var rms, off []float64
		var n float64
		all := mesh.Curvature(m, radius)
		for _, c := range all {
			rms = append(rms, c.RMS)
			off = append(off, math.Abs(c.Mean()-1/sphere))
			n += float64(c.N) / float64(len(all))
		}
		slices.Sort(rms)
		slices.Sort(off)
		mid := len(rms) / 2
		t.Logf("level %d, %.0f vertices: noise told as %.4f, mean curvature off by %.4f (median)", level, n, rms[mid], off[mid])
		if math.Abs(rms[mid]-noise) > 0.1*noise {
			t.Errorf("noise %v told as %v", noise, rms[mid])
		}
		if bound := 5 * noise / (radius * radius * math.Sqrt(n)); off[mid] > bound {
			t.Errorf("mean curvature off by %v, bound %v", off[mid], bound)
		}
	}
}

func TestCurvatureNeedsVertices(t *testing.T) {
	m := shape.Icosphere(5, 1).Mesh
	for _, c := range mesh.Curvature(m, 0.1) {
		if c != (mesh.Curv{}) {
			t.Fatalf("%+v from one vertex", c)
		}
	}
}
