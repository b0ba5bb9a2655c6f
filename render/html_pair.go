package render

import (
	"bytes"
	"compress/flate"
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"strings"

	"fornix/inspect"
	"fornix/mesh"
)

// PairPage writes the page of two jaws closed on each other, one file as Page writes one of a scan:
// both surfaces in one view, to be shown, opened and cut together; the gap as a map on the rims; the
// findings of the relation with their places. Of images, as of RelationImages, it takes in the pair from
// the front and the gap on the lower rim. Same input, same bytes.
func PairPage(p *Pair, images []Image) ([]byte, error) {
	if !p.there() {
		return nil, errors.New("render: no relation")
	}
	out := p.Outcome
	r := out.Relation
	data, shown := pairDataOf(p)
	var chosen []Image
	for _, im := range images {
		if im.Name == "closed-front.png" || im.Name == "gap-lower.png" {
			chosen = append(chosen, im)
		}
	}
	pictures, err := smallPictures(chosen)
	if err != nil {
		return nil, err
	}
	c := pageContent{
		Title: r.Upper.File + " and " + r.Lower.File, Verdict: r.Verdict,
		About: fmt.Sprintf("Upper and lower jaw closed on each other, %s; %d and %d faces, judged by %s.",
			sharedWords(r.Shared), r.Upper.Faces, r.Lower.Faces, r.Protocol),
		Findings: pageFindings(r.Findings, shown), Rows: pairRows(r), Pictures: pictures, Cautions: r.Cautions,
		Caption: "± is the expanded uncertainty (k = 2); a gap is told by its least, its median ± and the value that 95 % of it keep under.",
		Hashes:  []pageHash{{"the upper scan", r.Upper.SHA256}, {"the lower scan", r.Lower.SHA256}},
		Sides:   true, Plane: true, Pair: true,
	}
	for _, o := range [2]*inspect.Outcome{out.Upper, out.Lower} {
		name := capital(string(o.Report.Jaw)) + " jaw"
		c.Jaws = append(c.Jaws, pageJaw{name, o.Report.Scan.File, strings.ToUpper(string(o.Report.Verdict))})
	}
	return writePage(c, data)
}

// pairDataOf collects what the page of a pair draws, in the common frame; shown holds the numbers of the
// findings with a place.
func pairDataOf(p *Pair) (d pageData, shown map[int]bool) {
	out := p.Outcome
	r := out.Relation
	k := newPair(p, Options{})
	bodies := [2]*Surface{k.upper, k.lower}
	small := [2]*smallSurface{p.Upper.small().carried(r.Shared.Upper), p.Lower.small().carried(r.Shared.Lower)}
	d = emptyPageData()
	middle, _ := pageBox(&mesh.Mesh{Pos: append(append([]mesh.Vec{}, small[0].mesh.Pos...), small[1].mesh.Pos...)})
	d.Middle = toVec3(middle)
	middle = mesh.Vec{X: d.Middle[0], Y: d.Middle[1], Z: d.Middle[2]}
	at := func(p mesh.Vec) vec3 { return toVec3(p.Sub(middle)) }
	d.ErrorMM = max(small[0].errorMM(), small[1].errorMM())
	d.Frame = &pageFrame{toVec3(k.left), toVec3(k.posterior), toVec3(k.up)}
	d.Third, d.First = [2]string{"upper jaw", "lower jaw"}, 2
	front := k.posterior.Scale(-1)
	for _, v := range []struct {
		name, short string
		toward, up  mesh.Vec
	}{{"above", "Above", k.up, front}, {"below", "Below", k.up.Scale(-1), front}, {"front", "Front", front, k.up},
		{"left", "Left", k.left, k.up}, {"right", "Right", k.left.Scale(-1), k.up}, {"back", "Back", k.posterior, k.up}} {
		d.Views = append(d.Views, pageView{v.name, toVec3(v.toward), toVec3(v.up), v.short})
	}
	steps := gapBands(r.Gap)
	for _, c := range steps.colours() {
		d.Scale.Colours = append(d.Scale.Colours, hexColour(c))
	}
	for _, e := range steps.edges {
		d.Scale.Edges = append(d.Scale.Edges, plain(e))
	}
	d.Scale.Limits = []pageLimit{}
	for i, jaw := range [2]struct {
		name   string
		aside  mesh.Vec
		values []float64
		scan   *inspect.Outcome
		motion inspect.Motion
	}{{"upper", k.up, out.UpperGap, out.Upper, r.Shared.Upper}, {"lower", k.up.Scale(-1), out.LowerGap, out.Lower, r.Shared.Lower}} {
		s := small[i].page(at, bodies[i].insideOut)
		aside := toVec3(jaw.aside)
		s.Name, s.Second, s.Aside = jaw.name, i == 1, &aside
		s.Map = k.gapMap(bodies[i], jaw.values, steps, jaw.aside.Scale(-1), at)
		d.Surfaces = append(d.Surfaces, s)
		if sheet := NewScene(jaw.scan.Report).Plane; sheet != nil {
			p := pagePlane{Body: i}
			for _, q := range sheet.Edge {
				p.Corners = append(p.Corners, at(carried(jaw.motion, q)))
			}
			d.Planes = append(d.Planes, p)
		}
	}
	paint(d.Surfaces, []*mesh.Mesh{bodies[0].mesh, bodies[1].mesh}, small[:], pairSurfaceBytes)
	return d, k.pageMarks(&d, at)
}

