package main

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"html/template"
	"io"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fornix/inspect/study"
	"fornix/render"
)

//go:embed study.html
var studyPage string

var studyTemplate = template.Must(template.New("study").Funcs(template.FuncMap{"number": briefly, "unit": study.Unit}).Parse(studyPage))

// briefly writes a number that a template has, or points at.
func briefly(v any) string {
	if p, ok := v.(*float64); ok {
		return brief(*p)
	}
	return brief(v.(float64))
}

// studyWork is a study that was counted and is to be written.
type studyWork struct {
	table       *study.Table
	design      study.Design
	confidence  float64
	all, chosen []study.Result
	borders     []study.Profile
	precision   *study.Table     // what pairs of repeats say, by subject and condition; empty: not asked for
	compared    []study.Compared // every comparison of two scans
	overPairs   map[string]map[string][]float64
	maps        []shownMap
	from, out   string // the table and the folder of results
}

// write makes every file of a study.
func (w *studyWork) write() error {
	var b bytes.Buffer
	c := csv.NewWriter(&b)
	lines := [][]string{{"quantity", "unit", "analysis", "group", "statistic", "value", "low", "high", "note"}}
	for _, r := range w.all {
		for _, k := range w.rows(r) {
			line := []string{r.Quantity, study.Unit(r.Quantity), k.Analysis, k.Group, k.Name, "", "", "", k.Note}
			if k.Value != nil {
				line[5] = brief(*k.Value)
			}
			if k.Interval != nil {
				line[6], line[7] = brief(k.Interval.Low), brief(k.Interval.High)
			}
			lines = append(lines, line)
		}
	}
	if err := c.WriteAll(lines); err != nil {
		return err
	}
	if err := writeFile(filepath.Join(w.out, "statistics.csv"), b.Bytes()); err != nil {
		return err
	}
	if w.compared != nil {
		pairs, err := pairsTable(w.compared)
		if err != nil {
			return err
		}
		if err := writeFile(filepath.Join(w.out, pairsName), pairs); err != nil {
			return err
		}
	}
	page, err := w.page()
	if err != nil {
		return err
	}
	return writeFile(filepath.Join(w.out, "study.html"), page)
}

// shownQuantity is one section of the page.
type shownQuantity struct {
	Result  study.Result
	Rows    []studyRow
	Figures []shownFigure
}

type shownFigure struct {
	Name string // of its files, without ending
	SVG  template.HTML
	Says string
}

// page writes the plots and makes the summary that shows them.
func (w *studyWork) page() ([]byte, error) {
	data := struct {
		Scans   int
		Design  string
		Percent string
		Shown   []shownQuantity
		All     []study.Result
		Borders []shownFigure
		Failed  []study.Row
		Pairs   []shownPairs
		Maps    []shownMap
		Help    []study.Page
	}{Scans: len(w.table.Rows), Design: w.says(), Percent: brief(100 * w.confidence), All: w.all, Pairs: showPairs(w.compared), Maps: w.maps, Help: study.Pages()}
	for _, r := range w.table.Rows {
		if r.Failed != "" {
			data.Failed = append(data.Failed, r)
		}
	}
	for _, r := range w.chosen {
		q := shownQuantity{Result: r, Rows: w.rows(r)}
		k, err := w.figure(r.Quantity+"-groups", w.groups(r).Figure(), w.dots(r)+" Box: quartiles and median. Bar beside it: mean with its interval.")
		if err != nil {
			return nil, err
		}
		q.Figures = append(q.Figures, k)
		if r.Agreement != nil {
			k, err := w.figure(r.Quantity+"-agreement", w.agreement(r).Figure(), "Each dot is a pair of values, "+r.A+" and "+r.B+". Grey bands: intervals of the bias and of the limits.")
			if err != nil {
				return nil, err
			}
			q.Figures = append(q.Figures, k)
		}
		data.Shown = append(data.Shown, q)
	}
	for _, p := range w.borders {
		d := render.Profile{Quantity: "border thickness, " + p.Jaw, Unit: "mm", Step: 1.0 / study.ProfileBins}
		for _, s := range p.Stations {
			d.Stations = append(d.Stations, render.ProfileStation{Along: s.Along, N: s.Summary.N, Mean: s.Summary.Mean, Min: s.Summary.Min, Max: s.Summary.Max, SD: s.Summary.SD})
		}
		for _, k := range p.Places {
			d.Places = append(d.Places, render.PlotTick{At: k.Along, Name: k.Name})
		}
		k, err := w.figure("border_thickness-"+p.Jaw, d.Figure(), fmt.Sprintf("Outer border of %d scans, each counted once at every 2 %% of the way.", p.Scans))
		if err != nil {
			return nil, err
		}
		data.Borders = append(data.Borders, k)
	}
	var b bytes.Buffer
	err := studyTemplate.Execute(&b, data)
	return b.Bytes(), err
}

// dots says what a dot of a quantity is.
func (w *studyWork) dots(r study.Result) string {
	if slices.Contains(w.precision.Numbers, r.Quantity) {
		return "Each dot is a subject under one condition, all of its pairs together."
	}
	return "Each dot is a scan; a click opens its report."
}

