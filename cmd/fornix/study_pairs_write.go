package main

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"fornix/inspect"
	"fornix/inspect/study"
	"fornix/inspect/table"
)

// pairsName is the table of all comparisons.
const pairsName = "pairs.csv"

// pairNumbers are the numbers of pairs.csv. Areas are mm², all others mm.
var pairNumbers = []struct {
	name string
	of   func(d *inspect.Deviation) float64
}{
	{"area_mm2", func(d *inspect.Deviation) float64 { return d.AreaMM2 }},
	{"uncovered_mm2", func(d *inspect.Deviation) float64 { return d.UncoveredMM2 }},
	{"mean_mm", func(d *inspect.Deviation) float64 { return d.MeanMM }},
	{"mean_u_mm", func(d *inspect.Deviation) float64 { return d.MeanUMM }},
	{"sd_mm", func(d *inspect.Deviation) float64 { return d.SDMM }},
	{"rms_mm", func(d *inspect.Deviation) float64 { return d.RMSMM }},
	{"rms_u_mm", func(d *inspect.Deviation) float64 { return d.RMSUMM }},
	{"abs_p50_mm", func(d *inspect.Deviation) float64 { return d.AbsP50MM }},
	{"abs_p95_mm", func(d *inspect.Deviation) float64 { return d.AbsP95MM }},
	{"p5_mm", func(d *inspect.Deviation) float64 { return d.Percentiles.P5 }},
	{"p50_mm", func(d *inspect.Deviation) float64 { return d.Percentiles.P50 }},
	{"p95_mm", func(d *inspect.Deviation) float64 { return d.Percentiles.P95 }},
	{"lowest_mm", func(d *inspect.Deviation) float64 { return d.Lowest.MM }},
	{"highest_mm", func(d *inspect.Deviation) float64 { return d.Highest.MM }},
}

// pairsTable is pairs.csv: for each comparison and part a row with the distances at the places of a and
// one with those at the places of b; for one that could not be made, one row with the reason.
func pairsTable(all []study.Compared) ([]byte, error) {
	head := []string{"kind", "subject", "condition", "a", "b", "status", "reason", "codes", "part", "at", "places"}
	for _, n := range pairNumbers {
		head = append(head, n.name)
	}
	lines := [][]string{head}
	for _, c := range all {
		start := []string{c.Kind, c.Subject, c.Condition, c.A.Path, c.B.Path}
		add := func(status, reason string, more ...string) {
			line := append(append(start[:len(start):len(start)], status, reason, strings.Join(c.Codes, ";")), more...)
			lines = append(lines, append(line, make([]string, len(head)-len(line))...))
		}
		if c.Why != "" {
			add(table.Failed, c.Why)
		}
		for _, w := range c.Parts {
			for _, at := range []struct {
				name string
				d    *inspect.Deviation
			}{{"a", w.AtA}, {"b", w.AtB}} {
				if at.d == nil {
					add(table.Unmeasured, w.Unmeasured, w.Region, at.name)
					continue
				}
				more := []string{w.Region, at.name, strconv.Itoa(at.d.Places)}
				for _, n := range pairNumbers {
					more = append(more, brief(n.of(at.d)))
				}
				add(table.Measured, "", more...)
			}
		}
	}
	var b bytes.Buffer
	err := csv.NewWriter(&b).WriteAll(lines)
	return b.Bytes(), err
}

// shownPairs is what the page and the terminal say of all comparisons of one kind.
type shownPairs struct {
	Kind       string
	Done, Lost int
	Missing    []string    // scans that are not where they are looked for
	Why        []study.Gap // of each comparison that could not be made
}

func showPairs(all []study.Compared) []shownPairs {
	var out []shownPairs
	for _, kind := range []string{study.OfRepeats, study.ToReference} {
		k := shownPairs{Kind: kind}
		gone := map[string]bool{}
		for _, c := range all {
			switch {
			case c.Kind != kind:
			case c.Why == "":
				k.Done++
			default:
				k.Lost++
				k.Why = append(k.Why, study.Gap{Path: strings.TrimPrefix(c.A.Path+" and "+c.B.Path, " and "), Why: c.Why})
				if path, is := strings.CutSuffix(c.Why, ": "+errGone.Error()); is && !gone[path] {
					gone[path] = true
					k.Missing = append(k.Missing, path)
				}
			}
		}
		if k.Done+k.Lost > 0 {
			out = append(out, k)
		}
	}
	return out
}

// Says tells in words what was compared.
func (k shownPairs) Says() string {
	what := "pairs of scans of one subject and condition"
	if k.Kind == study.ToReference {
		what = "scans against their reference"
	}
	text := fmt.Sprintf("%s, %s: compared %d, could not be %d", k.Kind, what, k.Done, k.Lost)
	if n := len(k.Missing); n > 0 {
		text += fmt.Sprintf("; scans that are not there: %d", n)
	}
	return text
}

// rows lists what is known of a quantity; of one of precision also how single pairs are spread.
func (w *studyWork) rows(r study.Result) []studyRow {
	out := studyRows(r, w.design)
	byCondition := w.overPairs[r.Quantity]
	for _, condition := range slices.Sorted(maps.Keys(byCondition)) {
		s, err := study.Describe(byCondition[condition], w.confidence)
		if err != nil {
			panic("fornix: distances that are no numbers: " + err.Error())
		}
		group, n := cmp.Or(condition, "all"), float64(s.N)
		for _, k := range []struct {
			name string
			v    *float64
			note string
		}{{"pairs", &n, ""}, {"mean of pairs", &s.Mean, "pairs share scans, so that it has no interval"}, {"SD of pairs", s.SD, s.Why},
			{"minimum of pairs", &s.Min, ""}, {"median of pairs", &s.Median, ""}, {"maximum of pairs", &s.Max, ""}} {
			out = append(out, studyRow{"scan-precision", "pairs", group, k.name, k.v, nil, k.note})
		}
	}
	return out
}
