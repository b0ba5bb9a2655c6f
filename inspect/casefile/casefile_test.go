package casefile

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func ptr[T any](v T) *T { return &v }

// full fills in every field of a case, so that a new one cannot be forgotten by Write.
func full(t *testing.T) Case {
	t.Helper()
	var c Case
	all := reflect.ValueOf(&c).Elem()
	for i := range all.NumField() {
		section := all.Field(i)
		for k := range section.NumField() {
			f := section.Field(k)
			switch f.Interface().(type) {
			case string:
				f.SetString("tab\t\"quoted\" \\ žluť 日本\nsecond line " + section.Type().Field(k).Name)
			case *float64:
				f.Set(reflect.ValueOf(ptr(42.25)))
			case *bool:
				f.Set(reflect.ValueOf(ptr(false)))
			case *int:
				f.Set(reflect.ValueOf(ptr(3)))
			case []string:
				f.Set(reflect.ValueOf([]string{"one.jpg", "two, three.jpg"}))
			case [][]float64:
				f.Set(reflect.ValueOf([][]float64{{1, -2.5, 3e-7}, {4, 5, 6}}))
			default:
				t.Fatalf("%s: no test value for a %s", section.Type().Field(k).Name, f.Type())
			}
		}
	}
	c.Order.Date, c.Order.Wanted, c.Signature.On = "2024-02-29", "2024-03-15", "2024-02-29"
	c.Order.Jaws, c.Order.Stage, c.Order.Urgency = []string{"upper", "lower"}, Finish, "urgent"
	c.Vertical = Vertical{ptr(62.0), ptr(65.0), ptr(3.0), "speech"}
	c.Marks.MarkedOnScan = "upper"
	return c
}

func TestRoundTripIsExact(t *testing.T) {
	for name, c := range map[string]Case{"full": full(t), "empty": {}} {
		var a, b bytes.Buffer
		if err := Write(&a, c); err != nil {
			t.Fatal(err)
		}
		got, err := Read(bytes.NewReader(a.Bytes()), "case.toml")
		if err != nil {
			t.Fatalf("%s: %v\n%s", name, err, a.String())
		}
		if d := cmp.Diff(c, got); d != "" {
			t.Errorf("%s: what was read differs (-written +read):\n%s", name, d)
		}
		if err := Write(&b, got); err != nil {
			t.Fatal(err)
		}
		if a.String() != b.String() {
			t.Errorf("%s: written twice, the bytes differ", name)
		}
	}
}

func TestTemplateNamesAndExplainsEveryKey(t *testing.T) {
	var b bytes.Buffer
	if err := WriteTemplate(&b, JawRelation); err != nil {
		t.Fatal(err)
	}
	all := reflect.TypeFor[Case]()
	for i := range all.NumField() {
		for k := range all.Field(i).Type.NumField() {
			f := all.Field(i).Type.Field(k)
			say, key := f.Tag.Get("say"), f.Tag.Get("toml")
			if say == "" || !strings.Contains(b.String(), "# "+say+"\n") {
				t.Errorf("%s.%s has no comment", all.Field(i).Name, key)
			}
			if !strings.Contains(b.String(), key+" = ") {
				t.Errorf("%s is not in the template", key)
			}
			if f.Type.Kind() == reflect.Pointer && f.Tag.Get("like") == "" {
				t.Errorf("%s has no example", key)
			}
		}
	}
	// The examples are right where the # is taken away.
	text := strings.NewReplacer("# occlusion_mm", "occlusion_mm", "# sharp_apex", "sharp_apex", "# reached", "reached", "# nose_width_mm", "nose_width_mm").Replace(b.String())
	c, err := Read(strings.NewReader(text), "case.toml")
	if err != nil || c.Order.Stage != JawRelation || *c.Vertical.OcclusionMM != 62 || !*c.Relation.SharpApex || *c.Relation.Reached != 3 || *c.Face.NoseWidthMM != 36 {
		t.Errorf("%v: %+v", err, c)
	}
}

