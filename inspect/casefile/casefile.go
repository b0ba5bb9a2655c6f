// Package casefile holds the order that travels with the scans of one case to the laboratory:
// what must be said (Case), how it is written down (Read, Write), what is still missing for the
// work that is asked for (Missing), and what must not leave the house (LooksPersonal,
// ScrubHeader). It opens no file.
package casefile

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"
)

// Case is the order for one patient, who is named by a number only. An empty text, an empty
// list and a nil pointer mean: not filled in. Lengths are mm, dates are YYYY-MM-DD.
//
// The tags of a field are its key in the file (toml), its comment there (say), an example for
// what cannot be written empty (like) and the stage from which on it must be filled in (from).
// The fields follow what textbooks and surveys of work orders ask for (for one, St. Arnault and
// Allen, J Prosthet Dent 1990;64:497).
type Case struct {
	Order      Order      `toml:"order" say:"The order itself."`
	Clinic     Clinic     `toml:"clinic" say:"Who orders."`
	Laboratory Laboratory `toml:"laboratory" say:"Who makes."`
	Impression Impression `toml:"impression" say:"The final impression."`
	Vertical   Vertical   `toml:"vertical" say:"Vertical dimension, as the clinician found it."`
	Relation   Relation   `toml:"relation" say:"How the jaw relation was recorded."`
	Marks      Marks      `toml:"marks" say:"Lines for the setting of teeth. Points on the scan, in its own coordinates, are [x, y, z] in mm."`
	Face       Face       `toml:"face" say:"Measured on the face, in mm. They give a range for the width of the teeth, never a mould."`
	Teeth      Teeth      `toml:"teeth" say:"Teeth, as chosen."`
	More       More       `toml:"more" say:"All else."`
	Signature  Signature  `toml:"signature" say:"The signature line. The sheet leaves room to sign by hand."`
}

// Order says which work is asked for and when.
type Order struct {
	Number  string   `toml:"number" say:"Case number. No name, no date of birth: this file leaves the house." from:"final impression"`
	Date    string   `toml:"date" say:"Date of the order." from:"final impression"`
	Wanted  string   `toml:"wanted" say:"Date by which the work is wanted." from:"final impression"`
	Urgency string   `toml:"urgency" say:"normal or urgent." from:"final impression"`
	Jaws    []string `toml:"jaws" say:"Jaws to be made: upper, lower." from:"final impression"`
	Stage   string   `toml:"stage" say:"Stage of the work: final impression, jaw relation, tooth set-up or finish." from:"final impression"`
}

// Clinic is who orders.
type Clinic struct {
	Name      string `toml:"name" say:"Name of the clinic." from:"final impression"`
	Address   string `toml:"address" say:"Its address." from:"final impression"`
	Clinician string `toml:"clinician" say:"The clinician who orders." from:"final impression"`
	Licence   string `toml:"licence" say:"Licence number, where local rules ask for it."`
	Contact   string `toml:"contact" say:"Telephone or address for questions."`
}

// Laboratory is who makes.
type Laboratory struct {
	Name    string `toml:"name" say:"Name of the laboratory." from:"final impression"`
	Address string `toml:"address" say:"Its address." from:"final impression"`
	Contact string `toml:"contact" say:"Telephone or address for questions."`
}

// Impression tells of the final impression what no scan shows.
type Impression struct {
	Material       string `toml:"material" say:"Impression material." from:"final impression"`
	BorderMaterial string `toml:"border_material" say:"Material of the border moulding." from:"final impression"`
	Disinfection   string `toml:"disinfection" say:"How it was disinfected: agent and time." from:"final impression"`
	PosteriorSeal  string `toml:"posterior_seal" say:"Posterior palatal seal wanted in the upper jaw: place and depth, or none." from:"final impression"`
	Relief         string `toml:"relief" say:"Zones to be relieved, or none."`
}

// Vertical is the vertical dimension.
type Vertical struct {
	OcclusionMM *float64 `toml:"occlusion_mm" say:"Vertical dimension of occlusion, between the marks used." like:"62.0" from:"jaw relation"`
	RestMM      *float64 `toml:"rest_mm" say:"Vertical dimension at rest, between the same marks." like:"65.0" from:"jaw relation"`
	RestSpaceMM *float64 `toml:"rest_space_mm" say:"Interocclusal rest space." like:"3.0" from:"jaw relation"`
	How         string   `toml:"how" say:"How it was found: speech, rest, both, old dentures." from:"jaw relation"`
}

// Relation is how the jaw relation was recorded.
type Relation struct {
	Method         string `toml:"method" say:"Method, such as arrow-point tracing, guided closure, swallowing." from:"jaw relation"`
	SharpApex      *bool  `toml:"sharp_apex" say:"The tracing showed one sharp apex." like:"true"`
	Reached        *int   `toml:"reached" say:"How often that apex was reached again." like:"3"`
	TransferRecord *bool  `toml:"transfer_record" say:"A transfer record (upper jaw to articulator) comes with the case." like:"false" from:"jaw relation"`
}

