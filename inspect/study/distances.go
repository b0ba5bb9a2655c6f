package study

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"fornix/inspect"
)

// Compared is what came of a job: the distances of the whole surface and of its parts, mm, or why there
// are none.
type Compared struct {
	Job
	Parts []inspect.BothWays // the whole first; those without distances say why
	Codes []string           // of the findings, as in the table of scans
	Why   string             // why nothing was compared; empty: it was
}

// statistic is one number that sums up the distances of a part, taken from A to B and from B to A.
type statistic struct {
	name   string // of the quantity, without kind, part and unit
	of     func(w *inspect.BothWays) float64
	square bool // over several pairs the mean square counts, else the mean
}

// larger takes the larger of the two ways, as where a comparison is judged.
func larger(value func(d *inspect.Deviation) float64) func(w *inspect.BothWays) float64 {
	return func(w *inspect.BothWays) float64 {
		v, _ := inspect.Larger(w, func(d *inspect.Deviation) (v, u float64) { return value(d), 0 })
		return v
	}
}

// bias is the mean of both ways: flat faces cut off a bent surface on one side, which the two see with
// opposite signs.
func bias(w *inspect.BothWays) float64 {
	if w.AtA == nil || w.AtB == nil {
		return math.NaN()
	}
	return w.AtA.MeanMM/2 + w.AtB.MeanMM/2
}

func rms(d *inspect.Deviation) float64 { return d.RMSMM }

// statistics of a kind, in the order in which they are told. The sign of a distance between two repeats
// means nothing, so that they have no mean; s_r is that of PrecisionTable.
func statistics(kind string) []statistic {
	first := statistic{"mean", bias, false}
	if kind == OfRepeats {
		first = statistic{"sr", func(w *inspect.BothWays) float64 { return larger(rms)(w) / math.Sqrt2 }, true}
	}
	return []statistic{
		first,
		{"rms", larger(rms), true},
		{"abs_p50", larger(func(d *inspect.Deviation) float64 { return d.AbsP50MM }), false},
		{"abs_p95", larger(func(d *inspect.Deviation) float64 { return d.AbsP95MM }), false},
	}
}

// DistanceColumn is the name of the quantity of a kind over a part ("all": the whole surface), made as
// those of the tables are.
func DistanceColumn(kind, statistic, part string) string {
	name := kind + "_" + statistic
	if part != inspect.ZoneAll {
		name += "_" + strings.ReplaceAll(part, " ", "_")
	}
	return name + "_mm"
}

// each hands to use every number that a comparison comes to, with the name of its quantity.
func (c *Compared) each(use func(s statistic, part, quantity string, v float64)) {
	if c.Why != "" {
		return
	}
	for i := range c.Parts {
		for _, s := range statistics(c.Kind) {
			if v := s.of(&c.Parts[i]); !math.IsNaN(v) {
				use(s, c.Parts[i].Region, DistanceColumn(c.Kind, s.name, c.Parts[i].Region), v)
			}
		}
	}
}

// AddTrueness adds to the rows of a table what their comparisons with a reference say, and to its
// numbers the new columns.
func AddTrueness(t *Table, all []Compared) {
	var names columns
	byLine := map[int]*Compared{}
	reference := map[int]bool{}
	for i := range all {
		c := &all[i]
		byLine[c.B.Line], reference[c.A.Line] = c, true
		c.each(func(_ statistic, part, quantity string, _ float64) { names.add(part, quantity) })
	}
	added := names.list()
	t.Numbers = append(t.Numbers, added...)
	for i := range t.Rows {
		r := &t.Rows[i]
		why := "that part is not on both scans"
		if c := byLine[r.Line]; c != nil {
			c.each(func(_ statistic, _, quantity string, v float64) { r.Value[quantity] = v })
			why = cmp.Or(c.Why, why)
		} else if reference[r.Line] {
			why = "it is the reference"
		}
		r.Why = map[string]string{}
		for _, name := range added {
			r.Why[name] = why
		}
	}
}

// PrecisionTable makes of all pairs a table with a row for each subject and condition: the pairs of n
// repeats share scans, so that they are not independent of each other, but subjects are.
//
// The RMS of a row is the root of the mean square over its pairs, and s_r, the repeatability standard
// deviation of the surface, is RMS/√2: the variance of n values is half the mean square of the
// differences of their pairs, here at every place of the surface and then averaged by area. Other
// statistics are means over the pairs. A pair that could not be compared does not count; a row without
// any says why.
func PrecisionTable(user []string, all []Compared) *Table {
	var names columns
	out := &Table{User: user}
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n].Subject == all[0].Subject && all[n].Condition == all[0].Condition && (all[n].A.Path == "") == (all[0].A.Path == "") {
			n++
		}
		if all[0].A.Path != "" { // else of no pair
			out.Rows = append(out.Rows, precisionRow(all[:n], &names))
		}
		all = all[n:]
	}
	out.Numbers = names.list()
	return out
}

// precisionRow gathers the pairs of one subject and condition.
func precisionRow(cell []Compared, names *columns) Row {
	first := cell[0]
	r := Row{Jaw: first.A.Jaw, Text: first.A.Text, Value: map[string]float64{}, Failed: first.Why}
	count, square := map[string]float64{}, map[string]bool{}
	done := 0
	for i := range cell {
		if cell[i].Why == "" {
			done++
			r.Failed = ""
		}
		cell[i].each(func(s statistic, part, quantity string, v float64) {
			names.add(part, quantity)
			if square[quantity] = s.square; s.square {
				v *= v
			}
			count[quantity]++
			r.Value[quantity] += v
		})
	}
	for quantity, n := range count {
		r.Value[quantity] /= n
		if square[quantity] {
			r.Value[quantity] = math.Sqrt(r.Value[quantity])
		}
	}
	r.Path = fmt.Sprintf("%s: %d of %d pairs", strings.TrimSuffix(first.Subject+", "+first.Condition, ", "), done, len(cell))
	return r
}

// OverPairs are the values of each quantity of precision over all pairs, by condition; "" holds those of
// all conditions together. The values of one quantity and condition stand in the order of the pairs.
func OverPairs(all []Compared) map[string]map[string][]float64 {
	out := map[string]map[string][]float64{}
	for i := range all {
		c := &all[i]
		if c.Kind != OfRepeats {
			continue
		}
		c.each(func(_ statistic, _, quantity string, v float64) {
			if out[quantity] == nil {
				out[quantity] = map[string][]float64{}
			}
			out[quantity][""] = append(out[quantity][""], v)
			if c.Condition != "" {
				out[quantity][c.Condition] = append(out[quantity][c.Condition], v)
			}
		})
	}
	return out
}

// columns gathers names, part by part in the order in which comparisons tell parts.
type columns struct {
	parts []string
	names map[string][]string
}

func (c *columns) add(part, name string) {
	if c.names == nil {
		c.names = map[string][]string{}
	}
	if !slices.Contains(c.parts, part) {
		c.parts = append(c.parts, part)
	}
	if !slices.Contains(c.names[part], name) {
		c.names[part] = append(c.names[part], name)
	}
}

func (c *columns) list() []string {
	var out []string
	for _, p := range c.parts {
		out = append(out, c.names[p]...)
	}
	return out
}
