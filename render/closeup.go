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
		if at, ok := middle(f.Where); ok && at.Finite() && f.Number > 0 {
			fs = append(fs, f)
		}
	}
	slices.SortStableFunc(fs, func(a, b *inspect.Finding) int {
		return cmp.Or(cmp.Compare(rank(a.Severity), rank(b.Severity)), cmp.Compare(a.Number, b.Number))
	})
	fs = fs[:min(len(fs), max(0, limit))]
	vs := make([]View, 0, len(fs))
	for _, f := range fs {
		v := View{Name: fmt.Sprintf("finding-%d", f.Number), Title: fmt.Sprintf("Finding %d: %s", f.Number, headline(f)), finding: f}
		if _, v.Plane = ofPlane(rep, f); v.Plane {
			v.Camera = aimAtPlane(rep)
		} else {
			v.Camera, v.Tissue = aim(rep, s, f), true
		}
		vs = append(vs, v)
	}
	return vs
}

// aim returns the camera of a close-up; its Scale is half the width to show, in mm. It looks
// at the surface round the place from where nothing hides it, with the front of the arch
// upward, or the patient upright where it looks along the arch.
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
	for _, q := range slices.Concat(places, f.Where.Points) {
		if q.Finite() {
			lo, hi = lo.Min(q), hi.Max(q)
		}
	}
	size = max(size, hi.Dist(lo)/2)
	if len(f.Where.Path) > 1 || len(f.Where.Points) > 1 {
		at = lo.Add(hi).Scale(0.5)
	}
	if toward == (mesh.Vec{}) {
		toward = s.facing(places, near)
	}
	toward = s.clear(at, toward, max(1, 0.6*size), rep.Frame)
	up := mesh.Vec{Y: 1}
	if fr := rep.Frame; fr != nil {
		up = fr.Posterior.Scale(-1)
		if math.Abs(toward.Dot(up)) > 0.75 {
			up = fr.TowardTissue
			if rep.Jaw == inspect.Lower {
				up = up.Scale(-1)
			}
		}
	}
	c := Look(toward, up)
	c.Centre = at
	c.Scale = max(8, min(45, 1.5*size+5))
	return c
}

// aimAtPlane returns the camera of a finding about the occlusal plane: from the front, with the
// whole rim in the picture.
func aimAtPlane(rep *inspect.Report) Camera {
	lo := mesh.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}
	hi := lo.Scale(-1)
	for _, path := range rep.Occlusal.Outline {
		for _, p := range path {
			lo, hi = lo.Min(p), hi.Max(p)
		}
	}
	c := views(rep)[2].Camera
	c.Centre = lo.Add(hi).Scale(0.5)
	c.Scale = max(8, min(45, 0.5*hi.Dist(lo)+4))
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

// clear returns the direction from which to look at a place whose surface faces normal, the
// zero vector if that is not known: the first of the patient's axes and the directions between
// them and the normal from which no vertex within radius mm of the line of sight stands in
// front, or else the one with the fewest. Whole views come first, since a reader knows them.
func (s *Surface) clear(at, normal mesh.Vec, radius float64, f *inspect.Frame) mesh.Vec {
	axes := []mesh.Vec{{Z: 1}, {Z: -1}, {Y: -1}, {X: 1}, {X: -1}, {Y: 1}}
	if f != nil {
		axes = []mesh.Vec{f.TowardTissue, f.TowardTissue.Scale(-1), f.Posterior.Scale(-1), f.Left, f.Left.Scale(-1), f.Posterior}
	}
	tries := axes
	if normal != (mesh.Vec{}) {
		tries = nil
		for _, least := range [3]float64{0.8, 0.35, 0} { // cosine of the angle to the normal
			for _, a := range axes {
				if a.Dot(normal) >= least {
					tries = append(tries, a.Add(normal).Unit(), normal, a.Scale(2).Add(normal).Unit())
				}
			}
			for _, a := range axes {
				if a.Dot(normal) >= least {
					tries = append(tries, a)
				}
			}
		}
	}
	best, fewest := tries[0], math.MaxInt
	for i, d := range tries {
		if slices.Contains(tries[:i], d) {
			continue
		}
		if n := s.before(at, d, radius, fewest); n < fewest {
			best, fewest = d, n
		}
		if fewest == 0 {
			break
		}
	}
	return best
}

// before counts the vertices that stand in front of a place seen from direction d: within
// radius of the line of sight and more than 1 mm, and the radius, nearer to the viewer. It
// stops counting at most.
func (s *Surface) before(at, d mesh.Vec, radius float64, most int) int {
	n := 0
	for _, p := range s.mesh.Pos {
		q := p.Sub(at)
		h := q.Dot(d)
		if h > 1+radius && q.Norm2()-h*h < radius*radius {
			if n++; n >= most {
				break
			}
		}
	}
	return n
}
