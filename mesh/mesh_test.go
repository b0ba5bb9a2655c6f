package mesh_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// build makes a mesh of numbered vertices scattered in space.
func build(n int, tri ...[3]mesh.VertexID) *mesh.Mesh {
	rng := rand.New(rand.NewPCG(7, 7))
	pos := make([]mesh.Vec, n)
	for i := range pos {
		pos[i] = mesh.Vec{X: rng.Float64(), Y: rng.Float64(), Z: rng.Float64()}
	}
	return mesh.New(pos, tri)
}

// checkLoops holds the promises of Loops against a count of faces per edge by a map.
func checkLoops(t *testing.T, m *mesh.Mesh, loops []mesh.Loop) {
	t.Helper()
	type edge [2]mesh.VertexID
	key := func(a, b mesh.VertexID) edge { return edge{min(a, b), max(a, b)} }
	faces := make(map[edge]int)
	for _, f := range m.Tri {
		if f[0] == f[1] || f[1] == f[2] || f[2] == f[0] {
			continue
		}
		for k := range 3 {
			faces[key(f[k], f[(k+1)%3])]++
		}
	}
	used := make(map[edge]int)
	last := math.Inf(1)
	for i, l := range loops {
		if length := m.LoopLength(l); length > last {
			t.Fatalf("loop %d is longer than the one before", i)
		} else {
			last = length
		}
		if !l.Closed || len(l.Verts) != len(l.Edges) || len(l.Verts) < 3 {
			t.Fatalf("loop %d: closed %v, %d vertices, %d edges", i, l.Closed, len(l.Verts), len(l.Edges))
		}
		seen := make(map[mesh.VertexID]bool)
		for j, c := range l.Edges {
			a, b := l.Verts[j], l.Verts[(j+1)%len(l.Verts)]
			if seen[a] {
				t.Fatalf("loop %d meets vertex %d twice", i, a)
			}
			seen[a] = true
			if key(a, b) != key(m.Vertex(c), m.Vertex(c.Next())) || faces[key(a, b)]%2 == 0 {
				t.Fatalf("loop %d: edge %d is not that of its corner or not on the boundary", i, j)
			}
			used[key(a, b)]++
		}
	}
	for e, n := range faces {
		if n == 1 && used[e] != 1 {
			t.Fatalf("boundary edge %v is in %d loops", e, used[e])
		}
	}
}

