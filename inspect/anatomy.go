package inspect

import (
	"fmt"
	"math"

	"fornix/mesh"
)

// Part names the part of the impression a vertex belongs to.
type Part uint8

// Parts of an impression.
const (
	PartUnknown Part = iota
	PartTissue       // the fitting surface, up to the border roll
	PartBorder       // the roll, 2 mm to both sides of the border's apex
	PartOuter        // the polished side: outer and oral surface of tray and material
	PartRim          // flat and walls of the occlusion rim or bite plate
	PartHandle
)

// Anatomy is where things are on one scan: what every measurement starts from.
type Anatomy struct {
	Jaw       Jaw
	Surface   string // Impression or Cast
	Coverage  string // TwoSided or TissueSide
	InsideOut bool
	Frame     Frame
	Part      []Part // #V
	Decisions []Decision
	Landmarks map[string]Landmark

	fm     FrameMethod
	grain  Grain
	step   float64 // between sections, mm
	loc    []Vec   // #V: positions in the frame
	chart  chart
	slices []slice // across the arch, from the patient's right to the left
	rear   []slice // upper: fore and aft over the posterior border, from right to left
	ends   [2]*archEnd
	midU   float64 // standard uncertainty of where the midline runs, sideways, mm
	bounds regionBounds
	region func(Vec) string
	rim    *Rim // of the oral side; nil where none was looked for or found
}

// Region names the anatomical region of a point on the scan, such as "buccal slope left",
// "ridge crest anterior", "palate", "retromolar pad right"; nothing where no region is known.
func (an *Anatomy) Region(p Vec) string {
	if an.region == nil {
		return ""
	}
	return an.region(p)
}

// flip is -1 where the faces are wound inside out, so that normals point out of the material.
func (an *Anatomy) flip() float64 {
	if an.InsideOut {
		return -1
	}
	return 1
}

// Locate finds jaw, side, frame, crest, border and landmarks of a scan. The reason is told
// where it cannot. A given jaw or landmark overrides what was found.
func Locate(m *mesh.Mesh, g Grain, fm FrameMethod, jaw Jaw, given map[string]Vec) (*Anatomy, string) {
	return locate(m, g, fm, jaw, given, func(*Anatomy) {})
}

// locate is Locate, which tells of the frame as soon as it stands, for what needs nothing else of the anatomy.
func locate(m *mesh.Mesh, g Grain, fm FrameMethod, jaw Jaw, given map[string]Vec, framed func(*Anatomy)) (*Anatomy, string) {
	lo, hi := bounds(m.Pos)
	if d := hi.Sub(lo).Norm(); !(d >= fm.ExtentMinMM && d <= fm.ExtentMaxMM) {
		return nil, fmt.Sprintf("the scan measures %.4g from corner to corner in its own unit, which as mm is no jaw (%.0f to %.0f)", d, fm.ExtentMinMM, fm.ExtentMaxMM)
	}
	body := bodyOf(m, fm.SmallPieceMM)
	o, why := orient(m, body, fm, jaw)
	if o == nil {
		return nil, why
	}
	an := &Anatomy{Jaw: o.jaw, Surface: o.surface, Coverage: o.coverage, InsideOut: o.insideOut, Decisions: o.decisions, fm: fm, grain: g, step: fm.StepMM}
	an.Frame = Frame{Origin: o.centre, Left: o.left(), Posterior: o.back, TowardTissue: o.up}
	framed(an)
	an.loc = make([]Vec, len(m.Pos))
	for i, p := range m.Pos {
		an.loc[i] = an.Frame.Local(p)
	}
	an.chart = chart{radius: 0.85 * o.radius}
	out := lay(an.chart, m, body, an.loc, fm.CoreMM)
	secs := out.sections(fm.StepMM, math.Inf(-1), math.Inf(1))
	seen := func(f mesh.FaceID) bool { return an.flip()*m.FaceNormal(f).Dot(an.Frame.TowardTissue) > -0.1 }
	if an.Surface == Cast {
		seen = func(mesh.FaceID) bool { return true }
	}
	an.slices = trace(an.chart, secs, an.Jaw, an.Surface == Cast, seen, g, fm)
	if an.Jaw == Upper && an.Surface == Impression {
		an.traceRear(m, body, fm)
	}
	an.Landmarks = map[string]Landmark{}
	an.findLandmarks(m, body, out, fm)
	for name, p := range given {
		an.Landmarks[name] = Landmark{Point: p, Source: "given"}
	}
	an.setRegionBounds()
	an.label(m)
	return an, ""
}

// bodyOf lists the faces without the pieces whose extent is below the size given: crumbs and
// islands.
func bodyOf(m *mesh.Mesh, size float64) []mesh.FaceID {
	label, parts := m.Components()
	if len(parts) == 1 {
		if lo, hi := bounds(m.Pos); hi.Sub(lo).Norm() >= size {
			return allFaces(m)
		}
		return nil
	}
	inf := math.Inf(1)
	lo, hi := make([]Vec, len(parts)), make([]Vec, len(parts))
	for i := range parts {
		lo[i], hi[i] = Vec{X: inf, Y: inf, Z: inf}, Vec{X: -inf, Y: -inf, Z: -inf}
	}
	for f, t := range m.Tri {
		for _, v := range t {
			lo[label[f]], hi[label[f]] = lo[label[f]].Min(m.Pos[v]), hi[label[f]].Max(m.Pos[v])
		}
	}
	body := make([]mesh.FaceID, 0, len(m.Tri))
	for f := range m.Tri {
		if hi[label[f]].Sub(lo[label[f]]).Norm() >= size {
			body = append(body, mesh.FaceID(f))
		}
	}
	return body
}

