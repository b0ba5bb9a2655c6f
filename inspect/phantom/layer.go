package phantom

import (
	"fmt"
	"math"
)

// Layer is material put on (or, where negative, taken off) the tissue surface along its normals, as
// a wash or a relief does: the new surface is the set of points p + t(p)·n(p) over the points p of
// the old one with the normal n, so the thickness along the old surface's normal is t exactly.
type Layer struct {
	X, Y      float64 // middle in plan
	Radius    float64 // in plan; 0: the whole tissue surface
	Thickness float64 // t away from the edge
	Fade      float64 // over this width t rises from 0 to Thickness, from the edge of the disc or of the material inward
}

// LayerTruth is a layer. Within Radius - Fade of Point in plan, or farther than Fade from the edge of
// the material, it has its whole thickness.
type LayerTruth struct {
	Point     vec     `json:"point"` // on the surface without the layer
	Radius    float64 `json:"radius"`
	Thickness float64 `json:"thickness"`
	Fade      float64 `json:"fade"`
}

// thickness is t at a point of the tissue surface with the foot ft. The edge of the material is the
// loop of the outermost balls, in the sheet's own plan.
func (l *Layer) thickness(p vec, ft *foot, trim *loop) float64 {
	inward := l.Radius - math.Hypot(p.X-l.X, p.Y-l.Y)
	if l.Radius == 0 {
		inward, _ = trim.rough(ft.a, ft.b)
		if inward = -inward; inward < l.Fade+1 {
			d, _ := trim.nearest(ft.a, ft.b)
			inward = -d
		}
	}
	return l.Thickness * smooth(inward, 0, l.Fade)
}

// layers moves the vertices of the tissue surface along their normals.
func (m *maker) layers(sf *surface, workers int) error {
	if len(m.p.Layers) == 0 {
		return nil
	}
	for _, l := range m.p.Layers {
		if !(l.Fade > 0) || !(math.Abs(l.Thickness) > 0) || l.Radius < 0 {
			return fmt.Errorf("phantom: a layer needs a thickness and a width over which it fades, not %g and %g", l.Thickness, l.Fade)
		}
		q, _, ok := m.s.hit(l.X, l.Y, false)
		if !ok {
			return fmt.Errorf("phantom: no surface under a layer at %g, %g", l.X, l.Y)
		}
		m.truth.Layers = append(m.truth.Layers, LayerTruth{q, l.Radius, l.Thickness, l.Fade})
	}
	each(len(sf.pos), workers, func(i int) {
		if sf.part[i] == partWax || sf.part[i] == partHandle {
			return
		}
		ft := m.s.sheet.nearest(sf.pos[i])
		var j jet
		m.s.sheet.at(ft.a, ft.b, &j)
		if ft.t >= 0 || sf.pos[i].Sub(ft.c).Dot(j.normal())*m.s.tissue <= 0 {
			return
		}
		t := 0.0
		for k := range m.p.Layers {
			t += m.p.Layers[k].thickness(sf.pos[i], &ft, m.s.sheet.trim)
		}
		sf.pos[i] = sf.pos[i].Along(t, sf.n[i])
	})
	return nil
}
