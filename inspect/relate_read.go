package inspect

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
)

// ReadReferences reads references of the face from JSON. Every key may be missing:
//
//	{"in": "upper",
//	 "ala_tragus": [[-60, 60, 30], [60, 60, 30], [0, -40, 35]],
//	 "pupils": [[-32, -10, 80], [32, -10, 80]],
//	 "hinge_axis": [[-52, 75, 40], [52, 75, 40]],
//	 "uncertainty_mm": 2,
//	 "transfer_record": {"ala_tragus_deg": 4, "pupils_deg": 1, "uncertainty_deg": 1}}
//
// in says whose coordinates the points have: upper, lower, or common, as without it. Points of lines
// come right before left. What a record's angles mean stands at References.
func ReadReferences(r io.Reader) (References, error) {
	text, err := io.ReadAll(r)
	if err != nil {
		return References{}, err
	}
	var file struct {
		In     string   `json:"in"`
		Camper []Vec    `json:"ala_tragus"`
		Pupils []Vec    `json:"pupils"`
		Hinge  []Vec    `json:"hinge_axis"`
		UMM    *float64 `json:"uncertainty_mm"`
		Record *struct {
			Camper *float64 `json:"ala_tragus_deg"`
			Pupils *float64 `json:"pupils_deg"`
			UDeg   *float64 `json:"uncertainty_deg"`
		} `json:"transfer_record"`
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return References{}, errors.New(strings.TrimPrefix(err.Error(), "json: "))
	}
	if d.More() {
		return References{}, errors.New("more stands behind the end of the object")
	}
	out := References{Camper: file.Camper, Pupils: file.Pupils, Hinge: file.Hinge}
	switch file.In {
	case "", "common":
	case string(Upper), string(Lower):
		out.In = Jaw(file.In)
	default:
		return out, fmt.Errorf("in is upper, lower or common, not %q", file.In)
	}
	positive := func(name string, v *float64, to *float64) error {
		if v == nil {
			return nil
		}
		if !(*v > 0) {
			return fmt.Errorf("%s must be more than 0", name)
		}
		*to = *v
		return nil
	}
	if err := positive("uncertainty_mm", file.UMM, &out.UMM); err != nil {
		return out, err
	}
	if rec := file.Record; rec != nil {
		out.CamperDeg, out.PupilsDeg = rec.Camper, rec.Pupils
		if err := positive("uncertainty_deg", rec.UDeg, &out.UDeg); err != nil {
			return out, err
		}
		for _, v := range []*float64{rec.Camper, rec.Pupils} {
			if v != nil && (*v < -45 || *v > 45) {
				return out, fmt.Errorf("an angle of %g degrees is none of an occlusal plane", *v)
			}
		}
	}
	switch {
	case len(out.Camper) > 0 && len(out.Camper) < 3:
		return out, fmt.Errorf("ala_tragus: three points or more are needed, not %d", len(out.Camper))
	case len(out.Pupils) != 0 && len(out.Pupils) != 2:
		return out, fmt.Errorf("pupils: two points are needed, right and left, not %d", len(out.Pupils))
	case len(out.Hinge) != 0 && len(out.Hinge) != 2:
		return out, fmt.Errorf("hinge_axis: two points are needed, right and left, not %d", len(out.Hinge))
	}
	return out, nil
}
