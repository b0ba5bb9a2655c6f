package inspect

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// What is written is read again as it was, but for the rounding that WriteJSON states, and what is
// not a number is null.
func TestRelationJSON(t *testing.T) {
	r := &Relation{Schema: Schema{Name: RelationSchemaName, Version: RelationSchemaVersion}}
	r.Shared = Shared{How: SharedFrame, Upper: Motion{Rotation: [3]Vec{{X: 1}, {Y: 1}, {Z: 1}}, Translation: Vec{X: 1.25}}}
	r.Gap = RimGap{MeanMM: 2, All: GapPart{AreaMM2: 300, MinMM: num(0.0625), ContactMM2: [3]float64{1, 2, 3}}, Parts: []GapPart{{Name: "right", Unmeasured: "apart"}}}
	r.Heights = []Height{{Name: SulcusAnterior, MM: num(40), Line: []Vec{{Z: 1}, {Z: 2}}}}
	r.WhatIf = []WhatIf{{FrontMM: 2, Axis: &Hinge{Right: Vec{X: -50}, How: "average"}}}
	r.Findings, r.Cautions, r.Space, r.References = []Finding{}, []string{}, []SpaceAt{}, []PlaneAngle{}
	var b bytes.Buffer
	if err := WriteRelationJSON(&b, r); err != nil {
		t.Fatal(err)
	}
	var got Relation
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	r.WhatIf[0].Gap.Parts, r.WhatIf[0].Heights = []GapPart{}, []Height{} // lists that are nil are written empty
	if d := cmp.Diff(*r, got); d != "" {
		t.Errorf("read again (-want +got):\n%s", d)
	}
	r.Gap.SunkMM = math.NaN()
	b.Reset()
	if err := WriteRelationJSON(&b, r); err != nil || bytes.Contains(b.Bytes(), []byte("NaN")) || !bytes.Contains(b.Bytes(), []byte(`"sunk_mm": null`)) {
		t.Errorf("not a number: %v", err)
	}
}
