package inspect

import (
	"math"

	"fornix/mesh"
	"fornix/mesh/register"
)

// layerThickness measures the layer between two surfaces at the vertices of one of them.
//
// What: the signed distance from a vertex to the other surface along the vertex's normal, positive on
// its outer side. On a surface and its parallel surface that is the layer's thickness exactly, which
// the nearest distance is not where the thickness changes.
// How: a ray to either side. Where material came on, the vertex lies inside the other body, and what
// the ray outward meets first is that body's skin seen from within, turned the same way as the vertex;
// where material came off, the ray inward meets the skin from without. A skin turned the other way is
// another wall and stops the ray. Inward the ray also ends where it leaves the body itself, so that a
// wall that is gone as a whole is not mistaken for a deep cut into the next one.
// What it cannot see: nothing is said (NaN) where neither ray meets such a skin within reach, as over a
// hole of the other scan, beyond its edge, and where a wall is gone. face is the other surface's where
// there is a thickness.
// The other surface and this one are in one frame and wound outward. O(#V log #F), in parallel; the
// result does not depend on the number of workers.
func layerThickness(of, to *register.Body, want func(v int) bool, reach float64) (t []float64, face []mesh.FaceID) {
	t, face = make([]float64, len(of.Mesh.Pos)), make([]mesh.FaceID, len(of.Mesh.Pos))
	inBlocks(len(t), layerBlock, func(int) func(v int) {
		return func(v int) {
			t[v] = math.NaN()
			if n := of.Normals[v]; n.Norm2() > 0 && (want == nil || want(v)) {
				t[v], face[v] = along(of, to, of.Mesh.Pos[v], n, reach)
			}
		}
	})
	return t, face
}

// layerBlock is how many vertices a worker takes at a time.
const layerBlock = 512

// facingLeast is the least cosine between a place's normal and a skin that counts as its own: beyond
// 75 degrees the thickness along the normal says little.
const facingLeast = 0.26

// skinMM is how far the surface of the body itself may lie from one of its vertices along the normal
// without being another wall: more than noise and faces do, less than the thinnest border.
const skinMM = 0.5

func along(of, to *register.Body, p, n Vec, reach float64) (t float64, face mesh.FaceID) {
	t = math.NaN()
	if hit, met := to.Tree.Ray(p, n, 0, reach); met && to.Mesh.FaceNormal(hit.Face).Dot(n) > facingLeast {
		t, face = hit.T, hit.Face
	}
	hit, met := to.Tree.Ray(p, n.Scale(-1), 0, reach)
	if !met || !(to.Mesh.FaceNormal(hit.Face).Dot(n) > facingLeast) || hit.T >= t {
		return t, face
	}
	if hit.T > skinMM {
		if own, leaves := of.Tree.Ray(p, n.Scale(-1), skinMM, hit.T); leaves && of.Mesh.FaceNormal(own.Face).Dot(n) < 0 {
			return t, face
		}
	}
	return -hit.T, hit.Face
}

// columns returns for each vertex of m its third of the volumes of the columns over its faces, from
// the face to the surface that lies t along the normals; faces with a vertex that has no t have none.
// Positive where t is. The columns of neighbouring faces share their sides, so that their sum is the
// volume between the two surfaces; a bent side counts as the mean of both ways to cut it into faces.
func columns(m *mesh.Mesh, normals []Vec, t []float64) []float64 {
	out := make([]float64, len(m.Pos))
	for _, f := range m.Tri {
		var p, q [3]Vec
		sum := 0.0
		for k, v := range f {
			p[k], q[k] = m.Pos[v], m.Pos[v].Along(t[v], normals[v])
			sum += t[v]
		}
		if math.IsNaN(sum) {
			continue
		}
		o := p[0]
		cone := func(a, b, c Vec) float64 { return a.Sub(o).Dot(b.Sub(o).Cross(c.Sub(o))) / 6 }
		volume := cone(q[0], q[1], q[2]) - cone(p[0], p[1], p[2])
		for k := range 3 {
			a, b, c, d := p[k], p[(k+1)%3], q[(k+1)%3], q[k]
			volume += (cone(a, b, c) + cone(a, c, d) + cone(a, b, d) + cone(b, c, d)) / 2
		}
		for _, v := range f {
			out[v] += volume / 3
		}
	}
	return out
}

// discMeans returns the means of fields by area over the vertices within r of each along the surface.
// Where a field is not measured it stays so; what is not measured nearby does not count.
func discMeans(m *mesh.Mesh, area []float64, r float64, fields ...[]float64) [][]float64 {
	out := make([][]float64, len(fields))
	for i := range out {
		out[i] = make([]float64, len(area))
	}
	inBlocks(len(area), layerBlock, func(int) func(v int) {
		walk := mesh.NewWalker(m)
		var near []mesh.VertexID
		return func(v int) {
			wanted := false
			for i, t := range fields {
				out[i][v] = t[v]
				wanted = wanted || !math.IsNaN(t[v])
			}
			if !wanted {
				return
			}
			near = walk.Within(mesh.VertexID(v), r, near)
			for i, t := range fields {
				if math.IsNaN(t[v]) {
					continue
				}
				var sum, w float64
				for _, u := range near {
					if !math.IsNaN(t[u]) {
						sum += float64(area[u] * t[u])
						w += area[u]
					}
				}
				if w > 0 {
					out[i][v] = sum / w
				}
			}
		}
	})
	return out
}

// cutOff is, for each vertex of a body, how much flat faces may cut off the true surface there, in it
// and in another body with faces so many times coarser.
//
// Faces of edge e that turn by an angle φ about a vertex lie within e φ/4 of any surface through their
// corners that turns as evenly; at a sharp edge, where they turn at once, within e/2 times the tangent of
// half the turn, which up to a right angle is about the same. A surface of the same bend is cut off in
// proportion to the square of the edge.
func cutOff(b *register.Body, coarser float64) []float64 {
	m := b.Mesh
	out := make([]float64, len(m.Pos))
	for v := range out {
		least, edge := 1.0, 0.0
		for _, c := range m.CornersAt(mesh.VertexID(v)) {
			if f := m.FaceNormal(c.Face()); f.Norm2() > 0 {
				least = math.Min(least, f.Dot(b.Normals[v]))
			}
			edge = math.Max(edge, m.Pos[v].Dist(m.Pos[m.Vertex(c.Next())]))
		}
		out[v] = edge * 2 * math.Acos(math.Max(-1, least)) / 4 * (1 + coarser*coarser)
	}
	return out
}

// sags is, for each vertex of a body, how far flat faces lie from the true surface about it at most, in
// it and in another body with faces so many times coarser: a quarter of the height by which its
// neighbours lie below its tangent plane (e²/2R of a sphere, of which faces cut off e²/8R). Positive
// where the surface bulges outward, negative in a hollow, so that noise averages out.
func sags(b *register.Body, coarser float64) []float64 {
	m := b.Mesh
	out := make([]float64, len(m.Pos))
	for v := range out {
		ring := m.CornersAt(mesh.VertexID(v))
		for _, c := range ring {
			out[v] += m.Pos[v].Sub(m.Pos[m.Vertex(c.Next())]).Dot(b.Normals[v]) / float64(4*len(ring)) * (1 + coarser*coarser)
		}
	}
	return out
}
