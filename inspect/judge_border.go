package inspect

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// border judges the periphery station by station. A limit counts where it is passed over its
// over_mm at a stretch; the length outside the review limits is told per region.
func (j *judge) border() {
	b := &j.res.Border
	if len(b.Stations) == 0 {
		j.rule("unmeasured-border", j.lim.NoBorder,
			"The border could not be followed"+because(b.Unmeasured)+": scan it all round.")
		return
	}
	lengths := stationLengths(b.Stations)
	thin, thick, short := j.lim.BorderThin, j.lim.BorderThick, j.lim.BorderShort

	for _, r := range j.runs(&thin, true, thickness, lengths) {
		j.runFinding("border-thin", r, func(do Verdict) string {
			return fmt.Sprintf("The border is only %s thick at its thinnest, over %s%s: %s.", mm(r.worst), mm(r.length), in(r.region),
				told(do, "watch it", "add border material there and wash again"))
		})
	}
	for _, r := range j.runs(&thick, false, thickness, lengths) {
		j.runFinding("border-thick", r, func(do Verdict) string {
			return fmt.Sprintf("The border is up to %s thick, over %s%s: %s.", mm(r.worst), mm(r.length), in(r.region),
				told(do, "watch it", "trim it, then mould the border again"))
		})
	}
	for _, r := range j.runs(&short, true, height, lengths) {
		j.runFinding("border-short", r, func(do Verdict) string {
			return fmt.Sprintf("The border stands %s over the ridge crest at its lowest, over %s%s, so it does not reach the sulcus: %s.", mm(r.worst), mm(r.length), in(r.region),
				told(do, "watch it", "add border material there and wash again"))
		})
	}
	side := j.lim.BorderShortSide
	lower := j.lowerThanOtherSide()
	for _, r := range j.runs(&side, false, func(s *Station) (*float64, float64) { d := lower[s]; return d.v, d.u }, lengths) {
		j.runFinding("border-short", r, func(do Verdict) string {
			return fmt.Sprintf("The border is up to %s lower than at the same place on the other side, over %s%s: %s.", mm(r.worst), mm(r.length), in(r.region),
				told(do, "watch it", "look whether the sulcus is filled there, else add border material and wash again"))
		})
	}
	j.uneven()
	j.outside(lengths)
	j.measured(lengths)
}

func thickness(s *Station) (v *float64, u float64) { return s.ThicknessMM, known(s.ThicknessUMM) }

// height is the station's height where a low border is a fault: not in a notch, which is low by
// nature, nor behind the ridge, where the border leaves it.
func height(s *Station) (v *float64, u float64) {
	if s.Side == "posterior" {
		return nil, 0
	}
	for _, word := range strings.Fields(s.Region) {
		switch word {
		case "frenum", "notch", "pad", "posterior":
			return nil, 0
		}
	}
	return s.HeightMM, known(s.HeightUMM)
}

// uncertain is a value and its expanded uncertainty.
type uncertain struct {
	v *float64
	u float64
}

// mirrorMM is how far a station may lie from the mirror image of another and be its counterpart.
const mirrorMM = 4.0

// lowerThanOtherSide gives for each station how much lower its apex stands over the crest than
// that of its counterpart across the midline, mm.
func (j *judge) lowerThanOtherSide() map[*Station]uncertain {
	st := j.res.Border.Stations
	at := make([]Vec, len(st))
	for i := range st {
		at[i] = j.res.Frame.Local(st[i].Apex)
	}
	out := map[*Station]uncertain{}
	for i := range st {
		h, u := height(&st[i])
		if h == nil {
			continue
		}
		nearest, other := mirrorMM, -1
		for k := range st {
			if d := math.Hypot(at[i].X+at[k].X, at[i].Y-at[k].Y); st[k].Side == st[i].Side && st[k].HeightMM != nil && d < nearest {
				nearest, other = d, k
			}
		}
		if other >= 0 {
			d := *st[other].HeightMM - *h
			out[&st[i]] = uncertain{&d, math.Hypot(u, known(st[other].HeightUMM))}
		}
	}
	return out
}

// maxGapMM is the longest step between stations that are neighbours.
const maxGapMM = 2.0

// stationLengths gives each station the length of border it stands for: half way to each neighbour.
func stationLengths(s []Station) []float64 {
	out := make([]float64, len(s))
	for i := 1; i < len(s); i++ {
		if step := s[i].SMM - s[i-1].SMM; s[i].Side == s[i-1].Side && step > 0 && step <= maxGapMM {
			out[i-1] += step / 2
			out[i] += step / 2
		}
	}
	return out
}

// run is a stretch of border past its limit.
type run struct {
	bound
	worst, u       float64 // the worst value and its uncertainty
	length, failed float64 // failed: the length proven to lie past the fail limit
	over           float64 // length that counts
	region         string
	path           []Vec
	end            float64 // s of its last station
	side           string
}

