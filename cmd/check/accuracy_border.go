package main

import (
	"math"

	"fornix/inspect"
	"fornix/inspect/phantom"
)

// stop is one place of the true border.
type stop struct {
	side      string
	deg       float64
	apex      vec
	thickness float64
	edge      float64 // diameter of the border's own ball
	height    float64 // over the crest beside it, toward the tissue
	hidden    bool    // in a hole of the scan
	joint     bool    // the thickness ends at a corner that no scan shows as sharp
	faulty    bool    // a void, bleb or fold lies within reach of apex or ball, which the truth leaves out
}

// stops lists the true border side by side, from the patient's right to left. Heights run along up.
func (c *comparison) stops(up vec) []stop {
	var out []stop
	for _, b := range c.truth.Border {
		for i := range b.Deg {
			s := stop{side: b.Side, deg: b.Deg[i], apex: b.Apex[i], thickness: b.Thickness[i], edge: b.Edge[i], joint: b.Joint[i]}
			s.height = c.overCrest(s.apex, up)
			for _, h := range c.truth.Holes {
				s.hidden = s.hidden || h.Point.Dist(s.apex) < h.Radius+1.5
			}
			s.faulty = c.faultNear(s.apex)
			out = append(out, s)
		}
	}
	return out
}

// faultNear tells whether a fault reaches nearer than 3 mm to a place: 2 mm below an apex the ball
// touches, and 1 mm about that tells its direction.
func (c *comparison) faultNear(p vec) bool {
	const reachMM = 3
	for _, list := range [2][]phantom.CapTruth{c.truth.Voids, c.truth.Blebs} {
		for _, f := range list {
			if f.Point.Dist(p) < f.Diameter/2+reachMM {
				return true
			}
		}
	}
	for _, f := range c.truth.Folds {
		for _, q := range f.Path {
			if q.Dist(p) < f.Width/2+reachMM {
				return true
			}
		}
	}
	return false
}

// crestBeside returns the true crest's point nearest to a place, seen along up; between the
// points that the truth lists it runs straight.
func (c *comparison) crestBeside(p, up vec) (at vec) {
	best := math.Inf(1)
	flat := func(v vec) vec { return v.Along(-v.Dot(up), up) }
	for i := 1; i < len(c.truth.Crest); i++ {
		from, d := c.truth.Crest[i-1], c.truth.Crest[i].Sub(c.truth.Crest[i-1])
		q, e := flat(p.Sub(from)), flat(d)
		t := math.Max(0, math.Min(1, q.Dot(e)/e.Norm2()))
		if far := q.Along(-t, e).Norm(); far < best {
			best, at = far, from.Along(t, d)
		}
	}
	return at
}

// overCrest is how far a place stands over the crest beside it.
func (c *comparison) overCrest(p, up vec) float64 { return p.Sub(c.crestBeside(p, up)).Dot(up) }

// between returns the true border where it passes nearest to a place: at stop k or on the way
// from there to the one before or behind it.
func between(s []stop, k int, p vec) stop {
	at := s[k]
	best := at.apex.Dist(p)
	for _, j := range [2]int{k - 1, k + 1} {
		if j < 0 || j >= len(s) || s[j].side != s[k].side {
			continue
		}
		d := s[j].apex.Sub(s[k].apex)
		t := math.Max(0, math.Min(1, p.Sub(s[k].apex).Dot(d)/d.Norm2()))
		if q := s[k].apex.Along(t, d); q.Dist(p) < best {
			best = q.Dist(p)
			at.apex = q
			at.thickness = s[k].thickness + t*(s[j].thickness-s[k].thickness)
			at.height = s[k].height + t*(s[j].height-s[k].height)
			at.joint, at.faulty = s[k].joint || s[j].joint, s[k].faulty || s[j].faulty
		}
	}
	return at
}

// border compares thickness and height at each station with those of the true border where it
// passes within 1 mm and nothing hides them, and asks which part of the true border has a station within 1.5 mm.
// Heights are defined along the report's own axis, so that is the axis of the truth too.
func (c *comparison) border() {
	truth := c.stops(c.rep.Frame.TowardTissue)
	stations := c.rep.Border.Stations
	worst, where := 0.0, ""
	for i := range stations {
		s := &stations[i]
		near, best := -1, 1.0
		for k := range truth {
			if d := truth[k].apex.Dist(s.Apex); d <= best {
				near, best = k, d
			}
		}
		if near < 0 || truth[near].hidden {
			continue
		}
		t := between(truth, near, s.Apex)
		if s.ThicknessMM != nil && !c.truth.OneSided && !t.joint && !t.faulty {
			e := *s.ThicknessMM - t.thickness
			c.err("thickness", math.Abs(e))
			if math.Abs(e) > worst {
				worst, where = math.Abs(e), s.Region
			}
			c.certain("border thickness", e, or0(s.ThicknessUMM))
		}
		if s.HeightMM != nil && math.Abs(t.deg) < 85 && !t.faulty {
			e := *s.HeightMM - t.height
			c.err("height", math.Abs(e))
			c.certain("border height", e, or0(s.HeightUMM))
		}
	}
	if worst > 0.5 {
		c.fail("border thickness off by %.2f mm, %s", worst, where)
	}
	covered, all := 0, 0
	for i := range truth {
		if truth[i].hidden {
			continue
		}
		near := false
		for k := range stations {
			near = near || stations[k].Apex.Dist(truth[i].apex) <= 1.5
		}
		c.ask("cover", near)
		if all++; near {
			covered++
		}
	}
	if float64(covered) < 0.98*float64(all) {
		c.fail("border followed over %.0f %%", 100*float64(covered)/float64(all))
	}
}

