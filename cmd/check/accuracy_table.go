package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// row is one line of the table. Met is nil where there is no target.
type row struct {
	What    string `json:"what"`
	Target  string `json:"target"`
	Reached string `json:"reached"`
	Met     *bool  `json:"met"`
}

// percent writes a count as share and numbers.
func (t *tally) percent(key string) string {
	r := t.right[key]
	if r == nil {
		return "none asked"
	}
	return fmt.Sprintf("%d of %d (%.1f %%)", r.Hit, r.All, 100*float64(r.Hit)/float64(r.All))
}

func (t *tally) count(key string) int {
	if r := t.right[key]; r != nil {
		return r.All
	}
	return 0
}

// rows makes the table of targets and reached values.
func (t *tally) rows() []row {
	var out []row
	put := func(what, target, reached string, met bool) {
		out = append(out, row{what, target, reached, &met})
	}
	tell := func(what, reached string) { out = append(out, row{what, "", reached, nil}) }
	// Without a single case nothing is said to be met.
	share := func(what, key string, least float64) {
		put(what, fmt.Sprintf("%.0f %%", 100*least), t.percent(key), t.share(key) >= least)
	}
	errors := func(key, unit string, k float64) string {
		n := len(t.errors[key])
		if n == 0 {
			return "none"
		}
		return fmt.Sprintf("median %.3f, 95 %% %.3f, most %.3f %s (%d)", k*t.quantile(key, 0.5), k*t.quantile(key, 0.95), k*t.quantile(key, 1), unit, n)
	}
	share("jaw", "jaw", 1)
	share("impression, sides scanned", "surface", 1)
	tell("of them tissue sides inside out, told as the jaw itself", fmt.Sprint(t.count("told as the jaw itself")))
	share("inside out", "inside-out", 1)
	share("left within 3 degrees", "left", 1)
	tell("left", errors("left", "deg", 1))
	tell("toward tissue", errors("toward", "deg", 1))

	share("holes found", "hole", 1)
	put("holes invented", "0", fmt.Sprint(t.count("hole invented")), t.count("hole invented") == 0)
	put("hole span within 10 % of the circle made", "100 %", fmt.Sprintf("%.1f %%; %s", 100*t.within("hole span nominal", 0.1), errors("hole span nominal", "%", 100)), t.within("hole span nominal", 0.1) == 1)
	tell("hole span against the mesh's rim, wider by an edge", errors("hole span rim", "%", 100))
	tell("hole area against the surface that is missing", errors("hole area", "%", 100))
	tell("hole's surface told right", t.percent("hole surface"))

	share("voids and blebs from 1.0 x 0.35 found", "cap", 0.98)
	inv := 20 * float64(t.count("cap invented")) / float64(max(1, t.scans))
	put("voids and blebs invented in 20 scans", "1", fmt.Sprintf("%.2f (%d in %d)", inv, t.count("cap invented"), t.scans), inv <= 1)
	for _, k := range []string{"diameter", "depth"} {
		key := "cap " + k
		put("their "+k+", median", "5 %", errors(key, "%", 100), t.quantile(key, 0.5) <= 0.05)
		put("their "+k+" within 10 %", "all", fmt.Sprintf("%.1f %%", 100*t.within(key, 0.1)), t.within(key, 0.1) == 1)
	}
	tell("off by over 10 %, though stated as known to that", fmt.Sprint(t.count("cap surely off")))
	share("voids and blebs 0.8 to 1.0 wide at noise 0.02 found", "fine cap", 0.85)
	tell("the voids among them at spacing to 0.3", t.percent("fine cap, spacing to 0.3"))
	tell("smaller or shallower ones found", t.percent("small"))
	share("folds from 1 wide, 0.4 deep found as one", "fold", 1)
	put("their length within 15 %", "all", fmt.Sprintf("%.1f %%; %s", 100*t.within("fold length", 0.15), errors("fold length", "%", 100)), t.within("fold length", 0.15) == 1)
	tell("narrower or shallower folds found", t.percent("faint fold"))
	tell("folds that take an edge off, left out; of them told", t.percent("fold along an edge"))
	tell("folds invented", fmt.Sprint(t.count("fold invented")))

	put("border thickness, median error", "0.05 mm", errors("thickness", "mm", 1), t.quantile("thickness", 0.5) <= 0.05)
	put("border thickness, 95th percentile", "0.15 mm", fmt.Sprintf("%.3f", t.quantile("thickness", 0.95)), t.quantile("thickness", 0.95) <= 0.15)
	share("border followed", "cover", 0.98)
	tell("border height", errors("height", "mm", 1))
	share("thin stretches found", "thin stretch", 1)
	share("thick stretches found", "thick stretch", 1)
	put("extent of stretches within 2 mm", "all", fmt.Sprintf("%.1f %%; %s", 100*t.within("stretch extent", 2), errors("stretch extent", "mm", 1)), t.within("stretch extent", 2) == 1)
	tell("stretches left out: at a fault, an opening, a joint of wax", fmt.Sprint(t.count("stretch unclear")))

	share("landmarks found", "landmark", 0.95)
	put("landmarks, median error", "0.8 mm", errors("landmark", "mm", 1), t.quantile("landmark", 0.5) <= 0.8)
	silent := t.count("landmark off")
	if r := t.right["landmark off"]; r != nil {
		silent -= r.Hit
	}
	put("landmarks off by over 3 mm without saying so", "0", fmt.Sprint(silent), silent == 0)
	for _, k := range t.keys("landmark ") {
		if k != "landmark off" {
			tell("  "+strings.TrimPrefix(k, "landmark "), t.percent(k)+"; "+errors(k, "mm", 1))
		}
	}
	share("hamular notch reached or not", "notch", 1)
	share("pad summit covered or not", "summit", 1)
	put("extension within 0.5 mm", "all", fmt.Sprintf("%.1f %%; %s", 100*t.within("extension", 0.5), errors("extension", "mm", 1)), t.within("extension", 0.5) == 1)
	tell("past the pad's front", errors("past pad front", "mm", 1))

	share("planes found", "rim", 1)
	put("plane of sound rims, angle", "0.05 deg", errors("plane tilt", "deg", 1), t.quantile("plane tilt", 1) <= 0.05)
	put("plane of sound rims, offset", "0.03 mm", errors("plane offset", "mm", 1), t.quantile("plane offset", 1) <= 0.03)
	put("plane, chipped, wavy, plate, handle", "0.1 deg", errors("plane tilt hard", "deg", 1), t.quantile("plane tilt hard", 1) <= 0.1)
	tell("the same, offset", errors("plane offset hard", "mm", 1))
	share("absent rims told absent", "no rim", 1)
	tell("rim or plate told right", t.percent("rim kind"))
	front := "rim height in front"
	put(front+" within 0.25 mm", "all", fmt.Sprintf("%.1f %%; %s", 100*t.within(front, 0.25), errors(front, "mm", 1)), t.within(front, 0.25) == 1)
	tell("rim height at the sides, against about that place", errors("rim height at the sides", "mm", 1))
	tell("tilt against notches and papilla", errors("tilt hamular-papilla", "deg", 1))
	share("verdict, where the truth is clear", "verdict", 1)
	for _, k := range t.keys("verdict ") {
		tell("  "+k, t.percent(k))
	}
	tell("verdicts left out as unclear", fmt.Sprint(t.count("unclear")))

	hit, all := 0, 0
	for _, k := range t.keys("u:") {
		r := t.right[k]
		hit, all = hit+r.Hit, all+r.All
	}
	s := float64(hit) / float64(max(1, all))
	put("truth within the stated uncertainty, k = 2", "90 to 99 % of 500", fmt.Sprintf("%d of %d (%.1f %%)", hit, all, 100*s), all >= 500 && s >= 0.9 && s <= 0.99)
	for _, k := range t.keys("u:") {
		kind := strings.TrimPrefix(k, "u:")
		s, says := t.share(k), fmt.Sprintf("%s; stated median %.3f", t.percent(k), t.quantile("u-size:"+kind, 0.5))
		if t.right[k].All < 500 { // too few to tell 99 % from more
			tell("  "+kind, says)
			continue
		}
		put("  "+kind, "90 to 99 %", says, s >= 0.9 && s <= 0.99)
	}
	for _, k := range t.keys("u-none:") {
		tell("  "+strings.TrimPrefix(k, "u-none:")+", none stated", fmt.Sprint(t.count(k)))
	}
	tell("scans", fmt.Sprint(t.scans))
	tell("single comparisons", fmt.Sprint(t.numbers))
	return out
}