// pageMarks adds what lies over the pair: findings, medians of the gap, lengths and the space.
func (k *pairPages) pageMarks(d *pageData, at func(mesh.Vec) vec3) (shown map[int]bool) {
	r := k.out.Relation
	shown = map[int]bool{}
	var s Scene
	for i := range r.Findings {
		f := &r.Findings[i]
		s.addFinding(f, mesh.Vec{}, false)
		p, ok := middle(f.Where)
		if !ok || f.Number == 0 || !p.Finite() {
			continue
		}
		// From outside of the arch, where the gap is open to be seen.
		out := p.Sub(r.Frame.Origin)
		if out = out.Along(-out.Dot(k.up), k.up); out.Norm() < 5 {
			out = k.posterior.Scale(-1)
		}
		d.Findings = append(d.Findings, pageCloseUp{f.Number, at(p), toVec3(out.Unit()), toVec3(k.up), math.Round(max(15, 1.5*f.Where.RadiusMM)*100) / 100})
		shown[f.Number] = true
	}
	for _, m := range s.Marks {
		d.Marks = append(d.Marks, pageMark{Kind: pageKinds[m.Kind], At: at(m.At), RadiusMM: m.RadiusMM, Number: m.Number, Severity: string(m.Severity), Label: m.Label})
	}
	n := 0
	line := func(kind, label string, a, b mesh.Vec) {
		// Words stand by turns near one end and the other, so that those of lines side by side have room.
		along := [2]float64{0.25, 0.75}[n%2]
		n++
		d.Marks = append(d.Marks, pageMark{Kind: kind, At: at(a.Along(along, b.Sub(a))), Path: []vec3{at(a), at(b)}, Label: label})
	}
	for _, h := range r.Heights {
		if h.MM != nil && len(h.Line) == 2 {
			a, b := h.Line[0], h.Line[1]
			if h.Name == inspect.CrestAnterior { // beside the one from sulcus to sulcus
				a, b = a.Along(-heightsApart, k.left), b.Along(-heightsApart, k.left)
			}
			line("length", length("", h.Line, *h.MM, h.UMM).Detail, a, b)
		}
	}
	for _, m := range k.overlaps() {
		line("length", m.Label+" "+m.Detail, m.Path[0], m.Path[1])
	}
	for _, p := range r.Gap.Parts {
		if p.Middle != nil && p.MedianMM != nil && p.Name != "right" && p.Name != "left" {
			d.Marks = append(d.Marks, pageMark{Kind: "spot", At: at(*p.Middle), Label: fmt.Sprintf("%.2f", *p.MedianMM)})
		}
	}
	for i, p := range r.Space {
		label := ""
		if i%max(1, len(r.Space)/8) == 0 {
			label = fmt.Sprintf("%.1f ± %.1f mm", p.MM, max(p.UMM, 0.1))
		}
		line("space", label, p.Upper, p.Lower)
	}
	return shown
}

