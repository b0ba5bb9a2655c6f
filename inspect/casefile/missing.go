package casefile

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
)

// Gap is one thing that must be filled in or put right before the case is sent.
type Gap struct {
	Key  string // "section.key" in the file
	Text string // one plain sentence
}

// Missing lists what must still be said for the work of a stage, in the order of the file; for
// an empty stage, that of the case. An unknown stage is asked for all that the last one is, so
// that nothing slips through.
//
// Beside what the stage asks for by itself: the posterior seal only where the upper jaw is made,
// apex and repeats only where the relation was traced, and vertical dimensions that disagree.
func (c *Case) Missing(stage string) []Gap {
	if stage == "" {
		stage = c.Order.Stage
	}
	at := slices.Index(Stages(), stage)
	if at < 0 {
		at = len(Stages()) - 1
	}
	var out []Gap
	all := reflect.ValueOf(*c)
	for i := range all.NumField() {
		section := all.Field(i)
		for k := range section.NumField() {
			f := section.Type().Field(k)
			key := all.Type().Field(i).Tag.Get("toml") + "." + f.Tag.Get("toml")
			need := f.Tag.Get("from")
			if key == "impression.posterior_seal" && !c.makes("upper") {
				continue
			}
			traced := key == "relation.sharp_apex" || key == "relation.reached"
			if traced && c.traced() {
				need = JawRelation
			}
			if need == "" || slices.Index(Stages(), need) > at || filled(section.Field(k)) {
				continue
			}
			out = append(out, Gap{key, Name(key) + " is missing: " + lowerFirst(f.Tag.Get("say"))})
		}
	}
	return append(out, c.disagreements()...)
}

// disagreements lists what contradicts itself.
func (c *Case) disagreements() []Gap {
	var out []Gap
	v := c.Vertical
	if v.OcclusionMM != nil && v.RestMM != nil && v.RestSpaceMM != nil {
		space := *v.RestMM - *v.OcclusionMM
		// Both are read off the skin to half a millimetre at best.
		if math.Abs(space-*v.RestSpaceMM) > 1 {
			out = append(out, Gap{"vertical.rest_space_mm", fmt.Sprintf("Rest space %.1f mm does not agree with rest less occlusion, %.1f mm.", *v.RestSpaceMM, space)})
		}
	}
	if c.traced() && c.Relation.SharpApex != nil && !*c.Relation.SharpApex {
		out = append(out, Gap{"relation.sharp_apex", "The tracing showed no single sharp apex: record the jaw relation again, or say in the notes why it stands."})
	}
	if c.Order.Date != "" && c.Order.Wanted != "" && c.Order.Wanted < c.Order.Date {
		out = append(out, Gap{"order.wanted", "The work is wanted before it was ordered."})
	}
	return out
}

func (c *Case) makes(jaw string) bool {
	return len(c.Order.Jaws) == 0 || slices.Contains(c.Order.Jaws, jaw)
}

// traced reports whether the relation was recorded by an arrow-point (gothic arch) tracing.
func (c *Case) traced() bool {
	m := strings.ToLower(c.Relation.Method)
	return strings.Contains(m, "tracing") || strings.Contains(m, "arrow") || strings.Contains(m, "gothic")
}

func filled(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.String:
		return strings.TrimSpace(v.String()) != ""
	case reflect.Slice:
		return v.Len() > 0
	}
	return !v.IsZero()
}

// Row is one line of a case as it is shown to people.
type Row struct {
	Key   string // "section.key" in the file
	Name  string
	Value string // "" where it is not filled in
}

// Group is a section of a case as it is shown to people.
type Group struct {
	Name string
	Rows []Row
}

// Groups lists all fields of the case in words, in the order of the file.
func (c *Case) Groups() []Group {
	var out []Group
	all := reflect.ValueOf(*c)
	for i := range all.NumField() {
		section := all.Field(i)
		tag := all.Type().Field(i).Tag.Get("toml")
		g := Group{Name: upperFirst(tag)}
		for k := range section.NumField() {
			key := tag + "." + section.Type().Field(k).Tag.Get("toml")
			g.Rows = append(g.Rows, Row{key, Name(key), words(key, section.Field(k))})
		}
		out = append(out, g)
	}
	return out
}

// words writes a value for people.
func words(key string, v reflect.Value) string {
	if !filled(v) {
		return ""
	}
	if v.Kind() == reflect.Pointer {
		v = v.Elem()
	}
	switch x := v.Interface().(type) {
	case bool:
		if x {
			return "yes"
		}
		return "no"
	case float64:
		return fmt.Sprintf("%.1f mm", x)
	case int:
		return fmt.Sprintf("%d times", x)
	case []string:
		return strings.Join(x, ", ")
	case [][]float64:
		parts := make([]string, len(x))
		for i, p := range x {
			parts[i] = fmt.Sprintf("(%.1f %.1f %.1f)", p[0], p[1], p[2])
		}
		return strings.Join(parts, " ")
	}
	return strings.TrimSpace(v.String())
}

// Name gives a key "section.key" its name in the trade's words.
func Name(key string) string {
	names := map[string]string{
		"order.number": "Case number", "order.date": "Ordered", "order.wanted": "Wanted by", "clinic.name": "Clinic",
		"clinic.address": "Clinic's address", "clinic.contact": "Clinic's contact", "laboratory.name": "Laboratory", "laboratory.address": "Laboratory's address",
		"laboratory.contact": "Laboratory's contact", "impression.material": "Impression material",
		"vertical.occlusion_mm": "Vertical dimension of occlusion", "vertical.rest_mm": "Vertical dimension at rest",
		"vertical.rest_space_mm": "Interocclusal rest space", "vertical.how": "Found by", "relation.method": "Jaw relation recorded by",
		"relation.sharp_apex": "One sharp apex", "relation.reached": "Apex reached again", "marks.midline_at": "Midline on the scan",
		"marks.canine_at": "Canine lines on the scan", "marks.smile_at": "Smile line on the scan", "marks.marked_on": "Scan with the marks",
		"face.nose_width_mm": "Width of the nose", "face.mouth_width_mm": "Width of the mouth", "teeth.scheme": "Occlusal scheme",
		"signature.by": "Signed by", "signature.on": "Signed on",
	}
	if n := names[key]; n != "" {
		return n
	}
	_, last, _ := strings.Cut(key, ".")
	return upperFirst(strings.ReplaceAll(strings.TrimSuffix(last, "_mm"), "_", " "))
}

func upperFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
