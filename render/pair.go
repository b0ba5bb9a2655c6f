package render

import (
	"errors"
	"fmt"
	"image/color"
	"math"
	"strings"

	"fornix/inspect"
	"fornix/mesh"
)

// RelationImages draws two impressions closed on each other: the pair from the front, both sides and
// the back with its heights as dimension lines; the gap on each rim; how the rims stand over each
// other; and for each height that was tried the wax that each rim must gain or lose.
//
// The bytes are the same for any number of workers.
func RelationImages(p *Pair, opt Options) ([]Image, error) {
	if !p.there() {
		return nil, errors.New("render: no relation")
	}
	opt, err := opt.orDefault()
	if err != nil {
		return nil, err
	}
	k := newPair(p, opt)
	jobs := append(k.closed(), k.gaps()...)
	jobs = append(jobs, k.overlap())
	for i := range p.Outcome.Relation.WhatIf {
		jobs = append(jobs, k.wax(i)...)
	}
	return drawAll(jobs, opt.Workers)
}

// Pair is two scans and how they close on each other.
type Pair struct {
	Outcome      *inspect.RelateOutcome
	Upper, Lower *Scan
}

// NewPair does no work yet. The scans are those of the outcome.
func NewPair(out *inspect.RelateOutcome, upper, lower *Scan) *Pair { return &Pair{out, upper, lower} }

// there reports whether there is a pair with all that belongs to it.
func (p *Pair) there() bool {
	return p != nil && p.Outcome != nil && p.Outcome.Relation != nil && p.Upper.there() && p.Lower.there()
}

// pairPages makes the pages of a relation.
type pairPages struct {
	out                 *inspect.RelateOutcome
	upper, lower        *Surface // in the common frame
	both                *Surface // of fewer faces, the lower in a cooler tone
	base                content
	up, left, posterior mesh.Vec
}

func newPair(p *Pair, opt Options) *pairPages {
	r := p.Outcome.Relation
	u, l := r.Shared.Upper, r.Shared.Lower
	f := r.Frame
	k := &pairPages{
		out: p.Outcome, up: f.Up, left: f.Left, posterior: f.Posterior,
		upper: p.Upper.full().carried(u), lower: p.Lower.full().carried(l), both: joined(p.Upper.coarse().carried(u), p.Lower.coarse().carried(l)),
	}
	k.base = content{
		opt: opt, verdict: r.Verdict, third: [2]string{"upper jaw", "lower jaw"}, of: "upper and lower impression closed on each other",
		frame:    &inspect.Frame{Origin: f.Origin, Left: f.Left, Posterior: f.Posterior, TowardTissue: f.Up},
		subtitle: fmt.Sprintf("upper: %s · lower: %s · %s", r.Upper.File, r.Lower.File, sharedWords(r.Shared)),
		legend:   legend{none: "the lower impression is drawn in the cooler tone"},
	}
	return k
}

func sharedWords(s inspect.Shared) string {
	switch s.How {
	case inspect.ClosedScan:
		return "brought together by a scan of both closed"
	case inspect.GivenPose:
		return "brought together by a given pose"
	}
	return "as exported, in one frame"
}

// carried is the surface in the common frame.
func (s *Surface) carried(mo inspect.Motion) *Surface {
	out := &Surface{mesh: carriedMesh(s.mesh, mo), normal: make([][3]float32, len(s.normal)), ok: s.ok, main: s.main, insideOut: s.insideOut, second: s.second}
	turn := inspect.Motion{Rotation: mo.Rotation}
	for i, n := range s.normal {
		v := carried(turn, mesh.Vec{X: float64(n[0]), Y: float64(n[1]), Z: float64(n[2])})
		out.normal[i] = [3]float32{float32(v.X), float32(v.Y), float32(v.Z)}
	}
	return out
}

