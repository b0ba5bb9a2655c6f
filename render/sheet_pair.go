package render

import (
	"fmt"
	"image/color"
	"math"

	"fornix/inspect"
)

// pair is the page of two jaws closed on each other: what was found, the closed pair, the gap on
// both rims, and what was measured.
func (k *labSheet) pair(p *Pair, taken map[int]bool) error {
	r := p.Outcome.Relation
	k.page("Upper and lower closed on each other")
	k.verdict(r.Verdict)
	shots := newPair(p, printOptions())
	gaps := shots.gaps()
	steps := gapBands(r.Gap)
	closed := shots.closed()

	const gap = 4.0
	half := (k.width() - gap) / 2
	draw := func(j job, x, y, w, h float64) error {
		p, err := (&printer{scan: drawn{j.surface, j.content.tint}, content: j.content, taken: taken}).print(j.content.view, w, h)
		if err == nil {
			k.picture(p, x, y, w)
		}
		return err
	}
	// The findings are told in full; the pictures take what they and the table leave.
	words := k.width() - half - 6
	tall := k.findingsTall(r.Findings, words)
	rest := k.left() - stepsTall - k.pairTableTall(r) - 4
	h := max(30, min((rest-18)/3, half*0.62))
	band := max(h+6, tall)
	h = max(26, min((rest-band-12)/2, half*0.62))
	first := min(band-6, half*0.62)
	top := k.y
	if err := draw(closed[0], sheetMargin+k.width()-half, top, half, first); err != nil {
		return err
	}
	k.findings(r.Findings, "relate.json", words, top+band+2)
	k.y = top + band + 2
	for _, js := range [][]job{closed[1:3], gaps} {
		for i, j := range js {
			if err := draw(j, sheetMargin+float64(i)*(half+gap), k.y, half, h); err != nil {
				return err
			}
		}
		k.y += h + 6
	}
	k.steps(steps)
	k.pairTable(r)
	return nil
}

// steps explains the colours of a map in one line of boxes.
func (k *labSheet) steps(b bands) {
	f := k.pdf
	k.font("", smallSize)
	t := b.title + ", " + b.unit
	k.say(sheetMargin, k.y+3, t)
	x := sheetMargin + f.GetStringWidth(t) + 4
	const w = 12.0
	for i, c := range b.colours() {
		f.SetFillColor(int(c.R), int(c.G), int(c.B))
		f.Rect(x+float64(i)*w, k.y, w-0.4, 3.4, "F")
		if i < len(b.edges) {
			e := plain(b.edges[i])
			f.Text(x+float64(i+1)*w-f.GetStringWidth(e)/2, k.y+6.6, e)
		}
	}
	k.y += stepsTall
}

const (
	stepsTall = 9.5 // mm, of the colours' explanation
	pairRow   = 3.5 // mm, of the table
)

func (k *labSheet) pairTableTall(r *inspect.Relation) float64 {
	return 6 + float64((len(pairRows(r))+1)/2)*pairRow + 2
}

// pairTable sets what was measured between the jaws, in two columns.
func (k *labSheet) pairTable(r *inspect.Relation) {
	k.head("Measured between the jaws (± uncertainty, k = 2; gaps: least / median ± / 95 %)")
	rows := pairRows(r)
	half := (len(rows) + 1) / 2
	w := k.width()/2 - 2
	top := k.y
	for i, m := range rows {
		x := 0.0
		if i >= half {
			x = k.width()/2 + 2
		}
		y := top + float64(i%half)*pairRow
		k.font("", smallSize)
		k.lines(m.Name, x, y-0.4, w*0.5, 1)
		k.lines(m.Value, x+w*0.51, y-0.4, w*0.49, 1)
	}
	k.y = top + float64(half)*pairRow + 2
}

// pairRows are the values between the jaws.
func pairRows(r *inspect.Relation) []Row {
	p, g, h := r.Planes, r.Gap, r.Horizontal
	rows := []Row{
		{Name: "Planes of the rims apart", Value: degreesU(p.AngleDeg, p.AngleUDeg)},
		{Name: "Fore and aft, + wider in front", Value: degreesU(p.ForeAftDeg, p.ForeAftUDeg)},
		{Name: "Sideways, + wider on the left", Value: degreesU(p.SidewaysDeg, p.SidewaysUDeg)},
	}
	for _, part := range append([]inspect.GapPart{g.All}, g.Parts...) {
		name, value := part.Name, "not measured"
		if name == "" || name == g.All.Name {
			name = "all"
		}
		if part.MedianMM != nil && part.MinMM != nil && part.P95MM != nil {
			value = fmt.Sprintf("%.2f / %.2f ± %.2f / %.2f mm", *part.MinMM, *part.MedianMM, max(orZero(part.UMM), 0.01), *part.P95MM)
		}
		rows = append(rows, Row{Name: "Gap, " + name, Value: value})
	}
	for i, mm := range inspect.ContactsMM {
		rows = append(rows, Row{Name: fmt.Sprintf("Contact up to %s mm", plain(mm)), Value: fmt.Sprintf("%.0f ± %.0f mm²", g.All.ContactMM2[i], g.All.ContactUMM2[i])})
	}
	if g.SunkMM > 0 {
		rows = append(rows, Row{Name: "Run into each other by", Value: withU(g.SunkMM, g.SunkUMM)})
	}
	for _, v := range r.Heights {
		value := "not measured"
		if v.MM != nil {
			value = withU(*v.MM, orZero(v.UMM))
		}
		rows = append(rows, Row{Name: capital(heightWords(v.Name)), Value: value})
	}
	for _, v := range []struct {
		name string
		mm   *float64
		u    float64
	}{{"Upper rim outside, right", h.RightMM, h.UMM}, {"Upper rim outside, left", h.LeftMM, h.UMM}, {"Upper rim in front", h.ForwardMM, h.UMM},
		{"Lower midline, + to the left", h.MidlineMM, orZero(h.MidlineUMM)}} {
		value := "not measured"
		if v.mm != nil {
			value = withU(*v.mm, v.u)
		}
		rows = append(rows, Row{Name: v.name, Value: value})
	}
	return rows
}

// atMark sets the short text of a mark beside it, on a light ground, where no other stands.
func (p *page) atMark(m seenMark, w, h float64, ink color.RGBA) {
	tw, th := p.width(m.Short, plainText)+8*p.u, p.line(plainText)
	for _, gap := range [3]float64{12, 34, 60} {
		for _, d := range [4][2]float64{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			b := Box{m.x - tw/2 + d[0]*(tw/2+gap*p.u), m.y - th/2 + d[1]*(th/2+gap*p.u), tw, th}
			free := b.X >= 0 && b.Y >= 0 && b.X+b.W <= w && b.Y+b.H <= h
			for _, o := range p.set {
				free = free && !b.Overlaps(o)
			}
			if !free {
				continue
			}
			p.pen.box(b)
			p.pen.flush(paper, 0.85)
			p.write(m.Short, math.Round(b.X+4*p.u), b.Y, plainText, ink)
			return
		}
	}
}
