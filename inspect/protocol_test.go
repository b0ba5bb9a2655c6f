package inspect

import (
	"bytes"
	"reflect"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

const own = "[protocol]\nname = \"ours\"\nversion = \"1\"\n"

func TestProtocolFileChangesOnlyWhatItNames(t *testing.T) {
	p, err := ReadProtocol(strings.NewReader(own+"[limits.void]\nreview = 1.2\n"+
		"[limits.border-thick.region.\"upper labial\"]\nreview = 3\n"), "own.toml")
	if err != nil {
		t.Fatal(err)
	}
	want := DefaultProtocol()
	want.Protocol = ProtocolInfo{Name: "ours", Version: "1"}
	want.Limits.Void.Review = 1.2
	labial := want.Limits.BorderThick.Region["upper labial"]
	labial.Review = 3
	want.Limits.BorderThick.Region["upper labial"] = labial
	if d := cmp.Diff(want, p); d != "" {
		t.Errorf("differs (-want +got):\n%s", d)
	}
	if p.ID() == DefaultProtocol().ID() {
		t.Error("two protocols have one ID")
	}
}

// Nothing the user writes can take a limit away: every default has all its limits, and a file
// with nothing but a name judges as the default does.
func TestProtocolDropsNoLimit(t *testing.T) {
	p, err := ReadProtocol(strings.NewReader(own), "own.toml")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(DefaultProtocol().Limits, p.Limits); d != "" {
		t.Error(d)
	}
	if n := len(p.Limits.all()) + len(p.Limits.rules()); n < 40 {
		t.Errorf("only %d limits", n)
	}
}

func TestProtocolReadsWhatItWrites(t *testing.T) {
	var b bytes.Buffer
	want := DefaultProtocol()
	want.Protocol.Name = "copy"
	if err := WriteProtocol(&b, want); err != nil {
		t.Fatal(err)
	}
	got, err := ReadProtocol(&b, "copy.toml")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if want.ID() != got.ID() {
		t.Error("the copy has another ID")
	}
}

func TestProtocolErrorsPointAtTheLine(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"", "own.toml:1: [protocol] name is missing"},
		{"[protocol]\nname = \"ours\"\n", "own.toml:1: [protocol] version is missing"},
		{"[protocol]\nname = \"fornix default\"\nversion = \"1\"\n[limits.void]\nreview = 1.1\n", "give yours another"},
		{own + "[limits.void]\nreveiw = 1\n", "own.toml:5: limits.void.reveiw is not a key of a protocol"},
		{own + "[limits.voids]\nreview = 1\n", "own.toml:4: limits.voids"},
		{own + "\n[limits.void]\nreview = nan\n", "own.toml:6: limits.void.review = nan is not a number"},
		{own + "limits.void.fail = inf\n", "own.toml:4: "},
		{own + "[limits.void]\nreview = \"two\"\n", "own.toml:5: "},
		{own + "[limits.void\n", "own.toml:4: "},
		{own + "[limits.void]\nreview = 3.5\n", "own.toml:4: [limits.void] fail = 3 lies inside review = 3.5"},
		{own + "[limits.border-thin]\nfail = 2.0\n", "own.toml:4: [limits.border-thin] fail = 2 lies inside review = 1.5"},
		{own + "[limits.void]\nnote = 2.0\n", "note = 2 lies outside review"},
		{own + "[limits.void]\nretake = 2.0\n", "retake = 2 lies inside fail"},
		{own + "[limits.void]\naction = \"send\"\n", "action must be correct, rescan or retake"},
		{own + "[limits.void]\nsource = \"I said so\"\n", "source must begin with"},
		{own + "[limits.void]\nunit = \"\"\n", "unit is missing"},
		{own + "[limits.rim-missing]\nseverity = \"bad\"\n", "severity must be"},
		{own + "[limits.border-thin.region.\"upper labial\"]\nreview = 2\n", "[limits.border-thin.region.upper labial] unit is missing"},
	} {
		_, err := ReadProtocol(strings.NewReader(c.text), "own.toml")
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: error %v, want %q", c.text, err, c.want)
		}
	}
}

func TestRegionLimitTakesTheKeyWithMostWordsThatFit(t *testing.T) {
	b := BorderLimit{Limit: Limit{Review: 1}, Region: map[string]Limit{
		"lower": {Review: 2}, "lower lingual": {Review: 3}, "posterior lower lingual": {Review: 4}, "mylohyoid": {Review: 5},
	}}
	for _, c := range []struct {
		jaw    Jaw
		region string
		want   float64
	}{
		{Upper, "labial", 1}, {Lower, "labial", 2}, {Lower, "lingual left", 3}, {Lower, "posterior lingual left", 4},
		{Upper, "lingual", 1}, {Upper, "mylohyoid left", 5}, {Upper, "retromylohyoid left", 1},
	} {
		if got := b.For(c.jaw, c.region).Review; got != c.want {
			t.Errorf("%s %s: %v, want %v", c.jaw, c.region, got, c.want)
		}
	}
}

// The reader takes any bytes without a panic, and what it accepts is whole.
func FuzzReadProtocol(f *testing.F) {
	f.Add([]byte(own))
	f.Add([]byte(DefaultProtocolText))
	f.Add([]byte(own + "limits.void = {review = [nan]}\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := ReadProtocol(bytes.NewReader(text), "f")
		if err != nil {
			return
		}
		for _, l := range p.Limits.all() {
			if err := l.check(); err != nil {
				t.Errorf("%s: %v", l.name, err)
			}
		}
		p.ID()
	})
}

// The embedded file is the one home of every number: each field of the protocol stands in it.
func TestDefaultFileNamesEveryField(t *testing.T) {
	named, err := tomlLines([]byte(DefaultProtocolText))
	if err != nil {
		t.Fatal(err)
	}
	var walk func(v reflect.Value, path string)
	walk = func(v reflect.Value, path string) {
		for i := range v.NumField() {
			f := v.Type().Field(i)
			key, option, _ := strings.Cut(f.Tag.Get("toml"), ",")
			at := strings.TrimPrefix(path+"."+key, ".")
			switch {
			case f.Anonymous:
				walk(v.Field(i), path)
			case key == "":
				t.Errorf("%s: field %s has no name in the file", path, f.Name)
			case f.Type.Kind() == reflect.Struct:
				walk(v.Field(i), at)
			case option == "omitempty" || f.Type.Kind() == reflect.Map:
			case named[at] == 0:
				t.Errorf("default.toml does not set %s", at)
			}
		}
	}
	walk(reflect.ValueOf(DefaultProtocol()), "")
}
