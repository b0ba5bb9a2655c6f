package render

import (
	"math"

	"fornix/inspect"
	"fornix/mesh"
)

// Camera looks at the scan without perspective: what is one millimetre is Scale pixels
// everywhere in the picture.
type Camera struct {
	Centre            mesh.Vec // the point of the scan that is drawn at X, Y
	Right, Up, Toward mesh.Vec // unit vectors of the picture; Toward points to the viewer
	Scale             float64  // pixels per mm
	X, Y              float64  // pixels from the left and from the top
}

// Look returns a camera that sees along -toward with up as nearly upward as it can be. The
// picture is never mirrored: Right is Up × Toward.
func Look(toward, up mesh.Vec) Camera {
	t := toward.Unit()
	u := up.Along(-up.Dot(t), t).Unit()
	if u == (mesh.Vec{}) {
		// up is the line of sight: any direction across it will do.
		a := mesh.Vec{Y: 1}
		if math.Abs(t.Y) > 0.9 {
			a = mesh.Vec{X: 1}
		}
		u = a.Along(-a.Dot(t), t).Unit()
	}
	return Camera{Right: u.Cross(t), Up: u, Toward: t, Scale: 1}
}

// Project returns the pixel of p and its height toward the viewer in mm; greater is nearer.
func (c Camera) Project(p mesh.Vec) (x, y, z float64) {
	d := p.Sub(c.Centre)
	return c.X + float64(c.Scale*d.Dot(c.Right)), c.Y - float64(c.Scale*d.Dot(c.Up)), d.Dot(c.Toward)
}

// fit aims the camera so that the pieces of the scan that matter, and more points if there are
// any, fill a box of the page.
func (c Camera) fit(b Box, s *Surface, more ...mesh.Vec) Camera {
	lo := mesh.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}
	hi := lo.Scale(-1)
	add := func(p mesh.Vec) {
		q := mesh.Vec{X: p.Dot(c.Right), Y: p.Dot(c.Up), Z: p.Dot(c.Toward)}
		lo, hi = lo.Min(q), hi.Max(q)
	}
	for v, p := range s.mesh.Pos {
		if s.main[v] {
			add(p)
		}
	}
	for _, p := range more {
		if p.Finite() {
			add(p)
		}
	}
	if lo.X > hi.X {
		lo, hi = mesh.Vec{}, mesh.Vec{}
	}
	mid := lo.Add(hi).Scale(0.5)
	c.Centre = mesh.Vec{}.Along(mid.X, c.Right).Along(mid.Y, c.Up).Along(mid.Z, c.Toward)
	c.Scale = min(b.W/max(hi.X-lo.X, 1e-3), b.H/max(hi.Y-lo.Y, 1e-3))
	c.X, c.Y = b.X+b.W/2, b.Y+b.H/2
	return c
}

// View is one picture of the scan: a direction and what is drawn in it.
type View struct {
	Name   string // of the file, without ending
	Title  string
	Camera Camera
	Tissue bool // the crest and what lies on the tissue side is drawn
	Plane  bool // the occlusal plane is drawn

	finding *inspect.Finding // of a close-up
}

// views returns the six whole views of a scan.
func views(rep *inspect.Report) []View { return wholeViews(rep.Frame, rep.Jaw, rep.Surface) }

// wholeViews returns six views. With a frame they are the patient's: the front of the
// arch is at the top seen from the tissue and the oral side, and the patient stands upright in
// the other four. Without one they follow the scan's axes and say that the side is unknown.
func wholeViews(f *inspect.Frame, jaw inspect.Jaw, surface string) []View {
	if f == nil {
		x, y, z := mesh.Vec{X: 1}, mesh.Vec{Y: 1}, mesh.Vec{Z: 1}
		v := func(name, axis string, toward, up mesh.Vec) View {
			return View{Name: name, Title: "Seen from " + axis + " of the scan", Camera: Look(toward, up), Tissue: true, Plane: true}
		}
		return []View{
			v("z-plus", "+Z", z, y), v("z-minus", "-Z", z.Scale(-1), y), v("y-minus", "-Y", y.Scale(-1), z),
			v("x-plus", "+X", x, z), v("x-minus", "-X", x.Scale(-1), z), v("y-plus", "+Y", y, z),
		}
	}
	left, back, tissue := f.Left, f.Posterior, f.TowardTissue
	front, superior := back.Scale(-1), tissue
	if jaw == inspect.Lower {
		superior = tissue.Scale(-1)
	}
	tissueTitle, oralTitle, out := "Tissue side", "Oral side", tissue
	if surface == inspect.Cast {
		// The surface of a cast faces the mouth, so its ridge is seen from there.
		tissueTitle, oralTitle, out = "Surface of the jaw", "Under side", tissue.Scale(-1)
	}
	return []View{
		{Name: "tissue", Title: tissueTitle, Camera: Look(out, front), Tissue: true},
		{Name: "oral", Title: oralTitle, Camera: Look(out.Scale(-1), front), Plane: true},
		{Name: "front", Title: "From the front", Camera: Look(front, superior), Plane: true},
		{Name: "left", Title: "From the patient's left", Camera: Look(left, superior), Plane: true},
		{Name: "right", Title: "From the patient's right", Camera: Look(left.Scale(-1), superior), Plane: true},
		{Name: "back", Title: "From the back", Camera: Look(back, superior), Plane: true},
	}
}
