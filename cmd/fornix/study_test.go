package main

import (
	"fmt"
	"strings"
	"testing"

	"fornix/inspect/study"
)

// studied is a full study of two conditions with repeats, and one of single readings.
func studied(t *testing.T) []studyRow {
	t.Helper()
	var out []studyRow
	for _, repeats := range []int{1, 2} {
		var b strings.Builder
		b.WriteString("path,subject,operator,status,reason,report,jaw,codes,gap_mm\n")
		for i := range 6 {
			for j, who := range []string{"ann", "bob"} {
				for k := range repeats {
					fmt.Fprintf(&b, "%d%s%d,s%d,%s,measured,,,upper,,%d.%d%d\n", i, who, k, i, who, i, (3*i+7*j+5*k)%10, (i*i+j+k)%10)
				}
			}
		}
		tab, err := study.ReadTable(strings.NewReader(b.String()))
		if err != nil {
			t.Fatal(err)
		}
		d := study.Guess(tab)
		r, err := study.Study(tab, "gap_mm", d, 0, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, studyRows(r, d)...)
	}
	return out
}

// Every number that a study tells has a help page that is found by its first word, and every page
// is of a number that is told.
func TestEveryStatisticHasItsPage(t *testing.T) {
	told := map[string]bool{"confidence-interval": true, "deviation-map": true} // stand beside the numbers
	for _, r := range studied(t) {
		told[r.Code] = true
		e, found := study.Explain(r.Code)
		if !found {
			t.Errorf("%s: no page %q", r.Name, r.Code)
		}
		if name, _, _ := strings.Cut(r.Name, ","); name == "s_r" || name == "s_R" || name == "bias" || strings.HasPrefix(name, "lower") {
			if by, found := study.Explain(name); !found || by.Code != e.Code {
				t.Errorf("%q leads to %q, its row to %q", name, by.Code, e.Code)
			}
		}
	}
	for _, q := range mainDistances {
		e, found := study.Explain(strings.TrimSuffix(q, "_mm"))
		if told[e.Code] = true; !found {
			t.Errorf("%s: no page", q)
		}
	}
	for _, p := range study.Pages() {
		if !told[p.Code] {
			t.Errorf("the page %s is of nothing that is told", p.Code)
		}
	}
}
