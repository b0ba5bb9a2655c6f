package render

import (
	"fmt"
	"math"
	"strings"

	"fornix/inspect"
)

// scan is the page of one scan: views, border profile, and what was measured.
func (k *labSheet) scan(rep *inspect.Report, shots *printer) error {
	k.page(scanWords(rep))
	vs := views(rep)
	const gap = 4.0
	half, third := (k.width()-gap)/2, (k.width()-2*gap)/3
	rows := Rows(rep, &k.in.Protocol.Limits)
	// The pictures take what profile and table leave.
	tall := 0.62 * min(1, max(0.6, (k.left()-2*6.5-6-43-tableTall(rows))/(0.62*(half+third))))
	for _, row := range []struct {
		views []View
		w     float64
	}{{vs[:2], half}, {vs[2:5], third}} {
		h := row.w * tall
		for i, v := range row.views {
			p, err := shots.print(v, row.w, h)
			if err != nil {
				return err
			}
			k.picture(p, sheetMargin+float64(i)*(row.w+gap), k.y, row.w)
		}
		k.y += h + 6.5
	}
	k.head("Border thickness along the border")
	k.profile(rep, 0, k.width(), 38)
	k.table(rows)
	return nil
}

// profileNote explains the plot of the border.
const profileNote = "line: thickness, heavy outside the limits; dashes: review limits; colours: as on the pictures"

// profile plots the thickness of the border along the way round, with the protocol's limits: heavy
// where it is too thin or too thick. The plot lies x mm from the left margin, and is w wide and tall mm high.
func (k *labSheet) profile(rep *inspect.Report, x, w, tall float64) {
	f := k.pdf
	st := rep.Border.Stations
	if len(st) == 0 || rep.Border.ThicknessUnmeasured != "" {
		k.font("", bodySize)
		k.y += k.lines("Not measured: "+firstOf(rep.Border.ThicknessUnmeasured, rep.Border.Unmeasured)+".", x, k.y, w, 2) + 3
		return
	}
	const axis = 8.0
	left, right := sheetMargin+x, sheetMargin+x+w
	k.y += 3
	x0, top := left+axis, k.y
	w -= axis + 3
	rows := 2
	if w < 120 {
		rows = 3
	}
	bottom := top + tall - 2.8 - 3.6*float64(rows)
	total, most := 0.0, 4.0
	at := make([]float64, len(st)) // mm along all sides, one after the other
	for i := range st {
		if i > 0 {
			if st[i].Side == st[i-1].Side {
				total += math.Abs(st[i].SMM - st[i-1].SMM)
			} else {
				total += 6 // between two sides
			}
		}
		at[i] = total
		if t := st[i].ThicknessMM; t != nil && !math.IsNaN(*t) {
			most = max(most, *t)
		}
	}
	most = min(math.Ceil(most), 9)
	px := func(s float64) float64 { return x0 + s/max(total, 1)*w }
	py := func(mm float64) float64 { return bottom - min(mm, most)/most*(bottom-top) }
	f.SetLineWidth(0.12)
	k.font("", smallSize)
	for mm := 0.0; mm <= most; mm++ {
		f.SetDrawColor(205, 205, 205)
		f.Line(x0, py(mm), x0+w, py(mm))
		t := plain(mm)
		f.Text(x0-1.5-f.GetStringWidth(t), py(mm)+1, t)
	}
	f.Text(left, top-1.6, "mm")
	sc := Scale{}.orDefault()
	for i, c := range sc.colours() {
		lo, hi := sc.FromMM+float64(i)*sc.StepMM, sc.FromMM+float64(i+1)*sc.StepMM
		if lo < most {
			f.SetFillColor(int(c.R), int(c.G), int(c.B))
			f.Rect(x0+w+0.8, py(hi), 2.2, py(lo)-py(hi), "F")
		}
	}
	lim := &k.in.Protocol.Limits
	for i := 1; i < len(st); i++ {
		a, b := &st[i-1], &st[i]
		if a.Side != b.Side {
			continue
		}
		thin, thick := lim.BorderThin.For(rep.Jaw, b.Region).Review, lim.BorderThick.For(rep.Jaw, b.Region).Review
		f.SetDrawColor(120, 120, 120)
		f.SetLineWidth(0.2)
		for _, l := range [2]float64{thin, thick} {
			if l < most && i%3 != 0 { // dashed
				f.Line(px(at[i-1]), py(l), px(at[i]), py(l))
			}
		}
		if a.ThicknessMM == nil || b.ThicknessMM == nil {
			continue
		}
		f.SetDrawColor(0, 0, 0)
		f.SetLineWidth(0.35)
		if *b.ThicknessMM < thin || *b.ThicknessMM > thick {
			f.SetLineWidth(1.1)
		}
		f.Line(px(at[i-1]), py(*a.ThicknessMM), px(at[i]), py(*b.ThicknessMM))
	}
	k.profileNames(st, at, px, bottom, left, right, make([]float64, rows))
	if rows == 2 {
		k.font("", smallSize)
		f.Text(x0+w-f.GetStringWidth(profileNote), top-1.6, profileNote)
	}
	k.y = top + tall + 2
}

