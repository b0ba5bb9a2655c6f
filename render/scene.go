package render

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"fornix/inspect"
	"fornix/mesh"
)

// Kind tells what a mark or a line stands for, and so its shape.
type Kind int

// What is drawn over the surface. Shapes differ, so that no meaning hangs on colour alone.
const (
	MarkHole     Kind = iota // its rim, drawn double
	MarkVoid                 // a circle
	MarkBleb                 // a triangle
	MarkFold                 // a double line along it
	MarkPlace                // a square: a finding that is none of these
	MarkLandmark             // a cross
	LineCrest                // dashed
	LineRear                 // dash and dot
	LineThin                 // cross strokes: a finding that the border is thin
	LineThick                // beads: a finding that the border is thick
	LinePlace                // a band: any other finding with a path
	LinePlane                // outline of the rim's flat
	LineHeight               // a dimension line between two points
	MarkSpot                 // a small disc: where a value of the label holds
	BackFaces                // surface seen from its back
)

// words name a kind in the key of a picture.
var words = map[Kind]string{
	MarkHole: "hole in the scan", MarkVoid: "void", MarkBleb: "bleb", MarkFold: "fold", MarkPlace: "other finding",
	LineCrest: "ridge crest", LineRear: "posterior border", LineThin: "border too thin", LineThick: "border too thick",
	LinePlace: "stretch of a finding", LinePlane: "occlusal plane", LineHeight: "measured length", MarkSpot: "place of a value", BackFaces: "back of the surface", MarkLandmark: "landmark",
}

// Mark is one marked place, in the scan's coordinates.
type Mark struct {
	Kind     Kind
	At       mesh.Vec
	RadiusMM float64    // half its size
	Path     []mesh.Vec // rim of a hole, middle line of a fold
	Number   int        // of the finding; 0: none
	Severity inspect.Severity
	Label    string // first line of its callout; "": it gets none
	Detail   string // second line
	Short    string // beside the mark where there are no callouts, on paper
	Rank     int    // callouts of low rank stay when room is short
}

// Line is a path over the surface, in the scan's coordinates.
type Line struct {
	Kind   Kind
	Path   []mesh.Vec
	Closed bool
	LiftMM float64 // how far behind the surface it may lie and still be drawn
}

// Sheet is the translucent occlusal plane.
type Sheet struct {
	Point, Normal mesh.Vec
	Edge          []mesh.Vec   // a rectangle round the rim
	Flat          [][]mesh.Vec // closed paths round the rim's flat
}

// Scene is all that is drawn over the scan, taken from the report before any pixel exists.
type Scene struct {
	Marks []Mark
	Lines []Line
	Plane *Sheet
}

// NewScene collects what the report says about places. Marks come gravest first.
func NewScene(rep *inspect.Report) Scene {
	var s Scene
	used := make([]bool, len(rep.Findings))
	s.addHoles(rep, used)
	s.addDefects(rep, used)
	s.addFindings(rep, used)
	s.addLandmarks(rep)
	// On a cast the crest is one guess of several, and nothing is judged by it.
	if len(rep.Crest) > 1 && rep.Surface != inspect.Cast {
		s.Lines = append(s.Lines, Line{Kind: LineCrest, Path: rep.Crest, LiftMM: 1})
	}
	if len(rep.Posterior.Path) > 1 {
		s.Lines = append(s.Lines, Line{Kind: LineRear, Path: rep.Posterior.Path, LiftMM: 1})
	}
	if o := rep.Occlusal; o != nil {
		s.Plane = sheet(o, rep.Frame)
		for _, p := range o.Outline {
			s.Lines = append(s.Lines, Line{Kind: LinePlane, Path: p, Closed: true, LiftMM: 0.5})
		}
	}
	slices.SortStableFunc(s.Marks, func(a, b Mark) int { return cmp.Compare(a.Rank, b.Rank) })
	return s
}