func carriedMesh(m *mesh.Mesh, mo inspect.Motion) *mesh.Mesh {
	out := *m
	out.Pos = make([]mesh.Vec, len(m.Pos))
	for i, p := range m.Pos {
		out.Pos[i] = carried(mo, p)
	}
	return &out
}

// carried moves a point.
func carried(mo inspect.Motion, p mesh.Vec) mesh.Vec {
	r := mo.Rotation
	return mesh.Vec{X: r[0].Dot(p), Y: r[1].Dot(p), Z: r[2].Dot(p)}.Add(mo.Translation)
}

// joined returns both surfaces as one, the second in a cooler tone.
func joined(a, b *Surface) *Surface {
	n := len(a.mesh.Pos)
	m := &mesh.Mesh{Pos: append(append(make([]mesh.Vec, 0, n+len(b.mesh.Pos)), a.mesh.Pos...), b.mesh.Pos...),
		Tri: append(make([][3]mesh.VertexID, 0, len(a.mesh.Tri)+len(b.mesh.Tri)), a.mesh.Tri...)}
	for _, t := range b.mesh.Tri {
		if a.insideOut != b.insideOut {
			t[1], t[2] = t[2], t[1]
		}
		m.Tri = append(m.Tri, [3]mesh.VertexID{t[0] + mesh.VertexID(n), t[1] + mesh.VertexID(n), t[2] + mesh.VertexID(n)})
	}
	return &Surface{
		mesh: m, normal: append(append([][3]float32{}, a.normal...), b.normal...), ok: append(append([]bool{}, a.ok...), b.ok...),
		main: append(append([]bool{}, a.main...), b.main...), insideOut: a.insideOut, second: n,
	}
}

// closed returns the views of the closed pair.
func (k *pairPages) closed() []job {
	s := k.both
	r := k.out.Relation
	front := k.posterior.Scale(-1)
	views := []struct {
		name, title string
		toward      mesh.Vec
		heights     []string
	}{
		{"front", "Closed, from the front", front, []string{inspect.SulcusAnterior, inspect.CrestAnterior}},
		{"right", "Closed, from the patient's right", k.left.Scale(-1), []string{inspect.CrestMolarRight}},
		{"left", "Closed, from the patient's left", k.left, []string{inspect.CrestMolarLeft}},
		{"back", "Closed, from the back", k.posterior, []string{inspect.CrestMolarRight, inspect.CrestMolarLeft}},
	}
	var jobs []job
	for _, v := range views {
		c := k.base
		c.view = View{Name: "closed-" + v.name, Title: v.title, Camera: Look(v.toward, k.up), Plane: true}
		c.plane = planesWords(r.Planes)
		for i := range r.Findings {
			c.scene.addFinding(&r.Findings[i], mesh.Vec{}, false)
		}
		for _, name := range v.heights {
			for _, h := range r.Heights {
				if h.Name == name && h.MM != nil && len(h.Line) == 2 {
					if name == inspect.CrestAnterior { // beside the one from sulcus to sulcus
						h.Line = []mesh.Vec{h.Line[0].Along(-heightsApart, k.left), h.Line[1].Along(-heightsApart, k.left)}
					}
					c.scene.Marks = append(c.scene.Marks, length(heightWords(name), h.Line, *h.MM, h.UMM))
				}
			}
		}
		jobs = append(jobs, job{s, c})
	}
	return jobs
}

// heightsApart sets two heights beside each other, mm.
const heightsApart = 5

// length is a dimension line with its value.
func length(label string, line []mesh.Vec, mm float64, u *float64) Mark {
	v := fmt.Sprintf("%.1f mm", mm)
	if u != nil {
		v = fmt.Sprintf("%.1f ± %.1f mm", mm, max(*u, 0.1))
	}
	return Mark{Kind: LineHeight, At: line[0].Add(line[1]).Scale(0.5), Path: line, Label: label, Detail: v, Short: fmt.Sprintf("%.1f", mm), Rank: 5}
}