func TestReadTellsWhatIsWrongAndWhere(t *testing.T) {
	for text, want := range map[string]string{
		"[order]\nnumber = \"1\"\ncolour = \"red\"":              "c.toml:3: order.colour is not a key of a case file",
		"[order]\n\ndate = \"31.3.2024\"":                        `c.toml:3: order.date: "31.3.2024" is no date`,
		"[order]\nstage = \"later\"":                             `c.toml:2: order.stage: "later" is none of`,
		"[order]\njaws = [\"upper\", \"upper\"]":                 "c.toml:2: order.jaws",
		"[vertical]\n# x\nocclusion_mm = nan":                    "c.toml:3: vertical.occlusion_mm: NaN mm is not between",
		"[vertical]\nrest_mm = 6.2":                              "c.toml:2: vertical.rest_mm: 6.2 mm is not between",
		"[vertical]\nrest_mm = \"6\"":                            "c.toml:2:",
		"[marks]\nmidline_at = [[1.0, 2.0]]":                     "c.toml:2: marks.midline_at: [1 2] is no point",
		"[order]\nnumber = ":                                     "c.toml:2:",
		"[patient]\nname = \"Invented Person\"":                  "is not a key of a case file",
		"[signature]\non = \"2024-02-30\"":                       "c.toml:2: signature.on",
		"[relation]\nreached = 1000":                             "c.toml:2: relation.reached",
		"[marks]\nsmile_at = [[1.0, 2.0, inf]]":                  "c.toml:2: marks.smile_at",
		"[order]\nnumber = \"1\"\n[more]\nphotos = [1]":          "c.toml:4:",
		"[order]\nurgency = \"soon\"":                            "c.toml:2: order.urgency",
		"[face]\nmouth_width_mm = 5.0\n[order]\nnumber = \"77\"": "c.toml:2: face.mouth_width_mm",
	} {
		if _, err := Read(strings.NewReader(text), "c.toml"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
	if _, err := Read(strings.NewReader(strings.Repeat("#", maxCase+1)), "c.toml"); err == nil {
		t.Error("a file without end was read")
	}
}

func keys(gaps []Gap) string {
	var out []string
	for _, g := range gaps {
		out = append(out, g.Key)
	}
	return strings.Join(out, " ")
}

func TestMissingDependsOnTheStage(t *testing.T) {
	c := full(t)
	if g := c.Missing(""); len(g) > 0 {
		t.Errorf("a full case lacks %v", g)
	}
	empty, last := Case{}, 0
	for _, s := range Stages() {
		n := len(empty.Missing(s))
		if n < last || s == JawRelation && n == last {
			t.Errorf("%s asks for %d things, the stage before for %d", s, n, last)
		}
		last = n
	}
	if a, b := len(empty.Missing("no such stage")), last; a != b {
		t.Errorf("an unknown stage asks for %d things and not %d", a, b)
	}

	c = full(t)
	c.Teeth.Shade, c.Vertical.How, c.Impression.Disinfection = "", " ", ""
	for stage, want := range map[string]string{
		FinalImpression: "impression.disinfection", JawRelation: "impression.disinfection vertical.how",
		ToothSetUp: "impression.disinfection vertical.how teeth.shade",
	} {
		if got := keys(c.Missing(stage)); got != want {
			t.Errorf("%s: %q, want %q", stage, got, want)
		}
	}

	c = full(t)
	c.Impression.PosteriorSeal = ""
	c.Order.Jaws = []string{"lower"}
	if g := c.Missing(FinalImpression); len(g) > 0 {
		t.Errorf("a lower jaw is asked for %v", g)
	}
	c.Order.Jaws = []string{"upper"}
	if got := keys(c.Missing(FinalImpression)); got != "impression.posterior_seal" {
		t.Errorf("an upper jaw lacks %q", got)
	}

	c = full(t)
	c.Relation = Relation{Method: "guided closure", TransferRecord: ptr(true)}
	if g := c.Missing(JawRelation); len(g) > 0 {
		t.Errorf("without a tracing, asked for %v", g)
	}
	c.Relation.Method = "Arrow-point tracing"
	if got := keys(c.Missing(JawRelation)); got != "relation.sharp_apex relation.reached" {
		t.Errorf("a tracing lacks %q", got)
	}
}

func TestDisagreementsAreTold(t *testing.T) {
	c := full(t)
	c.Vertical.RestSpaceMM = ptr(4.5)
	c.Order.Wanted = "2024-02-01"
	c.Relation.Method, c.Relation.SharpApex = "tracing", ptr(false)
	if got := keys(c.Missing(FinalImpression)); got != "vertical.rest_space_mm relation.sharp_apex order.wanted" {
		t.Errorf("got %q", got)
	}
	c.Vertical.RestSpaceMM = ptr(4.0)
	if got := keys(c.Missing(FinalImpression)); strings.Contains(got, "rest_space") {
		t.Error("one millimetre is within what is read off the skin")
	}
}

func TestEveryFieldHasWordsForPeople(t *testing.T) {
	c := full(t)
	seen := map[string]string{}
	for _, g := range c.Groups() {
		for _, r := range g.Rows {
			if r.Value == "" || r.Name == "" || strings.Contains(r.Name, "_") {
				t.Errorf("%s: %q %q", r.Key, r.Name, r.Value)
			}
			if other := seen[g.Name+r.Name]; other != "" {
				t.Errorf("%s and %s have one name", other, r.Key)
			}
			seen[g.Name+r.Name] = r.Key
		}
	}
}

// Twice the spread that a correlation r leaves: SD 3.1 and 2.05 mm, r 0.25 and 0.43 by hand.
func TestFrontTeethAreARange(t *testing.T) {
	r := Face{ptr(36.0), ptr(50.0)}.FrontTeeth()
	if len(r) != 2 || math.Abs(r[0].FromMM-41.157) > 0.01 || math.Abs(r[0].ToMM-53.163) > 0.01 ||
		math.Abs(r[1].FromMM-34.198) > 0.01 || math.Abs(r[1].ToMM-41.602) > 0.01 {
		t.Errorf("%+v", r)
	}
	if len((Face{}).FrontTeeth()) != 0 {
		t.Error("a range from nothing")
	}
}