// Marks are the lines on the rims, in words and as points on the scan.
type Marks struct {
	Midline      string      `toml:"midline" say:"Facial midline, such as marked on the upper rim." from:"jaw relation"`
	CanineLines  string      `toml:"canine_lines" say:"Canine lines (corners of the mouth at rest)." from:"jaw relation"`
	SmileLine    string      `toml:"smile_line" say:"High smile line." from:"jaw relation"`
	MidlineAt    [][]float64 `toml:"midline_at" say:"The same as points on the scan of the rim, if they were marked there."`
	CanineAt     [][]float64 `toml:"canine_at" say:"Right, then left."`
	SmileAt      [][]float64 `toml:"smile_at" say:"Points along the line."`
	MarkedOnScan string      `toml:"marked_on" say:"The scan that the points belong to: upper or lower."`
}

// Teeth are the teeth as they were chosen.
type Teeth struct {
	Shape       string `toml:"shape" say:"Shape, or left to the laboratory." from:"tooth set-up"`
	Shade       string `toml:"shade" say:"Shade and guide." from:"tooth set-up"`
	Arrangement string `toml:"arrangement" say:"Arrangement: even, individual, as the photograph shows." from:"tooth set-up"`
	Scheme      string `toml:"scheme" say:"Occlusal scheme, such as bilateral balanced, lingualised, monoplane." from:"tooth set-up"`
}

// More is all else.
type More struct {
	Notes  string   `toml:"notes" say:"Notes to the laboratory; never a name."`
	Photos []string `toml:"photos" say:"File names of photographs that come with the case."`
}

// Signature is who signed, and when.
type Signature struct {
	By string `toml:"by" say:"Who signs." from:"final impression"`
	On string `toml:"on" say:"Date of signing." from:"final impression"`
}

// Stages of the work, in the order in which they come. What an early one asks for, every later
// one asks for too.
const (
	FinalImpression = "final impression" // make casts and record bases
	JawRelation     = "jaw relation"     // mount the casts
	ToothSetUp      = "tooth set-up"     // set the teeth for the try-in
	Finish          = "finish"           // process the dentures after the try-in
)

// Stages lists the stages, earliest first.
func Stages() []string { return []string{FinalImpression, JawRelation, ToothSetUp, Finish} }

// choices are the words that a field may hold, by key.
var choices = map[string][]string{
	"order.stage": Stages(), "order.urgency": {"normal", "urgent"}, "order.jaws": jaws, "marks.marked_on": jaws,
}

var jaws = []string{"upper", "lower"}

// dates are the fields that hold a date.
var dates = []string{"order.date", "order.wanted", "signature.on"}

// ranges are the least and greatest number that a field may hold: wide enough for every face, so
// that what lies outside is a slip of unit or decimal point.
var ranges = map[string][2]float64{
	"vertical.occlusion_mm": {20, 150}, "vertical.rest_mm": {20, 150}, "vertical.rest_space_mm": {0, 15},
	"face.nose_width_mm": {20, 70}, "face.mouth_width_mm": {25, 100}, "relation.reached": {0, 100},
}

// check tells what cannot be right, and the key it stands at: values that no case can have. What
// is merely not filled in is told by Missing.
func (c *Case) check() (key string, err error) {
	all := reflect.ValueOf(*c)
	for i := range all.NumField() {
		for k := range all.Field(i).NumField() {
			key := all.Type().Field(i).Tag.Get("toml") + "." + all.Field(i).Type().Field(k).Tag.Get("toml")
			if err := checkField(key, all.Field(i).Field(k)); err != nil {
				return key, err
			}
		}
	}
	return "", nil
}

// checkField tells what cannot be right in one field.
func checkField(key string, v reflect.Value) error {
	of := choices[key]
	switch x := v.Interface().(type) {
	case string:
		if _, err := time.Parse(time.DateOnly, x); slices.Contains(dates, key) && x != "" && err != nil {
			return fmt.Errorf("%q is no date such as 2024-03-31", x)
		}
		if of != nil && x != "" && !slices.Contains(of, x) {
			return fmt.Errorf("%q is none of %q", x, of)
		}
	case []string:
		for i, w := range x {
			if of != nil && (!slices.Contains(of, w) || slices.Contains(x[:i], w)) {
				return fmt.Errorf("%q: %s, each once", w, strings.Join(of, ", "))
			}
		}
	case *float64:
		if r := ranges[key]; x != nil && !(*x >= r[0] && *x <= r[1]) {
			return fmt.Errorf("%v mm is not between %v and %v", *x, r[0], r[1])
		}
	case *int:
		if r := ranges[key]; x != nil && !(float64(*x) >= r[0] && float64(*x) <= r[1]) {
			return fmt.Errorf("%d times is not between %v and %v", *x, r[0], r[1])
		}
	case [][]float64:
		for _, q := range x {
			if len(q) != 3 || slices.ContainsFunc(q, func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) }) {
				return fmt.Errorf("%v is no point [x, y, z]", q)
			}
		}
	}
	return nil
}
