package main

import (
	"math"

	"fornix/inspect"
)

// expected is what the protocol asks for by the truth: at least low and at most high. They differ
// where a value lies so near to a limit, or so near to what can be seen at all, that either is right.
type expected struct{ low, high int }

var verdicts = []inspect.Verdict{inspect.Send, inspect.Correct, inspect.Rescan, inspect.Retake}

const (
	send = iota
	correct
	rescan
	retake
)

// raise takes one more fault in.
func (e *expected) raise(low, high int) { e.low, e.high = max(e.low, low), max(e.high, high) }

// verdict derives the expected verdict from the truth by the protocol's limits and asks for it
// where it is clear. Margins: holes 0.3 mm and one spacing; voids and blebs 10 % of the diameter and 0.1 mm, 0.7 mm of the distance within
// which they are critical; thickness 0.15 mm over 1 mm less or more; heights 0.6 mm; extension
// 0.6 mm; cant 0.7 and pitch 2 degrees.
func (c *comparison) verdict() {
	var e expected
	if c.truth.OneSided {
		e.raise(rescan, rescan)
	}
	edge := c.rep.Quality.EdgeMedianMM
	e.raise(pick(edge > c.lim.ScanCoarse.Review+0.02, rescan), pick(edge > c.lim.ScanCoarse.Review-0.02, rescan))
	c.wantHoles(&e)
	c.wantFaults(&e)
	c.wantBorder(&e)
	c.wantEnds(&e)
	c.wantRim(&e)
	if e.low != e.high {
		c.ask("unclear", true)
		return
	}
	want := verdicts[e.low]
	right := c.rep.Verdict == want
	c.ask("verdict", right)
	c.ask("verdict "+string(want), right)
	if !right {
		codes := ""
		for _, f := range c.rep.Findings {
			if f.Action != inspect.Send {
				codes += " " + f.Code
			}
		}
		c.fail("verdict %s, by the truth %s:%s", c.rep.Verdict, want, codes)
	}
}

func pick(is bool, v int) int {
	if is {
		return v
	}
	return send
}

// toBorder is the distance to the nearest true border or rear edge.
func (c *comparison) toBorder(p vec) float64 {
	d := math.Inf(1)
	for _, b := range c.truth.Border {
		for _, a := range b.Apex {
			d = math.Min(d, a.Dist(p))
		}
	}
	for _, a := range c.truth.Posterior {
		d = math.Min(d, a.Dist(p))
	}
	return d
}

func (c *comparison) wantHoles(e *expected) {
	const slack = 0.7
	for _, h := range c.truth.Holes {
		lo, hi := 2*h.Radius-0.1, 2*h.Radius+0.3+c.p.Spacing
		d := c.toBorder(h.Point)
		switch {
		case h.Surface == "outer" && d > c.lim.Defect.NearMM+slack:
			e.raise(pick(lo > c.lim.HoleOuter.Review, rescan), pick(hi > c.lim.HoleOuter.Review, rescan))
		case h.Surface == "outer":
			e.raise(send, rescan)
		case h.Surface == "border" || d < c.lim.Defect.NearMM-slack:
			e.raise(pick(lo > c.lim.HoleBorder.Review, rescan), pick(hi > c.lim.HoleBorder.Review, rescan))
		default:
			top := c.lim.Hole.Review
			if d < c.lim.Defect.NearMM+slack {
				top = c.lim.HoleBorder.Review
			}
			e.raise(pick(lo > c.lim.Hole.Review, rescan), pick(hi > top, rescan))
		}
	}
}

// critical tells whether a place surely, or perhaps, is one where the critical limits hold.
func (c *comparison) critical(p vec) (sure, maybe bool) {
	d := c.toBorder(p)
	for _, q := range c.truth.Crest {
		d = math.Min(d, q.Dist(p))
	}
	for name, q := range c.truth.Landmarks {
		if yes, _ := c.onMaterial(name); yes && (name[:3] == "pad" || name[:3] == "ham") {
			d = math.Min(d, q.Dist(p))
		}
	}
	near := c.lim.Defect.NearMM
	return d < near-0.7, d < near+0.7
}

func (c *comparison) wantFaults(e *expected) {
	pit := func(at vec, d, depth float64, usual, crit inspect.Limit) {
		sure, maybe := c.critical(at)
		grade := func(v, deep float64, critical bool) int {
			l := usual
			if critical {
				l = crit
			}
			switch {
			case l.Retake != nil && v > *l.Retake:
				return retake
			case v > l.Review || deep > c.lim.Defect.DeepMM && l.Note != nil && v > *l.Note:
				return correct
			}
			return send
		}
		low := grade(0.9*d-0.1, depth-0.1, sure)
		if d < 1 || depth < 0.35 {
			low = send // may be missed
		}
		e.raise(low, grade(1.1*d+0.1, depth+0.1, maybe))
	}
	for _, v := range c.truth.Voids {
		pit(v.Point, v.Diameter, v.Depth, c.lim.Void, c.lim.VoidCritical)
	}
	for _, v := range c.truth.Blebs {
		pit(v.Point, v.Diameter, v.Height, c.lim.Bleb, c.lim.BlebCritical)
	}
	for _, f := range c.truth.Folds {
		e.raise(pick(f.Width >= 1 && f.Depth >= 0.4 && f.Turn <= edgeTurnDeg, correct), correct)
	}
}

// stretchOf tells whether a value is past a limit over a length somewhere along one side.
func stretchOf(s []stop, mm float64, past func(*stop) bool) bool {
	var run []vec
	for i := range s {
		if i > 0 && s[i].side != s[i-1].side || !past(&s[i]) {
			run = nil
		}
		if past(&s[i]) {
			if run = append(run, s[i].apex); chainLength(run) >= mm {
				return true
			}
		}
	}
	return false
}

