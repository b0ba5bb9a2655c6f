package inspect

import (
	"fmt"
	"math"
	"slices"

	"fornix/mesh"
	"fornix/mesh/tree"
)

// ObjectMethod tells the object that was scanned from what is in the file beside it.
type ObjectMethod struct {
	IslandShare float64 `toml:"island_share"` // a piece with less of the object's area is an island
	TwiceShare  float64 `toml:"twice_share"`  // from this share of faces that repeat others on, a surface is in the file twice
	CopyMM      float64 `toml:"copy_mm"`      // a piece nearer to the object than this nearly everywhere is a copy of it
	FlatMM      float64 `toml:"flat_mm"`      // a piece no farther from a plane than this (rms) is flat
	NearlyAll   float64 `toml:"nearly_all"`   // share of a piece's vertices that is nearly all of them
	OtherShare  float64 `toml:"other_share"`  // a piece with more of the object's area, and apart from it, is another object
}

// Kinds of LeftOut.
const (
	LeftIsland = "island"
	LeftTable  = "table"
	LeftCopy   = "copy"
	LeftTwice  = "twice"
)

// LeftOut is a part of the file that was not measured.
type LeftOut struct {
	What    string  `json:"what"`   // LeftIsland, LeftTable, LeftCopy or LeftTwice
	Pieces  int     `json:"pieces"` // how many such
	Faces   int     `json:"faces"`
	AreaMM2 float64 `json:"area_mm2"`
	Centre  Vec     `json:"centre"` // of the largest one's area
}

// piece is a connected part of the file's surface.
type piece struct {
	faces  []mesh.FaceID
	verts  []mesh.VertexID // in order
	area   float64
	centre Vec
	plane  Plane
	flat   bool
}

// FindObject returns the surface of the file that is the scanned object, what was left out of it,
// and, where the file holds two objects, why nothing can be measured. Where everything belongs to
// the object, the mesh is m itself.
//
// What: the object is the largest connected piece that is not flat. Left out are: every face that
// repeats one before it, where a good part of the faces do; flat pieces beyond which nothing of the
// object lies and which reach farther than the object does, as the table under it; pieces that lie
// on the object nearly everywhere, as copies of it; and islands, of a small share of its area. All
// other pieces stay: impressions are scanned in several sheets. A large piece that lies apart from
// the object along the line between the middles of both (the middle four fifths of both do not
// meet), as the second jaw of a scan of both does, ends the measuring: which of the two is meant
// is not for a program to guess.
// What it cannot see: a table that hangs together with the object; two jaws whose surfaces do.
// O(#F), and O(#F log #F) where there are several large pieces.
func FindObject(m *mesh.Mesh, read mesh.ReadStats, method ObjectMethod) (object *mesh.Mesh, left []LeftOut, several string) {
	if n := read.Duplicate; n > 0 && float64(n) >= method.TwiceShare*float64(len(m.Tri)) {
		once := firstOnly(m)
		again := LeftOut{What: LeftTwice, Pieces: 1, Faces: len(m.Tri) - len(once.Tri), AreaMM2: m.Area() - once.Area()}
		p := pieceOf(m, allFaces(m))
		again.Centre = p.centre
		left, m = append(left, again), once
	}
	label, parts := m.Components()
	if len(parts) <= 1 {
		return m, left, ""
	}
	of := make([][]mesh.FaceID, len(parts))
	for f, k := range label {
		of[k] = append(of[k], mesh.FaceID(f))
	}
	pieces := make([]piece, len(parts))
	for i := range pieces {
		pieces[i] = pieceOf(m, of[i])
	}
	for v := range m.Pos {
		for _, c := range m.CornersAt(mesh.VertexID(v)) {
			p := &pieces[label[c.Face()]]
			if n := len(p.verts); n == 0 || p.verts[n-1] != mesh.VertexID(v) {
				p.verts = append(p.verts, mesh.VertexID(v))
			}
		}
	}
	main := -1
	for i := range pieces {
		p := &pieces[i]
		p.flat = p.area >= method.IslandShare*pieces[0].area && p.isFlat(m, method.FlatMM)
		if main < 0 && !p.flat {
			main = i
		}
	}
	main = max(main, 0)
	object = m
	var onObject *tree.Tree
	out := map[string]*LeftOut{}
	keep := make([]bool, len(pieces))
	for i := range pieces {
		p, o := &pieces[i], &pieces[main]
		what := ""
		switch {
		case i == main:
		case p.area < method.IslandShare*o.area:
			what = LeftIsland
		case p.flat && isTable(m, p, o, method):
			what = LeftTable
		case p.area > method.OtherShare*o.area && liesApart(m, p, o):
			several = fmt.Sprintf("the file holds two large objects that lie apart, of %.0f and %.0f mm2, as a scan of both jaws does: "+
				"save each as a file of its own", o.area, p.area)
		default:
			if onObject == nil {
				onObject = tree.New(m)
			}
			if isCopy(m, onObject, p, label, int32(main), method) {
				what = LeftCopy
			}
		}
		if keep[i] = what == ""; keep[i] {
			continue
		}
		l := out[what]
		if l == nil {
			l = &LeftOut{What: what, Centre: p.centre}
			out[what] = l
		}
		l.Pieces++
		l.Faces += len(p.faces)
		l.AreaMM2 += p.area
	}
	for _, what := range []string{LeftTable, LeftCopy, LeftIsland} {
		if l := out[what]; l != nil {
			left = append(left, *l)
		}
	}
	if len(out) > 0 {
		object = withFaces(m, func(f mesh.FaceID) bool { return keep[label[f]] })
	}
	return object, left, several
}