// runs finds the stretches on which a value does not pass the limits of its own region. A
// station without a value neither ends nor lengthens one. Stretches too short to count are left out.
func (j *judge) runs(lim *BorderLimit, below bool, value func(*Station) (v *float64, u float64), lengths []float64) []run {
	var out []run
	open := false
	var r run
	shut := func() {
		if open && r.length >= lim.OverMM {
			out = append(out, r)
		}
		open = false
	}
	for i := range j.res.Border.Stations {
		s := &j.res.Border.Stations[i]
		if open && (s.Side != r.side || s.SMM-r.end > 2*maxGapMM) {
			shut()
		}
		v, u := value(s)
		if v == nil || math.IsNaN(*v) {
			continue
		}
		b := bound{lim.For(j.res.Jaw, s.Region), below}
		sev, _ := b.grade(*v, u)
		if sev != Review && sev != Fail {
			shut()
			continue
		}
		if !open {
			r, open = run{bound: b, worst: *v, u: u, side: s.Side, region: s.Region, over: lim.OverMM}, true
		}
		r.length += lengths[i]
		r.end = s.SMM
		r.path = append(r.path, s.Apex)
		if sev == Fail {
			r.failed += lengths[i]
		}
		if b.past(*v-b.Review, r.worst-r.Review) {
			r.worst, r.u, r.bound, r.region = *v, u, b, s.Region
		}
	}
	shut()
	return out
}

func (j *judge) runFinding(code string, r run, text func(do Verdict) string) {
	sev, limit := Review, r.Review
	if r.failed >= r.over {
		sev, limit = Fail, r.Fail
	}
	f := Finding{Code: code, Region: r.region, Where: Where{Points: []Vec{r.path[len(r.path)/2]}, Path: r.path, RadiusMM: r.length / 2}}
	j.put(f, r.bound, sev, limit, r.worst, r.u, text)
}

// uneven compares each region of the right side with the same on the left.
func (j *judge) uneven() {
	regions := j.res.Border.Regions
	for i := range regions {
		name, right := strings.CutSuffix(regions[i].Region, " right")
		k := slices.IndexFunc(regions, func(r BorderRegion) bool { return r.Region == name+" left" })
		if !right || k < 0 || regions[i].MedianMM == nil || regions[k].MedianMM == nil {
			continue
		}
		r, l := *regions[i].MedianMM, *regions[k].MedianMM
		u := math.Hypot(known(regions[i].ThicknessUMM), known(regions[k].ThicknessUMM))
		side := "right"
		if l > r {
			side = "left"
		}
		j.add(Finding{Code: "border-uneven", Region: name}, above(j.lim.BorderUneven), math.Abs(r-l), u, func(do Verdict) string {
			return fmt.Sprintf("The border (%s) is %s thicker on the patient's %s (%.1f right, %.1f left): %s.", name, mm(math.Abs(r-l)), side, r, l,
				told(do, "compare with the face", "look whether the tray sat to one side, and trim or add"))
		})
	}
}

// outside fills in how much of each region lies outside the review limits.
func (j *judge) outside(lengths []float64) {
	b := &j.res.Border
	sum := map[string]float64{}
	for i := range b.Stations {
		s := &b.Stations[i]
		if s.ThicknessMM == nil {
			continue
		}
		t := *s.ThicknessMM
		if t < j.lim.BorderThin.For(j.res.Jaw, s.Region).Review || t > j.lim.BorderThick.For(j.res.Jaw, s.Region).Review {
			sum[s.Region] += lengths[i]
		}
	}
	for i := range b.Regions {
		if r := &b.Regions[i]; r.Measured > 0 {
			v := sum[r.Region]
			r.OutsideMM = &v
		}
	}
}

// measured tells what of the border has no thickness. A gap too short for a thin place to count
// in it hides none. A scan of the tissue side alone says so once, in a finding of its own.
func (j *judge) measured(lengths []float64) {
	if j.res.Coverage == TissueSide {
		return
	}
	b := &j.res.Border
	if b.ThicknessUnmeasured != "" {
		j.rule("unmeasured-border", j.lim.NoBorder,
			"The thickness of the border could not be measured"+because(b.ThicknessUnmeasured)+": scan both sides of it.")
		return
	}
	type share struct {
		region   string
		all, gap float64
		path     []Vec
	}
	var shares []share
	for i := range b.Stations {
		s := &b.Stations[i]
		k := slices.IndexFunc(shares, func(h share) bool { return h.region == s.Region })
		if k < 0 {
			shares, k = append(shares, share{region: s.Region}), len(shares)
		}
		shares[k].all += lengths[i]
		if s.ThicknessMM == nil || math.IsNaN(*s.ThicknessMM) {
			shares[k].gap += lengths[i]
			shares[k].path = append(shares[k].path, s.Apex)
		}
	}
	lim := below(j.lim.BorderMeasured)
	for _, h := range shares {
		if h.gap < j.lim.BorderThin.OverMM {
			continue
		}
		v := 100 * (1 - h.gap/h.all)
		sev, limit := lim.grade(v, 0)
		if sev == Fail {
			sev = Unmeasured
		}
		f := Finding{Code: "unmeasured-border", Region: h.region, Where: Where{Points: []Vec{h.path[len(h.path)/2]}, Path: h.path}}
		j.put(f, lim, sev, limit, v, 0, func(Verdict) string {
			return fmt.Sprintf("Over %s of the border%s no thickness could be measured: scan both sides of it there.", mm(h.gap), in(h.region))
		})
	}
}
