package render

import (
	"fmt"
	"slices"
	"strings"

	"fornix/inspect"
	"fornix/inspect/casefile"
)

// order is the last page: the order itself, what is still missing, the cautions, and which files
// the sheet speaks of.
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
			k.font("", bodySize)
			var names []string
			for _, g := range gaps {
				names = append(names, casefile.Name(g.Key))
			}
			k.y += k.lines(strings.Join(names, "; ")+".", 0, k.y, k.width(), 8) + 3
		}
		k.caseRows(gaps)
	}
	f := k.pdf
	need := 38 + float64(len(inspect.Cautions())+2*len(k.in.Scans)+1)*(lineMM+0.5)
	if k.left() < need {
		k.page("Cautions and files")
	}
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
		k.y += k.lines(fmt.Sprintf("%s: %d bytes, %d faces, unit %s", s.File, s.Bytes, s.Faces, s.Unit), 0, k.y, k.width(), 1)
		k.y += k.lines("SHA-256 "+s.SHA256, 0, k.y, k.width(), 1) + 1
	}
	k.y += k.lines("Judged by "+k.in.Scans[0].Report.Protocol, 0, k.y, k.width(), 1) + 8
	k.font("", bodySize)
	f.SetLineWidth(0.3)
	f.Line(sheetMargin, k.y+8, sheetMargin+80, k.y+8)
	f.Line(sheetMargin+100, k.y+8, sheetMargin+150, k.y+8)
	by, on := "Signature of the clinician", "Date"
	if c != nil {
		if c.Signature.By != "" {
			by += ": " + c.Signature.By
		}
		if c.Signature.On != "" {
			on += ": " + c.Signature.On
		}
	}
	k.lines(by, 0, k.y+8.5, 95, 1)
	k.lines(on, 100, k.y+8.5, 60, 1)
}

// caseRows sets the order in two columns, group by group: what was filled in, and what is missing
// with a line to write on.
func (k *labSheet) caseRows(gaps []casefile.Gap) {
	missing := map[string]bool{}
	for _, g := range gaps {
		missing[g.Key] = true
	}
	const gutter = 8.0
	w := (k.width() - gutter) / 2
	col, top, low := 0, k.y, k.y
	for _, g := range k.in.Case.Groups() {
		g.Rows = slices.DeleteFunc(g.Rows, func(r casefile.Row) bool { return r.Value == "" && !missing[r.Key] })
		if g.Name == "Signature" || len(g.Rows) == 0 { // it stands at the end
			continue
		}
		tall := 6.0
		k.font("", smallSize)
		for _, r := range g.Rows {
			tall += k.rowHeight(r.Name, r.Value, w)
		}
		if k.y+tall > k.h-sheetFoot-4 || col == 0 && k.y > top && k.y-top > (k.h-sheetFoot-top)*0.42 {
			if low = max(low, k.y); col == 0 {
				col, k.y = 1, top
			} else {
				k.page("Order, continued")
				col, top, low = 0, k.y, k.y
			}
		}
		x := float64(col) * (w + gutter)
		k.font("B", bodySize)
		k.lines(g.Name, x, k.y, w, 1)
		k.y += 5
		for _, r := range g.Rows {
			k.row(r.Name, r.Value, x, w)
		}
		k.y += 2.5
	}
	k.y = max(low, k.y) + 4
}

const (
	nameShare = 0.44 // of a row's width, for the name
	rowLines  = 8    // most lines of a value; the case file has all
)

func (k *labSheet) rowHeight(name, value string, w float64) float64 {
	n := max(len(k.pdf.SplitText(k.says(name), w*nameShare-2)), len(k.pdf.SplitText(k.says(value), w*(1-nameShare))), 1)
	return float64(min(n, rowLines)) * lineMM
}

// row sets a name and its value; what is not filled in has a line to write on.
func (k *labSheet) row(name, value string, x, w float64) {
	k.font("", smallSize)
	h := k.rowHeight(name, value, w)
	k.pdf.SetTextColor(70, 70, 74)
	k.lines(name, x, k.y, w*nameShare-2, 0)
	k.pdf.SetTextColor(0, 0, 0)
	if value == "" {
		k.pdf.SetDrawColor(150, 150, 150)
		k.pdf.SetLineWidth(0.15)
		at := sheetMargin + x + w*nameShare
		k.pdf.Line(at, k.y+3.4, at+w*(1-nameShare), k.y+3.4)
	}
	k.lines(value, x+w*nameShare, k.y, w*(1-nameShare), rowLines)
	k.y += h
}
