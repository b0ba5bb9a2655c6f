package render

import (
	"bytes"
	"compress/flate"
	"encoding/base64"
	"encoding/json"
	"io"
	"math"
	"strings"
	"testing"

	"fornix/inspect"
	"fornix/mesh"
)

// The map on a rim tells the gap that its scan has there: of closedPair it is known by a formula.
func TestPairPageMapTellsTheGap(t *testing.T) {
	out := closedPair()
	d, _ := pairDataOf(pairOf(out))
	uf := frameAt(inspect.Upper)
	middle := mesh.Vec{X: d.Middle[0], Y: d.Middle[1], Z: d.Middle[2]}
	vec := func(v vec3) mesh.Vec { return mesh.Vec{X: v[0], Y: v[1], Z: v[2]} }
	steps := gapBands(out.Relation.Gap)
	for _, s := range d.Surfaces {
		m := s.Map
		raw, err := base64.StdEncoding.DecodeString(m.Data)
		if err != nil {
			t.Fatal(err)
		}
		cells, err := io.ReadAll(flate.NewReader(bytes.NewReader(raw)))
		if err != nil || len(cells) != m.Wide*m.High {
			t.Fatalf("%s: %d cells of %d × %d, %v", s.Name, len(cells), m.Wide, m.High, err)
		}
		if up := vec(m.Up).Dot(out.Relation.Frame.Up); math.Abs(up) < 0.999 || up > 0 != (s.Name == "lower") {
			t.Errorf("%s: the map faces %v", s.Name, m.Up)
		}
		there, area := 0, math.Pi*20*20
		for i, c := range cells {
			p := middle.Add(vec(m.At)).Along((float64(i%m.Wide)+0.5)*m.CellMM, vec(m.Right)).Along((float64(i/m.Wide)+0.5)*m.CellMM, vec(m.On))
			q := uf.Local(p)
			r := math.Hypot(q.X, q.Y)
			if c == 0 {
				if r < 17.5 { // less than the longest edge from the disc's rim
					t.Fatalf("%s: nothing at %.1f, %.1f", s.Name, q.X, q.Y)
				}
				continue
			}
			there++
			if r > 20 {
				t.Fatalf("%s: a gap at %.1f mm from the middle", s.Name, r)
			}
			want := 0.3 + 0.02*q.X
			if i := steps.step(want); i > 0 && i < len(steps.edges) {
				at := (float64(c-1)/254)*float64(len(steps.edges)+1) - float64(i)
				got := steps.edges[i-1] + at*(steps.edges[i]-steps.edges[i-1])
				if near := math.Min(want-steps.edges[i-1], steps.edges[i]-want); near > 0.01 && math.Abs(got-want) > 0.01 {
					t.Fatalf("%s: the gap %.3f mm at x = %.1f is drawn as %.3f", s.Name, want, q.X, got)
				}
			}
		}
		if got := float64(there) * m.CellMM * m.CellMM; got > area || got < 0.75*area {
			t.Errorf("%s: the map covers %.0f mm² of %.0f", s.Name, got, area)
		}
	}
}

// What lies over the pair is where the relation says, and the page is the same bytes each time.
func TestPairPage(t *testing.T) {
	out := closedPair()
	images, err := RelationImages(pairOf(out), Options{Width: 800, Height: 600})
	if err != nil {
		t.Fatal(err)
	}
	out.Relation.Cautions = inspect.Cautions()
	a, err := PairPage(pairOf(out), images)
	if err != nil {
		t.Fatal(err)
	}
	if b, _ := PairPage(pairOf(out), images); !bytes.Equal(a, b) {
		t.Error("two pages of one pair differ")
	}
	var d pageData
	if err := json.Unmarshal([]byte(cutOut(t, string(a), `id="data">`, "</script>")), &d); err != nil {
		t.Fatal(err)
	}
	if d.ErrorMM > ViewErrorMM || len(d.Surfaces) != 2 || d.Surfaces[0].Name != "upper" || d.Surfaces[1].Name != "lower" {
		t.Errorf("%d surfaces within %g mm", len(d.Surfaces), d.ErrorMM)
	}
	count := map[string]int{}
	for _, m := range d.Marks {
		count[m.Kind]++
		if len(m.Path) != 2 || m.Kind != "length" || strings.HasPrefix(m.Label, "overlap") {
			continue
		}
		v := func(i int) mesh.Vec { return mesh.Vec{X: m.Path[i][0], Y: m.Path[i][1], Z: m.Path[i][2]} }
		if got := v(0).Dist(v(1)); math.Abs(got-25) > 1e-3 { // from 8 to -17 mm, as closedPair sets it
			t.Errorf("%q is %.3f mm long", m.Label, got)
		}
	}
	for kind, n := range map[string]int{"length": len(inspect.HeightNames) + 2, "place": 1} {
		if count[kind] != n {
			t.Errorf("%d marks of the kind %s, want %d", count[kind], kind, n)
		}
	}
	if len(d.Findings) != 1 || d.Findings[0].Number != 1 {
		t.Errorf("findings %+v", d.Findings)
	}
	text := string(a)
	for _, want := range []string{"upper.stl and lower.stl: CORRECT", `data-layer="gap"`, `data-layer="space"`, `id="apart"`, "The gap is uneven.", "1.2 ± 0.1°", inspect.Cautions()[0]} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if n := strings.Count(text, "<img "); n != 2 {
		t.Errorf("%d pictures", n)
	}
}