// figure writes a plot's three files.
func (w *studyWork) figure(name string, f *render.Figure, says string) (shownFigure, error) {
	pdf, err := f.PDF()
	if err != nil {
		return shownFigure{}, err
	}
	png, err := f.PNG()
	if err != nil {
		return shownFigure{}, err
	}
	svg := f.SVG()
	for ext, data := range map[string][]byte{".svg": svg, ".pdf": pdf, ".png": png} {
		if err := writeFile(filepath.Join(w.out, name+ext), data); err != nil {
			return shownFigure{}, err
		}
	}
	return shownFigure{name, template.HTML(svg), says}, nil // render escapes what it sets
}

// groups is a plot of all groups, or of all values where there are none.
func (w *studyWork) groups(r study.Result) render.Groups {
	d := render.Groups{Quantity: study.Words(r.Quantity), Unit: study.Unit(r.Quantity)}
	list := r.Groups[1:]
	if len(list) == 0 {
		list = r.Groups
	}
	for _, g := range list {
		s := g.Summary
		k := render.PlotGroup{Name: g.Name}
		if k.Name == "" {
			k.Name = "all"
		}
		for _, row := range g.Rows {
			v := row.Value[r.Quantity]
			k.Points = append(k.Points, render.PlotPoint{Y: v, Tip: row.Path + ": " + brief(v), Link: w.link(row)})
		}
		if s.N > 0 {
			k.Box, k.Mean = &[3]float64{s.Q1, s.Median, s.Q3}, &s.Mean
			k.Range = ends(s.MeanInterval)
		}
		d.Groups = append(d.Groups, k)
	}
	return d
}

func ends(i *study.Interval) *[2]float64 {
	if i == nil {
		return nil
	}
	return &[2]float64{i.Low, i.High}
}

func (w *studyWork) agreement(r study.Result) render.BlandAltman {
	g := r.Agreement
	d := render.BlandAltman{A: r.A, B: r.B, Unit: study.Unit(r.Quantity), Bias: g.Bias, Limits: ends(g.Limits), BiasRange: ends(g.BiasInterval)}
	d.LowRange, d.HighRange = ends(g.Lower), ends(g.Upper)
	if g.Lower == nil {
		d.LowRange, d.HighRange = ends(g.LowerBA), ends(g.UpperBA)
	}
	for _, p := range r.Pairs {
		a, b := p.A.Value[r.Quantity], p.B.Value[r.Quantity]
		d.Points = append(d.Points, render.PlotPoint{X: a/2 + b/2, Y: a - b, Tip: p.Subject + ": " + p.A.Path + " and " + p.B.Path, Link: w.link(p.A)})
	}
	return d
}

// link leads from the folder of results to a scan's page or, where there is none, its report; empty
// where neither is there.
func (w *studyWork) link(r study.Row) string {
	if r.Report == "" {
		return ""
	}
	for _, name := range []string{pageName, "report.json"} {
		path := filepath.Join(filepath.Dir(w.from), filepath.FromSlash(r.Report), name)
		if _, err := os.Stat(path); err != nil {
			continue
		}
		from, err1 := filepath.Abs(w.out)
		to, err2 := filepath.Abs(path)
		if rel, err := filepath.Rel(from, to); err == nil && err1 == nil && err2 == nil {
			return (&url.URL{Path: filepath.ToSlash(rel)}).String()
		}
	}
	return ""
}

// says is the design in words.
func (w *studyWork) says() string {
	d := w.design
	var out []string
	for _, k := range [][2]string{{"subject", d.Subject}, {"condition", d.Condition}, {"groups", d.Group}} {
		text := k[0] + ": none found"
		if k[1] != "" {
			text = k[0] + ": column " + k[1]
			if n := len(w.table.Levels(k[1])); n > 0 {
				text += fmt.Sprintf(" (%d different)", n)
			}
		}
		out = append(out, text)
	}
	if len(w.table.Levels("jaw")) > 1 {
		out = append(out, "both jaws are counted together unless --jaw is given; a subject's two jaws are two subjects")
	}
	return strings.Join(out, "; ")
}

// tell says on the terminal what was found.
func (w *studyWork) tell(out io.Writer) {
	failed := 0
	for _, r := range w.table.Rows {
		if r.Failed != "" {
			failed++
		}
	}
	fmt.Fprintf(out, "scans: %d, could not be read: %d\n%s\n", len(w.table.Rows), failed, w.says())
	for _, k := range showPairs(w.compared) {
		fmt.Fprintln(out, k.Says())
		for _, path := range k.Missing {
			fmt.Fprintf(out, "  not there: %s\n", path)
		}
	}
	for _, r := range w.chosen {
		fmt.Fprintf(out, "\n%s\n", strings.TrimSpace(r.Quantity+" "+study.Unit(r.Quantity)))
		for _, k := range w.rows(r) {
			line := k.Analysis + " " + k.Group
			value := "-"
			if k.Value != nil {
				value = brief(*k.Value)
			}
			if k.Interval != nil {
				value += " (" + brief(k.Interval.Low) + " to " + brief(k.Interval.High) + ")"
			}
			fmt.Fprintln(out, strings.TrimRight(fmt.Sprintf("  %-24s %-26s %-30s %s", strings.TrimSpace(line), k.Name, value, k.Note), " "))
		}
	}
	fmt.Fprintf(out, "\nSummary: %s, every number: %s\n", filepath.Join(w.out, "study.html"), filepath.Join(w.out, "statistics.csv"))
	if w.compared != nil {
		fmt.Fprintf(out, "Every comparison: %s\n", filepath.Join(w.out, pairsName))
	}
}
