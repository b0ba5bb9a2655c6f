package inspect

import (
	"fmt"
	"math"
)

// scan judges the scan as a scan: nothing here is a fault of the impression.
func (j *judge) scan() {
	q, lim := &j.res.Quality, j.lim
	edge := func(do Verdict) string {
		if do == Send {
			return fmt.Sprintf("The faces of the scan are of fair size (median edge %.2f mm): finer ones would show the border better.", q.EdgeMedianMM)
		}
		return fmt.Sprintf("The faces of the scan are coarse (median edge %.2f mm), so small faults may be hidden: scan again, or export at a finer resolution.", q.EdgeMedianMM)
	}
	edgeMM := q.EdgeMedianMM
	if !(edgeMM > 0) {
		edgeMM = math.NaN()
	}
	j.add(Finding{Code: "scan-coarse"}, above(lim.ScanCoarse), edgeMM, 0, edge)

	if q.NoiseMM == nil {
		j.rule("unmeasured-noise", lim.NoNoise,
			"The noise of the scan could not be measured"+because(q.NoiseUnmeasured)+": look at the surface by eye.")
	} else {
		j.add(Finding{Code: "scan-noisy"}, above(lim.ScanNoisy), *q.NoiseMM, 0, func(do Verdict) string {
			return fmt.Sprintf("The surface is rough by the scanner's noise (%.3f mm): %s.", *q.NoiseMM,
				told(do, "small voids may be hidden", "clean and calibrate the scanner, dry the impression and scan again"))
		})
	}

	perMille := 1000 / math.Max(1, float64(j.res.Scan.Faces))
	flaws := q.NonManifoldEdges + q.DegenerateFaces + q.DuplicateFaces + q.NonFiniteFaces + q.WindingConflicts
	j.add(Finding{Code: "scan-flawed"}, above(lim.ScanFlawed), float64(flaws)*perMille, 0, func(do Verdict) string {
		return fmt.Sprintf("The file holds %d broken places (%d edges with more than two faces, %d without area, %d twice, %d not finite, %d wound against a neighbour): %s.",
			flaws, q.NonManifoldEdges, q.DegenerateFaces, q.DuplicateFaces, q.NonFiniteFaces, q.WindingConflicts,
			told(do, "they are left out of the measures", "export the scan again"))
	})
	j.add(Finding{Code: "scan-flawed"}, above(lim.ScanCrossing), float64(q.SelfIntersections)*perMille, 0, func(do Verdict) string {
		return fmt.Sprintf("Faces cut through each other at %d places: %s.", q.SelfIntersections,
			told(do, "too few to matter", "the scan was merged badly, so scan again"))
	})
	large := q.Components - q.SmallComponents
	j.add(Finding{Code: "scan-pieces"}, above(lim.ScanPieces), float64(large), 0, func(Verdict) string {
		return fmt.Sprintf("The scan holds %d separate large pieces instead of one: cut away what is not the impression, or scan again.", large)
	})
	j.unit()

	for i := range j.res.LeftOut {
		j.rule("scan-file", lim.ScanFile, j.res.LeftOut[i].sentence())
	}
	if n := j.res.Scan.Note; n != "" {
		j.rule("scan-file", lim.ScanFile, "Of the file itself: "+n)
	}

	if j.res.Coverage == TissueSide && j.res.Surface != Cast {
		j.rule("scan-tissue-side-only", lim.ScanTissueSide,
			"Only the tissue side was scanned, so the border's thickness and the rim could not be measured: scan the outer side and the rim too.")
	}
	if j.res.InsideOut {
		j.rule("scan-inside-out", lim.ScanInsideOut,
			"The faces of the scan look the wrong way; they were read the right way round for measuring, and the file is unchanged.")
	}
}

// sentence says what was not measured.
func (l *LeftOut) sentence() string {
	what := map[string]string{
		LeftIsland: fmt.Sprintf("%d %s of under 1 %% of the object's area", l.Pieces, plural("island", l.Pieces)),
		LeftTable:  "A flat surface beside the object, such as a table,",
		LeftCopy:   "A copy of the object that lies on it",
		LeftTwice:  "A surface that is in the file a second time",
	}[l.What]
	was := "was"
	if l.What == LeftIsland && l.Pieces != 1 {
		was = "were"
	}
	return fmt.Sprintf("%s %s not measured (%d %s, %.0f mm2).", what, was, l.Faces, plural("face", l.Faces), l.AreaMM2)
}

// unit tells a file that is not in millimetres. Nothing was rescaled unless the user said so.
func (j *judge) unit() {
	s := &j.res.Scan
	switch {
	case s.Unit == "mm" || (s.UnitToMM != 0 && s.UnitToMM != 1):
	case s.Unit == "":
		j.rule("scan-unit", j.lim.ScanUnit, "The unit of the file could not be told"+because(s.UnitHow)+
			": export in millimetres, or give --unit.")
	default:
		j.rule("scan-unit", j.lim.ScanUnit, fmt.Sprintf("By its size the file is in %s, not mm%s: export in millimetres, or say --unit %s.",
			s.Unit, because(s.UnitHow), unitFlag(s.Unit)))
	}
}

func unitFlag(u string) string {
	if u == "µm" {
		return "um"
	}
	return u
}

// notImpression ends the judgement of a surface that shows the jaw itself.
func (j *judge) notImpression() {
	j.rule("not-impression", j.lim.NotImpression,
		"The surface shows the jaw itself (a cast, or a scan of the mouth), not an impression of it, so the limits for impressions were not applied: scan the impression.")
}

// told chooses between a remark and what is to be done.
func told(do Verdict, remark, act string) string {
	if do == Send {
		return remark
	}
	return act
}
