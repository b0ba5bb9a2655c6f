package tree

import (
	"math"
	"math/rand/v2"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// sheet maps a grid of rows by columns squares to space, without the squares that drop takes.
func sheet(rows, columns int, at func(r, c int) mesh.Vec, drop func(r, c int) bool) *mesh.Mesh {
	var pos []mesh.Vec
	for r := range rows + 1 {
		for c := range columns + 1 {
			pos = append(pos, at(r, c))
		}
	}
	var tri [][3]mesh.VertexID
	for r := range rows {
		for c := range columns {
			if drop != nil && drop(r, c) {
				continue
			}
			v := mesh.VertexID(r*(columns+1) + c)
			w := v + mesh.VertexID(columns) + 1
			tri = append(tri, [3]mesh.VertexID{v, v + 1, w}, [3]mesh.VertexID{v + 1, w + 1, w})
		}
	}
	return mesh.New(pos, tri)
}

// hills is uneven ground of which no vertical line meets two points.
func hills(rng *rand.Rand, height float64) func(r, c int) mesh.Vec {
	return func(r, c int) mesh.Vec {
		return mesh.Vec{X: float64(c) + 0.4*rng.Float64(), Y: float64(r) + 0.4*rng.Float64(), Z: height * rng.NormFloat64()}
	}
}

// ramp winds up and round an axis, with all its faces turned up, by climb per turn.
func ramp(turns, climb float64) *mesh.Mesh {
	const steps = 60
	return sheet(3, int(turns*steps), func(r, c int) mesh.Vec {
		a := 2 * math.Pi * float64(c) / steps
		rad := 14 - float64(r)
		return mesh.Vec{X: rad * math.Cos(a), Y: rad * math.Sin(a), Z: climb * a / (2 * math.Pi)}
	}, nil)
}

// TestGraphs tells of whole surfaces whether they lie over a plane as a graph does; every answer is
// plain from how the surface is made.
func TestGraphs(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 1))
	turned := func(m *mesh.Mesh) *mesh.Mesh {
		return shape.Map(m, func(p mesh.Vec) mesh.Vec { return mesh.Vec{X: p.Z, Y: p.X, Z: p.Y} })
	}
	moved := func(m *mesh.Mesh, d mesh.Vec) *mesh.Mesh {
		return shape.Map(m, func(p mesh.Vec) mesh.Vec { return p.Add(d) })
	}
	ground := sheet(20, 20, hills(rng, 1), nil)
	small := sheet(4, 4, hills(rng, 1), nil)
	folded := sheet(20, 20, func(r, c int) mesh.Vec {
		y, z := float64(r), 0.1*float64(r)
		if r > 10 {
			y, z = 20.5-y, 2.2-z
		}
		return mesh.Vec{X: float64(c), Y: y, Z: z}
	}, nil)
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		want bool
	}{
		{"ground", ground, true},
		{"ground upright", turned(ground), true},
		{"ground upright the other way", turned(turned(ground)), true},
		{"ground upside down", shape.Map(ground, func(p mesh.Vec) mesh.Vec { return mesh.Vec{X: p.X, Y: -p.Y, Z: -p.Z} }), true},
		{"ground with holes", sheet(20, 20, hills(rng, 1), func(r, c int) bool { return r%5 == 2 && c%4 == 2 }), true},
		{"pieces that hang by a vertex", sheet(12, 12, hills(rng, 1), func(r, c int) bool { return (r/3+c/3)%2 == 1 }), true},
		{"two grounds side by side", shape.Join(ground, moved(ground, mesh.Vec{X: 30})), true},
		{"two grounds one above the other", shape.Join(ground, moved(ground, mesh.Vec{X: 0.3, Y: 0.3, Z: 50})), false},
		{"small ground above the midst of a large one", shape.Join(ground, moved(small, mesh.Vec{X: 8, Y: 8, Z: 50})), false},
		{"small ground in a hole", shape.Join(moved(small, mesh.Vec{X: 7.5, Y: 7.5}), sheet(20, 20, hills(rng, 1), func(r, c int) bool { return r > 5 && r < 14 && c > 5 && c < 14 })), true},
		{"ground twice", shape.Join(ground, ground), false},
		{"not quite a turn of a ramp", ramp(0.95, 5), true},
		{"more than a turn of a ramp", ramp(1.3, 5), false},
		{"two turns of a ramp", ramp(2, 5), false},
		{"two faces, a corner of one above the other", mesh.New([]mesh.Vec{{}, {X: 10}, {Y: 10}, {X: 5, Y: 4, Z: 1}, {X: 14, Y: 4, Z: 1}, {X: 14, Y: 14, Z: 1}},
			[][3]mesh.VertexID{{0, 1, 2}, {3, 4, 5}}), false},
		{"a vertex of one face on the edge of another", mesh.New([]mesh.Vec{{}, {X: 10}, {Y: 10}, {X: 4}, {X: 3, Y: -9}, {X: 7, Y: -9}},
			[][3]mesh.VertexID{{0, 1, 2}, {3, 4, 5}}), false},
		{"fold", folded, false},
		{"ball", shape.Icosphere(5, 2).Mesh, false},
		{"soup", soup(rng, 40), false},
	} {
		tr := New(c.m)
		g := &graphs{t: tr, rank: tr.ranks()}
		if lo, hi := tr.run(0); lo != 0 || hi != len(c.m.Tri) {
			t.Fatalf("%s: run of %d to %d", c.name, lo, hi)
		}
		if got := g.over(0, len(c.m.Tri)); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestGraphsHideNoCrossing: surfaces that cross themselves though all their faces turn up give what
// comparing every face with every other one gives.
func TestGraphsHideNoCrossing(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 2))
	lifted := func(m *mesh.Mesh, z, slope float64) *mesh.Mesh {
		return shape.Map(m, func(p mesh.Vec) mesh.Vec { return p.Add(mesh.Vec{X: 0.31, Y: 0.17, Z: z + slope*p.X}) })
	}
	wave := ramp(2.2, 0)
	for name, m := range map[string]*mesh.Mesh{
		"two grounds through each other": shape.Join(sheet(15, 15, hills(rng, 0.2), nil), lifted(sheet(15, 15, hills(rng, 0.2), nil), -2, 0.3)),
		"ramp that comes down again": shape.Map(wave, func(p mesh.Vec) mesh.Vec {
			return mesh.Vec{X: p.X, Y: p.Y, Z: 0.2 * rng.NormFloat64()}
		}),
		"rough ground": sheet(30, 30, func(r, c int) mesh.Vec {
			return mesh.Vec{X: float64(c) + 0.8*rng.NormFloat64(), Y: float64(r) + 0.8*rng.NormFloat64(), Z: 0.3 * rng.NormFloat64()}
		}, nil),
	} {
		tr := New(m)
		want := 0
		for f := range m.Tri {
			for g := range f {
				if tr.facesCross(mesh.FaceID(f), mesh.FaceID(g)) {
					want++
				}
			}
		}
		if got, _ := tr.SelfIntersections(0); got != want || want == 0 {
			t.Errorf("%s: %d crossings, want %d", name, got, want)
		}
	}
}
