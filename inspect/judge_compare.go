package inspect

import (
	"fmt"
	"math"
)

// JudgeComparison holds a comparison against the limits of a protocol, as Judge does a scan. It reads
// nothing but its arguments, so a stored comparison can be judged anew.
func JudgeComparison(c *Comparison, p Protocol) ([]Finding, Verdict) {
	j := &compareJudge{judge: judge{lim: &p.Limits}, c: c}
	if c.A.SHA256 != "" && c.A.SHA256 == c.B.SHA256 {
		j.rule("same-scan", j.lim.SameScan, "Both files hold the same bytes, so one scan was compared with itself, which says nothing: give the other scan.")
	}
	j.alignment()
	j.covered()
	switch c.Purpose {
	case AsRetake:
		j.retake()
	case AsCast:
		j.cast()
	case AsRepeat:
		j.repeat()
	case AsReference:
		j.reference()
	case AsLayer:
		j.layer()
	}
	j.order()
	return j.findings, verdictOf(j.findings)
}

type compareJudge struct {
	judge
	c *Comparison
}

// alignment judges how well the two lie on each other.
func (j *compareJudge) alignment() {
	al := &j.c.Alignment
	if al.Method == ByPose {
		j.rule("alignment-given", j.lim.AlignmentGiven, "The second scan was laid on the first by a pose that was given: how well it fits was not looked at, and no distance counts its uncertainty.")
		return
	}
	v := orNaN(al.PlaceUMM)
	j.add(Finding{Code: "alignment-loose"}, above(j.lim.AlignmentLoose), v, 0, func(do Verdict) string {
		return fmt.Sprintf("The scans are laid on each other only to within %.2f mm: %s.", v,
			told(do, "smaller differences say nothing", "scan more of what both have in common"))
	})
}

// covered judges how much of the zone has its like on the other scan.
func (j *compareJudge) covered() {
	z := &j.c.Zone
	if z.AtA == nil || z.AtB == nil {
		j.rule("unmeasured-comparison", j.lim.NoComparison, "The two scans could not be compared"+because(z.Unmeasured)+": scan the same part of the jaw.")
		return
	}
	share := 0.0
	for _, d := range []*Deviation{z.AtA, z.AtB} {
		share = math.Max(share, 100*d.UncoveredMM2/(d.UncoveredMM2+d.AreaMM2))
	}
	j.add(Finding{Code: "compare-uncovered", Region: z.Region}, above(j.lim.CompareUncovered), share, 0, func(do Verdict) string {
		return fmt.Sprintf("%.0f %% of %s has nothing to compare with on the other scan: %s.", share, zoneWords(z.Region),
			told(do, "the numbers hold for the rest", "scan the whole of it"))
	})
}

// zoneWords names a zone or part of a comparison in a sentence.
func zoneWords(zone string) string {
	switch zone {
	case ZoneAll:
		return "the whole surface"
	case ZoneStable:
		return "palate and crest"
	case ZoneTissue:
		return "the fitting surface"
	case ZoneOuter:
		return "the outer surface"
	}
	return "the " + zone
}

// Larger returns of a value the one at the places of A or at those of B that is larger, whatever its
// sign, and its uncertainty; NaN where one is missing.
func Larger(w *BothWays, value func(d *Deviation) (v, u float64)) (v, u float64) {
	if w == nil || w.AtA == nil || w.AtB == nil {
		return math.NaN(), 0
	}
	va, ua := value(w.AtA)
	vb, ub := value(w.AtB)
	if math.Abs(vb) > math.Abs(va) {
		return vb, ub
	}
	return va, ua
}

func rmsOf(d *Deviation) (v, u float64)  { return d.RMSMM, d.RMSUMM }
func meanOf(d *Deviation) (v, u float64) { return d.MeanMM, d.MeanUMM }
func bandOf(d *Deviation) (v, u float64) { return d.AbsP95MM, d.PlaceUMM }

// farthest is the place of the largest distance of a part, from either side.
func farthest(w *BothWays) Extreme {
	var out Extreme
	for _, d := range []*Deviation{w.AtA, w.AtB} {
		if d == nil {
			continue
		}
		for _, e := range []Extreme{d.Lowest, d.Highest} {
			if math.Abs(e.MM) > math.Abs(out.MM) {
				out = e
			}
		}
	}
	return out
}

