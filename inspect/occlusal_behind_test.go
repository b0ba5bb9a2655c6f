package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
)

// bar is a closed box from lo on, of n steps along each axis, whose every point is then moved.
func bar(lo Vec, n [3]int, step float64, move func(Vec) Vec) (pos []Vec, tri [][3]mesh.VertexID) {
	id := map[[3]int]mesh.VertexID{}
	at := func(k [3]int) mesh.VertexID {
		v, ok := id[k]
		if !ok {
			v = mesh.VertexID(len(pos))
			id[k] = v
			pos = append(pos, move(lo.Add(Vec{X: float64(k[0]), Y: float64(k[1]), Z: float64(k[2])}.Scale(step))))
		}
		return v
	}
	for axis := range 3 {
		u, v := (axis+1)%3, (axis+2)%3
		for side := range 2 {
			for i := range n[u] {
				for j := range n[v] {
					corner := func(di, dj int) mesh.VertexID {
						var k [3]int
						k[axis], k[u], k[v] = side*n[axis], i+di, j+dj
						return at(k)
					}
					a, b, c, d := corner(0, 0), corner(1, 0), corner(1, 1), corner(0, 1)
					if side == 0 {
						b, d = d, b
					}
					tri = append(tri, [3]mesh.VertexID{a, b, c}, [3]mesh.VertexID{a, c, d})
				}
			}
		}
	}
	return pos, tri
}

// The top of a handle in front, level with a wavy rim, takes no part in its plane nor in its unevenness.
func TestHandleLevelWithAWavyRim(t *testing.T) {
	const amplitude = 0.5
	for _, level := range []float64{-0.4, 0, 0.5} {
		b := tray{noise: 0.012, wave: func(_, _, phi float64) float64 { return amplitude * math.Sin(7*phi+1) }}.build(3)
		pos, tri := bar(Vec{X: -6, Y: -51, Z: level}, [3]int{30, 35, 15}, 0.4, func(p Vec) Vec { return b.place(p.Add(Vec{Z: 0.05 * p.X})) })
		n := mesh.VertexID(len(b.m.Pos))
		faces := slices.Clone(b.m.Tri)
		for _, f := range tri {
			faces = append(faces, [3]mesh.VertexID{f[0] + n, f[1] + n, f[2] + n})
		}
		m := mesh.New(slices.Concat(b.m.Pos, pos), faces)
		rim, why := FindRim(m, m.Normals(), b.toward, occlusalDefaults)
		if rim == nil {
			t.Fatal(why)
		}
		o := FitOcclusal(m, rim, b.refs(), occlusalDefaults)
		deg, off := b.errors(o)
		t.Logf("handle at %.1f mm: %.4f°, %.4f mm off, flat %.3f, chips %v", level, deg, off, o.FlatnessMM, o.Chips)
		if deg > 0.1 || off > 0.05 || o.FlatnessMM > 2*amplitude+0.15 || len(o.Chips) > 0 {
			t.Errorf("handle at %.1f mm: plane %.3f° and %.3f mm off, uneven by %.2f mm, chips %v", level, deg, off, o.FlatnessMM, o.Chips)
		}
	}
}

// Of an arch in pieces none lies behind another; what lies beyond its front, or beyond a plate, does.
func TestBehind(t *testing.T) {
	q := turn(rand.New(rand.NewPCG(5, 6)))
	f := &rimFinder{m: mesh.New(nil, nil)}
	add := func(x, y float64) mesh.VertexID {
		f.m.Pos = append(f.m.Pos, q(Vec{X: x, Y: y}))
		f.area = append(f.area, 0.25)
		return mesh.VertexID(len(f.m.Pos) - 1)
	}
	arch := func(from, to float64) (list []mesh.VertexID) {
		for phi := from; phi < to; phi += 0.02 {
			for s := -4.0; s <= 4; s += 0.5 {
				list = append(list, add(archPoint(phi, s)))
			}
		}
		return list
	}
	block := func(x0, x1, y0, y1 float64) (list []mesh.VertexID) {
		for x := x0; x <= x1; x += 0.5 {
			for y := y0; y <= y1; y += 0.5 {
				list = append(list, add(x, y))
			}
		}
		return list
	}
	// The rear of a rim, on one side, bent outward at both ends.
	bent := func(side float64) (list []mesh.VertexID) {
		for y := -12.0; y <= 12; y += 0.5 {
			for s := -1.5; s <= 1.5; s += 0.5 {
				list = append(list, add(side*(20+s+0.012*y*y), y))
			}
		}
		return list
	}
	whole, plate := arch(-1.7, 1.7), block(-20, 20, -28, 20)
	handle := block(-6, 6, -50, -36)
	for _, c := range []struct {
		name        string
		piece, main []mesh.VertexID
		want        bool
	}{
		{"handle before a rim", handle, whole, true},
		{"handle beside the middle", block(2, 12, -50, -36), whole, true},
		{"handle before a plate", handle, plate, true},
		{"handle before the front of a rim", handle, arch(-0.9, 0.9), true},
		{"low handle before the front of a rim", block(-12, 12, -60, -36), arch(-0.9, 0.9), true},
		{"end of a rim", arch(1.2, 1.7), arch(-1.7, 1.1), false},
		{"front of a rim", arch(-0.4, 0.4), arch(0.5, 1.7), false},
		{"other half", arch(0.05, 1.7), arch(-1.7, -0.05), false},
		{"rear across", arch(1.3, 1.7), arch(-1.7, -1), false},
		{"other side of a rim", bent(1), bent(-1), false},
		{"other half of a plate", block(1, 20, -28, 20), block(-20, -1, -28, 20), false},
	} {
		if got := f.behind(c.piece, c.main, Plane{q(Vec{}), q(Vec{Z: 1})}); got != c.want {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}
