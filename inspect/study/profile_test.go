package study

import (
	"strings"
	"testing"
)

// Two scans, of which the first has two stations in one place: 2 and 4 count as 3, beside 5 of the
// second; other quantities, sides and scans that are not kept do not count.
func TestProfileOfTable(t *testing.T) {
	const long = `path,jaw,quantity,place,surface,along,value
a,upper,border_thickness,labial,outer,0.5,2
a,upper,border_thickness,labial,outer,0.51,4
b,upper,border_thickness,labial,outer,0.505,5
b,upper,border_thickness,buccal left,outer,1,1
b,upper,border_thickness,buccal left,outer,0.9,
c,upper,border_thickness,labial,outer,0.5,100
b,upper,border_thickness,labial,lingual,0.5,100
b,upper,border_height,labial,outer,0.5,100
d,lower,border_thickness,labial,outer,0,7
`
	keep := func(path string) bool { return path != "c" }
	p, err := ReadProfiles(strings.NewReader(long), "border_thickness", "outer", keep, 0.95)
	if err != nil || len(p) != 2 || p[0].Jaw != "lower" || p[1].Scans != 2 || len(p[1].Stations) != 2 {
		t.Fatalf("%+v %v", p, err)
	}
	s := p[1].Stations[0].Summary
	if s.N != 2 || s.Mean != 4 || s.Min != 3 || s.Max != 5 || p[1].Stations[1].Along != 0.99 {
		t.Errorf("%+v", p[1].Stations)
	}
	if len(p[1].Places) != 2 || p[1].Places[0].Name != "labial" || p[1].Places[1] != (Place{"buccal left", 1}) {
		t.Errorf("%+v", p[1].Places)
	}
	for _, bad := range []string{"", "path,jaw\n", strings.Replace(long, "0.51,4", "1.5,4", 1), strings.Replace(long, "0.51,4", "0.51,NaN", 1)} {
		if _, err := ReadProfiles(strings.NewReader(bad), "border_thickness", "outer", keep, 0.95); err == nil {
			t.Errorf("%.30q is a table", bad)
		}
	}
}
