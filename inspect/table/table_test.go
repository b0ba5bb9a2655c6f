package table

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
)

var made = map[string]*inspect.Report{}

// reports are those of small phantoms of both jaws, each made once, read back from JSON as a batch
// does.
func reports(t *testing.T) map[string]*inspect.Report {
	t.Helper()
	out := made
	for _, name := range []string{"upper-voids", "lower-canted"} {
		p, found := phantom.Named(name)
		if !found {
			t.Fatal(name)
		}
		if out[name] != nil {
			continue
		}
		p.Spacing = 0.7
		made, err := phantom.Make(p)
		if err != nil {
			t.Fatal(err)
		}
		var stl, text bytes.Buffer
		if err := mesh.WriteSTL(&stl, made.Mesh, name); err != nil {
			t.Fatal(err)
		}
		s, err := inspect.Read(&stl, name+".stl", inspect.ReadOptions{})
		if err != nil {
			t.Fatal(err)
		}
		r := inspect.Run(s, inspect.DefaultProtocol(), inspect.Options{}).Report
		if err := inspect.WriteJSON(&text, r); err != nil {
			t.Fatal(err)
		}
		back := &inspect.Report{}
		if err := json.Unmarshal(text.Bytes(), back); err != nil {
			t.Fatal(err)
		}
		out[name] = back
	}
	return out
}

type four struct{ wide, widePq, long, longPq bytes.Buffer }

