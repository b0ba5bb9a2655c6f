package inspect

import (
	"fmt"
	"math"
	"slices"

	"fornix/mesh"
)

// wallShare looks at the surface within the skirt around a piece of flat and returns which
// share of the sloping part is wall.
func (f *rimFinder) wallShare(piece []mesh.VertexID, in []bool, p Plane) float64 {
	m := f.m
	if f.dist == nil {
		f.dist, f.done = make([]float32, len(m.Pos)), make([]bool, len(m.Tri))
	}
	dist, done := f.dist, f.done // zero: not reached
	var queue []mesh.VertexID
	reach := func(v mesh.VertexID, d float32) {
		for _, c := range m.CornersAt(v) {
			for _, w := range [2]mesh.VertexID{m.Vertex(c.Next()), m.Vertex(c.Prev())} {
				if in[w] {
					continue
				}
				if e := d + max(1e-9, float32(m.Pos[v].Dist(m.Pos[w]))); (dist[w] == 0 || e < dist[w]) && (d == 0 || e <= float32(f.method.SkirtMM)) {
					dist[w] = e
					queue = append(queue, w)
				}
			}
		}
	}
	for _, v := range piece {
		reach(v, 0)
	}
	for i := 0; i < len(queue); i++ {
		reach(queue[i], dist[queue[i]])
	}
	slope, wall := cosDeg(f.method.SlopeDeg), cosDeg(f.method.WallDeg)
	steep, sloping := 0.0, 0.0
	slices.Sort(queue)
	queue = slices.Compact(queue)
	for _, v := range queue {
		for _, c := range m.CornersAt(v) {
			if done[c.Face()] {
				continue
			}
			done[c.Face()] = true
			a, b, d := m.Corners(c.Face())
			n := b.Sub(a).Cross(d.Sub(a))
			s := n.Norm()
			// Winding may be anything; the vertex normals know which way is out.
			k := n.Dot(p.Normal)
			if n.Dot(f.normals[v]) < 0 {
				k = -k
			}
			if k < slope*s {
				sloping += s
				if k < wall*s {
					steep += s
				}
			}
		}
	}
	for _, v := range queue {
		dist[v] = 0
		for _, c := range m.CornersAt(v) {
			done[c.Face()] = false
		}
	}
	if sloping == 0 {
		return 0
	}
	return steep / sloping
}

// shape measures the flat and says why it is no rim, if it is none. The rim's point becomes
// the centroid of the flat, laid on the plane.
func (f *rimFinder) shape(rim *Rim) string {
	in := make([]bool, len(f.m.Pos))
	points := make([]Vec, len(rim.Flat))
	for i, v := range rim.Flat {
		in[v] = true
		points[i] = f.m.Pos[v]
	}
	f.faces(rim)
	if !(rim.AreaMM2 > 0) {
		return "no flat surface on the oral side"
	}
	var c Vec
	for _, i := range rim.Faces {
		p, q, r := f.m.Corners(i)
		c = c.Along(q.Sub(p).Cross(r.Sub(p)).Norm()/(6*rim.AreaMM2), p.Add(q).Add(r))
	}
	rim.Plane.Point = c.Along(-rim.Plane.Height(c), rim.Plane.Normal)
	rim.LengthMM, rim.BreadthMM = boxOf(points, rim.Plane)
	rim.WallShare = f.wallShare(rim.Flat, in, rim.Plane)
	level, all := 0.0, 0.0
	for i, v := range rim.Flat {
		all += rim.Weight[i]
		if f.normals[v].Dot(rim.Plane.Normal) > cosDeg(f.method.SlopeDeg/2) {
			level += rim.Weight[i]
		}
	}
	rim.LevelShare = level / all
	u, v := axesOf(rim.Plane)
	rim.DiscMM = 2 * slices.Max(newFlatMask(f.m, rim, rim.Plane, u, v, f.method.PixelMM).inside())
	switch {
	case rim.AreaMM2 < f.method.AreaMM2:
		return fmt.Sprintf("the largest flat on the oral side has only %.0f mm²", rim.AreaMM2)
	case rim.LengthMM < f.method.LengthMM || rim.BreadthMM < f.method.BreadthMM:
		return fmt.Sprintf("the flat on the oral side spans only %.0f by %.0f mm, not an arch", rim.LengthMM, rim.BreadthMM)
	case rim.WallShare < f.method.WallShare:
		return fmt.Sprintf("the oral surface is smooth: only %.0f %% of what surrounds its flattest part is wall", 100*rim.WallShare)
	case rim.DiscMM < f.method.WidthMM:
		return fmt.Sprintf("the flat on the oral side is nowhere wider than %.1f mm: an edge, not a rim", rim.DiscMM)
	case rim.LevelShare < f.method.LevelShare:
		return fmt.Sprintf("the oral surface is round: only %.0f %% of its flattest part is level", 100*rim.LevelShare)
	}
	return ""
}

// faces collects the faces of the flat. Those with one foot in it count too, unless steep:
// they reach to the edge, which the flat's vertices stop short of by the length of a face.
func (f *rimFinder) faces(rim *Rim) {
	steep := cosDeg(45)
	rim.Faces = rim.Faces[:0]
	for _, v := range rim.Flat {
		for _, c := range f.m.CornersAt(v) {
			rim.Faces = append(rim.Faces, c.Face())
		}
	}
	slices.Sort(rim.Faces)
	rim.Faces = slices.Compact(rim.Faces)
	rim.AreaMM2 = 0
	rim.Faces = slices.DeleteFunc(rim.Faces, func(i mesh.FaceID) bool {
		a, b, c := f.m.Corners(i)
		n := b.Sub(a).Cross(c.Sub(a))
		if math.Abs(n.Dot(rim.Plane.Normal)) < steep*n.Norm() {
			return true
		}
		rim.AreaMM2 += n.Norm() / 2
		return false
	})
}

// boxOf returns the sides of the box around points in the plane that has the least area.
func boxOf(points []Vec, p Plane) (length, breadth float64) {
	u, v := axesOf(p)
	best := math.Inf(1)
	for deg := 0; deg < 90; deg += 3 {
		s, c := math.Sincos(float64(deg) * math.Pi / 180)
		a, b := u.Scale(c).Along(s, v), v.Scale(c).Along(-s, u)
		x, y := widthAlong(points, a), widthAlong(points, b)
		if x*y < best {
			best, length, breadth = x*y, max(x, y), min(x, y)
		}
	}
	return length, breadth
}

// axesOf returns two unit vectors in the plane at right angles.
func axesOf(p Plane) (u, v Vec) {
	u = p.Normal.Cross(Vec{X: 1})
	if w := p.Normal.Cross(Vec{Y: 1}); w.Norm2() > u.Norm2() {
		u = w
	}
	u = u.Unit()
	return u, p.Normal.Cross(u)
}

func widthAlong(points []Vec, d Vec) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, q := range points {
		x := q.Dot(d)
		lo, hi = min(lo, x), max(hi, x)
	}
	return hi - lo
}

func cosDeg(deg float64) float64 { return math.Cos(deg * math.Pi / 180) }
