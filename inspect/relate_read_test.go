package inspect

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestReadReferences(t *testing.T) {
	got, err := ReadReferences(strings.NewReader(`{"in": "upper", "ala_tragus": [[-60,60,30],[60,60,30],[0,-40,35]], "pupils": [[-32,0,80],[32,0,80]],
		"hinge_axis": [[-52,75,40],[52,75,40]], "uncertainty_mm": 1.5, "transfer_record": {"ala_tragus_deg": 4, "uncertainty_deg": 0.5}}`))
	if err != nil {
		t.Fatal(err)
	}
	want := References{
		In: Upper, Camper: []Vec{{X: -60, Y: 60, Z: 30}, {X: 60, Y: 60, Z: 30}, {Y: -40, Z: 35}}, Pupils: []Vec{{X: -32, Z: 80}, {X: 32, Z: 80}},
		Hinge: []Vec{{X: -52, Y: 75, Z: 40}, {X: 52, Y: 75, Z: 40}}, UMM: 1.5, CamperDeg: num(4), UDeg: 0.5,
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	for text, part := range map[string]string{
		`{"nose": [1, 2, 3]}`:                          `unknown field "nose"`,
		`[1]`:                                          "cannot unmarshal",
		`{"in": "table"}`:                              `not "table"`,
		`{"ala_tragus": [[1, 2, 3]]}`:                  "three points",
		`{"pupils": [[1, 2, 3]]}`:                      "two points",
		`{"hinge_axis": [[1, 2], [1, 2, 3]]}`:          "three coordinates",
		`{"uncertainty_mm": 0}`:                        "more than 0",
		`{"transfer_record": {"ala_tragus_deg": 90}}`:  "90 degrees",
		`{"transfer_record": {"uncertainty_deg": -1}}`: "more than 0",
		`{} {}`: "behind the end",
	} {
		if _, err := ReadReferences(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), part) {
			t.Errorf("%s: %v, want %q", text, err, part)
		}
	}
}
