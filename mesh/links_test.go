package mesh

import (
	"slices"
	"testing"
)

// Of a tetrahedron every vertex is joined to the three others; a vertex without a face to none; a face
// that names one vertex twice joins it to the other one once.
func TestLinks(t *testing.T) {
	m := New(make([]Vec, 7), [][3]VertexID{{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}, {5, 5, 6}})
	l := m.Links()
	for v, want := range [][]VertexID{{1, 2, 3}, {0, 2, 3}, {0, 1, 3}, {0, 1, 2}, nil, {6}, {5}} {
		got := slices.Clone(l.At(VertexID(v)))
		slices.Sort(got)
		if !slices.Equal(got, want) {
			t.Errorf("vertex %d is joined to %d, want %d", v, got, want)
		}
	}
	if got := l.At(0); !slices.Equal(got, []VertexID{2, 1, 3}) {
		t.Errorf("order of vertex 0: %d", got)
	}
}
