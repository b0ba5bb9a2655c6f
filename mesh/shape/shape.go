// Package shape makes test surfaces whose area, volume, thickness and curvature are known
// exactly, for the tests of every package.
package shape

import (
	"math"

	"fornix/mesh"
)

// Solid is a mesh with the measures of the smooth shape that it approaches.
type Solid struct {
	*mesh.Mesh
	Area   float64 // mm²
	Volume float64 // mm³; of an open sheet 0
}

// Icosphere is a sphere of the given radius about the origin: an icosahedron with each face cut
// into four level times, all vertices on the sphere, wound outward. 20·4^level faces.
func Icosphere(radius float64, level int) Solid {
	g := (1 + math.Sqrt(5)) / 2
	pos := []mesh.Vec{{X: -1, Y: g}, {X: 1, Y: g}, {X: -1, Y: -g}, {X: 1, Y: -g},
		{Y: -1, Z: g}, {Y: 1, Z: g}, {Y: -1, Z: -g}, {Y: 1, Z: -g},
		{X: g, Z: -1}, {X: g, Z: 1}, {X: -g, Z: -1}, {X: -g, Z: 1}}
	tri := [][3]mesh.VertexID{{0, 11, 5}, {0, 5, 1}, {0, 1, 7}, {0, 7, 10}, {0, 10, 11},
		{1, 5, 9}, {5, 11, 4}, {11, 10, 2}, {10, 7, 6}, {7, 1, 8},
		{3, 9, 4}, {3, 4, 2}, {3, 2, 6}, {3, 6, 8}, {3, 8, 9},
		{4, 9, 5}, {2, 4, 11}, {6, 2, 10}, {8, 6, 7}, {9, 8, 1}}
	for i := range pos {
		pos[i] = pos[i].Unit().Scale(radius)
	}
	for range level {
		middle := make(map[[2]mesh.VertexID]mesh.VertexID, 3*len(tri)/2)
		between := func(a, b mesh.VertexID) mesh.VertexID {
			key := [2]mesh.VertexID{min(a, b), max(a, b)}
			v, made := middle[key]
			if !made {
				v = mesh.VertexID(len(pos))
				pos = append(pos, pos[a].Add(pos[b]).Unit().Scale(radius))
				middle[key] = v
			}
			return v
		}
		finer := make([][3]mesh.VertexID, 0, 4*len(tri))
		for _, t := range tri {
			ab, bc, ca := between(t[0], t[1]), between(t[1], t[2]), between(t[2], t[0])
			finer = append(finer, [3]mesh.VertexID{t[0], ab, ca}, [3]mesh.VertexID{t[1], bc, ab},
				[3]mesh.VertexID{t[2], ca, bc}, [3]mesh.VertexID{ab, bc, ca})
		}
		tri = finer
	}
	return Solid{mesh.New(pos, tri), 4 * math.Pi * radius * radius, 4 * math.Pi / 3 * radius * radius * radius}
}

// Torus goes around z at the distance ring with the tube radius tube, in around × along
// rectangles of two faces, wound outward. Its thickness is 2·tube everywhere.
func Torus(ring, tube float64, around, along int) Solid {
	m := Grid(around, along, true, true, func(u, v float64) mesh.Vec {
		su, cu := math.Sincos(2 * math.Pi * u)
		sv, cv := math.Sincos(2 * math.Pi * v)
		d := ring + float64(tube*cv)
		return mesh.Vec{X: d * cu, Y: d * su, Z: tube * sv}
	})
	return Solid{m, 4 * math.Pi * math.Pi * ring * tube, 2 * math.Pi * math.Pi * ring * tube * tube}
}

// SphericalShell is the material between two icospheres about the origin, the outer wound
// outward, the inner toward the origin. Its thickness is outer - inner everywhere.
func SphericalShell(outer, inner float64, level int) Solid {
	a, b := Icosphere(outer, level), Icosphere(inner, level)
	return Solid{Join(a.Mesh, b.Flip()), a.Area + b.Area, a.Volume - b.Volume}
}

