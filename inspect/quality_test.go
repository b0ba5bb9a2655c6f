package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
	"fornix/mesh/tree"
)

var qualityDefaults = QualityMethod{NoiseRadiusMM: 1, NoiseSamples: 800, NoiseLeast: 30, SmallShare: 0.01}

// noisy moves every vertex along its normal by normal noise.
func noisy(m *mesh.Mesh, sd float64, seed uint64) *mesh.Mesh {
	r, n := rand.New(rand.NewPCG(seed, 1)), m.Normals()
	pos := make([]Vec, len(m.Pos))
	for v, p := range m.Pos {
		pos[v] = p.Along(sd*r.NormFloat64(), n[v])
	}
	return mesh.New(pos, m.Tri)
}

func TestNoiseOfPublicPhantoms(t *testing.T) {
	for _, name := range publicNames {
		var tr planeTruth
		m := sharedPhantom(t, name, &tr)
		n := m.Normals()
		q := MeasureQuality(m, n, mesh.ReadStats{}, qualityDefaults)
		if q.NoiseMM == nil {
			t.Errorf("%s: %s", name, q.NoiseUnmeasured)
			continue
		}
		t.Logf("%s: noise %.4f, truth %.4f", name, *q.NoiseMM, tr.Noise)
		if math.Abs(*q.NoiseMM/tr.Noise-1) > 0.2 {
			t.Errorf("%s: noise %.4f, off by more than a fifth", name, *q.NoiseMM)
		}
		if q.BoundaryEdges != tr.Mesh.Boundary || q.NonManifoldEdges != tr.Mesh.NonManifold || math.Abs(q.AreaMM2/tr.Mesh.Area-1) > 1e-6 {
			t.Errorf("%s: %d boundary edges, %d non-manifold, %g mm², truth %+v", name, q.BoundaryEdges, q.NonManifoldEdges, q.AreaMM2, tr.Mesh)
		}
	}
}

func TestNoiseOfExactShapes(t *testing.T) {
	// Without noise, what a tube of 2.5 mm radius departs from a quadric over 1 mm is left over.
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
	}{
		{"torus .15", shape.Torus(8, 2.5, 340, 100).Mesh},
		{"torus .3", shape.Torus(20, 4, 420, 84).Mesh},
		{"torus .5", shape.Torus(20, 4, 250, 50).Mesh},
		{"sphere", shape.Icosphere(15, 6).Mesh},
		{"plate", shape.Plate(20, 20, 3, 0.25).Mesh},
	} {
		for _, sd := range []float64{0, 0.005, 0.012, 0.02, 0.05} {
			m := noisy(c.m, sd, 5)
			edge, _ := edgeLengths(m)
			got, why := measureNoise(m, m.Normals(), edge, qualityDefaults)
			t.Logf("%s edge %.3f noise %.3f: %.5f", c.name, edge, sd, got)
			if why != "" || math.Abs(got-sd) > max(0.2*sd, 0.0025) {
				t.Errorf("%s: noise %.4f, want %.4f %s", c.name, got, sd, why)
			}
		}
	}
}

// Ranks of random lengths, with equal ones, against sorting them.
func TestRanks(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for _, n := range []int{1, 2, 5, 1000, 30000} {
		x := make([]float32, n)
		for i := range x {
			x[i] = float32(math.Round(1e4*math.Exp(r.NormFloat64()))) / 1e4
		}
		of, sorted := ranks(x), slices.Sorted(slices.Values(x))
		for _, k := range []int{0, n / 2, n * 19 / 20, n - 1} {
			if of(k) != sorted[k] {
				t.Errorf("number %d of %d: %g, want %g", k, n, of(k), sorted[k])
			}
		}
	}
}

func TestQualityOfExactShapes(t *testing.T) {
	// A sphere of 10 mm whose mesh's area and volume are those of the smooth one to 0.3 %, with
	// a speck beside it and one face twice.
	ball, speck := shape.Icosphere(10, 4), shape.Icosphere(0.2, 1)
	m := shape.Join(ball.Mesh, shape.Map(speck.Mesh, func(p Vec) Vec { return p.Add(Vec{X: 20}) }))
	q := MeasureQuality(m, m.Normals(), mesh.ReadStats{NonFinite: 3}, qualityDefaults)
	near(t, "area", q.AreaMM2, ball.Area+speck.Area, 0.003*ball.Area)
	if q.VolumeMM3 == nil {
		t.Fatal("no volume of a closed surface")
	}
	near(t, "volume", *q.VolumeMM3, ball.Volume, 0.005*ball.Volume)
	if q.Components != 2 || q.SmallComponents != 1 || q.NonFiniteFaces != 3 || q.BoundaryLoops != 0 {
		t.Errorf("%+v", q)
	}
	near(t, "extent", q.Extent.X, 30.2, 0.02)

	// One face less: two pieces still, one loop of three edges, no volume.
	open := mesh.New(m.Pos, m.Tri[1:])
	q = MeasureQuality(open, open.Normals(), mesh.ReadStats{}, qualityDefaults)
	if q.BoundaryLoops != 1 || q.BoundaryEdges != 3 || q.VolumeMM3 != nil {
		t.Errorf("%+v", q)
	}

	// Two spheres through each other meet in a circle.
	two := shape.Join(ball.Mesh, shape.Map(ball.Mesh, func(p Vec) Vec { return p.Add(Vec{X: 7, Y: 0.1, Z: 0.2}) }))
	if n, _ := tree.New(two).SelfIntersections(0); n < 50 {
		t.Errorf("%d self-intersections", n)
	}
	if n, _ := tree.New(m).SelfIntersections(0); n != 0 {
		t.Errorf("%d self-intersections of what has none", n)
	}

	// 1 x 2 rectangle of two faces: edges 1, 1, 2, 2 and the diagonal √5.
	flat := mesh.New([]Vec{{}, {X: 2}, {X: 2, Y: 1}, {Y: 1}}, [][3]mesh.VertexID{{0, 1, 2}, {0, 2, 3}})
	q = MeasureQuality(flat, flat.Normals(), mesh.ReadStats{}, qualityDefaults)
	near(t, "median edge", q.EdgeMedianMM, 2, 1e-7)
	near(t, "density", q.FacesPerMM2, 1, 1e-12)
	if q.NoiseMM != nil || q.NoiseUnmeasured == "" {
		t.Error("noise of two faces")
	}
	none := mesh.New(nil, nil)
	if q = MeasureQuality(none, nil, mesh.ReadStats{}, qualityDefaults); q.NoiseMM != nil || q.FacesPerMM2 != 0 {
		t.Errorf("%+v", q)
	}
}

func TestNoiseSampleDoesNotDependOnOrder(t *testing.T) {
	m := noisy(shape.Torus(20, 4, 250, 50).Mesh, 0.01, 3)
	turned := slices.Clone(m.Tri)
	slices.Reverse(turned)
	n := len(m.Pos) - 1
	pos := slices.Clone(m.Pos)
	slices.Reverse(pos)
	for i, t := range turned {
		turned[i] = [3]mesh.VertexID{mesh.VertexID(n) - t[1], mesh.VertexID(n) - t[2], mesh.VertexID(n) - t[0]}
	}
	o := mesh.New(pos, turned)
	a, _ := measureNoise(m, m.Normals(), 0.5, qualityDefaults)
	b, _ := measureNoise(o, o.Normals(), 0.5, qualityDefaults)
	near(t, "noise", a, b, 1e-9)
}