// keys lists the counted keys with a prefix, sorted.
func (t *tally) keys(prefix string) []string {
	var out []string
	for k := range t.right {
		if strings.HasPrefix(k, prefix) {
			out = append(out, k)
		}
	}
	slices.Sort(out)
	return out
}

// print writes the table, what was missed, and each failure by case, the worst case first.
func (t *tally) print(w io.Writer, rows []row, gum []gumRow, most int) {
	line := func(r row) {
		mark := " "
		if r.Met != nil {
			if mark = "-"; *r.Met {
				mark = "+"
			}
		}
		fmt.Fprintf(w, "%s %-52s %-18s %s\n", mark, r.What, r.Target, r.Reached)
	}
	fmt.Fprintf(w, "  %-52s %-18s %s\n", "what", "target", "reached (+ met, - missed)")
	for _, r := range rows {
		line(r)
	}
	for _, g := range gum {
		line(g.row())
	}
	type group struct {
		name string
		says []string
	}
	var groups []group
	at := map[string]int{}
	for _, f := range t.fails {
		k, ok := at[f.Case]
		if !ok {
			k = len(groups)
			at[f.Case] = k
			groups = append(groups, group{name: f.Case})
		}
		groups[k].says = append(groups[k].says, f.What)
	}
	slices.SortStableFunc(groups, func(a, b group) int { return len(b.says) - len(a.says) })
	if len(groups) > 0 {
		fmt.Fprintln(w, "\nfailures by case (again with -only CASE):")
	}
	for i, g := range groups {
		if i == most {
			fmt.Fprintf(w, "  … and %d cases more\n", len(groups)-most)
			break
		}
		fmt.Fprintf(w, "  %s\n", g.name)
		for _, s := range g.says {
			fmt.Fprintf(w, "      %s\n", s)
		}
	}
}

// encode writes all as JSON; a share that nothing was asked for is left out by its row's words.
func (t *tally) encode(w io.Writer, seed int64, rows []row, gum []gumRow) error {
	type value struct {
		N      int     `json:"n"`
		Median float64 `json:"median"`
		P95    float64 `json:"p95"`
		Most   float64 `json:"most"`
	}
	values := map[string]value{}
	for k := range t.errors {
		values[k] = value{len(t.errors[k]), t.quantile(k, 0.5), t.quantile(k, 0.95), t.quantile(k, 1)}
	}
	for k, v := range values {
		if math.IsNaN(v.Most) || math.IsInf(v.Most, 0) {
			delete(values, k)
		}
	}
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(map[string]any{"seed": seed, "scans": t.scans, "comparisons": t.numbers, "rows": rows, "counts": t.right, "errors": values, "gum": gum, "failures": t.fails})
}
