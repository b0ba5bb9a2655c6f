package render

import (
	"bytes"
	"compress/flate"
	"encoding/base64"
	"fmt"
	"image/color"
	"math"
	"strings"

	"fornix/inspect"
	"fornix/mesh"
)

// pageData is what the page's script reads. Points are mm from the middle of the surface's box.
type pageData struct {
	Surfaces []pageSurface `json:"surfaces"`
	ErrorMM  float64       `json:"error_mm"`
	Middle   vec3          `json:"middle"` // in the scan's coordinates
	Frame    *pageFrame    `json:"frame"`
	Third    [2]string     `json:"third"` // what lies along Frame.Toward and against it
	First    int           `json:"first"` // the view to begin with
	Views    []pageView    `json:"views"`
	Findings []pageCloseUp `json:"findings"`
	Marks    []pageMark    `json:"marks"`
	Lines    []pageLine    `json:"lines"`
	Regions  []pageLine    `json:"regions"`
	Planes   []pagePlane   `json:"planes"`
	Scale    pageScale     `json:"scale"`
}

// pageSurface is a surface as of mesh/compact, and two bytes for each of its vertices: where the
// border's thickness lies on the scale (0: none, else 1 to 255), then the field that is 128 at the
// edge of the coloured band. Both are deflated and in base64.
type pageSurface struct {
	Data      string  `json:"data"`
	Tint      string  `json:"tint"`
	Vertices  int     `json:"vertices"`
	Faces     int     `json:"faces"`
	StepMM    float64 `json:"step_mm"`
	Origin    vec3    `json:"origin"`
	InsideOut bool    `json:"inside_out"`
	Colour    string  `json:"colour,omitempty"` // as of pageColour
	Levels    int     `json:"levels,omitempty"`
	unpainted bool    // there was no room for colours

	// Of two closed on each other: which jaw it is, the direction in which it is opened, and its map.
	Name   string   `json:"name,omitempty"`
	Second bool     `json:"second,omitempty"`
	Aside  *vec3    `json:"aside,omitempty"`
	Map    *pageMap `json:"map,omitempty"`
}

// pagePlane is a sheet of a plane by its corners; it goes with the surface of that index.
type pagePlane struct {
	Corners []vec3 `json:"corners"`
	Body    int    `json:"body"`
}

type pageFrame struct {
	Left      vec3 `json:"left"`
	Posterior vec3 `json:"posterior"`
	Toward    vec3 `json:"toward"`
}

type pageView struct {
	Name   string `json:"name"`
	Toward vec3   `json:"toward"`
	Up     vec3   `json:"up"`
	Short  string `json:"-"` // as it stands on its button
}

// pageCloseUp is from where to look at a finding; half is half the width to show, mm.
type pageCloseUp struct {
	Number int     `json:"number"`
	At     vec3    `json:"at"`
	Toward vec3    `json:"toward"`
	Up     vec3    `json:"up"`
	Half   float64 `json:"half"`
}

type pageMark struct {
	Kind     string  `json:"kind"`
	At       vec3    `json:"at"`
	RadiusMM float64 `json:"radius,omitempty"`
	Path     []vec3  `json:"path,omitempty"`
	Number   int     `json:"number,omitempty"`
	Severity string  `json:"severity,omitempty"`
	Label    string  `json:"label,omitempty"`
}

type pageLine struct {
	Kind   string `json:"kind,omitempty"`
	Name   string `json:"name,omitempty"`
	Path   []vec3 `json:"path"`
	Closed bool   `json:"closed,omitempty"`
}

type pageScale struct {
	FromMM  float64     `json:"from"`
	ToMM    float64     `json:"to"`
	Edges   []string    `json:"edges,omitempty"` // between even steps of colour, in the place of from and to
	Colours []string    `json:"colours"`
	Limits  []pageLimit `json:"limits"`
}

type pageLimit struct {
	MM   float64 `json:"mm"`
	Text string  `json:"text"`
}

// vec3 is a vector as the page reads it, rounded to 0.0001.
type vec3 [3]float64

func toVec3(p mesh.Vec) vec3 {
	r := func(x float64) float64 { return math.Round(x*1e4)/1e4 + 0 }
	return vec3{r(p.X), r(p.Y), r(p.Z)}
}

// pageKinds are the words by which the script tells marks and lines apart.
var pageKinds = map[Kind]string{
	MarkHole: "hole", MarkVoid: "void", MarkBleb: "bleb", MarkFold: "fold", MarkPlace: "place", MarkLandmark: "landmark",
	LineCrest: "crest", LineRear: "rear", LineThin: "thin", LineThick: "thick", LinePlace: "stretch", LinePlane: "plane",
}