// length of a chain of points, mm.
func chainLength(p []vec) (l float64) {
	for i := 1; i < len(p); i++ {
		l += p[i].Dist(p[i-1])
	}
	return
}

// Thresholds for the comparison of stretches: the general review limits of thin and thick.
const (
	thinMM  = 1.5
	thickMM = 4.0
	leastMM = 3.0 // shorter stretches are not asked for
)

// stretches compares the extent of thin and thick parts of the border: how long the true
// thickness, and the measured one, lies past the threshold. One measured station on the other
// side of the threshold, or a gap of up to 2 mm, does not end a stretch. One whose true thickness is
// not known somewhere is left out, and counted.
func (c *comparison) stretches() {
	if c.truth.OneSided {
		return
	}
	truth := c.stops(c.truth.Axes.TowardTissue)
	for _, kind := range []string{"thin", "thick"} {
		past := func(th float64) bool { return th < thinMM }
		if kind == "thick" {
			past = func(th float64) bool { return th > thickMM }
		}
		for i := 0; i < len(truth); i++ {
			if !past(truth[i].thickness) {
				continue
			}
			var run []vec
			hidden := false
			k := i
			for ; k < len(truth) && truth[k].side == truth[i].side && past(truth[k].thickness); k++ {
				run = append(run, truth[k].apex)
				hidden = hidden || truth[k].hidden || truth[k].joint || truth[k].faulty
			}
			i = k
			want := chainLength(run)
			if want < leastMM || len(run) < 3 {
				continue
			}
			if hidden {
				c.ask("stretch unclear", true)
				continue
			}
			got := c.measuredRun(run[len(run)/2], past)
			c.ask(kind+" stretch", got > 0)
			switch {
			case got == 0:
				c.fail("missed a %s stretch %.1f mm long", kind, want)
			default:
				c.err("stretch extent", math.Abs(got-want))
				if math.Abs(got-want) > 2 {
					c.fail("%s stretch %.1f mm long measured %.1f", kind, want, got)
				}
			}
		}
	}
}

// measuredRun is the length of the measured stretch about a place, 0 without one.
func (c *comparison) measuredRun(at vec, past func(float64) bool) float64 {
	s := c.rep.Border.Stations
	near, best := -1, 3.0
	for i := range s {
		if d := s[i].Apex.Dist(at); d < best && s[i].ThicknessMM != nil && past(*s[i].ThicknessMM) {
			near, best = i, d
		}
	}
	if near < 0 {
		return 0
	}
	var total float64
	for _, dir := range []int{1, -1} {
		last := near
		for i := near + dir; i >= 0 && i < len(s) && s[i].Side == s[near].Side && math.Abs(s[i].SMM-s[last].SMM) <= 2; i += dir {
			if s[i].ThicknessMM != nil && past(*s[i].ThicknessMM) {
				total += math.Abs(s[i].SMM - s[last].SMM)
				last = i
			} else if s[i].ThicknessMM != nil && i+dir >= 0 && i+dir < len(s) {
				if n := s[i+dir].ThicknessMM; n != nil && !past(*n) {
					break
				}
			}
		}
	}
	return math.Max(total, 0.01)
}

// sideHeight is the true height of the rim at a side: of the border's apex farthest toward the
// tissue half way from the buccal frenum to the rear end, by the length along the border.
func (c *comparison) sideHeight(sign float64, r *inspect.Occlusal) (float64, bool) {
	var at vec
	top, n := math.Inf(-1), 0
	for _, s := range c.stops(c.truth.Axes.TowardTissue) {
		if s.side == "buccal" && s.deg*sign > 60 && s.deg*sign < 80 {
			n++
			if z := c.local(s.apex).Z; z > top {
				top, at = z, s.apex
			}
		}
	}
	return at.Sub(c.truth.Plane.Point).Dot(c.truth.Plane.Normal), n > 0
}

// frontHeight is the true height of the rim in front: of the middle of the border's apexes on
// both sides of the labial frenum where its notch has run out, over the plane along its normal.
// A notch is a bell along the crest, half as deep at half its width and 0.8 of the border's
// radius; at 2.6 times that a hundredth of it is left. Where the notch of the buccal frenum is nearer than
// that, the place is where both draw the border in alike.
func (c *comparison) frontHeight() float64 {
	const out = 2.6
	stops := c.stops(c.truth.Axes.TowardTissue)
	mid := c.besideCrest(c.truth.Landmarks["labial_frenum"])
	var sum float64
	for i, buccal := range [2]string{"buccal_frenum_right", "buccal_frenum_left"} {
		sign := float64(2*i - 1)
		next := (c.besideCrest(c.truth.Landmarks[buccal]) - mid) * sign
		best, h := math.Inf(1), math.NaN()
		for _, s := range stops {
			off := (c.besideCrest(s.apex) - mid) * sign
			from := off / (c.p.LabialFrenum.Width/2 + 0.4*s.edge)
			to := (next - off) / (c.p.BuccalFrenum.Width/2 + 0.4*s.edge)
			if s.side == "buccal" && math.Abs(s.deg) < 40 && from > min(out, to) && off < best {
				best, h = off, s.apex.Sub(c.truth.Plane.Point).Dot(c.truth.Plane.Normal)
			}
		}
		sum += h
	}
	return sum / 2
}

// besideCrest returns how far to the left the crest's point nearest to a place in plan lies,
// between the crest's own points.
func (c *comparison) besideCrest(p vec) (left float64) {
	return c.local(c.crestBeside(p, c.truth.Axes.TowardTissue)).X
}