func heightWords(name string) string {
	return map[string]string{
		inspect.SulcusAnterior: "sulcus to sulcus, front", inspect.CrestAnterior: "crest to crest, front",
		inspect.CrestMolarRight: "crest to crest, right molars", inspect.CrestMolarLeft: "crest to crest, left molars",
	}[name]
}

// planesWords says how the planes of the rims stand to each other.
func planesWords(p inspect.RimPlanes) string {
	s := fmt.Sprintf("planes of the rims %.1f ± %.1f° apart", p.AngleDeg, max(p.AngleUDeg, 0.1))
	var wider []string
	if a := p.ForeAftDeg; math.Abs(a) > p.ForeAftUDeg {
		wider = append(wider, fmt.Sprintf("%.1f° wider %s", math.Abs(a), pick(a > 0, "in front", "at the back")))
	}
	if a := p.SidewaysDeg; math.Abs(a) > p.SidewaysUDeg {
		wider = append(wider, fmt.Sprintf("%.1f° wider on the patient's %s", math.Abs(a), pick(a > 0, "left", "right")))
	}
	if len(wider) > 0 {
		s += ": " + strings.Join(wider, ", ")
	}
	return s
}

func pick(first bool, a, b string) string {
	if first {
		return a
	}
	return b
}

// onRim returns a page of one rim, seen from the other jaw. Rims are seen with the front of the arch
// upward.
func (k *pairPages) onRim(upper bool, name, title string, tint []color.RGBA) job {
	c := k.base
	s, toward := k.lower, k.up
	c.of = "rim of the lower impression"
	if upper {
		s, toward = k.upper, k.up.Scale(-1)
		c.of = "rim of the upper impression"
	}
	c.view = View{Name: name, Title: title, Camera: Look(toward, k.posterior.Scale(-1))}
	c.tint = tint
	return job{s, c}
}

// gaps returns the maps of the gap on both rims.
func (k *pairPages) gaps() []job {
	r := k.out.Relation
	steps := gapBands(r.Gap)
	var jobs []job
	for _, upper := range [2]bool{true, false} {
		values, name := k.out.LowerGap, "lower"
		if upper {
			values, name = k.out.UpperGap, "upper"
		}
		j := k.onRim(upper, "gap-"+name, "Gap, on the "+name+" rim", steps.tint(values))
		j.content.legend = steps.legend()
		for i := range r.Findings {
			j.content.scene.addFinding(&r.Findings[i], mesh.Vec{}, false)
		}
		for _, p := range r.Gap.Parts {
			if p.Middle == nil || p.MedianMM == nil || p.MinMM == nil || p.Name == "right" || p.Name == "left" {
				continue
			}
			j.content.scene.Marks = append(j.content.scene.Marks, Mark{Kind: MarkSpot, At: *p.Middle, Label: p.Name,
				Detail: fmt.Sprintf("median %.2f, least %.2f mm", *p.MedianMM, *p.MinMM), Short: fmt.Sprintf("%.2f", *p.MedianMM), Rank: 20})
		}
		jobs = append(jobs, j)
	}
	return jobs
}

// gapBands chooses the steps of a gap: fine ones where the rims nearly touch, else coarser.
func gapBands(g inspect.RimGap) bands {
	b := bands{title: "gap between the rims", unit: "mm", edges: []float64{0, 0.05, 0.1, 0.2, 0.5, 1}, level: -1}
	if p := g.All.P95MM; p != nil && *p > 1.5 {
		b.edges = []float64{0, 0.2, 0.5, 1, 2, 4}
	}
	return b
}