// pageDataOf collects what the page draws; shown holds the numbers of the findings with a place.
func pageDataOf(in PageInput) (d pageData, shown map[int]bool) {
	rep := in.Scan.Report
	d = emptyPageData()
	small := in.Scan.small()
	simple := small.mesh
	middle, _ := pageBox(simple)
	d.Middle = toVec3(middle)
	middle = mesh.Vec{X: d.Middle[0], Y: d.Middle[1], Z: d.Middle[2]} // as it is written, so that nothing shifts
	at := func(p mesh.Vec) vec3 { return toVec3(p.Sub(middle)) }
	path := func(ps []mesh.Vec) []vec3 {
		out := make([]vec3, 0, len(ps))
		for _, p := range ps {
			if p.Finite() {
				out = append(out, at(p))
			}
		}
		return out
	}
	one := small.page(at, rep.InsideOut)
	d.ErrorMM = small.errorMM()
	scale := Scale{}.orDefault()
	one.Tint = pageTint(simple, small.encoded().Order, rep, scale)
	d.Surfaces = []pageSurface{one}
	paint(d.Surfaces, []*mesh.Mesh{in.Scan.Mesh}, []*smallSurface{small}, pageSurfaceBytes)
	d.Scale = pageScale{FromMM: scale.FromMM, ToMM: scale.ToMM}
	for _, c := range scale.colours() {
		d.Scale.Colours = append(d.Scale.Colours, hexColour(c))
	}
	for _, l := range in.Limits {
		d.Scale.Limits = append(d.Scale.Limits, pageLimit(l))
	}
	if f := rep.Frame; f != nil {
		d.Frame = &pageFrame{toVec3(f.Left), toVec3(f.Posterior), toVec3(f.TowardTissue)}
	}
	for _, v := range views(rep) {
		d.Views = append(d.Views, pageView{v.Name, toVec3(v.Camera.Toward), toVec3(v.Camera.Up), shortTitle(v.Title)})
	}
	shown = map[int]bool{}
	for _, v := range in.Scan.closeUps(len(rep.Findings)) {
		c := v.Camera
		d.Findings = append(d.Findings, pageCloseUp{v.finding.Number, at(c.Centre), toVec3(c.Toward), toVec3(c.Up), math.Round(c.Scale*100) / 100})
		shown[v.finding.Number] = true
	}
	s := NewScene(rep)
	for _, m := range s.Marks {
		if m.At.Finite() {
			d.Marks = append(d.Marks, pageMark{Kind: pageKinds[m.Kind], At: at(m.At), RadiusMM: m.RadiusMM, Path: path(m.Path),
				Number: m.Number, Severity: string(m.Severity), Label: m.Label})
		}
	}
	for _, l := range s.Lines {
		d.Lines = append(d.Lines, pageLine{Kind: pageKinds[l.Kind], Path: path(l.Path), Closed: l.Closed})
	}
	d.Regions = append(d.Regions, pageRegions(&rep.Border, path)...)
	if s.Plane != nil {
		d.Planes = append(d.Planes, pagePlane{Corners: path(s.Plane.Edge)})
	}
	return d, shown
}

// emptyPageData has lists that are empty where there is nothing, and not null.
func emptyPageData() pageData {
	return pageData{Findings: []pageCloseUp{}, Marks: []pageMark{}, Lines: []pageLine{}, Regions: []pageLine{}, Planes: []pagePlane{},
		Third: [2]string{"tissue side", "oral side"}}
}

// page is the surface as the page's script reads it.
func (s *smallSurface) page(at func(mesh.Vec) vec3, insideOut bool) pageSurface {
	e := s.encoded()
	return pageSurface{Data: base64.StdEncoding.EncodeToString(e.Data), Vertices: e.Vertices, Faces: e.Faces,
		StepMM: e.StepMM, Origin: at(e.Origin), InsideOut: insideOut}
}

// shortTitle names a view in a word or two: "From the front" becomes "Front".
func shortTitle(s string) string {
	s = strings.TrimPrefix(strings.TrimPrefix(s, "From the "), "Seen from ")
	return capital(strings.TrimPrefix(s, "patient's "))
}

// pageBox returns the middle of a surface's box and its size from corner to corner.
func pageBox(m *mesh.Mesh) (middle mesh.Vec, size float64) {
	if len(m.Pos) == 0 {
		return mesh.Vec{}, 0
	}
	lo, hi := m.Pos[0], m.Pos[0]
	for _, p := range m.Pos {
		lo, hi = lo.Min(p), hi.Max(p)
	}
	return lo.Add(hi).Scale(0.5), hi.Dist(lo)
}

// pageTint writes the thickness of the border for the vertices in order; empty where there is none.
func pageTint(m *mesh.Mesh, order []mesh.VertexID, rep *inspect.Report, scale Scale) string {
	g := newStationGrid(rep.Border.Stations)
	if g == nil {
		return ""
	}
	n := len(order)
	two := make([]byte, 2*n)
	for i, v := range order {
		if mm, d, ok := g.at(m.Pos[v]); ok {
			t := max(0, min(1, (mm-scale.FromMM)/(scale.ToMM-scale.FromMM)))
			two[i] = uint8(1 + math.Round(254*t))
			two[n+i] = uint8(max(1, min(255, 128+127*(bandMM-d)/slopeMM)))
		}
	}
	var b bytes.Buffer
	z, _ := flate.NewWriter(&b, flate.DefaultCompression) // fails for levels that do not exist
	z.Write(two)                                          // a bytes.Buffer takes all
	z.Close()
	return base64.StdEncoding.EncodeToString(b.Bytes())
}

// pageRegions cuts the line through the border's stations where the region changes.
func pageRegions(b *inspect.Border, path func([]mesh.Vec) []vec3) []pageLine {
	var out []pageLine
	var run []mesh.Vec
	for i, s := range b.Stations {
		run = append(run, s.Apex)
		if i+1 < len(b.Stations) {
			next := &b.Stations[i+1]
			if next.Region == s.Region && next.Side == s.Side && next.Apex.Dist(s.Apex) <= bridge {
				continue
			}
		}
		if p := path(run); len(p) > 1 && s.Region != "" {
			out = append(out, pageLine{Name: s.Region, Path: p})
		}
		run = nil
	}
	return out
}

func hexColour(c color.RGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }
