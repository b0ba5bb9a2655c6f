package inspect

import (
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"
)

// WriteRelationText writes the summary of a relation for the terminal, in the manner of WriteText.
func WriteRelationText(w io.Writer, r *Relation) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s on %s: %s\n", r.Upper.File, r.Lower.File, strings.ToUpper(string(r.Verdict)))
	wrap(&b, sentence(r.Verdict.Means()), "  ", 100)
	wrap(&b, "Upper and lower impression with their rims closed, "+togetherBy(&r.Shared)+". Judged by "+r.Protocol+".", "  ", 100)
	findingLines(&b, r.Findings)
	b.WriteString("\nMeasured\n")
	row := rowsIn(&b)
	for _, f := range r.Shared.Fits {
		row("Fit of the "+string(f.Jaw), fmt.Sprintf("%.3f mm root mean square, %.0f %% of the scan, turn ± %.3f degrees", f.RMSMM, 100*f.OverlapShare, f.TurnUDeg))
	}
	p := &r.Planes
	row("Occlusal planes", fmt.Sprintf("%s degrees to each other (± %s): %s", hundredths(p.AngleDeg), hundredthsUp(p.AngleUDeg), wider(p.ForeAftDeg, p.SidewaysDeg)))
	gapRows(row, &r.Gap)
	overlapRows(row, &r.Horizontal)
	heightRows(row, "Height", r.Heights)
	ridgeRows(row, &r.Ridges)
	for i := range r.References {
		referenceRow(row, &r.References[i])
	}
	for i := range r.WhatIf {
		whatIfRows(&b, &r.WhatIf[i])
	}
	b.WriteString("\nCautions\n")
	for _, c := range r.Cautions {
		wrap(&b, c, "  ", 100)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// rowsIn writes a name and its value, lines of at most 100 characters.
func rowsIn(b *strings.Builder) func(name, value string) {
	const indent, width = 26, 100
	return func(name, value string) {
		if utf8.RuneCountInString(value) > width-indent {
			var long strings.Builder
			wrap(&long, value, strings.Repeat(" ", indent), width)
			value = strings.TrimSpace(long.String())
		}
		fmt.Fprintf(b, "  %-22s  %s\n", name, value)
	}
}

func togetherBy(s *Shared) string {
	switch s.How {
	case ClosedScan:
		return "brought together by " + s.Closed.File
	case GivenPose:
		return "brought together by the pose given"
	}
	return "in the frame that their files share"
}

// wider says where two planes are farther apart.
func wider(foreAft, sideways float64) string {
	front, side := "front", "left"
	if foreAft < 0 {
		front = "back"
	}
	if sideways < 0 {
		side = "right"
	}
	return fmt.Sprintf("wider by %s toward the %s, by %s toward the patient's %s", hundredths(math.Abs(foreAft)), front, hundredths(math.Abs(sideways)), side)
}

func hundredths(v float64) string { return fmt.Sprintf("%.2f", math.Round(v*100)/100+0) }

// hundredthsUp writes an uncertainty, never as 0.
func hundredthsUp(v float64) string { return fmt.Sprintf("%.2f", max(0.01, v)) }

func gapRows(row func(name, value string), g *RimGap) {
	a := &g.All
	if a.MinMM == nil || a.MedianMM == nil || a.P95MM == nil {
		row("Gap between the rims", "not measured"+because(a.Unmeasured))
		return
	}
	row("Gap between the rims", fmt.Sprintf("%.2f to %.2f mm (95 %%), median %s, over %.0f mm2; values are means over %g mm", *a.MinMM, *a.P95MM, plusMinus(*a.MedianMM, known(a.UMM)), a.AreaMM2, g.MeanMM))
	for i := range g.Parts {
		q := &g.Parts[i]
		if q.MedianMM == nil || q.MinMM == nil || q.P95MM == nil {
			row("", fmt.Sprintf("%-15s %s", q.Name, q.Unmeasured))
			continue
		}
		row("", fmt.Sprintf("%-15s median %5.2f, %5.2f to %5.2f mm, %3.0f mm2", q.Name, *q.MedianMM, *q.MinMM, *q.P95MM, q.AreaMM2))
	}
	row("Contact, mm2", fmt.Sprintf("%s closer than 0.05 mm, %s closer than 0.1, %s closer than 0.2", plusMinus(a.ContactMM2[0], a.ContactUMM2[0]), plusMinus(a.ContactMM2[1], a.ContactUMM2[1]), plusMinus(a.ContactMM2[2], a.ContactUMM2[2])))
	if g.SunkMM > 0 {
		row("Run into each other", fmt.Sprintf("%s mm deep, %s mm3", plusMinus(g.SunkMM, g.SunkUMM), plusMinus(g.SunkMM3, g.SunkUMM3)))
	}
}

// overlapRows tells where the upper rim stands outside the lower.
func overlapRows(row func(name, value string), h *Horizontal) {
	text := func(v *float64) string {
		if v == nil {
			return "not measured"
		}
		return plusMinus(*v, h.UMM)
	}
	row("Upper rim outside", fmt.Sprintf("in front %s, right %s, left %s mm", text(h.ForwardMM), text(h.RightMM), text(h.LeftMM)))
	if h.MidlineMM != nil {
		side := "left"
		if *h.MidlineMM < 0 {
			side = "right"
		}
		row("Lower labial frenum", fmt.Sprintf("%s mm to the patient's %s of the upper one", plusMinus(math.Abs(*h.MidlineMM), known(h.MidlineUMM)), side))
	}
}

// heightWords names a height.
var heightWords = map[string]string{
	SulcusAnterior: "sulcus to sulcus in front", CrestAnterior: "crest to crest in front",
	CrestMolarRight: "crest to crest at the right molars", CrestMolarLeft: "crest to crest at the left molars",
}

func heightRows(row func(name, value string), head string, heights []Height) {
	for i := range heights {
		h := &heights[i]
		if h.MM == nil {
			row(head, fmt.Sprintf("%-34s not measured%s", heightWords[h.Name], because(h.Unmeasured)))
		} else {
			row(head, fmt.Sprintf("%-34s %s mm", heightWords[h.Name], plusMinus(*h.MM, known(h.UMM))))
		}
		head = ""
	}
}

func ridgeRows(row func(name, value string), r *Ridges) {
	if r.LeftDeg == nil || r.RightDeg == nil || r.SidewaysDeg == nil {
		row("Ridges", "not measured"+because(r.Unmeasured))
		return
	}
	row("Ridges", fmt.Sprintf("wider toward the front by %s degrees on the right, %s on the left; by %s toward the left", tenths(*r.RightDeg), tenths(*r.LeftDeg), tenths(*r.SidewaysDeg)))
}

func referenceRow(row func(name, value string), a *PlaneAngle) {
	name := map[string]string{Camper: "ala-tragus plane", Pupils: "pupil line"}[a.Reference]
	var parts []string
	if a.ForeAftDeg != nil {
		parts = append(parts, fmt.Sprintf("falls away in front by %s ± %.1f degrees", tenths(*a.ForeAftDeg), known(a.ForeAftUDeg)))
	}
	if a.CantDeg != nil {
		parts = append(parts, fmt.Sprintf("higher on the patient's left by %s ± %.1f degrees", tenths(*a.CantDeg), known(a.CantUDeg)))
	}
	row("Against the face", fmt.Sprintf("%s rim, %s (%s): %s", a.Jaw, name, a.How, strings.Join(parts, ", ")))
}

// whatIfRows tells what another height would do.
func whatIfRows(b *strings.Builder, w *WhatIf) {
	word, by := "Raised", w.FrontMM
	if by < 0 {
		word, by = "Lowered", -by
	}
	how := "straight"
	if w.TurnDeg != nil {
		how = fmt.Sprintf("by a turn of %.2f degrees about the hinge axis, which is %s", math.Abs(*w.TurnDeg), w.Axis.How)
	}
	fmt.Fprintf(b, "\n%s by %.1f mm in front, %s\n", word, by, how)
	row := rowsIn(b)
	if a := &w.Gap.All; a.MinMM != nil && a.P95MM != nil && a.MedianMM != nil {
		row("Gap between the rims", fmt.Sprintf("%.2f to %.2f mm (95 %%), median %s; %s", *a.MinMM, *a.P95MM, plusMinus(*a.MedianMM, known(a.UMM)), wider(w.ForeAftDeg, w.SidewaysDeg)))
	} else {
		row("Gap between the rims", "none"+because(a.Unmeasured))
	}
	heightRows(row, "Height", w.Heights)
	for _, j := range []struct {
		jaw Jaw
		w   *Wedge
	}{{Upper, &w.Upper}, {Lower, &w.Lower}} {
		if w.Keep == j.jaw {
			row("The "+string(j.jaw)+" rim", "stays as it is")
			continue
		}
		at := func(v *float64) string {
			if v == nil {
				return "not measured"
			}
			return fmt.Sprintf("%+.2f", math.Round(*v*100)/100+0)
		}
		row("The "+string(j.jaw)+" rim", fmt.Sprintf("in front %s, right molars %s, left molars %s mm (+ add, - take off; ± %s)", at(j.w.FrontMM), at(j.w.RightMM), at(j.w.LeftMM), hundredthsUp(j.w.UMM)))
		row("", fmt.Sprintf("from %+.2f to %+.2f mm; %.0f mm3 to add, %.0f mm3 to take off", j.w.LeastMM, j.w.MostMM, j.w.AddMM3, j.w.RemoveMM3))
	}
	if w.Axis != nil && w.Axis.Source != "" {
		wrap(b, "Hinge axis: "+w.Axis.Source+".", "  ", 100)
	}
}