// Plate is a flat box of x by y by thickness mm with its middle in the origin, wound outward,
// all sides cut into rectangles of two faces not longer than step. Exact at any step.
func Plate(x, y, thickness, step float64) Solid {
	size := mesh.Vec{X: x, Y: y, Z: thickness}
	cut := func(l float64) int { return max(1, int(math.Ceil(l/step-1e-9))) }
	nx, ny, nz := cut(x), cut(y), cut(thickness)
	face := func(o, du, dv mesh.Vec, nu, nv int) *mesh.Mesh {
		return Grid(nu, nv, false, false, func(u, v float64) mesh.Vec {
			// Every side walks up the axes, so that sides that share an edge get the same bits.
			p := o.Add(du.Scale(u)).Add(dv.Scale(v))
			return mesh.Vec{X: (p.X - 0.5) * size.X, Y: (p.Y - 0.5) * size.Y, Z: (p.Z - 0.5) * size.Z}
		})
	}
	ex, ey, ez := mesh.Vec{X: 1}, mesh.Vec{Y: 1}, mesh.Vec{Z: 1}
	var zero mesh.Vec
	m := Weld(Join(
		face(ez, ex, ey, nx, ny), face(zero, ey, ex, ny, nx),
		face(ex, ey, ez, ny, nz), face(zero, ez, ey, nz, ny),
		face(ey, ez, ex, nz, nx), face(zero, ex, ez, nx, nz)))
	return Solid{m, 2 * (x*y + y*thickness + thickness*x), x * y * thickness}
}

// Cap is the open sheet of a spherical cap over the circle of the given base radius in z = 0,
// height high at the z axis, wound outward, in rings of n·6·k faces. Its Volume is that between
// sheet and base.
func Cap(base, height float64, n int) Solid {
	r := (base*base + height*height) / (2 * height)
	all := math.Acos(1 - height/r)
	pos := []mesh.Vec{{Z: height}}
	var tri [][3]mesh.VertexID
	first := mesh.VertexID(0)
	for k := 1; k <= n; k++ {
		next := mesh.VertexID(len(pos))
		s, c := math.Sincos(all * float64(k) / float64(n))
		for i := range 6 * k {
			si, ci := math.Sincos(2 * math.Pi * float64(i) / float64(6*k))
			pos = append(pos, mesh.Vec{X: r * s * ci, Y: r * s * si, Z: float64(r*c) - (r - height)})
		}
		in := func(i int) mesh.VertexID {
			if k == 1 {
				return 0
			}
			return first + mesh.VertexID(i%(6*(k-1)))
		}
		out := func(i int) mesh.VertexID { return next + mesh.VertexID(i%(6*k)) }
		for side := range 6 {
			for i := range k {
				a, b := side*k+i, side*(k-1)+i
				tri = append(tri, [3]mesh.VertexID{out(a), out(a + 1), in(b)})
				if i < k-1 {
					tri = append(tri, [3]mesh.VertexID{in(b), out(a + 1), in(b + 1)})
				}
			}
		}
		first = next
	}
	return Solid{mesh.New(pos, tri), math.Pi * (base*base + height*height), math.Pi * height * (3*base*base + height*height) / 6}
}

// Trough is the open sheet of half a tube of the given radius along x, length long, its opening
// toward z, wound so that the normals point into the trough, in around × along rectangles.
// One boundary loop of 2 π radius + 2 length as the rectangles get small.
func Trough(radius, length float64, around, along int) Solid {
	m := Grid(along, around, false, false, func(u, v float64) mesh.Vec {
		s, c := math.Sincos(math.Pi * v)
		return mesh.Vec{X: length * (u - 0.5), Y: -radius * c, Z: -radius * s}
	})
	return Solid{m, math.Pi * radius * length, 0}
}
