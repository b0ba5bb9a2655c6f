package register

import (
	"math"
	"math/rand/v2"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// big is a pair of surfaces of half a million faces each, of different triangulation, with noise,
// one moved about.
func big() (moving, fixed *mesh.Mesh) {
	r := rand.New(rand.NewPCG(1, 1))
	fixed = arch(0, 840, 300, 0, 0.01, r)
	moving = shape.Map(arch(0, 860, 290, 0.3, 0.01, r), randomPose(r, 100).Apply)
	return moving, fixed
}

// BenchmarkAll is what a comparison costs: both bodies, the fit with no start given, and the
// distances of all vertices both ways.
func BenchmarkAll(b *testing.B) {
	moving, fixed := big()
	for b.Loop() {
		m, f := NewBody(moving), NewBody(fixed)
		fit, err := Align(m, f, Options{})
		if err != nil {
			b.Fatal(err)
		}
		back := fit.Pose.Inverse()
		at, from := make([]mesh.Vec, len(moving.Pos)), make([]mesh.Vec, len(fixed.Pos))
		for i, p := range moving.Pos {
			at[i] = fit.Pose.Apply(p)
		}
		for i, p := range fixed.Pos {
			from[i] = back.Apply(p)
		}
		Distances(at, f, math.Inf(1), 0)
		Distances(from, m, math.Inf(1), 0)
	}
}

func BenchmarkSearch(b *testing.B) {
	moving, fixed := big()
	m, f := newSampler(NewBody(moving), nil, false), newSampler(NewBody(fixed), nil, false)
	for b.Loop() {
		search(m, f, 0)
	}
}

func BenchmarkDistances(b *testing.B) {
	_, fixed := big()
	f := NewBody(fixed)
	at := make([]mesh.Vec, len(fixed.Pos))
	for i, p := range fixed.Pos {
		at[i] = p.Along(0.05, f.Normals[i])
	}
	b.ReportAllocs()
	for b.Loop() {
		Distances(at, f, math.Inf(1), 0)
	}
}