// pieceOf gathers what is asked of a piece but its vertices.
func pieceOf(m *mesh.Mesh, faces []mesh.FaceID) piece {
	p := piece{faces: faces}
	for _, f := range faces {
		a := m.FaceArea(f)
		x, y, z := m.Corners(f)
		p.area += a
		p.centre = p.centre.Along(a/3, x.Add(y).Add(z))
	}
	if p.area > 0 {
		p.centre = p.centre.Scale(1 / p.area)
	}
	return p
}

// isFlat fits a plane to the piece and reports whether its vertices lie on it.
func (p *piece) isFlat(m *mesh.Mesh, flatMM float64) bool {
	points := make([]Vec, len(p.verts))
	for i, v := range p.verts {
		points[i] = m.Pos[v]
	}
	plane, ok := FitPlane(points, nil)
	if !ok {
		return false
	}
	p.plane = plane
	var sum float64
	for _, q := range points {
		h := plane.Height(q)
		sum += float64(h * h)
	}
	return math.Sqrt(sum/float64(len(points))) <= flatMM
}

// isTable reports whether a flat piece is the table: the object lies on one side of it, and it
// reaches farther from the object's middle, along itself, than the object does.
func isTable(m *mesh.Mesh, p, object *piece, method ObjectMethod) bool {
	over, under := 0, 0
	reach := func(q *piece) (far float64) {
		for _, v := range q.verts {
			d := m.Pos[v].Sub(object.centre)
			far = max(far, d.Along(-d.Dot(p.plane.Normal), p.plane.Normal).Norm2())
		}
		return far
	}
	for _, v := range object.verts {
		switch h := p.plane.Height(m.Pos[v]); {
		case h > method.FlatMM:
			over++
		case h < -method.FlatMM:
			under++
		}
	}
	return float64(min(over, under)) <= (1-method.NearlyAll)*float64(len(object.verts)) && reach(p) >= reach(object)
}

// isCopy reports whether a piece lies on the object nearly everywhere.
func isCopy(m *mesh.Mesh, t *tree.Tree, p *piece, label []int32, main int32, method ObjectMethod) bool {
	far := 0
	onMain := func(f mesh.FaceID) bool { return label[f] == main }
	for _, v := range p.verts {
		if _, near := t.Nearest(m.Pos[v], method.CopyMM, onMain); !near {
			if far++; float64(far) > (1-method.NearlyAll)*float64(len(p.verts)) {
				return false
			}
		}
	}
	return true
}

// liesApart reports whether the middle four fifths of two pieces do not meet along the line between
// their middles.
func liesApart(m *mesh.Mesh, p, q *piece) bool {
	way := q.centre.Sub(p.centre)
	end := func(of *piece, share float64) float64 {
		along := make([]float64, len(of.verts))
		for i, v := range of.verts {
			along[i] = m.Pos[v].Sub(p.centre).Dot(way)
		}
		slices.Sort(along)
		return along[int(share*float64(len(along)-1))]
	}
	return end(p, 0.9) < end(q, 0.1)
}

func allFaces(m *mesh.Mesh) []mesh.FaceID {
	out := make([]mesh.FaceID, len(m.Tri))
	for f := range out {
		out[f] = mesh.FaceID(f)
	}
	return out
}

// firstOnly is the surface without the faces that repeat one before them, in any winding.
func firstOnly(m *mesh.Mesh) *mesh.Mesh {
	seen := make(map[[3]mesh.VertexID]bool, len(m.Tri))
	return withFaces(m, func(f mesh.FaceID) bool {
		key := m.Tri[f]
		slices.Sort(key[:])
		again := seen[key]
		seen[key] = true
		return !again
	})
}

// withFaces is the surface of some faces, with the vertices that they use, in the same order.
func withFaces(m *mesh.Mesh, keep func(mesh.FaceID) bool) *mesh.Mesh {
	became := make([]mesh.VertexID, len(m.Pos)) // plus 1
	var pos []Vec
	var colour []mesh.Colour
	var tri [][3]mesh.VertexID
	for f, t := range m.Tri {
		if !keep(mesh.FaceID(f)) {
			continue
		}
		for k, v := range t {
			if became[v] == 0 {
				pos = append(pos, m.Pos[v])
				if m.Colour != nil {
					colour = append(colour, m.Colour[v])
				}
				became[v] = mesh.VertexID(len(pos))
			}
			t[k] = became[v] - 1
		}
		tri = append(tri, t)
	}
	out := mesh.New(pos, tri)
	out.Colour = colour
	return out
}
