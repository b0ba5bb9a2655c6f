package casefile

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// What a form shows of a case fills in an equal case.
func TestFormRoundTrip(t *testing.T) {
	want := full(t)
	var got Case
	n := 0
	for _, s := range want.Form() {
		if s.Name == "" || s.Say == "" {
			t.Errorf("section %+v", s)
		}
		for _, f := range s.Fields {
			n++
			if strings.HasSuffix(f.Key, ".photos") { // a comma stands between names and in none
				f.Value = "one.jpg, two.jpg"
				want.More.Photos = []string{"one.jpg", "two.jpg"}
			}
			if err := got.Set(f.Key, f.Value); err != nil {
				t.Errorf("%s %q: %v", f.Key, f.Value, err)
			}
			if f.Name == "" || f.Say == "" || f.Value == "" {
				t.Errorf("%+v", f)
			}
		}
	}
	if n < 40 {
		t.Errorf("%d fields", n)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	for _, s := range want.Form() {
		for _, f := range s.Fields {
			if err := got.Set(f.Key, "  "); err != nil {
				t.Errorf("%s: not cleared: %v", f.Key, err)
			}
		}
	}
	if d := cmp.Diff(Case{}, got); d != "" {
		t.Errorf("cleared (-want +got):\n%s", d)
	}
}

func TestFormKinds(t *testing.T) {
	want := map[string]Kind{
		"order.number": Text, "order.date": Date, "order.stage": Choice, "order.jaws": Several, "vertical.rest_mm": Number, "relation.reached": Count,
		"relation.sharp_apex": YesNo, "more.notes": Long, "clinic.address": Long, "marks.smile_at": Points, "signature.on": Date, "marks.marked_on": Choice,
	}
	var c Case
	for _, s := range c.Form() {
		for _, f := range s.Fields {
			if k := want[f.Key]; k != "" && k != f.Kind {
				t.Errorf("%s is %s, want %s", f.Key, f.Kind, k)
			}
			if (f.Kind == Choice) != (f.Of != nil && f.Kind != Several) {
				t.Errorf("%+v", f)
			}
			delete(want, f.Key)
		}
	}
	if len(want) > 0 {
		t.Errorf("not in the form: %v", want)
	}
}

func TestSetTellsWhatCannotBeRight(t *testing.T) {
	for _, c := range []struct{ key, value, want string }{
		{"order.date", "31.3.2024", "no date"}, {"order.date", "2024-02-30", "no date"}, {"order.stage", "later", "none of"}, {"order.jaws", "upper, upper", "each once"},
		{"order.jaws", "left", "each once"}, {"vertical.rest_mm", "6.2", "not between 20 and 150"}, {"vertical.rest_mm", "sixty", "no number"},
		{"vertical.rest_mm", "NaN", "not between"}, {"vertical.rest_mm", "1,000.5", "no number"}, {"relation.reached", "2.5", "no whole number"},
		{"relation.reached", "101", "not between"}, {"relation.sharp_apex", "maybe", "neither yes nor no"}, {"marks.smile_at", "1, 2", "no point"},
		{"marks.smile_at", "1, 2, x", "no point"}, {"marks.smile_at", "1 2 Inf", "no point"}, {"order.colour", "red", "not a key"}, {"order", "", "not a key"},
		{"", "", "not a key"}, {"more.notes", strings.Repeat("x", 1<<17), "too long"},
	} {
		k := full(t)
		before := full(t)
		if err := k.Set(c.key, c.value); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s %.20q: %v, want %q", c.key, c.value, err, c.want)
		}
		if d := cmp.Diff(before, k); d != "" {
			t.Errorf("%s %.20q changed the case:\n%s", c.key, c.value, d)
		}
	}
	var k Case
	for _, v := range []string{"62.5", "62,5", "62.5 mm", "62.5mm"} {
		if err := k.Set("vertical.occlusion_mm", v); err != nil || *k.Vertical.OcclusionMM != 62.5 {
			t.Errorf("%q: %v", v, err)
		}
	}
	if err := k.Set("marks.smile_at", "[1, -2.5, 3e-1]\n\n4 5 6\r\n"); err != nil || cmp.Diff(k.Marks.SmileAt, [][]float64{{1, -2.5, 0.3}, {4, 5, 6}}) != "" {
		t.Errorf("%v %v", k.Marks.SmileAt, err)
	}
}

// All names are invented.
func TestPersonalOfACase(t *testing.T) {
	var c Case
	c.Order.Number, c.More.Photos, c.More.Notes = "2024-117", []string{"photo-1.jpg"}, "Please set the teeth a little irregular, as in the photograph."
	if w := c.Personal(); len(w) > 0 {
		t.Errorf("%v", w)
	}
	c.Order.Number, c.More.Photos, c.More.Notes = "Zara Quibbleton", []string{"Zott.jpg"}, "born 3.12.1948"
	if w := c.Personal(); len(w) != 3 {
		t.Errorf("%v", w)
	}
}
