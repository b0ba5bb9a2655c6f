package shape

import (
	"slices"

	"fornix/mesh"
)

// Grid is the sheet of at(u, v) over 0..1 × 0..1 in nu × nv rectangles of two faces, wound
// counterclockwise seen with u to the right and v up. A closed direction joins 1 to 0.
func Grid(nu, nv int, closedU, closedV bool, at func(u, v float64) mesh.Vec) *mesh.Mesh {
	rows, columns := nv+1, nu+1
	if closedV {
		rows = nv
	}
	if closedU {
		columns = nu
	}
	pos := make([]mesh.Vec, 0, rows*columns)
	for j := range rows {
		for i := range columns {
			pos = append(pos, at(float64(i)/float64(nu), float64(j)/float64(nv)))
		}
	}
	id := func(i, j int) mesh.VertexID { return mesh.VertexID(j%rows*columns + i%columns) }
	tri := make([][3]mesh.VertexID, 0, 2*nu*nv)
	for j := range nv {
		for i := range nu {
			tri = append(tri, [3]mesh.VertexID{id(i, j), id(i+1, j), id(i+1, j+1)},
				[3]mesh.VertexID{id(i, j), id(i+1, j+1), id(i, j+1)})
		}
	}
	return mesh.New(pos, tri)
}

// Join puts meshes into one without joining their vertices.
func Join(parts ...*mesh.Mesh) *mesh.Mesh {
	var pos []mesh.Vec
	var tri [][3]mesh.VertexID
	for _, m := range parts {
		k := mesh.VertexID(len(pos))
		pos = append(pos, m.Pos...)
		for _, t := range m.Tri {
			tri = append(tri, [3]mesh.VertexID{t[0] + k, t[1] + k, t[2] + k})
		}
	}
	return mesh.New(pos, tri)
}

// Weld makes equal positions one vertex, as reading a file does.
func Weld(m *mesh.Mesh) *mesh.Mesh {
	seen := make(map[mesh.Vec]mesh.VertexID, len(m.Pos))
	var pos []mesh.Vec
	tri := slices.Clone(m.Tri)
	for f := range tri {
		for k, v := range tri[f] {
			id, known := seen[m.Pos[v]]
			if !known {
				id = mesh.VertexID(len(pos))
				pos = append(pos, m.Pos[v])
				seen[m.Pos[v]] = id
			}
			tri[f][k] = id
		}
	}
	return mesh.New(pos, tri)
}

// Keep returns the faces that keep takes; vertices stay, also those no longer in use.
func Keep(m *mesh.Mesh, keep func(mesh.FaceID) bool) *mesh.Mesh {
	var tri [][3]mesh.VertexID
	for f, t := range m.Tri {
		if keep(mesh.FaceID(f)) {
			tri = append(tri, t)
		}
	}
	return mesh.New(m.Pos, tri)
}

// Map returns the mesh with every position moved by to. A mirror turns it inside out.
func Map(m *mesh.Mesh, to func(mesh.Vec) mesh.Vec) *mesh.Mesh {
	pos := make([]mesh.Vec, len(m.Pos))
	for i, p := range m.Pos {
		pos[i] = to(p)
	}
	return mesh.New(pos, m.Tri)
}
