package table

import (
	"fmt"
	"slices"
	"strings"
)

// Column is one column of a table.
type Column struct {
	Name   string
	Number bool // else text
	Unit   string
	About  string
	Better Better
	Source string
}

// Cell is one cell: a text, a number, or nothing.
type Cell struct {
	Text   string
	Number *float64
}

func text(s string) Cell { return Cell{Text: s} }

// Words of the column status.
const (
	Measured   = "measured"
	Unmeasured = "unmeasured"
	Failed     = "failed"
)

// ScanQuantity is what the long table calls a scan that could not be read.
const ScanQuantity = "scan"

// The columns of the wide table before its quantities are wideHead, the user's, wideText.
var (
	wideHead = []Column{{Name: "path", About: "The scan, as it was given."}}
	wideText = []Column{
		{Name: "status", About: "measured, or failed: the scan could not be read."},
		{Name: "reason", About: "Why the scan could not be read."},
		{Name: "report", About: "Folder of the scan's report, from that of the tables."},
		{Name: "sha256", About: "SHA-256 of the file's bytes."},
		{Name: "format", About: "Format of the file."},
		{Name: "bytes", Number: true, About: "Size of the file."},
		{Name: "unit", About: "Unit of the file's coordinates; all lengths in the tables are mm."},
		{Name: "protocol", About: "The protocol that judged: name, version, beginning of its hash."},
		{Name: "jaw", About: "upper or lower, as found or given."},
		{Name: "surface", About: "impression, or cast: the surface shows the jaw itself."},
		{Name: "coverage", About: "two-sided or tissue-side."},
		{Name: "verdict", About: "send, correct, rescan or retake."},
		{Name: "codes", About: "Codes of the findings, each once, in alphabetical order, parted by semicolons."},
	}
	longText = []Column{
		{Name: "jaw", About: "upper or lower, as found or given."},
		{Name: "quantity", About: "Name of the quantity, without its unit; " + ScanQuantity + ": the scan could not be read."},
		{Name: "place", About: "Region, side, landmark or reference; empty: the scan as a whole."},
		{Name: "surface", About: "Surface on which a hole or defect lies; side of the border of a station."},
		{Name: "item", Number: true, About: "Number of the hole, defect or station in its scan; empty: of no single one."},
		{Name: "along", Number: true, About: "Of a station: share of the way along its side, 0 at the patient's right end, 1 at the left."},
		{Name: "value", Number: true, About: "The number; empty: not measured."},
		{Name: "u", Number: true, About: "Expanded uncertainty of the value (k = 2); empty: none is stated."},
		{Name: "unit", About: "Unit of value and u: mm, mm2, mm3, deg, per_mm2; empty: a count, or 1 for yes and 0 for no."},
		{Name: "status", About: "measured, unmeasured, or failed: the scan could not be read."},
		{Name: "reason", About: "Why there is no value."},
	}
)

func userColumns(user []string) []Column {
	out := make([]Column, len(user))
	for i, name := range user {
		out[i] = Column{Name: name, About: "As given by the user."}
	}
	return out
}

// CheckUser tells what is wrong with the names of the user's columns: one that is empty, stands
// there twice, or is that of a column of the tables, whatever their case.
func CheckUser(user []string) error {
	taken := map[string]bool{}
	for _, c := range slices.Concat(wideHead, wideText, wideNumbers(), longText) {
		taken[c.Name] = true
	}
	seen := map[string]bool{}
	for i, name := range user {
		low := strings.ToLower(name)
		switch {
		case strings.TrimSpace(name) == "":
			return fmt.Errorf("column %d has no name", i+1)
		case taken[low]:
			return fmt.Errorf("the column %q has the name of one that the tables of a batch have themselves", name)
		case seen[low]:
			return fmt.Errorf("there are two columns %q", name)
		}
		seen[low] = true
	}
	return nil
}

// WideColumns are the columns of the wide table. They depend on nothing but the user's own.
func WideColumns(user []string) []Column {
	return slices.Concat(wideHead, userColumns(user), wideText, wideNumbers())
}

// LongColumns are the columns of the long table.
func LongColumns(user []string) []Column {
	return slices.Concat(wideHead, userColumns(user), longText)
}

func wideNumbers() []Column {
	var out []Column
	for _, q := range quantities() {
		if q.Items {
			continue
		}
		for _, place := range placesOf(q) {
			about := q.Meaning
			if place != "" {
				about += " Place: " + place + "."
			}
			out = append(out, Column{Name: q.Column(place), Number: true, Unit: q.Unit, About: about, Better: q.Better, Source: q.Source})
			if q.Stated {
				out = append(out, Column{Name: q.UColumn(place), Number: true, Unit: q.Unit, About: "Expanded uncertainty (k = 2) of " + q.Column(place) + ".",
					Better: Lower, Source: "standard: JCGM 100:2008 (GUM), expanded uncertainty"})
			}
		}
	}
	return out
}

// placesOf are the places of a quantity; one without a name where it is of the scan as a whole.
func placesOf(q Quantity) []string {
	if q.Places == nil {
		return []string{""}
	}
	return q.Places
}
