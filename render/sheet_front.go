package render

import (
	"fmt"
	"strings"

	"fornix/inspect"
)

// front is the first page: for each scan its verdict and what to do, the findings, and where they are.
func (k *labSheet) front() error {
	k.page("Laboratory sheet")
	if k.in.Relation != nil {
		r := k.in.Relation.Outcome.Relation
		k.font("B", bodySize)
		k.y += k.lines("Both jaws closed on each other: "+strings.ToUpper(string(r.Verdict))+" (page 3).", 0, k.y-3, k.width(), 1)
	}
	each := (k.left() - 2) / float64(len(k.in.Scans))
	for i := range k.in.Scans {
		top := k.y
		if err := k.summary(k.in.Scans[i], k.printers[i], top+each-4); err != nil {
			return err
		}
		k.y = top + each
	}
	return nil
}

// summary is the part of the first page about one scan, down to bottom.
func (k *labSheet) summary(scan *Scan, shots *printer, bottom float64) error {
	rep := scan.Report
	k.head(scanWords(rep))
	k.verdict(rep.Verdict)

	picture, columns := 62.0, 2 // mm wide, at the right
	if len(k.in.Scans) == 1 {
		picture = 88
	}
	textW := k.width() - picture - 6
	whole, err := shots.print(views(rep)[0], picture, picture*0.8)
	if err != nil {
		return err
	}
	x, y := sheetMargin+k.width()-picture, k.y
	k.picture(whole, x, y, picture)
	y += picture*0.8 + 6
	small := picture/float64(columns) - 3
	for i, v := range scan.closeUps(columns * int((bottom-y)/(small+7))) {
		p, err := shots.print(v, small, small)
		if err != nil {
			return err
		}
		p.title, p.left, p.right = fmt.Sprintf("no. %d", v.finding.Number), "", ""
		k.picture(p, x+float64(i%columns)*(picture-small), y+float64(i/columns)*(small+7), small)
	}
	k.findings(rep.Findings, "report.json", textW, bottom)
	return nil
}

// verdict sets the verdict in a box, dark where the laboratory should not begin, and what it means.
func (k *labSheet) verdict(word inspect.Verdict) {
	f := k.pdf
	v := strings.ToUpper(string(word))
	k.font("B", 15)
	w := f.GetStringWidth(v) + 10
	f.SetFillColor(255, 255, 255)
	f.SetTextColor(0, 0, 0)
	if word != inspect.Send {
		f.SetFillColor(30, 30, 34)
		f.SetTextColor(255, 255, 255)
	}
	f.SetDrawColor(30, 30, 34)
	f.SetLineWidth(0.5)
	f.Rect(sheetMargin, k.y, w, 9.5, "FD")
	f.Text(sheetMargin+5, k.y+6.9, v)
	f.SetTextColor(0, 0, 0)
	k.font("", bodySize+1)
	k.lines(capital(word.Means())+".", w+4, k.y+0.6, k.width()-w-4, 2)
	k.y += 13
}

// findingsTall is how high the list of all findings is.
func (k *labSheet) findingsTall(all []inspect.Finding, w float64) float64 {
	tall := 0.0
	for i := range all {
		tall += k.findingTall(&all[i], w)
	}
	return max(tall, lineMM)
}

func (k *labSheet) findingTall(g *inspect.Finding, w float64) float64 {
	k.font("", bodySize)
	return float64(len(k.split(g.Text, w-10, 0, 0)))*lineMM + 1.4
}

// findings lists findings, gravest first, as far as there is room; file is where all of them stand.
func (k *labSheet) findings(all []inspect.Finding, file string, w, bottom float64) {
	if len(all) == 0 {
		k.font("", bodySize)
		k.lines("No findings: nothing lies outside the limits.", 0, k.y, w, 0)
		return
	}
	for i := range all {
		g := &all[i]
		tall := k.findingTall(g, w)
		if k.y+tall > bottom-lineMM && i < len(all)-1 || k.y+tall > bottom {
			k.lines(fmt.Sprintf("… and %d more, told in %s.", len(all)-i, file), 10, k.y, w-10, 1)
			return
		}
		if g.Number > 0 {
			k.disc(g, sheetMargin+3.4, k.y+2.2)
		}
		k.lines(g.Text, 10, k.y, w-10, 0)
		k.y += tall
	}
}

// disc sets the number of a finding as on the pictures: white on dark for a failure.
func (k *labSheet) disc(g *inspect.Finding, x, y float64) {
	f := k.pdf
	f.SetDrawColor(24, 24, 28)
	f.SetLineWidth(0.4)
	f.SetFillColor(255, 255, 255)
	if g.Severity == inspect.Fail {
		f.SetFillColor(24, 24, 28)
		f.SetTextColor(255, 255, 255)
	}
	f.Circle(x, y, 2.2, "FD")
	k.font("B", smallSize)
	t := fmt.Sprint(g.Number)
	f.Text(x-f.GetStringWidth(t)/2, y+0.95, t)
	f.SetTextColor(0, 0, 0)
	k.font("", bodySize)
}

// scanWords names a scan in one line.
func scanWords(rep *inspect.Report) string {
	parts := []string{jawWords(rep)}
	for _, s := range []string{rep.Surface, rep.Coverage, isolated(rep.Scan.File)} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, ", ")
}

func jawWords(rep *inspect.Report) string {
	if rep.Jaw == "" {
		return "Jaw unknown"
	}
	return capital(string(rep.Jaw)) + " jaw"
}