// finding returns the index of the finding of that code whose nearest point is at p, or -1. One
// finding may speak of several places.
func finding(rep *inspect.Report, code string, p mesh.Vec) int {
	best, least := -1, 0.5 // mm: a report names the centre itself, so more is another place
	for i, f := range rep.Findings {
		if f.Code != code {
			continue
		}
		for _, q := range f.Where.Points {
			if d := q.Dist(p); d < least {
				best, least = i, d
			}
		}
	}
	return best
}

// number gives a mark the number and words of its finding.
func (m *Mark) number(rep *inspect.Report, used []bool) {
	m.Severity, m.Rank = inspect.Info, 50
	i := finding(rep, m.code(), m.At)
	if i < 0 {
		return
	}
	used[i] = true
	m.take(&rep.Findings[i])
}

func (m *Mark) take(f *inspect.Finding) {
	m.Number, m.Severity, m.Rank = f.Number, f.Severity, rank(f.Severity)
	if f.Number > 0 {
		m.Label, m.Detail = headline(f), detail(f)
	}
}

func (m *Mark) code() string {
	return map[Kind]string{MarkHole: "hole", MarkVoid: inspect.Void, MarkBleb: inspect.Bleb, MarkFold: inspect.Fold}[m.Kind]
}

// rank orders severities, gravest first.
func rank(s inspect.Severity) int {
	switch s {
	case inspect.Fail:
		return 0
	case inspect.Review:
		return 1
	case inspect.Unmeasured:
		return 2
	}
	return 3
}

// headline says what a finding is and its value: "border thin 1.2 mm".
func headline(f *inspect.Finding) string {
	s := strings.ReplaceAll(f.Code, "-", " ")
	if f.Value != nil && !math.IsNaN(*f.Value) {
		s += " " + number(*f.Value)
		switch f.Unit {
		case "":
		case "deg":
			s += "°"
		default:
			s += "\u00a0" + f.Unit // no line ends between them
		}
	}
	return s
}

func number(v float64) string {
	if math.Abs(v) >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.1f", v)
}

// detail says how grave a finding is and where: "fail, palate".
func detail(f *inspect.Finding) string {
	if f.Region == "" {
		return string(f.Severity)
	}
	return string(f.Severity) + ", " + f.Region
}

func (s *Scene) addHoles(rep *inspect.Report, used []bool) {
	for _, h := range rep.Holes {
		m := Mark{Kind: MarkHole, At: h.Centre, RadiusMM: h.SpanMM / 2, Path: h.Rim}
		m.number(rep, used)
		s.Marks = append(s.Marks, m)
	}
}

func (s *Scene) addDefects(rep *inspect.Report, used []bool) {
	kinds := map[string]Kind{inspect.Void: MarkVoid, inspect.Bleb: MarkBleb, inspect.Fold: MarkFold}
	for _, d := range rep.Defects {
		k, ok := kinds[d.Kind]
		if !ok {
			k = MarkPlace
		}
		m := Mark{Kind: k, At: d.Centre, Path: d.Path}
		switch {
		case d.DiameterMM != nil:
			m.RadiusMM = *d.DiameterMM / 2
		case d.LengthMM != nil:
			m.RadiusMM = *d.LengthMM / 2
		}
		m.number(rep, used)
		s.Marks = append(s.Marks, m)
	}
}

// addFindings marks the numbered findings that are neither a hole nor a defect.
func (s *Scene) addFindings(rep *inspect.Report, used []bool) {
	for i := range rep.Findings {
		if f := &rep.Findings[i]; !used[i] {
			p, plane := ofPlane(rep, f)
			s.addFinding(f, p, plane)
		}
	}
}

// addFinding marks the places of a numbered finding. One that speaks of the occlusal plane as a
// whole is marked at p.
func (s *Scene) addFinding(f *inspect.Finding, p mesh.Vec, plane bool) {
	at, ok := middle(f.Where)
	if f.Number == 0 || !ok {
		return
	}
	m := Mark{Kind: MarkPlace, At: at, RadiusMM: f.Where.RadiusMM}
	m.take(f)
	if plane {
		m.Kind, m.At, m.RadiusMM = LinePlane, p, 0
	}
	if len(f.Where.Path) > 1 {
		k := LinePlace
		switch f.Code {
		case "border-thin":
			k = LineThin
		case "border-thick":
			k = LineThick
		}
		s.Lines = append(s.Lines, Line{Kind: k, Path: f.Where.Path, LiftMM: 1.5})
		m.Kind, m.RadiusMM = k, 0
	}
	s.Marks = append(s.Marks, m)
	if len(f.Where.Path) > 1 {
		return
	}
	for _, p := range f.Where.Points[1:min(len(f.Where.Points), 50)] {
		m.At, m.Label = p, ""
		s.Marks = append(s.Marks, m)
	}
}