func (c *comparison) wantBorder(e *expected) {
	s := c.stops(c.truth.Axes.TowardTissue)
	l := c.lim
	if !c.truth.OneSided {
		thin := func(by, over float64) int {
			return pick(stretchOf(s, l.BorderThin.OverMM+over, func(s *stop) bool { return s.thickness < l.BorderThin.Review+by }), correct)
		}
		e.raise(thin(-0.15, 1), thin(0.15, -1))
		least, most := l.BorderThick.Review, l.BorderThick.Review
		for key, r := range l.BorderThick.Region {
			if key[:5] == c.truth.Jaw {
				least, most = math.Min(least, r.Review), math.Max(most, r.Review)
			}
		}
		thick := func(limit, over float64) int {
			return pick(stretchOf(s, l.BorderThick.OverMM+over, func(s *stop) bool { return s.thickness > limit }), correct)
		}
		e.raise(thick(most+0.15, 1), thick(least-0.15, -1))
	}
	low := l.BorderShort.Review
	if r, ok := l.BorderShort.Region[c.truth.Jaw]; ok {
		low = r.Review
	}
	free := func(s *stop, deg float64) bool { // neither in a notch nor at the ends
		if math.Abs(s.deg) > deg {
			return false
		}
		for name, q := range c.truth.Landmarks {
			if len(name) > 6 && (name[:6] == "labial" || name[:6] == "buccal" || name[:7] == "lingual") && q.Dist(s.apex) < 5 {
				return false
			}
		}
		return true
	}
	short := func(by, over, deg float64) int {
		return pick(stretchOf(s, l.BorderShort.OverMM+over, func(s *stop) bool { return free(s, deg) && s.height < low+by }), correct)
	}
	e.raise(short(-0.6, 1.5, 78), short(0.6, -1.5, 88))
	// Against the other side.
	other := func(q *stop) float64 {
		best, h := 3.0, math.NaN()
		for i := range s {
			if d := math.Abs(s[i].deg + q.deg); s[i].side == q.side && d < best {
				best, h = d, s[i].height
			}
		}
		return h - q.height
	}
	side := func(by, over, deg float64) int {
		return pick(stretchOf(s, l.BorderShortSide.OverMM+over, func(s *stop) bool { return free(s, deg) && other(s) > l.BorderShortSide.Review+by }), correct)
	}
	e.raise(side(0.6, 1.5, 78), side(-0.6, -1.5, 88))
}

// wantEnds goes through both sides at both ends of their margin.
func (c *comparison) wantEnds(e *expected) {
	low, high := retake, send
	for _, l := range []float64{-1, 1} {
		for _, r := range []float64{-1, 1} {
			v := c.endVerdict(l, r)
			low, high = min(low, v), max(high, v)
		}
	}
	e.raise(low, high)
}

func (c *comparison) endVerdict(l, r float64) int {
	if c.truth.Jaw == "upper" {
		const margin = 0.6
		left, right := c.p.ExtensionLeft+margin*l, c.p.ExtensionRight+margin*r
		if left < 0 && right < 0 {
			return retake
		}
		bad := func(v float64) bool { return v < c.lim.PosteriorShort.Review || v > c.lim.PosteriorLong.Review }
		return pick(bad(left) || bad(right), correct)
	}
	// The material's rounded end lies 1 to 1.5 mm behind the covered part.
	pad := c.truth.Landmarks["pad_posterior_left"].Dist(c.truth.Landmarks["pad_front_left"])
	past := func(side string, sign float64) float64 { return c.covers(side)*pad + 1.2 + 0.8*sign }
	left, right := past("left", l), past("right", r)
	shows := func(side string, sign float64) bool { return c.covers(side)+0.12*sign > 0.15 }
	if !shows("left", l) && !shows("right", r) {
		return retake
	}
	bad := func(side string, v float64) bool {
		return v < c.lim.PadShort.Review || v > c.lim.PadLong.Review || c.covers(side) < 0.5
	}
	return pick(bad("left", left) || bad("right", right), correct)
}

func (c *comparison) wantRim(e *expected) {
	t := c.truth.Plane
	if t == nil {
		return
	}
	l := c.lim
	refs := []vec{c.truth.Axes.TowardTissue}
	if n, ok := c.reference("hamular-papilla"); ok {
		if c.p.ExtensionLeft > 0.8 && c.p.ExtensionRight > 0.8 {
			refs = refs[:0]
		}
		refs = append(refs, n)
	}
	low, high := retake, send
	for _, n := range refs {
		cant, pitch := c.tilts(n)
		for _, s := range []float64{-1, 1} {
			v := pick(math.Abs(cant)+0.7*s > l.RimCanted.Review || math.Abs(pitch)+2*s > l.RimPitched.Review, correct)
			low, high = min(low, v), max(high, v)
		}
	}
	e.raise(low, high)
	e.raise(pick(0.7*t.Wave > l.RimUneven.Review, correct), pick(1.05*t.Wave+8*c.truth.Noise > l.RimUneven.Review, correct))
	for _, ch := range c.p.Rim.Chips {
		half := math.Pi * ch.Radius * ch.Radius / 2 // the ball's middle lies on the rim's edge
		e.raise(pick(0.7*half > l.RimChipped.Review, correct), pick(1.3*half > l.RimChipped.Review, correct))
	}
	usual := l.RimHeight.UpperMM
	if c.truth.Jaw == "lower" {
		usual = l.RimHeight.LowerMM
	}
	off := math.Abs(t.RimHeight - usual)
	e.raise(pick(off > l.RimHeight.Review+0.4, correct), pick(off > l.RimHeight.Review-0.4, correct))
}
