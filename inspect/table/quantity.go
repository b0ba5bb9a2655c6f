package table

import (
	"slices"
	"strings"
	"sync"
)

// Better says in which direction a quantity is better.
type Better string

// The directions.
const (
	Lower   Better = "lower"
	Higher  Better = "higher"
	Within  Better = "within limits" // too little is a fault and too much is
	Neither Better = "neither"       // it describes and does not judge
)

// Quantity is one kind of number that is measured on a scan.
type Quantity struct {
	Name    string
	Unit    string // mm, mm2, mm3, deg, per_mm2; empty: a count, a share, or 1 for yes and 0 for no
	Meaning string
	Better  Better
	Source  string   // of the definition; as in the reports' own explanations where there is one
	Places  []string // where it is taken, each with a column of the wide table; nil: of the scan as a whole
	Items   bool     // of each hole, defect or station: in the long table only
	Stated  bool     // its expanded uncertainty (k = 2) is stated
}

// Column is the name of the wide table's column of a quantity at a place ("": of the scan as a
// whole): name, place and unit joined by underscores, blanks and hyphens of the place replaced.
func (q Quantity) Column(place string) string { return q.column(place, "") }

// UColumn is the name of the column of the expanded uncertainty (k = 2) beside it.
func (q Quantity) UColumn(place string) string { return q.column(place, "u") }

func (q Quantity) column(place, u string) string {
	name := q.Name
	for _, part := range []string{strings.NewReplacer(" ", "_", "-", "_").Replace(place), u, q.Unit} {
		if part != "" {
			name += "_" + part
		}
	}
	return name
}

// Where quantities are taken, by jaw: in the order in which they lie, from the patient's right to
// left and from the outer border inwards. Names are those of the reports.
var (
	upperRegions = []string{"distobuccal right", "zygomatic right", "buccal right", "labial", "buccal left", "zygomatic left",
		"distobuccal left", "hamular notch right", "posterior palatal", "hamular notch left"}
	lowerRegions = []string{"masseteric right", "buccal right", "labial", "buccal left", "masseteric left",
		"retromylohyoid right", "mylohyoid right", "sublingual", "mylohyoid left", "retromylohyoid left"}
	upperLandmarks = []string{"labial_frenum", "buccal_frenum_right", "buccal_frenum_left", "incisive_papilla", "tuberosity_right",
		"tuberosity_left", "hamular_notch_right", "hamular_notch_left", "posterior_midline"}
	lowerLandmarks = []string{"labial_frenum", "buccal_frenum_right", "buccal_frenum_left", "lingual_frenum", "pad_front_right",
		"pad_front_left", "pad_summit_right", "pad_summit_left"}
	frena      = []string{"labial_frenum", "buccal_frenum_right", "buccal_frenum_left", "lingual_frenum"}
	sides      = []string{"right", "left"}
	rimParts   = []string{"anterior", "right", "left"}
	references = []string{"hamular-papilla", "crest", "given"}
)

// both joins two lists of places and keeps each once.
func both(a, b []string) []string {
	out := slices.Clone(a)
	for _, s := range b {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

// Quantities lists every quantity, in the order of the tables. The list is the caller's.
func Quantities() []Quantity { return slices.Clone(quantities()) }

var quantities = sync.OnceValue(func() []Quantity {
	return slices.Concat(scanQuantities(), faultQuantities(), borderQuantities(), extensionQuantities(), rimQuantities(), verdictQuantities())
})

func verdictQuantities() []Quantity {
	q := func(name, meaning string) Quantity {
		return Quantity{Name: name, Meaning: meaning, Better: Lower, Source: "project choice: severities as the protocol sets them"}
	}
	return []Quantity{
		q("findings_fail", "Findings of severity fail."),
		q("findings_review", "Findings of severity review."),
		q("findings_unmeasured", "Findings of severity unmeasured."),
		q("findings_info", "Findings of severity info."),
	}
}
