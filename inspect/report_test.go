package inspect

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func soundReport(jaw Jaw) *Report {
	r := &Report{Schema: Schema{"fornix report", "1"}, Results: *soundResults(jaw), Cautions: Cautions()}
	r.Protocol = DefaultProtocol().ID()
	r.Findings, r.Verdict = Judge(&r.Results, DefaultProtocol())
	return r
}

// encoding/json is the oracle: it reads back what was written, and a report of short numbers
// comes back as it was.
func TestJSONReadsBack(t *testing.T) {
	want := soundReport(Lower)
	for i := range want.Border.Stations { // numbers that rounding leaves alone
		s := &want.Border.Stations[i]
		s.SMM, s.Apex = float64(i), Vec{X: 1.25, Y: -2.5, Z: 0.125}
	}
	for i := range want.Border.Regions {
		want.Border.Regions[i].OutsideMM = num(0)
	}
	want.Holes = []Hole{{ID: 1, SpanMM: 1.5, Rim: []Vec{{X: 1}, {Y: 1}, {Z: 1}}, Surface: OnOuter, Region: "a \"quoted\" <region>\n"}}
	var b bytes.Buffer
	if err := WriteJSON(&b, want); err != nil {
		t.Fatal(err)
	}
	var got Report
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	var w, g map[string]any // by value: nil and empty lists are one
	std, err := json.Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("\"crest\":null", "\"crest\":[]", "\"defects\":null", "\"defects\":[]", "\"decisions\":null", "\"decisions\":[]",
		"\"path\":null", "\"path\":[]", "\"outline\":null", "\"outline\":[]", "\"rim_width_mm\":null", "\"rim_width_mm\":{}", "\"findings\":null", "\"findings\":[]").Replace(string(std))
	if err := json.Unmarshal([]byte(text), &w); err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(b.Bytes(), &g); err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(w, g); d != "" {
		t.Errorf("differs from encoding/json (-std +got):\n%s", d)
	}
}

func TestJSONHoldsNoNaN(t *testing.T) {
	r := soundReport(Upper)
	r.Quality.NoiseMM = num(math.NaN())
	r.Occlusal.RMSMM = math.Inf(1)
	r.Frame.Origin = Vec{X: math.NaN(), Y: math.Inf(-1), Z: 1}
	r.Occlusal.Tilts["crest"] = Tilt{CantDeg: math.NaN()}
	r.Findings, r.Verdict = Judge(&r.Results, DefaultProtocol())
	var b bytes.Buffer
	if err := WriteJSON(&b, r); err != nil {
		t.Fatal(err)
	}
	if !json.Valid(b.Bytes()) {
		t.Error("not JSON")
	}
	for _, word := range []string{"NaN", "Inf"} {
		if strings.Contains(b.String(), word) {
			t.Errorf("holds %s", word)
		}
	}
}

func TestJSONRoundsAndStaysTheSame(t *testing.T) {
	write := func(r *Report) string {
		var b bytes.Buffer
		if err := WriteJSON(&b, r); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	a, b := soundReport(Upper), soundReport(Upper)
	b.Frame.Origin.X += 1e-9
	b.Border.Stations[7].Apex.Y -= 1e-10
	if write(a) != write(b) {
		t.Error("differences far below any scan change the bytes")
	}
	for x, want := range map[float64]string{12.345678: "12.3457", 0.0123456789: "0.012346", -0.00000001: "0", 1e22: "10000000000000000000000"} {
		e := jsonWriter{}
		e.number(x)
		if string(e.buf) != want {
			t.Errorf("%v is written %s, want %s", x, e.buf, want)
		}
	}
}

func TestTextSaysVerdictFirstAndFitsTheTerminal(t *testing.T) {
	for _, c := range judged {
		r := soundReport(c.jaw)
		c.change(&r.Results)
		r.Findings, r.Verdict = Judge(&r.Results, DefaultProtocol())
		var b bytes.Buffer
		if err := WriteText(&b, r); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		if !strings.HasPrefix(text, "a.stl: "+strings.ToUpper(string(c.verdict))+"\n") {
			t.Errorf("%s: begins %q", c.name, strings.SplitN(text, "\n", 2)[0])
		}
		for _, f := range r.Findings {
			if !strings.Contains(strings.Join(strings.Fields(text), " "), f.Text) {
				t.Errorf("%s: does not say %q", c.name, f.Text)
			}
		}
		for _, bad := range []string{"NaN", "%!", "\x1b", "<nil>", "  \n"} {
			if strings.Contains(text, bad) {
				t.Errorf("%s: holds %q", c.name, bad)
			}
		}
		for line := range strings.Lines(text) {
			if len(line) > 121 {
				t.Errorf("%s: a line of %d characters: %s", c.name, len(line), line)
			}
		}
		if testing.Verbose() && c.name == "very thin border" {
			t.Log("\n" + text)
		}
	}
}

func TestExplanationFitsTheTerminal(t *testing.T) {
	for _, e := range Explanations() {
		var b strings.Builder
		if err := WriteExplanation(&b, e, DefaultProtocol()); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(b.String()) {
			if len(line) > 81 {
				t.Errorf("%s: %q", e.Code, line)
			}
		}
	}
}