// pageMap is the gap seen along the height, a byte for each cell, row by row: 0 where there is none, else
// where it lies among the steps of colour, 1 to 255. The first cell begins at At; the map lies on
// what faces Up. The bytes are deflated and in base64.
type pageMap struct {
	Data   string  `json:"data"`
	Wide   int     `json:"wide"`
	High   int     `json:"high"`
	CellMM float64 `json:"cell_mm"`
	At     vec3    `json:"at"`
	Right  vec3    `json:"right"`
	On     vec3    `json:"on"`
	Up     vec3    `json:"up"`
}

// mapCellMM is the size of a cell: finer than the faces of any scan that is not to be scanned again.
const mapCellMM = 0.25

// gapMap draws the values of the vertices of a rim's flat, all from the full scan; nil where there are none.
func (k *pairPages) gapMap(s *Surface, values []float64, steps bands, facing mesh.Vec, at func(mesh.Vec) vec3) *pageMap {
	x, y := k.left, k.posterior
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	level, n := 0.0, 0
	for i, v := range values {
		if math.IsNaN(v) {
			continue
		}
		p := s.mesh.Pos[i]
		lo, hi = [2]float64{min(lo[0], p.Dot(x)), min(lo[1], p.Dot(y))}, [2]float64{max(hi[0], p.Dot(x)), max(hi[1], p.Dot(y))}
		level, n = level+p.Dot(k.up), n+1
	}
	if n == 0 {
		return nil
	}
	m := &pageMap{CellMM: mapCellMM, Right: toVec3(x), On: toVec3(y), Up: toVec3(facing)}
	if s.insideOut {
		m.Up = toVec3(facing.Scale(-1))
	}
	corner := mesh.Vec{}.Along(lo[0], x).Along(lo[1], y).Along(level/float64(n), k.up)
	m.At = at(corner)
	m.Wide, m.High = int((hi[0]-lo[0])/mapCellMM)+1, int((hi[1]-lo[1])/mapCellMM)+1
	cells := make([]byte, m.Wide*m.High)
	for _, t := range s.mesh.Tri {
		var u, w, v [3]float64
		known := true
		for j, c := range t {
			v[j] = values[c]
			known = known && !math.IsNaN(v[j])
			p := s.mesh.Pos[c]
			u[j], w[j] = (p.Dot(x)-lo[0])/mapCellMM, (p.Dot(y)-lo[1])/mapCellMM
		}
		if known {
			fillCells(cells, m.Wide, u, w, func(b [3]float64) byte {
				return uint8(1 + math.Round(254*steps.share(b[0]*v[0]+b[1]*v[1]+b[2]*v[2])))
			})
		}
	}
	var b bytes.Buffer
	z, _ := flate.NewWriter(&b, flate.DefaultCompression) // fails for levels that do not exist
	z.Write(cells)                                        // a bytes.Buffer takes all
	z.Close()
	m.Data = base64.StdEncoding.EncodeToString(b.Bytes())
	return m
}

// fillCells sets the cells whose middles lie in a triangle with corners u, w by their weights.
func fillCells(cells []byte, wide int, u, w [3]float64, value func(weights [3]float64) byte) {
	area := (u[1]-u[0])*(w[2]-w[0]) - (u[2]-u[0])*(w[1]-w[0])
	if math.Abs(area) < 1e-12 {
		return
	}
	i0, i1 := int(max(0, min(u[0], u[1], u[2])-0.5)), int(min(float64(wide-1), max(u[0], u[1], u[2])))
	j0, j1 := int(max(0, min(w[0], w[1], w[2])-0.5)), int(min(float64(len(cells)/wide-1), max(w[0], w[1], w[2])))
	const slack = -1e-9 // a middle on an edge is in both
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			p, q := float64(i)+0.5, float64(j)+0.5
			a := ((u[1]-p)*(w[2]-q) - (u[2]-p)*(w[1]-q)) / area
			b := ((u[2]-p)*(w[0]-q) - (u[0]-p)*(w[2]-q)) / area
			if c := 1 - a - b; a >= slack && b >= slack && c >= slack {
				cells[j*wide+i] = value([3]float64{a, b, c})
			}
		}
	}
}
