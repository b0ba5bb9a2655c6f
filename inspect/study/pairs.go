package study

import (
	"cmp"
	"fmt"
	"slices"
)

// What two scans are compared for, in the words of ISO 5725-1:1994: precision is the closeness of
// repeats to each other, trueness that of scans to a reference.
const (
	OfRepeats   = "precision"
	ToReference = "trueness"
)

// Job is one comparison of two scans that a study asks for, or a scan that none can be made of.
type Job struct {
	Kind               string // OfRepeats, ToReference
	Subject, Condition string // as arrange names them
	A, B               Row    // repeats in the order of the table; of ToReference, A is the reference
	Why                string // why nothing can be compared, where the table alone says so; A may have no path then
}

// PairJobs lists every pair of scans of one subject and condition, subjects in the order of the table,
// conditions by name. n repeats make n(n - 1)/2 pairs. A scan that belongs to no pair is a job with
// the reason.
func PairJobs(t *Table, d Design) []Job {
	usable, jobs := d.split(t, OfRepeats, d.Subject, d.Condition)
	cells, subjects, conditions := arrange(usable, d)
	var out []Job
	for i, subject := range cells {
		for j, cell := range subject {
			if len(cell) == 1 {
				jobs = append(jobs, Job{OfRepeats, subjects[i], conditions[j], Row{}, cell[0], "there is no other scan of this subject and condition"})
			}
			for a := range cell {
				for b := a + 1; b < len(cell); b++ {
					out = append(out, Job{Kind: OfRepeats, Subject: subjects[i], Condition: conditions[j], A: cell[a], B: cell[b]})
				}
			}
		}
	}
	return append(out, jobs...)
}

// ReferenceJobs sets each scan against the reference scan of its subject: the first whose column has
// the value. Jobs of one reference stand together, conditions by name, scans in the order of the table.
// A scan without a reference, and a second reference of a subject, is a job with the reason.
func ReferenceJobs(t *Table, d Design, column, value string) []Job {
	usable, jobs := d.split(t, ToReference, d.Subject)
	cells, subjects, _ := arrange(usable, Design{Subject: d.Subject})
	var out []Job
	for i, subject := range cells {
		cell := subject[0]
		at := slices.IndexFunc(cell, func(r Row) bool { return r.Text[column] == value })
		first := len(out)
		for k, r := range cell {
			_, condition := d.of(r)
			switch {
			case at < 0:
				jobs = append(jobs, Job{ToReference, subjects[i], condition, Row{}, r, fmt.Sprintf("no scan of its subject has %s in the column %s", value, column)})
			case k != at && r.Text[column] == value:
				jobs = append(jobs, Job{ToReference, subjects[i], condition, Row{}, r, "another scan of its subject is the reference: the first in the table"})
			case k != at:
				out = append(out, Job{ToReference, subjects[i], condition, cell[at], r, ""})
			}
		}
		slices.SortStableFunc(out[first:], byCondition)
	}
	return append(out, jobs...)
}

// OneReferenceJobs sets each scan against one reference, given by its path.
func OneReferenceJobs(t *Table, d Design, path string) []Job {
	usable, jobs := d.split(t, ToReference)
	var out []Job
	for _, r := range usable {
		subject, condition := d.of(r)
		out = append(out, Job{Kind: ToReference, Subject: subject, Condition: condition, A: Row{Path: path}, B: r})
	}
	slices.SortStableFunc(out, byCondition)
	return append(out, jobs...)
}

func byCondition(a, b Job) int { return cmp.Compare(a.Condition, b.Condition) }

// split parts the scans that can be compared from those that cannot, which become jobs with their
// reasons: those that could not be read, and those for which the table is empty in a needed column.
func (d Design) split(t *Table, kind string, needed ...string) (usable []Row, jobs []Job) {
	for _, r := range t.Rows {
		why := r.Failed
		for _, column := range needed {
			if why == "" && column != "" && r.Text[column] == "" {
				why = "the table names no " + column + " of it"
			}
		}
		if why == "" {
			usable = append(usable, r)
			continue
		}
		subject, condition := d.of(r)
		jobs = append(jobs, Job{kind, subject, condition, Row{}, r, why})
	}
	return usable, jobs
}
