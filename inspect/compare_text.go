package inspect

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"
)

// WriteComparisonJSON writes a comparison as WriteJSON does a report.
func WriteComparisonJSON(w io.Writer, c *Comparison) error { return writeJSON(w, reflect.ValueOf(c)) }

// Title names what is compared, in a few words.
func (p Purpose) Title() string {
	switch p {
	case AsRetake:
		return "another impression against the first"
	case AsLayer:
		return "after against before"
	case AsCast:
		return "the cast against its impression"
	case AsRepeat:
		return "precision: one object scanned twice"
	case AsReference:
		return "trueness: a scan against the reference"
	}
	return string(p)
}

// WriteComparisonText writes the summary of a comparison for the terminal, in the manner of WriteText.
func WriteComparisonText(w io.Writer, c *Comparison) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s against %s: %s\n", c.B.File, c.A.File, strings.ToUpper(string(c.Verdict)))
	wrap(&b, sentence(c.Verdict.Means()), "  ", 100)
	about := []string{sentence(c.Purpose.Title())}
	if c.Jaw != "" {
		about = append(about, strings.ToUpper(string(c.Jaw[:1]))+string(c.Jaw[1:])+" jaw.")
	}
	wrap(&b, strings.Join(append(about, "Judged by "+c.Protocol+"."), " "), "  ", 100)
	findingLines(&b, c.Findings)
	b.WriteString("\nMeasured\n")
	row := func(name, value string) { fmt.Fprintf(&b, "  %-22s  %s\n", name, value) }
	alignmentRows(row, &c.Alignment)
	if c.Layer != nil {
		layerRows(row, c.Layer)
	}
	if c.Purpose == AsLayer {
		b.WriteString("\nDistances of the surfaces, mm (positive: after lies outside before)\n")
	} else {
		b.WriteString("\nDistances, mm (positive: " + positiveMeans(c.Purpose) + ")\n")
	}
	distanceTable(&b, c)
	b.WriteString("\nCautions\n")
	for _, t := range c.Cautions {
		wrap(&b, t, "  ", 100)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// positiveMeans says what a positive distance is.
func positiveMeans(p Purpose) string {
	if p == AsCast {
		return "a gap between cast and impression"
	}
	return "the second scan lies outside the first"
}

func alignmentRows(row func(name, value string), al *Alignment) {
	how := map[string]string{ByGlobal: "found without a start", ByLandmarks: "started from landmarks", ByPose: "given"}[al.Method]
	text := how + ", on " + zoneWords(al.Zone)
	if al.Method == ByPose {
		text = how
	}
	row("Alignment", text)
	if al.FitRMSMM == nil || al.OverlapShare == nil || al.TurnUDeg == nil || al.ShiftUMM == nil {
		row("", "fit not stated"+because(al.Unmeasured))
		return
	}
	row("", fmt.Sprintf("fit %.3f mm (root mean square), %.0f %% in common, known to %.3f mm and %.3f degrees", *al.FitRMSMM, 100**al.OverlapShare, math.Max(0.001, *al.ShiftUMM), math.Max(0.001, *al.TurnUDeg)))
	var open []string
	for _, f := range al.Freedoms {
		if !f.Held {
			open = append(open, f.Name)
		}
	}
	if len(open) > 0 {
		row("", "not held by the shape: "+strings.Join(open, ", "))
	}
}

func layerRows(row func(name, value string), l *Layer) {
	share := ""
	if l.CoveredShare != nil {
		share = fmt.Sprintf(", over %.0f %% of the fitting surface", 100**l.CoveredShare)
	}
	row("Added", fmt.Sprintf("%.0f mm2%s, %s", l.AddedMM2, share, volumeText(l.AddedMM3, l.AddedUMM3)))
	row("Taken off", fmt.Sprintf("%.0f mm2, %s", l.RemovedMM2, volumeText(l.RemovedMM3, l.RemovedUMM3)))
	row("Unchanged", fmt.Sprintf("%.0f mm2 (less than %.2f mm); not compared %.0f mm2", l.SameMM2, l.LeastMM, l.UncoveredMM2))
	for i := range l.Parts {
		p := &l.Parts[i]
		text := "thickness not measured" + because(p.Unmeasured)
		if p.MeanMM != nil {
			text = fmt.Sprintf("mean %s mm", plusMinus(*p.MeanMM, known(p.MeanUMM)))
			if p.Thinnest != nil {
				text += fmt.Sprintf(", thinnest %.2f", p.Thinnest.MM)
			}
			if p.Thickest != nil {
				text += fmt.Sprintf(", thickest %.2f", p.Thickest.MM)
			}
		}
		if p.CutBackMM != nil {
			text += fmt.Sprintf("; cut back by up to %s", mm(*p.CutBackMM))
		}
		row(fmt.Sprintf("  %d %s", p.ID, p.Kind), fmt.Sprintf("%.0f mm2%s: %s", p.AreaMM2, in(where(p)), text))
	}
}

func volumeText(v, u float64) string {
	if u > 0 {
		return fmt.Sprintf("%.0f ± %.0f mm3", v, math.Ceil(u))
	}
	return fmt.Sprintf("%.0f mm3", v)
}

// noMinus rounds to parts of a mm, so that no minus stands before zero.
func noMinus(v, parts float64) float64 { return math.Round(v*parts)/parts + 0 }

// distanceTable writes one line for each part.
func distanceTable(b *strings.Builder, c *Comparison) {
	fmt.Fprintf(b, "  %-16s %8s %8s %7s %7s %7s %7s %9s %9s\n", "", "area mm2", "mean", "SD", "RMS", "lowest", "highest", "within .1", "not seen")
	line := func(name string, w *BothWays) {
		if w.AtA == nil || w.AtB == nil {
			fmt.Fprintf(b, "  %-16s not compared%s\n", name, because(w.Unmeasured))
			return
		}
		d := w.AtB
		if w.AtA.RMSMM > d.RMSMM {
			d = w.AtA
		}
		fmt.Fprintf(b, "  %-16s %8.0f %8.3f %7.3f %7.3f %7.2f %7.2f %7.0f %% %7.0f %%\n", name, d.AreaMM2, noMinus(d.MeanMM, 1000), d.SDMM, d.RMSMM, noMinus(d.Lowest.MM, 100), noMinus(d.Highest.MM, 100),
			100*d.Within[1].Share, 100*d.UncoveredMM2/(d.AreaMM2+d.UncoveredMM2))
	}
	line("whole surface", &c.Overall)
	if c.Zone.Region != ZoneAll {
		line("zone to align", &c.Zone)
	}
	for i := range c.Regions {
		line(c.Regions[i].Region, &c.Regions[i])
	}
	if c.Overall.AtA != nil {
		fmt.Fprintf(b, "  Means are known to %.3f mm, single places to %.2f mm (k = 2). Of the two ways the larger is shown.\n", c.Overall.AtA.MeanUMM, c.Overall.AtA.PlaceUMM)
	}
}

// WriteComparisonCSV writes one line for each part and way: from the places of A to B and from those of
// B to A. Numbers are those of the JSON; a value that is missing is empty.
func WriteComparisonCSV(w io.Writer, c *Comparison) error {
	out := csv.NewWriter(w)
	head := []string{"purpose", "a", "b", "part", "at", "places", "area_mm2", "uncovered_mm2", "mean_mm", "mean_u_mm", "sd_mm", "rms_mm", "rms_u_mm", "mad_mm", "abs_p50_mm", "abs_p95_mm",
		"p1_mm", "p5_mm", "p25_mm", "p50_mm", "p75_mm", "p95_mm", "p99_mm"}
	for _, b := range withinMM {
		head = append(head, fmt.Sprintf("within_%g_mm_share", b))
	}
	head = append(head, "lowest_mm", "lowest_x", "lowest_y", "lowest_z", "highest_mm", "highest_x", "highest_y", "highest_z", "place_u_mm")
	if err := out.Write(head); err != nil {
		return err
	}
	line := func(part, at string, d *Deviation) error {
		cells := []string{string(c.Purpose), c.A.File, c.B.File, part, at}
		if d == nil {
			return out.Write(append(cells, make([]string, len(head)-len(cells))...))
		}
		p := d.Percentiles
		cells = append(cells, strconv.Itoa(d.Places))
		values := []float64{d.AreaMM2, d.UncoveredMM2, d.MeanMM, d.MeanUMM, d.SDMM, d.RMSMM, d.RMSUMM, d.MADMM, d.AbsP50MM, d.AbsP95MM, p.P1, p.P5, p.P25, p.P50, p.P75, p.P95, p.P99}
		for _, x := range d.Within {
			values = append(values, x.Share)
		}
		for _, e := range []Extreme{d.Lowest, d.Highest} {
			values = append(values, e.MM, e.At.X, e.At.Y, e.At.Z)
		}
		for _, v := range append(values, d.PlaceUMM) {
			cells = append(cells, string(appendNumber(nil, v)))
		}
		return out.Write(cells)
	}
	parts := append([]BothWays{c.Overall, c.Zone}, c.Regions...)
	for i := range parts {
		name := parts[i].Region
		if i == 1 {
			name = "zone " + name
		}
		if err := line(name, "a", parts[i].AtA); err != nil {
			return err
		}
		if err := line(name, "b", parts[i].AtB); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
