package inspect

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// Cautions are the limits of use that stand under every report.
func Cautions() []string {
	return []string{
		"This is a screening aid: not a medical device and not a diagnosis. A licensed clinician decides, by local rules.",
		"Geometry alone is judged. Material, setting, taste of the patient and tissue health are not in a scan.",
	}
}

// WriteText writes the summary for the terminal: the verdict and what to do, the findings,
// the measured values, the cautions. Lines hold at most 100 characters, none of them escapes.
func WriteText(w io.Writer, r *Report) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s\n", r.Scan.File, strings.ToUpper(string(r.Verdict)))
	wrap(&b, sentence(r.Verdict.Means()), "  ", 100)
	wrap(&b, about(r), "  ", 100)
	findingLines(&b, r.Findings)
	writeMeasured(&b, r)
	b.WriteString("\nCautions\n")
	for _, c := range r.Cautions {
		wrap(&b, c, "  ", 100)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// about says what was read, in one line.
func about(r *Report) string {
	jaw := "Jaw unknown"
	if r.Jaw != "" {
		jaw = strings.ToUpper(string(r.Jaw[:1])) + string(r.Jaw[1:]) + " jaw"
	}
	parts := []string{jaw}
	for _, s := range []string{r.Surface, r.Coverage, fmt.Sprintf("%d faces", r.Scan.Faces), "judged by " + r.Protocol} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, ", ") + "."
}

// findingLines lists findings with their numbers and severities.
func findingLines(b *strings.Builder, findings []Finding) {
	b.WriteString("\nFindings\n")
	if len(findings) == 0 {
		b.WriteString("  none\n")
	}
	numbered := false
	for _, f := range findings {
		number := "-"
		if f.Number > 0 {
			number = fmt.Sprint(f.Number)
			numbered = true
		}
		var line strings.Builder
		wrap(&line, f.Text, strings.Repeat(" ", 18), 100)
		text := strings.ReplaceAll(strings.TrimLeft(line.String(), " "), "\n"+strings.Repeat(" ", 20), "\n"+strings.Repeat(" ", 18))
		fmt.Fprintf(b, "  %2s  %-10s  %s", number, f.Severity, text)
	}
	if numbered {
		b.WriteString("  Numbers are those on the images.\n")
	}
	if len(findings) > 0 {
		wrap(b, "`fornix explain CODE` tells more of: "+codes(findings), "  ", 100)
	}
}

func codes(findings []Finding) string {
	var out []string
	for _, f := range findings {
		if !slices.Contains(out, f.Code) {
			out = append(out, f.Code)
		}
	}
	return strings.Join(out, ", ")
}

func writeMeasured(b *strings.Builder, r *Report) {
	b.WriteString("\nMeasured\n")
	row := func(name, value string) { fmt.Fprintf(b, "  %-22s  %s\n", name, value) }

	noise := "noise not measured"
	if !math.IsNaN(orNaN(r.Quality.NoiseMM)) {
		noise = fmt.Sprintf("noise %.3f mm", *r.Quality.NoiseMM)
	}
	row("Scan", fmt.Sprintf("median edge %.2f mm, %s, %d %s", r.Quality.EdgeMedianMM, noise, r.Quality.Components, plural("piece", r.Quality.Components)))
	row("Openings in the scan", fmt.Sprint(len(r.Holes)))
	if r.Surface == Cast {
		return
	}
	row("Faults in the material", faults(r.Defects))
	borderRows(row, &r.Border)
	p := &r.Posterior
	if r.Jaw == Lower {
		row("Past the pad's front", "right "+padText(p.Right)+", left "+padText(p.Left))
	} else {
		row("Past the notch", "right "+notchText(p.Right)+", left "+notchText(p.Left))
	}
	occlusalRows(row, r)
}

func faults(defects []Defect) string {
	if len(defects) == 0 {
		return "none found"
	}
	var out []string
	for _, kind := range []string{Void, Bleb, Fold} {
		n, widest := 0, 0.0
		for i := range defects {
			d := &defects[i]
			if d.Kind != kind {
				continue
			}
			n++
			for _, v := range []*float64{d.DiameterMM, d.LengthMM} {
				if v != nil {
					widest = math.Max(widest, *v)
				}
			}
		}
		if n > 0 {
			out = append(out, fmt.Sprintf("%d %s (largest %s)", n, plural(kind, n), mm(widest)))
		}
	}
	return strings.Join(out, ", ")
}

func plural(word string, n int) string {
	if n == 1 {
		return word
	}
	return word + "s"
}

func borderRows(row func(name, value string), border *Border) {
	if len(border.Stations) == 0 {
		row("Border", "not measured"+because(border.Unmeasured))
		return
	}
	head := "Border thickness"
	for i := range border.Regions {
		g := &border.Regions[i]
		text := "not measured" + because(g.Unmeasured)
		if g.MinMM != nil && g.MedianMM != nil && g.MaxMM != nil {
			text = fmt.Sprintf("%.1f to %.1f mm, median %s", *g.MinMM, *g.MaxMM, plusMinus(*g.MedianMM, known(g.ThicknessUMM)))
		}
		if g.OutsideMM != nil && *g.OutsideMM > 0 {
			text += fmt.Sprintf("; %s of %s outside the limits", mm(*g.OutsideMM), mm(g.LengthMM))
		}
		row(head, fmt.Sprintf("%-28s %s", g.Region, text))
		head = ""
	}
}

func padText(s *PosteriorSide) string {
	if s == nil {
		return "not measured"
	}
	return length(s.PastPadFrontMM, known(s.PastPadFrontUMM))
}

func notchText(s *PosteriorSide) string {
	switch {
	case s == nil || s.ReachesNotch == nil:
		return "not measured"
	case !*s.ReachesNotch:
		return "not reached"
	}
	return length(s.ExtensionMM, known(s.ExtensionUMM))
}

func length(v *float64, u float64) string {
	if v == nil || math.IsNaN(*v) {
		return "not measured"
	}
	return plusMinus(*v, u) + " mm"
}

// plusMinus writes a value with its expanded uncertainty, if that is stated, to the decimals that
// the uncertainty leaves.
func plusMinus(v, u float64) string {
	switch {
	case !(u > 0):
		return fmt.Sprintf("%.1f", v)
	case u < 0.095:
		return fmt.Sprintf("%.2f ± %.2f", v, max(u, 0.01))
	}
	return fmt.Sprintf("%.1f ± %.1f", v, u)
}

// tenths writes an angle with its sign, and no minus before zero.
func tenths(v float64) string { return fmt.Sprintf("%.1f", math.Round(v*10)/10+0) }

func occlusalRows(row func(name, value string), r *Report) {
	o := r.Occlusal
	if o == nil {
		row("Occlusal plane", "none"+because(r.OcclusalUnmeasured))
		return
	}
	tilt := "no reference plane"
	if name, t, found := o.Reference(); found {
		tilt = fmt.Sprintf("cant %s, pitch %s degrees against the %s", tenths(t.CantDeg), tenths(t.PitchDeg), name)
		if t.UDeg > 0 {
			tilt = fmt.Sprintf("cant %s, pitch %s (± %.1f) degrees against the %s", tenths(t.CantDeg), tenths(t.PitchDeg), max(0.1, t.UDeg), name)
		}
	}
	row("Occlusal plane", tilt)
	h := &o.RimHeight
	row("Rim", fmt.Sprintf("uneven by %.2f mm; height in front %s, right %s, left %s", o.FlatnessMM,
		length(h.Anterior, h.UMM), length(h.Right, h.UMM), length(h.Left, h.UMM)))
}
