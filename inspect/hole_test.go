package inspect

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

var holeDefaults = HoleMethod{SpanEdges: 0.5, SlitEdges: 6, TouchEdges: 8, SmallShare: 0.01}

func TestHolesOfPublicPhantoms(t *testing.T) {
	for _, name := range publicNames {
		var tr planeTruth
		m := sharedPhantom(t, name, &tr)
		holes := FindHoles(m, m.Normals(), &Anatomy{Coverage: TwoSided}, holeDefaults)
		if len(holes) != len(tr.Holes) {
			t.Errorf("%s: %d holes, truth %d", name, len(holes), len(tr.Holes))
		}
		for _, want := range tr.Holes {
			found := false
			for _, h := range holes {
				if d := h.Centre.Dist(want.Point); d < want.Radius/2 {
					found = true
					t.Logf("%s: centre off %.2f, span %.2f of %.2f, area %.2f of %.2f", name, d, h.SpanMM, 2*want.Radius, h.AreaMM2, math.Pi*want.Radius*want.Radius)
					near(t, "area", h.AreaMM2, math.Pi*want.Radius*want.Radius, 0.05*math.Pi*want.Radius*want.Radius)
				}
			}
			if !found {
				t.Errorf("%s: no hole at %v", name, want.Point)
			}
		}
	}
}

// without removes the faces whose centroid is within r of c.
func without(m *mesh.Mesh, c Vec, r float64) *mesh.Mesh {
	return shape.Keep(m, func(f mesh.FaceID) bool { return m.Centroid(f).Dist(c) > r })
}

func sheet(n int, step float64) *mesh.Mesh {
	return shape.Grid(n, n, false, false, func(u, v float64) Vec { return Vec{X: u * step * float64(n), Y: v * step * float64(n)} })
}

func faceFlipped(m *mesh.Mesh, every int) *mesh.Mesh {
	tri := make([][3]mesh.VertexID, len(m.Tri))
	for f, t := range m.Tri {
		tri[f] = t
		if f%every == 0 {
			tri[f] = [3]mesh.VertexID{t[1], t[0], t[2]}
		}
	}
	return mesh.New(m.Pos, tri)
}

func TestHolesOfExactShapes(t *testing.T) {
	ball := shape.Icosphere(15, 6).Mesh // edges of 0.27 mm
	pole, side := Vec{Z: 15}, Vec{X: 15}
	one := without(ball, pole, 2)
	both, tissue := &Anatomy{Coverage: TwoSided}, &Anatomy{Coverage: TissueSide}
	flat := sheet(100, 0.3)
	// A speck inside of the opening, and one beside the sheet with an opening of its own.
	speck := func(at Vec) *mesh.Mesh {
		return shape.Map(sheet(6, 0.1), func(p Vec) Vec { return p.Add(at) })
	}
	holed := without(flat, Vec{X: 15, Y: 15}, 2)
	slit := mesh.New(append([]Vec{}, flat.Pos...), append([][3]mesh.VertexID{}, flat.Tri...))
	// Cut the sheet open along four edges in its middle: the upper faces get vertices of their own.
	cut := func(n int) *mesh.Mesh {
		pos, tri := append([]Vec{}, slit.Pos...), append([][3]mesh.VertexID{}, slit.Tri...)
		at := map[Vec]mesh.VertexID{}
		for v, p := range pos {
			at[p] = mesh.VertexID(v)
		}
		row := pos[len(pos)/2].Y
		var inner []Vec
		for _, p := range pos {
			if p.Y == row && p.X > 10 && len(inner) < n {
				inner = append(inner, p)
			}
		}
		for _, p := range inner {
			twin := mesh.VertexID(len(pos))
			pos = append(pos, p)
			for f, c := range tri {
				above := max(pos[c[0]].Y, pos[c[1]].Y, pos[c[2]].Y) > row
				for k := range 3 {
					if c[k] == at[p] && above {
						tri[f][k] = twin
					}
				}
			}
		}
		return mesh.New(pos, tri)
	}
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		an   *Anatomy
		want []float64 // diameters
	}{
		{"closed", ball, both, nil},
		{"one", one, both, []float64{4}},
		{"two", without(one, side, 1), both, []float64{4, 2}},
		{"three", without(without(one, side, 1), Vec{Y: -15}, 3), both, []float64{6, 4, 2}},
		{"inside out", faceFlipped(without(one, side, 1), 1), both, []float64{4, 2}},
		{"windings at odds", faceFlipped(without(one, side, 1), 3), both, []float64{4, 2}},
		{"sheet", flat, tissue, nil},
		{"sheet told two-sided", flat, both, nil},
		{"holed sheet", holed, tissue, []float64{4}},
		{"island in the hole", shape.Join(holed, speck(Vec{X: 14.8, Y: 14.8})), tissue, []float64{4}},
		{"shred beside", shape.Join(holed, without(speck(Vec{X: -3}), Vec{X: -2.7, Y: .3}, .12)), tissue, []float64{4}},
		{"hemisphere", shape.Keep(one, func(f mesh.FaceID) bool { return one.Centroid(f).Z > 0 }), tissue, []float64{4}},
		{"short slit", cut(4), tissue, nil},
		{"long slit", cut(12), tissue, []float64{13 * 0.3}},
	} {
		holes := FindHoles(c.m, c.m.Normals(), c.an, holeDefaults)
		if len(holes) != len(c.want) {
			t.Errorf("%s: %d holes, want %d", c.name, len(holes), len(c.want))
			continue
		}
		for i, h := range holes {
			near(t, c.name+" span", h.SpanMM, c.want[i], 0.4) // rims lie up to an edge and a half away
			if h.Rim[0] != h.Rim[len(h.Rim)-1] || h.ID != i+1 {
				t.Errorf("%s: rim not closed or ID %d", c.name, h.ID)
			}
			if c.name != "long slit" {
				near(t, c.name+" area", h.AreaMM2, math.Pi*c.want[i]*c.want[i]/4, 0.12*math.Pi*c.want[i]*c.want[i]/4)
			}
		}
	}
	h := FindHoles(one, one.Normals(), both, holeDefaults)[0]
	near(t, "centre", h.Centre.Dist(pole), 2*2/(2*15.0), 0.1) // the rim's plane lies r²/2R below the pole
	near(t, "normal", h.Normal.Dist(Vec{Z: 1}), 0, 0.03)
}

// The length of a jagged rim is stated as well for openings two edges in radius, whose shape smoothing takes
// off, as for ones of twelve, whose teeth it leaves: a circle in flat sheets of uneven triangles.
func TestHolePerimeterOfAnySize(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 2))
	const edge, n = 0.3, 34
	for _, radius := range []float64{2.2 * edge, 4.5 * edge, 8 * edge, 12 * edge} {
		var perimeter covered
		var sum float64
		for range 60 {
			m := shape.Map(shape.Grid(n, n, false, false, func(u, v float64) Vec {
				return Vec{X: edge * n * (u + math.Mod(math.Round(v*n), 2)/2/n), Y: edge * n * v * 0.866}
			}), func(p Vec) Vec { return p.Add(Vec{X: r.NormFloat64(), Y: r.NormFloat64()}.Scale(0.15 * edge)) })
			c := Vec{X: n/2 + r.Float64(), Y: 0.866*n/2 + r.Float64()}.Scale(edge)
			open := without(m, c, radius)
			holes := FindHoles(open, open.Normals(), &Anatomy{Coverage: TissueSide}, holeDefaults)
			if len(holes) != 1 {
				t.Fatalf("%d openings", len(holes))
			}
			e := holes[0].PerimeterMM - 2*math.Pi*radius
			sum += e / edge
			perimeter.add(e, holes[0].PerimeterUMM)
		}
		perimeter.check(t, fmt.Sprintf("perimeter, %.1f edges", radius/edge))
		t.Logf("%.2f edges too long", sum/60)
	}
}