// region returns the part of that name, nil where it was not compared.
func (j *compareJudge) region(name string) *BothWays {
	for i := range j.c.Regions {
		if j.c.Regions[i].Region == name {
			return &j.c.Regions[i]
		}
	}
	return nil
}

// difference judges a value of the zone and marks the farthest place.
func (j *compareJudge) difference(code string, l Limit, w *BothWays, value func(*Deviation) (float64, float64), text func(v float64, far Extreme, do Verdict) string) {
	v, u := Larger(w, value)
	if math.IsNaN(v) {
		return // told by covered
	}
	far := farthest(w)
	f := Finding{Code: code, Region: w.Region, Where: Where{Points: []Vec{far.At}}}
	j.add(f, above(l), math.Abs(v), u, func(do Verdict) string { return text(v, far, do) })
}

func (j *compareJudge) retake() {
	j.difference("retake-deviation", j.lim.RetakeDeviation, &j.c.Zone, rmsOf, func(v float64, far Extreme, do Verdict) string {
		return fmt.Sprintf("On %s the two impressions differ by %.2f mm (root mean square), most by %s: %s.", zoneWords(j.c.Zone.Region), v, mm(math.Abs(far.MM)),
			told(do, "this is usual for two impressions of one mouth", "one of them is distorted, so take a third and keep the two that agree"))
	})
	if b := j.region(PlaceBorder); b != nil {
		j.difference("retake-border", j.lim.RetakeBorder, b, bandOf, func(v float64, far Extreme, do Verdict) string {
			return fmt.Sprintf("At the border 95 %% of the area agrees within %.2f mm, and the rest differs by up to %s: %s.", v, mm(math.Abs(far.MM)),
				told(do, "movement of the cheeks and lips makes as much", "look which of the two fills the sulcus, and mould that border again"))
		})
	}
}

func (j *compareJudge) cast() {
	j.difference("cast-deviation", j.lim.CastDeviation, &j.c.Zone, rmsOf, func(v float64, far Extreme, do Verdict) string {
		return fmt.Sprintf("On %s the cast differs from the impression by %.2f mm (root mean square), most by %s: %s.", zoneWords(j.c.Zone.Region), v, gapText(far.MM),
			told(do, "watch it", "look for bubbles, a torn edge or a cast lifted too early, and pour it again"))
	})
	j.difference("cast-spread", j.lim.CastSpread, &j.c.Zone, bandOf, func(v float64, far Extreme, do Verdict) string {
		return fmt.Sprintf("On %s 95 %% of the cast lies within %.2f mm of the impression, the rest up to %s: %s.", zoneWords(j.c.Zone.Region), v, gapText(far.MM),
			told(do, "watch it", "look at that place on both"))
	})
}

// gapText says on which side of the impression the cast lies.
func gapText(v float64) string {
	if v < 0 {
		return mm(-v) + " too high"
	}
	return mm(v) + " too low"
}

func (j *compareJudge) repeat() {
	j.difference("repeat-deviation", j.lim.RepeatDeviation, &j.c.Overall, rmsOf, func(v float64, far Extreme, do Verdict) string {
		return fmt.Sprintf("Two scans of one object differ by %.3f mm (root mean square), most by %.2f mm: %s.", v, math.Abs(far.MM),
			told(do, "watch the scanner's precision", "the scanner does not repeat well enough, so calibrate it and scan again"))
	})
}

func (j *compareJudge) reference() {
	j.difference("reference-deviation", j.lim.ReferenceDeviation, &j.c.Overall, rmsOf, func(v float64, far Extreme, do Verdict) string {
		return fmt.Sprintf("The scan differs from the reference by %.3f mm (root mean square), most by %.2f mm: %s.", v, math.Abs(far.MM),
			told(do, "watch the scanner's trueness", "the scan does not show the object truly enough, so calibrate and scan again"))
	})
	j.difference("reference-bias", j.lim.ReferenceBias, &j.c.Overall, meanOf, func(v float64, far Extreme, do Verdict) string {
		side := "outside"
		if v < 0 {
			side = "inside"
		}
		return fmt.Sprintf("On the mean the scan lies %.3f mm %s the reference: %s.", math.Abs(v), side,
			told(do, "watch the scanner's trueness", "it is too large or too small as a whole, so calibrate and scan again"))
	})
}
