package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
)

// finestCuts has faults hardly wider than the least that is told, beside the usual ones.
var finestCuts = append(slices.Clone(someCuts), cut{x: -2, y: 5, width: 0.8, depth: 0.3}, cut{x: 6, y: 5, width: 0.8, depth: -0.3},
	cut{x: -6, y: -3, width: 0.9, depth: 0.3}, cut{x: 11, y: -2, width: 0.9, depth: -0.35})

func surveyOf(m *mesh.Mesh, noise float64) *survey {
	return newSurvey(m, testNormals(m), allTissue(m).Part, defaultDefects(), noise)
}

// Samples stand at least r apart, and so at most as close as equal circles can lie: 2/√3 in r² (Thue's theorem; Fejes
// Tóth 1940). Every vertex has one within r. Neither a motion nor the order of the vertices changes the choice.
func TestSamplesCoverTheSurface(t *testing.T) {
	const r = 0.15
	f := field(func(x, y float64) float64 { return y*y/60 + x*x/160 })
	for _, spacing := range []float64{0.3, 0.09, 0.06} {
		m := f.scan(nil, spacing, 0.01, rand.New(rand.NewPCG(21, 22)))
		s := surveyOf(m, 0.01)
		of := s.samples(r)
		w, count := s.walkers[0], 0
		for _, v := range s.look {
			o := of[v]
			if o < 0 || of[o] != o || m.Pos[v].Dist(m.Pos[o]) > r {
				t.Fatalf("spacing %g: vertex %d has the sample %d", spacing, v, o)
			}
			for _, x := range w.ball(v, r) {
				if spacing > r || of[x] != x || x == o {
					continue
				}
				if o == v {
					t.Fatalf("spacing %g: samples %d and %d are %.3f apart", spacing, v, x, m.Pos[v].Dist(m.Pos[x]))
				}
				if m.Pos[v].Dist(m.Pos[x]) < m.Pos[v].Dist(m.Pos[o]) {
					t.Fatalf("spacing %g: sample %d of %d is not the nearest", spacing, o, v)
				}
			}
			if o == v {
				count++
			}
		}
		// A strip half as broad as r lies round the sheet's edge.
		if most := 2 / math.Sqrt(3) / (r * r) * (m.Area() + 70*r); spacing < r && float64(count) > most || spacing > r && count < len(s.look) {
			t.Errorf("spacing %g: %d samples of %d vertices, room for %.0f", spacing, count, len(s.look), most)
		}
		t.Logf("spacing %g: %d samples of %d vertices", spacing, count, len(s.look))

		n := mesh.VertexID(len(m.Pos) - 1)
		pos := make([]Vec, len(m.Pos))
		for i, p := range m.Pos {
			pos[n-mesh.VertexID(i)] = Vec{X: 0.6*p.X - 0.8*p.Y + 50, Y: 0.8*p.X + 0.6*p.Y - 20, Z: p.Z + 130}
		}
		tri := make([][3]mesh.VertexID, len(m.Tri))
		for i, t := range m.Tri {
			tri[i] = [3]mesh.VertexID{n - t[0], n - t[1], n - t[2]}
		}
		other := surveyOf(mesh.New(pos, tri), 0.01).samples(r)
		for v, o := range of {
			if other[n-mesh.VertexID(v)] != n-o {
				t.Fatalf("spacing %g: moved and in another order, vertex %d has the sample %d, not %d", spacing, v, n-other[n-mesh.VertexID(v)], o)
			}
		}
	}
}

// On a very fine scan the samples lead to the same faults, with the same figures, as looking at every vertex does.
func TestSamplesLoseNoFault(t *testing.T) {
	const noise = 0.01
	m := field(trough).scan(finestCuts, 0.1, noise, rand.New(rand.NewPCG(23, 24)))
	all, s := surveyOf(m, noise), surveyOf(m, noise)
	own := make([]mesh.VertexID, len(m.Pos))
	for v := range own {
		own[v] = mesh.VertexID(v)
	}
	all.screenBy(own)
	s.screen()
	if !slices.Equal(all.seeds, s.seeds) {
		t.Errorf("%d seeds %v, by samples %d %v", len(all.seeds), all.seeds, len(s.seeds), s.seeds)
	}
	off := 0.0
	for _, v := range s.look {
		off += math.Abs(float64(all.groove[v]-s.groove[v])) + math.Abs(float64(all.weak[v]-s.weak[v]))
	}
	if off /= float64(len(s.look)); off > 0.02 {
		t.Errorf("curvatures by samples are %.3f 1/mm off on average, in a trough of 0.17", off)
	}
	t.Logf("curvatures by samples are %.4f 1/mm off on average", off)
	want, got := all.findFolds(), s.findFolds()
	if len(want) != len(got) {
		t.Fatalf("%d folds, by samples %d", len(want), len(got))
	}
	for i, f := range want {
		// The direction of a groove is taken from curvatures that are a sample's own.
		g := got[i]
		if d := math.Max(math.Max(math.Abs(f.length-g.length), math.Abs(f.width-g.width)), math.Abs(f.depth-g.depth)); d > 0.005 {
			t.Errorf("fold %.4f x %.4f x %.4f, by samples %.4f x %.4f x %.4f", f.length, f.width, f.depth, g.length, g.width, g.depth)
		}
	}
	checkCuts(t, trough, finestCuts, defectsOf(m, noise), 0.05)
}
