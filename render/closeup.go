package render

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"fornix/inspect"
	"fornix/mesh"
)

// closeUps returns one view for each numbered finding that has a place, at most limit of them,
// gravest first.
func closeUps(rep *inspect.Report, s *Surface, limit int) []View {
	var fs []*inspect.Finding
	for i := range rep.Findings {
		f := &rep.Findings[i]
		if _, ok := middle(f.Where); ok && f.Number > 0 {
			fs = append(fs, f)
		}
	}
	slices.SortStableFunc(fs, func(a, b *inspect.Finding) int {
		return cmp.Or(cmp.Compare(rank(a.Severity), rank(b.Severity)), cmp.Compare(a.Number, b.Number))
	})
	fs = fs[:min(len(fs), max(0, limit))]
	vs := make([]View, 0, len(fs))
	for _, f := range fs {
		vs = append(vs, View{
			Name: fmt.Sprintf("finding-%d", f.Number), Title: fmt.Sprintf("Finding %d: %s", f.Number, headline(f)),
			Camera: aim(rep, s, f), Tissue: true, finding: f,
		})
	}
	return vs
}

// aim returns the camera of a close-up; its Scale is half the width to show, in mm. It looks
// straight at the surface round the place, with the front of the arch upward, or the tissue
// side where it looks along the arch.
func aim(rep *inspect.Report, s *Surface, f *inspect.Finding) Camera {
	at, _ := middle(f.Where)
	places, size := []mesh.Vec{at}, f.Where.RadiusMM
	toward := mesh.Vec{}
	near := size + 0.8 // mm
	for _, h := range rep.Holes {
		if f.Code == "hole" && h.Centre.Dist(at) < 0.5 {
			size = max(size, h.SpanMM/2)
			if len(h.Rim) > 0 {
				places, near = h.Rim, 0.8
			}
		}
	}
	for _, d := range rep.Defects {
		if f.Code == d.Kind && d.Centre.Dist(at) < 0.5 {
			toward = d.Normal
			if d.DiameterMM != nil {
				size = max(size, *d.DiameterMM/2)
			}
		}
	}
	if len(f.Where.Path) > 1 {
		places, near = f.Where.Path, 0.8
	}
	lo, hi := places[0], places[0]
	for _, q := range places {
		lo, hi = lo.Min(q), hi.Max(q)
	}
	size = max(size, hi.Dist(lo)/2)
	if len(f.Where.Path) > 1 {
		at = lo.Add(hi).Scale(0.5)
	}
	if toward == (mesh.Vec{}) {
		toward = s.facing(places, near)
	}
	up := mesh.Vec{Y: 1}
	if fr := rep.Frame; fr != nil {
		if toward == (mesh.Vec{}) {
			toward = fr.TowardTissue
		}
		up = fr.Posterior.Scale(-1)
		if math.Abs(toward.Dot(up)) > 0.75 {
			up = fr.TowardTissue
			if rep.Jaw == inspect.Lower {
				up = up.Scale(-1)
			}
		}
	}
	if toward == (mesh.Vec{}) {
		toward = mesh.Vec{Z: 1}
	}
	c := Look(toward, up)
	c.Centre = at
	c.Scale = max(7, min(45, 1.5*size+4.5))
	return c
}

// facing returns the mean normal of the surface within near mm of the places; the zero vector
// where the normals cancel out.
func (s *Surface) facing(places []mesh.Vec, near float64) mesh.Vec {
	margin := mesh.Vec{X: near, Y: near, Z: near}
	lo, hi := places[0], places[0]
	for _, q := range places {
		lo, hi = lo.Min(q), hi.Max(q)
	}
	lo, hi = lo.Sub(margin), hi.Add(margin)
	sum, n := mesh.Vec{}, 0.0
	for v, p := range s.mesh.Pos {
		if !(p.X >= lo.X && p.X <= hi.X && p.Y >= lo.Y && p.Y <= hi.Y && p.Z >= lo.Z && p.Z <= hi.Z) {
			continue
		}
		for _, q := range places {
			if p.Sub(q).Norm2() <= near*near {
				d := s.normal[v]
				sum, n = sum.Add(mesh.Vec{X: float64(d[0]), Y: float64(d[1]), Z: float64(d[2])}), n+1
				break
			}
		}
	}
	if n == 0 || sum.Norm() < 0.2*n {
		return mesh.Vec{}
	}
	return sum.Unit()
}