// traceRear cuts the posterior border fore and aft between the crest's rear ends. The apex of
// such a section is the point farthest along the middle between posterior and toward the
// tissue, since the palate itself may lie nearer the tissue than its edge.
func (an *Anatomy) traceRear(m *mesh.Mesh, body []mesh.FaceID, fm FrameMethod) {
	l, r := an.lastCrest(-1), an.lastCrest(1)
	if l == nil || r == nil {
		return
	}
	secs := lay(rows{}, m, body, an.loc, 0.25*an.chart.radius).sections(fm.StepMM, l.X, r.X)
	for i := range secs {
		s := slice{section: secs[i]}
		if s.u < l.X || s.u > r.X {
			continue
		}
		best := math.Inf(-1)
		var a apex
		for ci, c := range s.contours {
			for k, p := range c.pts {
				if v := p.Y + p.Z; v > best {
					best, a = v, apex{p: p, contour: ci, index: k}
				}
			}
		}
		// Where the scan was cut off there is no border.
		if math.IsInf(best, -1) || s.cutOff(&a) {
			continue
		}
		s.settle(&a, math.Inf(-1), math.Inf(1), fm.ApexMM, math.Pi/4)
		s.outer = &a
		an.rear = append(an.rear, s)
	}
}

// lastCrest returns the rearmost crest point of the side (-1 right, 1 left).
func (an *Anatomy) lastCrest(side float64) *Vec {
	var at *Vec
	for i := range an.slices {
		s := &an.slices[i]
		if s.basin > 0 && s.u*side > 0 && (at == nil || s.crest.Y > at.Y) {
			at = &s.crest
		}
	}
	return at
}

// label gives every vertex its part. The sections say it for the faces that they cross: along a
// section's contour the tissue surface lies on the crest's side of the border's apex; from
// there the labels spread over the surface to the nearest unlabelled faces.
func (an *Anatomy) label(m *mesh.Mesh) {
	an.Part = make([]Part, len(m.Pos))
	if an.Surface == Cast {
		for i := range an.Part {
			an.Part[i] = PartTissue
		}
		return
	}
	var queue []mesh.VertexID
	set := func(v mesh.VertexID, p Part) {
		if an.Part[v] == PartUnknown {
			an.Part[v] = p
			queue = append(queue, v)
		}
	}
	walkAll := func(s []slice, dirOf func(*slice, *apex) int, pick func(*slice) *apex, stop func(*slice) *apex) {
		for i := range s {
			a := pick(&s[i])
			if a == nil {
				continue
			}
			dir := dirOf(&s[i], a)
			if dir == 0 {
				continue
			}
			end := stop(&s[i])
			an.mark(m, &s[i], a, dir, PartTissue, end, set)
			an.mark(m, &s[i], a, -dir, PartOuter, end, set)
		}
	}
	outer := func(s *slice) *apex { return s.outer }
	inner := func(s *slice) *apex { return s.inner }
	in := func(s *slice, a *apex) int { return s.inward(a, 25) }
	walkAll(an.rear, func(s *slice, a *apex) int { return s.forward(a) }, outer, func(*slice) *apex { return nil })
	walkAll(an.slices, in, outer, inner)
	walkAll(an.slices, in, inner, outer)
	for len(queue) > 0 {
		v := queue[0]
		queue = queue[1:]
		for _, c := range m.CornersAt(v) {
			set(m.Vertex(c.Next()), an.Part[v])
			set(m.Vertex(c.Prev()), an.Part[v])
		}
	}
}

// mark labels the vertices nearest to a contour from the apex on in one direction, until it
// ends or comes round to the apex at its other side: the first millimetres as border.
func (an *Anatomy) mark(m *mesh.Mesh, s *slice, a *apex, dir int, p Part, end *apex, set func(mesh.VertexID, Part)) {
	c := &s.contours[a.contour]
	i, walked := a.index, 0.0
	toEnd := math.Inf(1) // length left to the apex at the other side
	if end != nil && end.contour == a.contour {
		toEnd = c.length(a.index, end.index, dir)
	}
	for {
		j, ok := c.step(i, dir)
		if !ok || j == a.index || walked > toEnd {
			return
		}
		f := c.segment(i, dir)
		walked += c.pts[i].Dist(c.pts[j])
		i = j
		near, best := mesh.VertexID(0), math.Inf(1)
		for _, v := range m.Tri[f] {
			if d := an.loc[v].Sub(c.pts[j]).Norm2(); d < best {
				near, best = v, d
			}
		}
		if min(walked, toEnd-walked) <= rollMM {
			set(near, PartBorder)
		} else {
			set(near, p)
		}
	}
}

// rollMM is how far the border roll reaches from its apex over the surface, to both sides.
const rollMM = 2

// length walks from point i to point j of the contour; infinite where it does not get there.
func (c *contour) length(i, j, dir int) float64 {
	var sum float64
	for k := i; k != j; {
		n, ok := c.step(k, dir)
		if !ok || n == i {
			return math.Inf(1)
		}
		sum += c.pts[k].Dist(c.pts[n])
		k = n
	}
	return sum
}