// middle returns the point of a finding from which its callout leads: its first point, else
// halfway along its path.
func middle(w inspect.Where) (mesh.Vec, bool) {
	if len(w.Points) > 0 {
		return w.Points[0], true
	}
	total := 0.0
	for i := 1; i < len(w.Path); i++ {
		total += w.Path[i].Dist(w.Path[i-1])
	}
	at := 0.0
	for i := 1; i < len(w.Path); i++ {
		if at += w.Path[i].Dist(w.Path[i-1]); at >= total/2 {
			return w.Path[i], true
		}
	}
	return mesh.Vec{}, false
}

// ofPlane reports whether a finding speaks of the occlusal plane as a whole, whose point lies
// in the air between the limbs of the rim, and returns the foremost point of the rim's flat,
// where it can be shown.
func ofPlane(rep *inspect.Report, f *inspect.Finding) (mesh.Vec, bool) {
	at, ok := middle(f.Where)
	if o := rep.Occlusal; !ok || o == nil || at.Dist(o.Point) > 1e-6 || len(f.Where.Path) > 0 {
		return at, false
	}
	found, least := false, math.Inf(1)
	for _, path := range rep.Occlusal.Outline {
		for _, p := range path {
			y := p.Y
			if rep.Frame != nil {
				y = p.Dot(rep.Frame.Posterior)
			}
			if y < least {
				at, least, found = p, y, true
			}
		}
	}
	return at, found
}

func (s *Scene) addLandmarks(rep *inspect.Report) {
	names := make([]string, 0, len(rep.Landmarks))
	for n := range rep.Landmarks {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		l := rep.Landmarks[n]
		detail := ""
		if l.Source == "given" {
			detail = "given"
		}
		s.Marks = append(s.Marks, Mark{Kind: MarkLandmark, At: l.Point, Label: landmarkWords(n), Detail: detail, Rank: 10})
	}
}

// landmarkWords turns "hamular_notch_left" into "hamular notch, left".
func landmarkWords(name string) string {
	w := strings.ReplaceAll(name, "_", " ")
	for _, side := range []string{" left", " right"} {
		if b, ok := strings.CutSuffix(w, side); ok {
			return b + "," + side
		}
	}
	return w
}

// sheet lays a rectangle round the rim's flat in the occlusal plane, 6 mm wider all round and
// turned with the patient.
func sheet(o *inspect.Occlusal, f *inspect.Frame) *Sheet {
	s := &Sheet{Point: o.Point, Normal: o.Normal.Unit(), Flat: o.Outline}
	side := mesh.Vec{X: 1}
	if f != nil {
		side = f.Left
	}
	c := Look(s.Normal, s.Normal.Cross(side))
	lo, hi := mesh.Vec{X: math.Inf(1), Y: math.Inf(1)}, mesh.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, path := range o.Outline {
		for _, p := range path {
			d := p.Sub(o.Point)
			q := mesh.Vec{X: d.Dot(c.Right), Y: d.Dot(c.Up)}
			lo, hi = lo.Min(q), hi.Max(q)
		}
	}
	if lo.X > hi.X {
		return s
	}
	const more = 6
	for _, k := range [4][2]float64{{lo.X - more, lo.Y - more}, {hi.X + more, lo.Y - more}, {hi.X + more, hi.Y + more}, {lo.X - more, hi.Y + more}} {
		s.Edge = append(s.Edge, o.Point.Along(k[0], c.Right).Along(k[1], c.Up))
	}
	return s
}