func TestTopologyOfSmallMeshes(t *testing.T) {
	cases := []struct {
		name         string
		m            *mesh.Mesh
		want         mesh.Topology
		loops, parts int
	}{
		{"nothing", build(0), mesh.Topology{}, 0, 0},
		{"vertices alone", build(3), mesh.Topology{}, 0, 0},
		{"one face", build(3, [3]mesh.VertexID{0, 1, 2}), mesh.Topology{Edges: 3, BoundaryEdges: 3, Euler: 1}, 1, 1},
		{"two faces, windings agree", build(4, [3]mesh.VertexID{0, 1, 2}, [3]mesh.VertexID{2, 1, 3}),
			mesh.Topology{Edges: 5, BoundaryEdges: 4, Euler: 1}, 1, 1},
		{"two faces, windings against each other", build(4, [3]mesh.VertexID{0, 1, 2}, [3]mesh.VertexID{1, 2, 3}),
			mesh.Topology{Edges: 5, BoundaryEdges: 4, WindingConflicts: 1, Euler: 1}, 1, 1},
		{"two faces at a vertex", build(5, [3]mesh.VertexID{0, 1, 2}, [3]mesh.VertexID{0, 3, 4}),
			mesh.Topology{Edges: 6, BoundaryEdges: 6, NonManifoldVertices: 1, Euler: 1}, 2, 2},
		// Three leaves of a book: their outer edges and the spine are the boundary modulo 2.
		{"three faces at an edge", build(5, [3]mesh.VertexID{0, 1, 2}, [3]mesh.VertexID{0, 1, 3}, [3]mesh.VertexID{1, 0, 4}),
			mesh.Topology{Edges: 7, BoundaryEdges: 6, NonManifoldEdges: 1, Euler: 1}, 2, 1},
		{"four faces at an edge", build(6, [3]mesh.VertexID{0, 1, 2}, [3]mesh.VertexID{0, 1, 3}, [3]mesh.VertexID{1, 0, 4}, [3]mesh.VertexID{0, 1, 5}),
			mesh.Topology{Edges: 9, BoundaryEdges: 8, NonManifoldEdges: 1, Euler: 1}, 2, 1},
		{"one face twice", build(3, [3]mesh.VertexID{0, 1, 2}, [3]mesh.VertexID{2, 1, 0}),
			mesh.Topology{Edges: 3, DuplicateFaces: 1, Euler: 2}, 0, 1},
		{"one face three times", build(3, [3]mesh.VertexID{0, 1, 2}, [3]mesh.VertexID{2, 1, 0}, [3]mesh.VertexID{1, 2, 0}),
			mesh.Topology{Edges: 3, NonManifoldEdges: 3, DuplicateFaces: 2, Euler: 3}, 0, 1},
		{"degenerate face on an edge of two", build(4, [3]mesh.VertexID{0, 1, 2}, [3]mesh.VertexID{2, 1, 3}, [3]mesh.VertexID{1, 1, 2}),
			mesh.Topology{Edges: 5, BoundaryEdges: 4, DegenerateFaces: 1, Euler: 1}, 1, 1},
		{"degenerate face alone", build(1, [3]mesh.VertexID{0, 0, 0}), mesh.Topology{DegenerateFaces: 1}, 0, 1},
		// A Möbius band of five faces: one boundary loop, no orientation.
		{"band with one side", build(5, [3]mesh.VertexID{0, 1, 2}, [3]mesh.VertexID{1, 2, 3}, [3]mesh.VertexID{2, 3, 4}, [3]mesh.VertexID{3, 4, 0}, [3]mesh.VertexID{4, 0, 1}),
			mesh.Topology{Edges: 10, BoundaryEdges: 5, WindingConflicts: 5, Euler: 0}, 1, 1},
	}
	for _, c := range cases {
		if err := c.m.Validate(); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
		loops := c.m.Loops()
		checkLoops(t, c.m, loops)
		label, parts := c.m.Components()
		if got := c.m.Topology(); got != c.want || len(loops) != c.loops || len(parts) != c.parts || len(label) != len(c.m.Tri) {
			t.Errorf("%s: %+v, %d loops, %d parts, want %+v, %d, %d", c.name, got, len(loops), len(parts), c.want, c.loops, c.parts)
		}
	}
}

func TestNewPanicsOnAMissingVertex(t *testing.T) {
	defer func() {
		if r := recover(); r != "mesh: face 0 names vertex 3 of 3" {
			t.Errorf("panic %v", r)
		}
	}()
	build(3, [3]mesh.VertexID{0, 1, 3})
}

// TestFanOfManyFaces has one vertex with very many faces, which must not take quadratic time.
func TestFanOfManyFaces(t *testing.T) {
	const n = 200_000
	tri := make([][3]mesh.VertexID, n)
	for i := range tri {
		tri[i] = [3]mesh.VertexID{0, mesh.VertexID(1 + i), mesh.VertexID(1 + (i+1)%n)}
	}
	m := build(n+1, tri...)
	if got := m.Topology(); got.Euler != 1 || got.BoundaryEdges != n || len(m.Loops()) != 1 {
		t.Errorf("%+v", got)
	}
	same := make([][3]mesh.VertexID, n)
	for i := range same {
		same[i] = [3]mesh.VertexID{0, 1, 2}
	}
	if got := build(3, same...).Topology(); got.DuplicateFaces != n-1 || got.NonManifoldEdges != 3 {
		t.Errorf("%+v", got)
	}
}

