package mesh_test

import (
	"math"
	"testing"

	"fornix/mesh"
	"fornix/mesh/shape"
)

// turned moves m by a rotation about a skew axis and a shift.
func turned(m *mesh.Mesh) *mesh.Mesh {
	u := mesh.Vec{X: 1, Y: -2, Z: 0.5}.Unit()
	v := u.Cross(mesh.Vec{X: 1}).Unit()
	w := u.Cross(v)
	return shape.Map(m, func(p mesh.Vec) mesh.Vec {
		return u.Scale(p.X).Along(p.Y, v).Along(p.Z, w).Add(mesh.Vec{X: 120, Y: -80, Z: 333})
	})
}

func TestBoundsOfNothing(t *testing.T) {
	lo, hi := mesh.New(nil, nil).Bounds()
	inf := math.Inf(1)
	if lo != (mesh.Vec{X: inf, Y: inf, Z: inf}) || hi != (mesh.Vec{X: -inf, Y: -inf, Z: -inf}) {
		t.Errorf("%v %v", lo, hi)
	}
}

func TestMeasuresUnderRigidMotion(t *testing.T) {
	m := shape.Torus(25, 1.5, 96, 48).Mesh
	moved := turned(m)
	for _, s := range []*mesh.Mesh{moved, shuffled(m, 4), moved.Flip()} {
		sign := 1.0
		if s.FaceNormal(0).Dot(moved.FaceNormal(0)) < -0.99 {
			sign = -1
		}
		if math.Abs(s.Area()-m.Area()) > 1e-9*m.Area() || math.Abs(sign*s.Volume()-m.Volume()) > 1e-9*m.Volume() {
			t.Errorf("area %v, volume %v, want %v, ±%v", s.Area(), s.Volume(), m.Area(), m.Volume())
		}
	}
	if moved.Flip().Volume() > 0 {
		t.Error("inside out is not negative")
	}
	// A mirror turns a surface inside out, a uniform scale of 2 makes four and eight times.
	mirror := shape.Map(m, func(p mesh.Vec) mesh.Vec { return mesh.Vec{X: -2 * p.X, Y: 2 * p.Y, Z: 2 * p.Z} })
	if math.Abs(mirror.Area()-4*m.Area()) > 1e-9*m.Area() || math.Abs(mirror.Volume()+8*m.Volume()) > 1e-9*m.Volume() {
		t.Errorf("mirrored and doubled: area %v, volume %v", mirror.Area(), mirror.Volume())
	}
}

func TestNormals(t *testing.T) {
	// At the corner of a box three faces meet at 90°, however each is cut: the weights by angle
	// make the diagonal exactly.
	plate := shape.Plate(4, 4, 4, 4)
	for v, n := range plate.Normals() {
		if d := n.Dot(plate.Pos[v].Unit()); math.Abs(d-1) > 1e-12 {
			t.Errorf("normal %v at corner %v", n, plate.Pos[v])
		}
	}
	// On a ball the normal is off by the order of the square of the edge angle.
	ball := shape.Icosphere(10, 4)
	edge := 1.2 / 16
	for v, n := range ball.Normals() {
		if d := n.Sub(ball.Pos[v].Unit()).Norm(); d > edge*edge {
			t.Fatalf("normal off by %v at vertex %d", d, v)
		}
	}
	lone := mesh.New([]mesh.Vec{{X: 1}, {X: 2}, {X: 3}}, [][3]mesh.VertexID{{0, 1, 2}})
	if n := lone.Normals()[1]; n != (mesh.Vec{}) || lone.FaceNormal(0) != n {
		t.Errorf("normal %v of a face without area", n)
	}
}

func TestWithin(t *testing.T) {
	ball := shape.Icosphere(10, 4)
	w := mesh.NewWalker(ball.Mesh)
	var buf []mesh.VertexID
	for v := mesh.VertexID(0); v < 100; v += 7 {
		buf = w.Within(v, 2.5, buf)
		in := make(map[mesh.VertexID]bool)
		for _, u := range buf {
			if in[u] {
				t.Fatal("a vertex twice")
			}
			in[u] = true
		}
		for u, p := range ball.Pos { // on a ball all that is near can be reached
			if in[mesh.VertexID(u)] != (p.Dist(ball.Pos[v]) <= 2.5) {
				t.Fatalf("vertex %d at %v: in %v", u, p.Dist(ball.Pos[v]), in[mesh.VertexID(u)])
			}
		}
	}
	// Two sheets 1 mm apart: the other one is inside the ball and out of reach.
	sheets := shape.Join(shape.Trough(5, 20, 30, 40).Mesh, shape.Trough(6, 20, 30, 40).Mesh)
	for _, u := range sheets.Within(600, 3, nil) {
		if int(u) >= len(sheets.Pos)/2 {
			t.Fatal("reached the other sheet")
		}
	}
	if n := testing.AllocsPerRun(10, func() { buf = w.Within(3, 2.5, buf) }); n > 0 {
		t.Errorf("%v allocations a query", n)
	}
}
