package inspect

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Judge holds what was measured against the limits of a protocol and returns the findings,
// gravest first and within that in the order in which they stand on the scan, and the verdict.
//
// It reads nothing but its arguments, so stored results can be judged anew; the one thing it
// writes into them is Border.Regions[].OutsideMM. Findings with a place are numbered from 1, as
// on the images.
//
// The decision rule is that of ISO 14253-1: a value nearer to its fail limit than its expanded
// uncertainty is proven neither sound nor faulty, and is `review`. The review limit is itself a
// guard band that the protocol chose, so no second one is added to it. A value that is not there
// never passes: it is a finding of its own, `unmeasured`.
func Judge(res *Results, p Protocol) ([]Finding, Verdict) {
	j := &judge{res: res, lim: &p.Limits}
	for i := range res.Border.Regions {
		res.Border.Regions[i].OutsideMM = nil
	}
	j.scan()
	j.holes()
	switch {
	case res.Surface == Cast:
		j.notImpression()
	case res.Frame == nil || res.Surface != Impression || (res.Jaw != Upper && res.Jaw != Lower):
		j.rule("unmeasured-jaw", p.Limits.NoJaw,
			"Where the jaw lies in this scan could not be told"+because(res.Border.Unmeasured)+
				", so border, extension and rim were not judged: scan again and take in the whole impression.")
		j.defects()
	default:
		j.defects()
		j.border()
		j.posterior()
		j.occlusal()
	}
	j.order()
	return j.findings, verdictOf(j.findings)
}

type judge struct {
	res      *Results
	lim      *Limits
	findings []Finding
}

// grade holds v, known to u (k = 2), against the limit. It returns "" for a value that passes
// and the limit that decided.
func (b bound) grade(v, u float64) (Severity, float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Unmeasured, b.Fail
	}
	if !(u >= 0) { // also NaN
		u = 0
	}
	beyond := v - b.Fail
	if b.below {
		beyond = -beyond
	}
	switch {
	case beyond > 0 && beyond >= u:
		return Fail, b.Fail
	case b.past(v, b.Review):
		return Review, b.Review
	case u > 0 && beyond > -u:
		return Review, b.Fail
	case b.Note != nil && b.past(v, *b.Note):
		return Info, *b.Note
	}
	return "", b.Review
}

// action is what a value of that severity asks for.
func (b bound) action(v float64, sev Severity) Verdict {
	switch {
	case sev == "" || sev == Info:
		return Send
	case b.Retake != nil && b.past(v, *b.Retake):
		return Retake
	}
	return b.Action
}

// worse is one band up: what passed is told, what was told is looked at, what was doubtful fails.
func worse(s Severity) Severity {
	switch s {
	case "":
		return Info
	case Info:
		return Review
	case Review:
		return Fail
	}
	return s
}

// add makes a finding of a value that does not pass; text is told what to do about it.
func (j *judge) add(f Finding, b bound, v, u float64, text func(do Verdict) string) {
	sev, limit := b.grade(v, u)
	if sev == Unmeasured {
		j.ruleAt(f, Rule{Severity: Unmeasured, Action: Rescan},
			"What "+f.Code+" judges could not be measured, so it was not passed: scan again.")
		return
	}
	j.put(f, b, sev, limit, v, u, text)
}

func (j *judge) put(f Finding, b bound, sev Severity, limit, v, u float64, text func(do Verdict) string) {
	if sev == "" {
		return
	}
	if sev != Unmeasured {
		f.Value = &v
		if u > 0 {
			f.ValueU = &u
		}
	}
	f.Limit, f.Unit, f.Severity, f.Action = &limit, b.Unit, sev, b.action(v, sev)
	f.Text = text(f.Action)
	if sev == Review && math.Abs(v-b.Fail) < u {
		f.Text = fmt.Sprintf("%s; it is known to %.2g %s, so it may lie on either side of the limit of %.4g.",
			strings.TrimSuffix(f.Text, "."), u, b.Unit, b.Fail)
	}
	j.findings = append(j.findings, f)
}

func (j *judge) rule(code string, r Rule, text string) { j.ruleAt(Finding{Code: code}, r, text) }

func (j *judge) ruleAt(f Finding, r Rule, text string) {
	f.Severity, f.Action, f.Text = r.Severity, r.Action, text
	if r.Severity == Info {
		f.Action = Send
	}
	j.findings = append(j.findings, f)
}

// order sorts by gravity, keeps the order of the places within it, and numbers what is drawn.
func (j *judge) order() {
	slices.SortStableFunc(j.findings, func(a, b Finding) int {
		return cmp.Or(
			cmp.Compare(b.Severity.gravity(), a.Severity.gravity()),
			cmp.Compare(b.Action.gravity(), a.Action.gravity()),
		)
	})
	n := 0
	for i := range j.findings {
		f := &j.findings[i]
		f.Number = 0
		if len(f.Where.Points) > 0 || len(f.Where.Path) > 0 {
			n++
			f.Number = n
		}
	}
}

// in names the region in a sentence, with a comma before it.
func in(region string) string {
	if region == "" {
		return ""
	}
	return ", " + region
}

// known is the uncertainty, 0 where none is stated.
func known(u *float64) float64 {
	if u == nil || !(*u > 0) {
		return 0
	}
	return *u
}

// orNaN is the value, or what never passes.
func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// mm writes a length as it is said at the chair.
func mm(v float64) string { return fmt.Sprintf("%.1f mm", v) }

// because adds a reason to a sentence that has no full stop yet.
func because(reason string) string {
	if reason == "" {
		return ""
	}
	return " (" + reason + ")"
}
