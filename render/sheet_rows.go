package render

import (
	"fmt"
	"math"

	"fornix/inspect"
)

// Row is one measured value as it is shown to people.
type Row struct {
	Name   string
	Value  string // with its unit and uncertainty
	Limits string // review / fail; empty: none
}

// Rows lists what was measured on a scan, in the order of the report, with the limits it was judged
// by: the table of the sheet and of every page.
func Rows(rep *inspect.Report, l *inspect.Limits) []Row {
	noise := "not measured"
	if n := rep.Quality.NoiseMM; n != nil {
		noise = fmt.Sprintf("%.3f mm", *n)
	}
	rows := []Row{
		{"Scan: median edge", fmt.Sprintf("%.2f mm", rep.Quality.EdgeMedianMM), limits("over", l.ScanCoarse)},
		{"Scan: noise along the normal", noise, limits("over", l.ScanNoisy)},
		{"Openings in the scan", counted(len(rep.Holes), widest(rep.Holes, func(h inspect.Hole) (float64, float64) { return h.SpanMM, h.SpanUMM })), limits("span over", l.Hole)},
	}
	for _, kind := range []struct {
		kind, name string
		lim        inspect.Limit
	}{{inspect.Void, "Voids", l.Void}, {inspect.Bleb, "Blebs", l.Bleb}, {inspect.Fold, "Folds", l.Fold}} {
		var of []inspect.Defect
		for _, d := range rep.Defects {
			if d.Kind == kind.kind {
				of = append(of, d)
			}
		}
		text := counted(len(of), widest(of, func(d inspect.Defect) (float64, float64) {
			if d.DiameterMM != nil {
				return *d.DiameterMM, orZero(d.DiameterUMM)
			}
			return orZero(d.LengthMM), orZero(d.LengthUMM)
		}))
		rows = append(rows, Row{kind.name, text, limits("over", kind.lim)})
	}
	for i := range rep.Border.Regions {
		g := &rep.Border.Regions[i]
		text := "not measured"
		if g.MinMM != nil && g.MedianMM != nil && g.MaxMM != nil {
			text = fmt.Sprintf("%s (%.1f to %.1f)", withU(*g.MedianMM, orZero(g.ThicknessUMM)), *g.MinMM, *g.MaxMM)
		}
		thin, thick := l.BorderThin.For(rep.Jaw, g.Region), l.BorderThick.For(rep.Jaw, g.Region)
		rows = append(rows, Row{"Border: " + g.Region, text,
			fmt.Sprintf("under %s / %s, over %s / %s mm", plain(thin.Review), plain(thin.Fail), plain(thick.Review), plain(thick.Fail))})
	}
	rows = append(rows, rearRows(rep, l)...)
	return append(rows, rimRows(rep, l)...)
}

// rearRows are the rows of the posterior extension.
func rearRows(rep *inspect.Report, l *inspect.Limits) []Row {
	var rows []Row
	for _, s := range []struct {
		name string
		side *inspect.PosteriorSide
	}{{"right", rep.Posterior.Right}, {"left", rep.Posterior.Left}} {
		name, text, lim := "Past the hamular notch, ", "not measured", between(l.PosteriorShort, l.PosteriorLong)
		if rep.Jaw == inspect.Lower {
			name, lim = "Past the pad's front, ", between(l.PadShort, l.PadLong)
		}
		if p := s.side; p != nil {
			switch {
			case p.PastPadFrontMM != nil:
				text = withU(*p.PastPadFrontMM, orZero(p.PastPadFrontUMM))
			case p.ReachesNotch != nil && !*p.ReachesNotch:
				text = "notch not reached"
			case p.ExtensionMM != nil:
				text = withU(*p.ExtensionMM, orZero(p.ExtensionUMM))
			}
		}
		rows = append(rows, Row{name + s.name, text, lim})
	}
	return rows
}

// rimRows are the rows of the occlusal plane.
func rimRows(rep *inspect.Report, l *inspect.Limits) []Row {
	o := rep.Occlusal
	if o == nil {
		return []Row{{"Occlusal plane", "none: " + firstOf(rep.OcclusalUnmeasured), ""}}
	}
	var rows []Row
	if name, t, found := o.Reference(); found {
		rows = append(rows,
			Row{"Rim: cant", degreesU(t.CantDeg, t.UDeg), limits("over", l.RimCanted)},
			Row{"Rim: pitch", degreesU(t.PitchDeg, t.UDeg), limits("over", l.RimPitched)},
			Row{"Rim: both against", "the " + name, ""})
	}
	rows = append(rows, Row{"Rim: unevenness, peak to valley", withU(o.FlatnessMM, o.FlatnessUMM), limits("over", l.RimUneven)})
	for _, h := range []struct {
		name string
		v    *float64
	}{{"in front", o.RimHeight.Anterior}, {"right", o.RimHeight.Right}, {"left", o.RimHeight.Left}} {
		text, lim := "not measured", ""
		if h.v != nil {
			text = withU(*h.v, o.RimHeight.UMM)
		}
		if h.name == "in front" {
			usual := l.RimHeight.UpperMM
			if rep.Jaw == inspect.Lower {
				usual = l.RimHeight.LowerMM
			}
			lim = fmt.Sprintf("off %s by over %s / %s mm", plain(usual), plain(l.RimHeight.Review), plain(l.RimHeight.Fail))
		}
		rows = append(rows, Row{"Rim height, " + h.name, text, lim})
	}
	return rows
}

// limits writes the two limits of a value.
func limits(word string, l inspect.Limit) string {
	return fmt.Sprintf("%s %s / %s %s", word, plain(l.Review), plain(l.Fail), l.Unit)
}

// between writes the limits of a value that may be too small and too great.
func between(low, high inspect.Limit) string {
	return fmt.Sprintf("under %s / %s, over %s / %s %s", plain(low.Review), plain(low.Fail), plain(high.Review), plain(high.Fail), low.Unit)
}

// counted says how many there are and how large the largest is.
func counted(n int, largest string) string {
	if n == 0 {
		return "none found"
	}
	return fmt.Sprintf("%d, largest %s", n, largest)
}

// widest writes the greatest of the values with its uncertainty.
func widest[T any](of []T, size func(T) (v, u float64)) string {
	most, unsure := 0.0, 0.0
	for _, t := range of {
		if v, u := size(t); v > most {
			most, unsure = v, u
		}
	}
	return withU(most, unsure)
}

func orZero(v *float64) float64 {
	if v == nil || math.IsNaN(*v) {
		return 0
	}
	return *v
}

func degreesU(v, u float64) string {
	v = math.Round(v*10)/10 + 0 // no minus before zero
	if !(u > 0) {
		return fmt.Sprintf("%.1f°", v)
	}
	return fmt.Sprintf("%.1f ± %.1f°", v, max(u, 0.1))
}

// withU writes a length with its uncertainty, if that is stated.
func withU(v, u float64) string {
	switch {
	case !(u > 0):
		return fmt.Sprintf("%.1f mm", v)
	case u < 0.095:
		return fmt.Sprintf("%.2f ± %.2f mm", v, max(u, 0.01))
	}
	return fmt.Sprintf("%.1f ± %.1f mm", v, u)
}