func tables(t *testing.T, all map[string]*inspect.Report) *four {
	t.Helper()
	var o four
	w, err := New([]string{"subject", "repeat"}, Outputs{&o.wide, &o.widePq, &o.long, &o.longPq})
	if err != nil {
		t.Fatal(err)
	}
	names := make([]string, 0, len(all)+1)
	for name := range all {
		names = append(names, name)
	}
	names = append(names, "broken")
	slices.Sort(names)
	for i, name := range names {
		s := Scan{Path: name + ".stl", User: []string{"s, " + strconv.Itoa(i), ""}, Report: "reports/" + name}
		if all[name] == nil {
			s.Reason = "byte 3: no scan\nat \"all\""
		}
		if err := w.Add(s, all[name]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return &o
}

// cells reads a CSV table as columns by name.
func cells(t *testing.T, r io.Reader) (map[string][]string, int) {
	t.Helper()
	rows, err := csv.NewReader(r).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	for i, name := range rows[0] {
		if out[name] != nil {
			t.Errorf("two columns %s", name)
		}
		for _, row := range rows[1:] {
			out[name] = append(out[name], row[i])
		}
	}
	return out, len(rows) - 1
}

func TestTablesHoldWhatReportsSay(t *testing.T) {
	all := reports(t)
	o := tables(t, all)
	wide, rows := cells(t, bytes.NewReader(o.wide.Bytes()))
	if rows != 3 {
		t.Fatalf("%d rows", rows)
	}
	// Rows stand as they were added: broken, lower-canted, upper-voids.
	low, up := all["lower-canted"], all["upper-voids"]
	near := func(column string, row int, want *float64) {
		t.Helper()
		if want == nil {
			t.Fatalf("%s: the report has no number", column)
		}
		if got, err := strconv.ParseFloat(wide[column][row], 64); err != nil || got != *want {
			t.Errorf("%s of row %d is %q, in the report %v", column, row, wide[column][row], *want)
		}
	}
	near("noise_mm", 1, low.Quality.NoiseMM)
	near("area_u_mm2", 1, &low.Quality.AreaUMM2)
	near("past_pad_front_left_mm", 1, low.Posterior.Left.PastPadFrontMM)
	near("past_pad_front_left_u_mm", 1, low.Posterior.Left.PastPadFrontUMM)
	near("rim_height_anterior_mm", 1, low.Occlusal.RimHeight.Anterior)
	cant := low.Occlusal.Tilts["crest"]
	near("rim_cant_crest_deg", 1, &cant.CantDeg)
	near("rim_cant_crest_u_deg", 1, &cant.UDeg)
	near("extension_right_mm", 2, up.Posterior.Right.ExtensionMM)
	near("midline_mm", 2, up.Posterior.MidlineMM)
	for i := range up.Border.Regions {
		if g := &up.Border.Regions[i]; g.Region == "labial" {
			near("border_thickness_median_labial_mm", 2, g.MedianMM)
			near("border_thickness_median_labial_u_mm", 2, g.ThicknessUMM)
			near("border_height_median_labial_mm", 2, g.HeightMM)
		}
	}
	for _, c := range []struct {
		column string
		want   []string
	}{
		{"status", []string{Failed, Measured, Measured}},
		{"reason", []string{"byte 3: no scan\nat \"all\"", "", ""}},
		{"jaw", []string{"", "lower", "upper"}},
		{"subject", []string{"s, 0", "s, 1", "s, 2"}},
		{"verdict", []string{"", string(low.Verdict), string(up.Verdict)}},
		{"extension_left_mm", []string{"", "", wide["extension_left_mm"][2]}}, // the lower jaw has none
		{"report", []string{"", "reports/lower-canted", "reports/upper-voids"}},
	} {
		if !slices.Equal(wide[c.column], c.want) {
			t.Errorf("%s: %q, not %q", c.column, wide[c.column], c.want)
		}
	}

	long, n := cells(t, bytes.NewReader(o.long.Bytes()))
	count := map[string]int{}
	for i := range n {
		count[long["path"][i]+" "+long["quantity"][i]]++
		has := long["value"][i] != ""
		if has != (long["status"][i] == Measured) || has == (long["reason"][i] != "") {
			t.Errorf("row %d: value %q, status %q, reason %q", i, long["value"][i], long["status"][i], long["reason"][i])
		}
	}
	voids := 0
	for _, d := range up.Defects {
		if d.Kind == inspect.Void {
			voids++
		}
	}
	for key, want := range map[string]int{
		"broken.stl scan": 1, "broken.stl noise": 0,
		"upper-voids.stl void_diameter": voids, "upper-voids.stl border_thickness": len(up.Border.Stations),
		"upper-voids.stl extension": 2, "lower-canted.stl extension": 0, "lower-canted.stl border_height": len(low.Border.Stations),
	} {
		if count[key] != want {
			t.Errorf("%s: %d rows, not %d", key, count[key], want)
		}
	}
	if voids == 0 {
		t.Error("the phantom with voids has none")
	}
	seen := map[string]bool{}
	for i := range n {
		seen[long["quantity"][i]] = true
	}
	for _, q := range Quantities() {
		if !seen[q.Name] && !strings.HasPrefix(q.Name, "fold_") && !strings.HasPrefix(q.Name, "hole_") {
			t.Errorf("no report gave %s", q.Name)
		}
	}
}

// The Parquet tables hold the cells of the CSV ones: same columns, same order, same numbers.
func TestParquetSaysWhatCSVSays(t *testing.T) {
	o := tables(t, reports(t))
	for _, pair := range [][2]*bytes.Buffer{{&o.wide, &o.widePq}, {&o.long, &o.longPq}} {
		rows, err := csv.NewReader(pair[0]).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		r := bytes.NewReader(pair[1].Bytes())
		f, err := parquet.OpenFile(r, r.Size())
		if err != nil {
			t.Fatal(err)
		}
		var names []string
		for _, c := range f.Schema().Fields() {
			names = append(names, c.Name())
		}
		if !slices.Equal(names, rows[0]) {
			t.Errorf("columns %q, not %q", names, rows[0])
		}
		if f.NumRows() != int64(len(rows)-1) {
			t.Fatalf("%d rows, not %d", f.NumRows(), len(rows)-1)
		}
		in := f.RowGroups()[0].Rows()
		defer in.Close()
		buf := make([]parquet.Row, 1)
		for i, want := range rows[1:] {
			if n, err := in.ReadRows(buf); n != 1 {
				t.Fatal(err)
			}
			for j, v := range buf[0] {
				got := ""
				switch v.Kind() {
				case parquet.Double:
					got = strconv.FormatFloat(v.Double(), 'f', -1, 64)
				case parquet.ByteArray:
					got = string(v.ByteArray())
				}
				if got != want[j] {
					t.Errorf("row %d, %s: %q, not %q", i, names[j], got, want[j])
				}
			}
		}
	}
}

func TestQuantitiesAreToldWhole(t *testing.T) {
	seen := map[string]bool{}
	for _, q := range Quantities() {
		if q.Meaning == "" || q.Source == "" || q.Better == "" {
			t.Errorf("%s: %+v", q.Name, q)
		}
		if seen[q.Name] {
			t.Errorf("two quantities %s", q.Name)
		}
		seen[q.Name] = true
	}
	names := map[string]bool{}
	for _, c := range WideColumns(nil) {
		if names[c.Name] || c.About == "" {
			t.Errorf("%+v", c)
		}
		names[c.Name] = true
	}
	var b bytes.Buffer
	if err := WriteDictionary(&b, []string{"subject"}); err != nil {
		t.Fatal(err)
	}
	if d, n := cells(t, &b); n < len(names)+len(seen) || !slices.Contains(d["name"], "rim_cant_crest_u_deg") || !slices.Contains(d["name"], "subject") {
		t.Errorf("the dictionary has %d rows", n)
	}
}

func TestUserColumns(t *testing.T) {
	for _, wrong := range [][]string{{""}, {"a", "a"}, {"A", "a"}, {"verdict"}, {"Path"}, {"noise_mm"}, {"value"}} {
		if CheckUser(wrong) == nil {
			t.Errorf("%q passed", wrong)
		}
	}
	if err := CheckUser([]string{"subject", "Operator", "größe"}); err != nil {
		t.Error(err)
	}
}

// A scan in which no jaw was found is told with reasons and no invented number.
func TestNoJawInventsNothing(t *testing.T) {
	r := &inspect.Report{}
	r.Border.Unmeasured, r.Posterior.Unmeasured, r.OcclusalUnmeasured = "why", "why", "why"
	for _, v := range Values(r) {
		switch n := v.Quantity.Name; {
		case v.V == nil && v.Reason == "":
			t.Errorf("%s: no reason", n)
		case v.V != nil && (strings.HasPrefix(n, "border") || strings.HasPrefix(n, "rim") || strings.HasPrefix(n, "landmark") ||
			n == "void_count" || n == "tissue_area" || n == "volume" || n == "noise"):
			t.Errorf("%s = %v", n, *v.V)
		}
	}
}