// profileNames writes the regions under the plot, one over the other where they are narrow. free holds
// where each row is free from.
func (k *labSheet) profileNames(st []inspect.Station, at []float64, px func(float64) float64, bottom, from, to float64, free []float64) {
	f := k.pdf
	k.font("", smallSize)
	for i := 0; i < len(st); {
		j := i
		for j+1 < len(st) && st[j+1].Region == st[i].Region && st[j+1].Side == st[i].Side {
			j++
		}
		f.SetDrawColor(0, 0, 0)
		f.SetLineWidth(0.15)
		f.Line(px(at[i]), bottom, px(at[i]), bottom+1.5)
		f.Line(px(at[j]), bottom, px(at[j]), bottom+1.5)
		t := st[i].Region
		if len(free) > 2 { // of a narrow plot
			t = strings.NewReplacer(" right", " R", " left", " L").Replace(t)
		}
		w := f.GetStringWidth(t)
		left := max(from, min((px(at[i])+px(at[j]))/2-w/2, to-w))
		for row := range free {
			if left >= free[row] {
				k.say(left, bottom+4.4+float64(row)*3.6, t)
				free[row] = left + w + 2
				break
			}
		}
		i = j + 1
	}
}

func firstOf(texts ...string) string {
	for _, t := range texts {
		if t != "" {
			return t
		}
	}
	return "no reason is stated"
}

// measuredHead is the heading of what was measured on scans.
const measuredHead = "Measured (± expanded uncertainty, k = 2; border: median, least to most) and limits"

const tableRow = 3.7 // mm

func tableTall(rows []Row) float64 { return 6 + lineMM + 0.6 + tableRow*float64(len(rows)) }

// table sets what was measured with its uncertainty and limits.
func (k *labSheet) table(rows []Row) {
	k.head(measuredHead)
	f := k.pdf
	cols := [3]float64{0, 62, 112}
	k.font("B", smallSize)
	for i, t := range []string{"what", "value", "limits: review / fail"} {
		f.Text(sheetMargin+cols[i], k.y+3, t)
	}
	k.y += lineMM
	k.rule(k.y+0.2, 0.2)
	k.y += 0.6
	for i, r := range rows {
		if k.left() < tableRow-0.1 && i < len(rows)-1 {
			k.font("", smallSize)
			k.lines(fmt.Sprintf("%d more rows stand in report.json", len(rows)-i), 0, k.y-0.4, k.width(), 1)
			return
		}
		k.font("", smallSize)
		for c, t := range []string{r.Name, r.Value, r.Limits} {
			w := k.width() - cols[c]
			if c == 0 || c == 1 && r.Limits != "" {
				w = cols[c+1] - cols[c] - 2
			}
			k.lines(t, cols[c], k.y-0.4, w, 1)
		}
		k.y += tableRow
	}
}