// On a tube as narrow as a border's roll the rim hangs down on both sides. What a ball of radius R
// about a point of the tube cuts out of it is known: over the arc s, chords 4ρ² sin²(s/2ρ) + t² = R².
func TestHoleAreaOnATube(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 1))
	var area covered
	worst := 0.0
	for i := range 60 {
		rho, radius := 1.3+1.5*r.Float64(), 1+r.Float64()
		around := int(2 * math.Pi * rho / 0.3)
		along := 40
		turn := 2 * math.Pi / float64(around)
		shift := r.Float64()
		m := shape.Grid(around, along, true, false, func(u, v float64) Vec {
			sin, cos := math.Sincos(2*math.Pi*u + turn*math.Mod(v*float64(along), 2)/2)
			return Vec{X: rho * cos, Y: rho * sin, Z: 0.26 * float64(along) * (v - 0.5)}
		})
		sin, cos := math.Sincos(turn * shift)
		open := without(m, Vec{X: rho * cos, Y: rho * sin, Z: 0.26 * r.Float64()}, radius)
		holes := FindHoles(open, open.Normals(), &Anatomy{Coverage: TwoSided}, holeDefaults)
		k := slices.IndexFunc(holes, func(h Hole) bool { return math.Abs(h.Centre.Z) < 1 })
		if k < 0 {
			t.Fatalf("tube %d: no opening", i)
		}
		want := 0.0
		const n = 4000
		half := 2 * rho * math.Asin(math.Min(1, radius/(2*rho)))
		for j := range n {
			s := half * (2*(float64(j)+0.5)/n - 1)
			c := 2 * rho * math.Sin(s/(2*rho))
			want += 2 * math.Sqrt(math.Max(0, radius*radius-c*c)) * 2 * half / n
		}
		worst = max(worst, math.Abs(holes[k].AreaMM2/want-1))
		area.add(holes[k].AreaMM2-want, holes[k].AreaUMM2)
	}
	area.check(t, "hole area on a tube")
	t.Logf("area off by up to %.1f %%", 100*worst)
	if worst > 0.12 {
		t.Errorf("area off by %.1f %%", 100*worst)
	}
}

func TestRaggedEdgeIsNoHole(t *testing.T) {
	// Two teeth of a ragged edge that meet in a vertex enclose a gap; a wider one is an opening.
	flat := sheet(60, 0.3)
	for _, c := range []struct {
		half float64
		want int
	}{{0.5, 0}, {3, 1}} {
		cx := 9.0
		m := shape.Keep(flat, func(f mesh.FaceID) bool {
			p := flat.Centroid(f)
			// A diamond whose lowest corner is on the sheet's own edge.
			return math.Abs(p.X-cx)+math.Abs(p.Y-c.half*1.001) > c.half
		})
		holes := FindHoles(m, m.Normals(), &Anatomy{Coverage: TissueSide}, holeDefaults)
		if len(holes) != c.want {
			t.Errorf("diamond of half width %g: %d holes, want %d", c.half, len(holes), c.want)
		}
	}
}

func TestHoleRimOverNonManifoldEdge(t *testing.T) {
	// A flap stands on an edge of the rim: that edge has three faces... two, and the flap.
	ball := without(shape.Icosphere(15, 6).Mesh, Vec{Z: 15}, 2)
	loop := ball.Loops()[0]
	e := loop.Edges[0]
	a, b := ball.Vertex(e), ball.Vertex(e.Next())
	pos := append(append([]Vec{}, ball.Pos...), ball.Pos[a].Add(Vec{Z: 1}), ball.Pos[b].Add(Vec{Z: 1, X: .2}))
	n := mesh.VertexID(len(ball.Pos))
	m := mesh.New(pos, append(append([][3]mesh.VertexID{}, ball.Tri...), [3]mesh.VertexID{a, b, n}, [3]mesh.VertexID{b, a, n + 1}))
	if m.Topology().NonManifoldEdges != 1 {
		t.Fatal("no non-manifold edge made")
	}
	holes := FindHoles(m, m.Normals(), &Anatomy{Coverage: TwoSided}, holeDefaults)
	if len(holes) != 1 {
		t.Fatalf("%d holes, want 1", len(holes))
	}
	near(t, "span", holes[0].SpanMM, 4, 0.4)
}

func TestHoleSurface(t *testing.T) {
	m := without(shape.Icosphere(15, 5).Mesh, Vec{Z: 15}, 2)
	an := &Anatomy{Coverage: TwoSided, Part: make([]Part, len(m.Pos))}
	for v, p := range m.Pos {
		an.Part[v] = PartOuter
		if p.Z > 0 {
			an.Part[v] = PartTissue
		}
	}
	if h := FindHoles(m, m.Normals(), an, holeDefaults); len(h) != 1 || h[0].Surface != OnTissue {
		t.Errorf("%+v", h)
	}
}
