package render

import (
	"fmt"
	"slices"
	"strings"
)

// both is the page of two scans: their views but the first, which stands on the front page, their
// border profiles, and what was measured on both in one table.
func (k *labSheet) both() error {
	k.page("Both jaws as scanned")
	const gap, head = 4.0, 5.5
	w := (k.width() - 2*gap) / 2
	rows := k.bothRows()
	// The sides are flat; the other pictures take what the table leaves.
	small := (w - gap) / 2
	flat := small*0.47 + wordsTall
	h := max(18, min(k.left()-head-2*6-flat-profileTall-noteTall-k.bothTableTall(rows), small*0.75))
	low := 0.0
	for i := range k.in.Scans {
		rep, shots := k.in.Scans[i].Report, k.printers[i]
		x, y := float64(i)*(w+2*gap), k.y
		k.font("B", bodySize)
		k.lines(jawWords(rep)+", "+rep.Scan.File, x, y, w, 1)
		y += head
		for n, v := range views(rep)[1:5] {
			tall := h
			if n > 1 {
				tall = flat
			}
			p, err := shots.print(v, small, tall)
			if err != nil {
				return err
			}
			p.title = capital(strings.TrimPrefix(p.title, "From the "))
			k.picture(p, sheetMargin+x+float64(n%2)*(small+gap), y+float64(n/2)*(h+6), small)
		}
		k.y, y = y+h+flat+12, k.y
		k.profile(rep, x, w, profileTall-5)
		low = max(low, k.y)
		k.y = y
	}
	k.y = low
	k.font("", smallSize)
	k.lines("R right, L left; "+profileNote+".", 0, k.y-1.5, k.width(), 1)
	k.y += noteTall
	k.bothTable(rows)
	return nil
}

// The heights of the parts of the page of two scans, mm.
const (
	profileTall = 36.0
	noteTall    = 3.5
	bothRow     = 3.2
)

// bothValue is a value of two scans; a scan that has no such value has the empty text.
type bothValue struct {
	name   string
	values [2]string
	limits [2]string
}

// bothRows joins the rows of both scans by their names, in the order of the first. Those that only the
// second has stand before the next one that both have, among rows of their own kind.
func (k *labSheet) bothRows() []bothValue {
	var out []bothValue
	kind := func(name string) string { return name[:strings.IndexAny(name+":", ":,")] }
	for i := range k.in.Scans {
		rows := Rows(k.in.Scans[i].Report, &k.in.Protocol.Limits)
		at := 0
		for _, r := range rows {
			n := slices.IndexFunc(out, func(b bothValue) bool { return b.name == r.Name })
			if n < 0 {
				for n = at; n < len(out) && kind(out[n].name) == kind(r.Name) && !slices.ContainsFunc(rows, func(o Row) bool { return o.Name == out[n].name }); {
					n++
				}
				out = slices.Insert(out, n, bothValue{name: r.Name})
			}
			out[n].values[i], out[n].limits[i] = r.Value, r.Limits
			at = n + 1
		}
	}
	return out
}

// limitsText gives the limits once where they are those of both.
func (b bothValue) limitsText() string {
	switch {
	case b.limits[0] == b.limits[1] || b.limits[1] == "":
		return b.limits[0]
	case b.limits[0] == "":
		return b.limits[1]
	}
	both, rest := "", b.limits[1]
	for { // what both begin with is said once
		part, more, found := strings.Cut(rest, ", ")
		if !found || !strings.HasPrefix(b.limits[0], both+part+", ") {
			break
		}
		both, rest = both+part+", ", more
	}
	return b.limits[0] + "; other jaw: " + rest
}

// bothColumns are where the columns begin and the last ends, mm from the left margin.
func (k *labSheet) bothColumns() [5]float64 { return [5]float64{0, 46, 90, 134, k.width() + 2} }

func (k *labSheet) bothTableTall(rows []bothValue) float64 {
	tall := 6 + 2*bothRow
	for _, r := range rows {
		tall += k.bothRowTall(r)
	}
	return tall
}

func (k *labSheet) bothRowTall(r bothValue) float64 {
	cols := k.bothColumns()
	k.font("", smallSize)
	n := 1
	for c, t := range [4]string{r.name, r.values[0], r.values[1], r.limitsText()} {
		n = max(n, len(k.split(t, cols[c+1]-cols[c]-2, 0, 0)))
	}
	return float64(n) * bothRow
}

// bothTable sets what was measured on both scans.
func (k *labSheet) bothTable(rows []bothValue) {
	k.head(measuredHead)
	cols := k.bothColumns()
	name := func(i int) string {
		if j := k.in.Scans[i].Report.Jaw; j != "" {
			return string(j)
		}
		return k.in.Scans[i].Report.Scan.File
	}
	k.font("B", smallSize)
	for c, t := range [4]string{"what", name(0), name(1), "limits: review / fail"} {
		k.linesOf(t, cols[c], k.y-0.6, cols[c+1]-cols[c]-2, 1, bothRow)
	}
	k.y += bothRow + 0.6
	k.rule(k.y, 0.2)
	k.y += 0.4
	for i, r := range rows {
		tall := k.bothRowTall(r)
		if k.left() < tall {
			k.font("", smallSize)
			k.lines(fmt.Sprintf("%d more rows stand in the reports", len(rows)-i), 0, k.y-0.4, k.width(), 1)
			return
		}
		k.font("", smallSize)
		for c, t := range [4]string{r.name, r.values[0], r.values[1], r.limitsText()} {
			k.linesOf(t, cols[c], k.y-0.6, cols[c+1]-cols[c]-2, 0, bothRow)
		}
		k.y += tall
	}
}