// overlap returns the page that shows from above how the rims stand over each other.
func (k *pairPages) overlap() job {
	r := k.out.Relation
	j := k.onRim(false, "overlap", "Lower rim from above, with the upper rim's outline", nil)
	c := &j.content
	c.legend = legend{none: "lengths: how far the upper rim stands outside the lower one; - where the lower stands out"}
	if o := k.out.Upper.Report.Occlusal; o != nil {
		c.view.Plane = true
		for _, path := range o.Outline {
			p := make([]mesh.Vec, len(path))
			for i, q := range path {
				p[i] = carried(r.Shared.Upper, q)
			}
			c.scene.Lines = append(c.scene.Lines, Line{Kind: LinePlane, Path: p, Closed: true, LiftMM: 20})
		}
	}
	c.scene.Marks = append(c.scene.Marks, k.overlaps()...)
	return j
}

// overlaps returns how the rims stand over each other as dimension lines.
func (k *pairPages) overlaps() []Mark {
	h := k.out.Relation.Horizontal
	var out []Mark
	for _, m := range []struct {
		label string
		mm    *float64
		at    []mesh.Vec
	}{{"overlap, right", h.RightMM, h.RightAt}, {"overlap, front", h.ForwardMM, h.ForwardAt}, {"overlap, left", h.LeftMM, h.LeftAt},
		{"midlines apart", h.MidlineMM, h.MidlineAt}} {
		if m.mm != nil && len(m.at) == 2 {
			u := &h.UMM
			if m.label == "midlines apart" {
				u = h.MidlineUMM
			}
			// Seen along Up a length shows as it is; the ends are set level so that its line is straight.
			a, b := m.at[0], m.at[1]
			out = append(out, length(m.label, []mesh.Vec{a, b.Along(a.Sub(b).Dot(k.up), k.up)}, *m.mm, u))
		}
	}
	return out
}

// wax returns the maps of what both rims must gain or lose for a height that was tried.
func (k *pairPages) wax(i int) []job {
	r := k.out.Relation
	w := &r.WhatIf[i]
	steps := bands{title: "wax: + to add, - to take off", unit: "mm", edges: waxEdges(w), level: 3}
	how := "straight along the height"
	if w.Axis != nil {
		how = "turned about the " + w.Axis.How + " hinge axis"
	}
	var jobs []job
	for _, upper := range [2]bool{true, false} {
		name, values, wedge := "lower", k.out.LowerWax[i], w.Lower
		if upper {
			name, values, wedge = "upper", k.out.UpperWax[i], w.Upper
		}
		j := k.onRim(upper, fmt.Sprintf("wax-%d-%s", i+1, name),
			fmt.Sprintf("Wax on the %s rim, height %+.1f mm in front", name, w.FrontMM), steps.tint(values))
		c := &j.content
		c.legend = steps.legend()
		c.subtitle = fmt.Sprintf("%s; add %.0f mm³, take off %.0f mm³ on this rim", how, wedge.AddMM3, wedge.RemoveMM3)
		for _, p := range r.Gap.Parts {
			v := map[string]*float64{"molar right": wedge.RightMM, "anterior": wedge.FrontMM, "molar left": wedge.LeftMM}[p.Name]
			if v != nil && p.Middle != nil {
				c.scene.Marks = append(c.scene.Marks, Mark{Kind: MarkSpot, At: *p.Middle, Label: p.Name,
					Detail: signed(*v) + fmt.Sprintf(" ± %.2f mm", wedge.UMM), Rank: 20})
			}
		}
		jobs = append(jobs, j)
	}
	return jobs
}

// waxEdges chooses steps that reach the most that any rim gains or loses.
func waxEdges(w *inspect.WhatIf) []float64 {
	most := max(math.Abs(w.Upper.LeastMM), math.Abs(w.Upper.MostMM), math.Abs(w.Lower.LeastMM), math.Abs(w.Lower.MostMM))
	t := [3]float64{1, 3, 6}
	for _, s := range [][3]float64{{0.1, 0.3, 0.6}, {0.2, 0.5, 1}, {0.5, 1, 2}} {
		if most <= s[2] {
			t = s
			break
		}
	}
	return []float64{-t[2], -t[1], -t[0], t[0], t[1], t[2]}
}