// TestHolesAddLoops takes the faces around single vertices out of a torus: each adds a loop of
// six edges and takes one from the Euler number.
func TestHolesAddLoops(t *testing.T) {
	m := shape.Torus(25, 5, 60, 24).Mesh
	gone := make(map[mesh.FaceID]bool)
	for k := range 8 {
		for _, c := range m.CornersAt(mesh.VertexID(5 + 137*k)) {
			gone[c.Face()] = true
		}
		open := shape.Keep(m, func(f mesh.FaceID) bool { return !gone[f] })
		loops := open.Loops()
		checkLoops(t, open, loops)
		topology := open.Topology()
		if len(loops) != k+1 || topology.Euler != -(k+1) {
			t.Fatalf("%d loops, Euler number %d after %d holes", len(loops), topology.Euler, k+1)
		}
		for _, l := range loops {
			if len(l.Verts) != 6 {
				t.Fatalf("a loop of %d edges", len(l.Verts))
			}
			// Clockwise around a hole seen from outside.
			var middle, around mesh.Vec
			for i, v := range l.Verts {
				p, q := open.Pos[v], open.Pos[l.Verts[(i+1)%6]]
				middle, around = middle.Add(p.Scale(1.0/6)), around.Add(p.Cross(q))
			}
			ring := mesh.Vec{X: middle.X, Y: middle.Y}.Unit().Scale(25)
			if around.Dot(middle.Sub(ring)) >= 0 {
				t.Fatal("the loop runs counterclockwise")
			}
		}
	}
}

// shuffled returns the mesh with its faces in another order and their corners rotated.
func shuffled(m *mesh.Mesh, seed uint64) *mesh.Mesh {
	rng := rand.New(rand.NewPCG(seed, 1))
	tri := slices.Clone(m.Tri)
	rng.Shuffle(len(tri), func(i, j int) { tri[i], tri[j] = tri[j], tri[i] })
	for f, t := range tri {
		k := rng.IntN(3)
		tri[f] = [3]mesh.VertexID{t[k], t[(k+1)%3], t[(k+2)%3]}
	}
	return mesh.New(m.Pos, tri)
}

// TestFaceOrder holds that counts, loops and pieces do not depend on the order of the faces.
func TestFaceOrder(t *testing.T) {
	m := shape.Join(shape.Torus(25, 5, 60, 24).Mesh, shape.Icosphere(3, 3).Mesh, shape.Plate(9, 8, 1, 1).Mesh)
	m = shape.Keep(m, func(f mesh.FaceID) bool { return f%97 > 3 })
	loops := m.Loops()
	_, parts := m.Components()
	for seed := range uint64(3) {
		s := shuffled(m, seed)
		if err := s.Validate(); err != nil {
			t.Fatal(err)
		}
		if got, want := s.Topology(), m.Topology(); got != want {
			t.Errorf("%+v, want %+v", got, want)
		}
		got := s.Loops()
		checkLoops(t, s, got)
		if len(got) != len(loops) {
			t.Fatalf("%d loops, want %d", len(got), len(loops))
		}
		for i, l := range got {
			if math.Abs(s.LoopLength(l)-m.LoopLength(loops[i])) > 1e-9 {
				t.Errorf("loop %d is %v long, want %v", i, s.LoopLength(l), m.LoopLength(loops[i]))
			}
		}
		_, p := s.Components()
		if len(p) != len(parts) {
			t.Fatalf("%d parts, want %d", len(p), len(parts))
		}
		for i := range p {
			if p[i].Faces != parts[i].Faces || math.Abs(p[i].Area-parts[i].Area) > 1e-9 {
				t.Errorf("part %d: %+v, want %+v", i, p[i], parts[i])
			}
		}
	}
}

func TestComponents(t *testing.T) {
	small, large := shape.Icosphere(1, 1), shape.Icosphere(2, 1)
	label, parts := shape.Join(small.Mesh, large.Mesh).Components()
	if len(parts) != 2 || parts[0].First != 80 || parts[1].First != 0 || label[0] != 1 || label[159] != 0 || parts[0].Faces != 80 {
		t.Errorf("%+v", parts)
	}
}
