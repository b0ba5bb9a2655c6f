package study

import (
	"strings"
	"testing"

	"fornix/inspect"
)

// Every page has its parts and fits a terminal of 80 columns, and no name leads to two pages.
func TestPagesAreWhole(t *testing.T) {
	seen := map[string]string{}
	for _, e := range inspect.Explanations() {
		seen[e.Code] = "a finding"
	}
	for _, p := range Pages() {
		for part, text := range map[string]string{"title": p.Title, "what": p.What, "how": p.How, "cautions": p.Cautions, "source": p.Source} {
			if text == "" {
				t.Errorf("%s: no %s", p.Code, part)
			}
		}
		if p.Limits != nil || p.Reasons != "" || p.CannotSee != "" || len(p.Names) == 0 {
			t.Errorf("%s: parts of another kind of page, or no names", p.Code)
		}
		for _, name := range append([]string{p.Code}, p.Names...) {
			if other := seen[name]; other != "" {
				t.Errorf("%q leads to %s and to %s", name, other, p.Code)
			}
			seen[name] = p.Code
			if e, found := Explain(name); !found || e.Code != p.Code {
				t.Errorf("%q leads to %q", name, e.Code)
			}
		}
		var b strings.Builder
		if err := inspect.WriteExplanation(&b, p.Explanation, inspect.DefaultProtocol()); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(b.String()) {
			if len([]rune(line)) > 81 {
				t.Errorf("%s: %q", p.Code, line)
			}
		}
	}
	if _, found := Explain("gap"); found {
		t.Error("a page of nothing")
	}
}
