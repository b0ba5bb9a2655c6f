package render

import (
	"fmt"
	"slices"
	"strings"

	"fornix/inspect"
	"fornix/inspect/casefile"
)

// order is the last page: the order itself, what is still missing, the cautions, and which files
// the sheet speaks of. What is written long is cut so that all stands on one page.
func (k *labSheet) order() {
	k.page("Order, cautions and files")
	c := k.in.Case
	if c == nil {
		k.head("Order")
		k.font("", bodySize)
		k.y += k.lines("No case file was given, so the order is not on this sheet. To have it here, write a case file (fornix case new FILE) and fill it in.", 0, k.y, k.width(), 0) + 3
	} else {
		gaps := c.Missing("")
		if len(gaps) > 0 {
			k.head("Missing before this is sent")
			k.font("", smallSize)
			var names []string
			for _, g := range gaps {
				names = append(names, casefile.Name(g.Key))
			}
			k.y += k.linesOf(strings.Join(names, "; ")+".", 0, k.y-0.4, k.width(), 8, rowMM) + 2.5
		}
		k.unprinted()
		k.caseRows(gaps, k.left()-k.endTall())
	}
	k.end()
}

// endTall is how high end is.
func (k *labSheet) endTall() float64 {
	tall := 6 + 3 + 6 + lineMM + 4 + 8.5 + lineMM
	k.font("", bodySize)
	for _, t := range inspect.Cautions() {
		tall += float64(len(k.split(t, k.width(), 0, 0)))*lineMM + 0.8
	}
	return tall + float64(len(k.in.Scans))*(2*lineMM+1)
}

// end sets the cautions, the files and the signature line.
func (k *labSheet) end() {
	f, c := k.pdf, k.in.Case
	k.head("Cautions")
	k.font("", bodySize)
	for _, t := range inspect.Cautions() {
		k.y += k.lines(t, 0, k.y, k.width(), 0) + 0.8
	}
	k.y += 3
	k.head("Files")
	for i := range k.in.Scans {
		s := &k.in.Scans[i].Report.Scan
		k.font("", bodySize)
		k.y += k.lines(fmt.Sprintf("%s: %d bytes, %d faces, unit %s", isolated(s.File), s.Bytes, s.Faces, s.Unit), 0, k.y, k.width(), 1)
		k.y += k.lines("SHA-256 "+s.SHA256, 0, k.y, k.width(), 1) + 1
	}
	k.y += k.lines("Judged by "+k.in.Scans[0].Report.Protocol, 0, k.y, k.width(), 1) + 4
	k.font("", bodySize)
	f.SetLineWidth(0.3)
	f.Line(sheetMargin, k.y+8, sheetMargin+80, k.y+8)
	f.Line(sheetMargin+100, k.y+8, sheetMargin+150, k.y+8)
	by, on := "Signature of the clinician", "Date"
	if c != nil {
		if c.Signature.By != "" {
			by += ": " + isolated(c.Signature.By)
		}
		if c.Signature.On != "" {
			on += ": " + isolated(c.Signature.On)
		}
	}
	k.lines(by, 0, k.y+8.5, 95, 1)
	k.lines(on, 100, k.y+8.5, 60, 1)
}

const (
	nameMM    = 35.0 // of a row, for the name
	mostNotes = 7    // lines
	rowMM     = 3.5  // of a line
	groupMM   = 7.5  // of a group's name and the room after it
)

// caseRows sets the order in two columns of about one height, group by group: what was filled in,
// and what is missing with a line to write on. Values are cut, all to the same number of lines, where
// they would not have room; the case file holds all.
func (k *labSheet) caseRows(gaps []casefile.Gap, room float64) {
	missing := map[string]bool{}
	for _, g := range gaps {
		missing[g.Key] = true
	}
	var groups []casefile.Group
	for _, g := range k.in.Case.Groups() {
		g.Rows = slices.DeleteFunc(g.Rows, func(r casefile.Row) bool { return r.Value == "" && !missing[r.Key] })
		if g.Name != "Signature" && len(g.Rows) > 0 { // it stands at the end
			groups = append(groups, g)
		}
	}
	const gutter, most = 8.0, 16
	w := (k.width() - gutter) / 2
	var wide []casefile.Group // notes may be long
	if n := len(groups); n > 0 && groups[n-1].Name == "More" {
		groups, wide = groups[:n-1], groups[n-1:]
		for _, r := range wide[0].Rows {
			room -= k.rowHeight(r.Name, r.Value, 2*w, mostNotes)
		}
		room -= groupMM
	}
	split, tall, lines := 0, 0.0, most
	for ; lines > 0; lines-- {
		if split, tall = k.halves(groups, w, lines); tall <= room {
			break
		}
	}
	lines = max(lines, 1)
	top := k.y
	for i, g := range groups {
		x := 0.0
		if i >= split {
			x = w + gutter
		}
		if i == split {
			k.y = top
		}
		k.group(g, x, w, lines)
	}
	k.y = top + tall
	for _, g := range wide {
		k.group(g, 0, 2*w, mostNotes)
	}
}

// group sets one group of the order.
func (k *labSheet) group(g casefile.Group, x, w float64, lines int) {
	k.font("B", bodySize)
	k.lines(g.Name, x, k.y, w, 1)
	k.y += 5
	for _, r := range g.Rows {
		k.row(r.Name, r.Value, x, w, lines)
	}
	k.y += groupMM - 5
}

// halves tells which group begins the second column, so that both are about equally high, and how high
// the higher one is, with values of so many lines at most.
func (k *labSheet) halves(groups []casefile.Group, w float64, lines int) (split int, tall float64) {
	heights := make([]float64, len(groups))
	rest := 0.0
	for i, g := range groups {
		heights[i] = groupMM
		for _, r := range g.Rows {
			heights[i] += k.rowHeight(r.Name, r.Value, w, lines)
		}
		rest += heights[i]
	}
	split, tall = len(groups), rest
	above := 0.0
	for i, h := range heights {
		if t := max(above, rest); t < tall {
			split, tall = i, t
		}
		above, rest = above+h, rest-h
	}
	return split, tall
}

func (k *labSheet) rowHeight(name, value string, w float64, most int) float64 {
	k.font("", smallSize)
	n := max(len(k.split(name, nameMM-2, 0, 0)), len(k.split(value, w-nameMM, auto, 0)), 1)
	return float64(min(n, most)) * rowMM
}

// row sets a name and its value; what is not filled in has a line to write on.
func (k *labSheet) row(name, value string, x, w float64, most int) {
	h := k.rowHeight(name, value, w, most)
	k.pdf.SetTextColor(70, 70, 74)
	k.linesOf(name, x, k.y, nameMM-2, most, rowMM)
	k.pdf.SetTextColor(0, 0, 0)
	if value == "" {
		k.pdf.SetDrawColor(150, 150, 150)
		k.pdf.SetLineWidth(0.15)
		at := sheetMargin + x + nameMM
		k.pdf.Line(at, k.y+3.2, at+w-nameMM, k.y+3.2)
	}
	k.set(k.split(value, w-nameMM, auto, most), x+nameMM, k.y, w-nameMM, rowMM)
	k.y += h
}
