package register

import (
	"fornix/mesh"
)

// sample is a point of a body that stands for an equal share of its area.
type sample struct {
	at, normal mesh.Vec // unit normal; zero: none
}

// sampler draws samples of even spacing from the vertices of a body. Vertices stand in the order
// of a space-filling curve, one normal octant after the other so that the two sides of a thin
// sheet stay apart, and are taken at equal steps of the area that they carry. So the density
// of the triangulation does not weigh, and the same body gives the same samples.
type sampler struct {
	body  *Body
	sign  float64 // -1: the body is turned inside out
	order []int32
	upTo  []float64 // area of the vertices before and with each, in order, mm²
}

func newSampler(b *Body, zone []bool, inside bool) *sampler {
	s := &sampler{body: b, sign: 1}
	if inside {
		s.sign = -1
	}
	m := b.Mesh
	area := make([]float64, len(m.Pos))
	for f, t := range m.Tri {
		a := m.FaceArea(mesh.FaceID(f)) / 3
		for _, v := range t {
			area[v] += a
		}
	}
	s.order = make([]int32, 0, len(m.Pos))
	for _, v := range byKey(curveKeys(m.Pos, b.Normals)) {
		if area[v] > 0 && (zone == nil || zone[v]) && b.Normals[v] != (mesh.Vec{}) {
			s.order = append(s.order, v)
		}
	}
	s.upTo = make([]float64, len(s.order))
	sum := 0.0
	for i, v := range s.order {
		sum += area[v]
		s.upTo[i] = sum
	}
	return s
}

// area returns the area that is sampled, in mm².
func (s *sampler) area() float64 {
	if len(s.upTo) == 0 {
		return 0
	}
	return s.upTo[len(s.upTo)-1]
}

// take returns about n vertices, never one twice.
func (s *sampler) take(n int) []mesh.VertexID {
	out := make([]mesh.VertexID, 0, min(n, len(s.order)))
	k := 0
	for i, v := range s.order {
		if s.upTo[i]*float64(n) < (float64(k)+0.5)*s.area() {
			continue
		}
		out = append(out, mesh.VertexID(v))
		for k++; s.upTo[i]*float64(n) >= (float64(k)+0.5)*s.area(); k++ {
		}
	}
	return out
}

// points returns about n samples with the normals of their vertices.
func (s *sampler) points(n int) []sample {
	at := s.take(n)
	out := make([]sample, len(at))
	for i, v := range at {
		out[i] = sample{s.body.Mesh.Pos[v], s.body.Normals[v].Scale(s.sign)}
	}
	return out
}

// patches returns about n samples whose normals are means over the surface within radius mm:
// noise and single faces do not show in them.
func (s *sampler) patches(n int, radius float64, workers int) []sample {
	at := s.take(n)
	out := make([]sample, len(at))
	inPieces(len(at), len(at)/8+1, workers, func(lo, hi int) {
		w := mesh.NewWalker(s.body.Mesh)
		var buf []mesh.VertexID
		for i := lo; i < hi; i++ {
			own := s.body.Normals[at[i]]
			buf = w.Within(at[i], radius, buf)
			var sum mesh.Vec
			for _, v := range buf {
				if n := s.body.Normals[v]; n.Dot(own) > 0.5 {
					sum = sum.Add(n)
				}
			}
			out[i] = sample{s.body.Mesh.Pos[at[i]], sum.Unit().Scale(s.sign)}
		}
	})
	return out
}
