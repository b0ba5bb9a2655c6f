package render

import (
	"math"
	"testing"

	"fornix/inspect"
	"fornix/mesh"
)

// On a flat plate with a straight row of stations, the colour follows the nearest thickness,
// ends at the band's edge, and is absent where nothing was measured.
func TestBorderTint(t *testing.T) {
	var pos []mesh.Vec
	var tri [][3]mesh.VertexID
	const n = 81 // vertices along a side, 0.5 mm apart
	for i := range n * n {
		pos = append(pos, mesh.Vec{X: float64(i%n) / 2, Y: float64(i/n) / 2})
		if i%n+1 < n && i/n+1 < n {
			v := mesh.VertexID(i)
			tri = append(tri, [3]mesh.VertexID{v, v + 1, v + n + 1}, [3]mesh.VertexID{v, v + n + 1, v + n})
		}
	}
	m := mesh.New(pos, tri)
	var b inspect.Border
	for x := range 40 {
		s := inspect.Station{Apex: mesh.Vec{X: float64(x), Y: 20}}
		switch {
		case x < 12:
			s.ThicknessMM = ptr(1.2)
		case x >= 20:
			s.ThicknessMM = ptr(3.7)
		}
		b.Stations = append(b.Stations, s)
	}
	scale := Scale{}.orDefault()
	cs := scale.colours()
	tint := borderTint(m, &b, scale)
	at := func(x, y float64) int { return int(2*y)*n + int(2*x) }
	if got := tint[at(6, 20)]; got != cs[scale.step(1.2)] {
		t.Errorf("on a thin station: %v, want %v", got, cs[scale.step(1.2)])
	}
	want := cs[scale.step(3.7)]
	if got := tint[at(30, 21)]; got.R != want.R || got.G != want.G || got.B != want.B {
		t.Errorf("beside a thick station: %v, want %v", got, want)
	}
	for _, p := range [][2]float64{{16, 20}, {6, 25}, {30, 15}, {6, 0}, {6, 22.5}} {
		if got := tint[at(p[0], p[1])]; got.A >= edgeOfBand {
			t.Errorf("at %v: %v, want no colour", p, got)
		}
	}
	// The field crosses 128 at the band's edge, whatever the faces.
	a, b2 := float64(tint[at(6, 22)].A), float64(tint[at(6, 22.5)].A)
	if edge := 2 + 0.5*(a-edgeOfBand)/(a-b2); math.Abs(edge-bandMM) > 0.01 {
		t.Errorf("the band ends %.3f mm from the line, want %g", edge, bandMM)
	}
	for i := range b.Stations {
		b.Stations[i].ThicknessMM = nil
	}
	if borderTint(m, &b, scale) != nil {
		t.Error("colours without a thickness")
	}
}
