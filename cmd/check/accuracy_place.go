package main

import (
	"math"
	"slices"
	"strings"

	"fornix/inspect"
)

// covers is the part of a side of the lower jaw's pad that the material covers.
func (c *comparison) covers(side string) float64 {
	if side == "left" {
		return c.p.PadCoverLeft
	}
	return c.p.PadCoverRight
}

func (c *comparison) extension(side string) float64 {
	if side == "left" {
		return c.p.ExtensionLeft
	}
	return c.p.ExtensionRight
}

// onMaterial tells whether a landmark shows on the scan; where that is doubtful neither yes nor no.
func (c *comparison) onMaterial(name string) (yes, no bool) {
	side := "right"
	if strings.HasSuffix(name, "left") {
		side = "left"
	}
	switch {
	case strings.HasPrefix(name, "hamular_notch"):
		e := c.extension(side)
		return e > 0.8, e < -0.3
	case strings.HasPrefix(name, "tuberosity"):
		return c.extension(side) > -5, false
	case strings.HasPrefix(name, "pad_front"):
		return c.covers(side) > 0.35, c.covers(side) < -0.05
	case strings.HasPrefix(name, "pad_summit"):
		return c.covers(side) > 0.6, c.covers(side) < 0.45
	}
	return true, false
}

func (c *comparison) landmarks() {
	names := make([]string, 0, len(c.truth.Landmarks))
	for name := range c.truth.Landmarks {
		if !strings.HasPrefix(name, "pad_posterior") {
			names = append(names, name)
		}
	}
	slices.Sort(names)
	for _, name := range names {
		at := c.truth.Landmarks[name]
		hidden := false
		for _, h := range c.truth.Holes {
			hidden = hidden || h.Point.Dist(at) < h.Radius+1
		}
		yes, no := c.onMaterial(name)
		got, found := c.rep.Landmarks[name]
		if yes && !hidden {
			c.ask("landmark", found)
			c.ask("landmark "+name, found)
			if !found {
				c.fail("no %s", name)
			}
		}
		if !found || hidden {
			continue
		}
		d := got.Point.Dist(at)
		if d > 3 {
			c.ask("landmark off", got.UncertaintyMM >= d)
			if got.UncertaintyMM < d {
				c.fail("%s off by %.1f mm, stated uncertainty %.1f", name, d, got.UncertaintyMM)
			}
		}
		if no {
			continue
		}
		c.err("landmark", d)
		c.err("landmark "+name, d)
		c.certain("landmark", d, got.UncertaintyMM)
	}
}

// rearmost is the vertex farthest along posterior, in the patient's coordinates, of those within
// 3 mm beside a place.
func (c *comparison) rearmost(at vec) float64 {
	q := c.local(at)
	y := math.Inf(-1)
	for _, p := range c.mesh.Pos {
		if r := c.local(p); math.Abs(r.X-q.X) < 3 {
			y = math.Max(y, r.Y)
		}
	}
	return y
}

func (c *comparison) posterior() {
	for _, side := range []string{"left", "right"} {
		got := c.rep.Posterior.Left
		if side == "right" {
			got = c.rep.Posterior.Right
		}
		if got == nil {
			got = &inspect.PosteriorSide{}
		}
		if c.truth.Jaw == "upper" {
			e := c.extension(side)
			if math.Abs(e) < 0.5 {
				continue
			}
			right := got.ReachesNotch != nil && *got.ReachesNotch == (e > 0)
			c.ask("notch", right)
			if !right {
				c.fail("%s notch passed by %.1f mm: %s", side, e, told(got.ReachesNotch, got.Unmeasured))
			}
			if e > 0 && got.ExtensionMM != nil {
				d := *got.ExtensionMM - e
				c.err("extension", math.Abs(d))
				c.certain("extension", d, or0(got.ExtensionUMM))
				if math.Abs(d) > 0.5 {
					c.fail("%s extension %.2f measured %.2f", side, e, *got.ExtensionMM)
				}
			}
			continue
		}
		cover := c.covers(side)
		right := got.SummitReached != nil && *got.SummitReached == (cover > 0.5)
		c.ask("summit", right)
		if !right {
			c.fail("%s pad covered to %.2f: %s", side, cover, told(got.SummitReached, got.Unmeasured))
		}
		if got.PastPadFrontMM != nil && cover > 0.1 && !c.truth.OneSided {
			front := c.truth.Landmarks["pad_front_"+side]
			want := c.rearmost(c.truth.Landmarks["pad_summit_"+side]) - c.local(front).Y
			d := *got.PastPadFrontMM - want
			c.err("past pad front", math.Abs(d))
			c.certain("past pad front", d, or0(got.PastPadFrontUMM))
			if math.Abs(d) > 1 {
				c.fail("%s: %.2f past the pad's front measured %.2f", side, want, *got.PastPadFrontMM)
			}
		}
	}
}

func told(b *bool, why string) string {
	switch {
	case b == nil:
		return "unmeasured " + why
	case *b:
		return "told reached"
	}
	return "told not reached"
}

// sound reports a rim that is neither wavy nor chipped, no plate and without a handle.
func (c *comparison) sound() bool {
	r := &c.p.Rim
	return r.Kind == "rim" && r.Wave == 0 && len(r.Chips) == 0 && !c.p.Handle
}

func (c *comparison) plane() {
	o, t := c.rep.Occlusal, c.truth.Plane
	if t == nil {
		if !c.truth.OneSided {
			right := o == nil && strings.HasPrefix(c.rep.OcclusalUnmeasured, inspect.NoRim)
			c.ask("no rim", right)
			if !right {
				c.fail("there is no rim; told %q", c.rep.OcclusalUnmeasured)
			}
		} else if o != nil {
			c.fail("a plane on a one-sided scan")
		}
		return
	}
	c.ask("rim", o != nil)
	if o == nil {
		c.fail("no plane: %s", c.rep.OcclusalUnmeasured)
		return
	}
	tilt := degrees(o.Normal, t.Normal)
	off := t.Point.Sub(o.Point).Dot(t.Normal)
	if c.sound() {
		c.err("plane tilt", tilt)
		c.err("plane offset", math.Abs(off))
		if tilt > 0.05 || math.Abs(off) > 0.03 {
			c.fail("plane of a sound rim off by %.3f degrees, %.3f mm", tilt, off)
		}
	} else {
		c.err("plane tilt hard", tilt)
		c.err("plane offset hard", math.Abs(off))
		if tilt > 0.1 {
			c.fail("plane off by %.3f degrees, %.3f mm (%s, wave %.2f, %d chips, handle %v)", tilt, off, t.Kind, t.Wave, len(t.Chips), c.p.Handle)
		}
	}
	c.ask("rim kind", o.Kind == t.Kind)
	c.certain("plane normal", tilt, o.NormalUDeg)
	c.certain("plane offset", off, o.OffsetUMM)
	height := func(key string, got *float64, want float64) {
		if got == nil {
			c.ask(key, false)
			c.fail("no %s", key)
			return
		}
		c.ask(key, true)
		c.err(key, math.Abs(*got-want))
		if key != "rim height in front" {
			return // the place at the sides is known too roughly
		}
		c.certain("rim height", *got-want, o.RimHeight.UMM)
		if math.Abs(*got-want) > 0.25 {
			c.fail("%s %.2f measured %.2f", key, want, *got)
		}
	}
	height("rim height in front", o.RimHeight.Anterior, c.frontHeight())
	if h, ok := c.sideHeight(1, o); ok {
		height("rim height at the sides", o.RimHeight.Left, h)
	}
	if h, ok := c.sideHeight(-1, o); ok {
		height("rim height at the sides", o.RimHeight.Right, h)
	}
	for ref, got := range o.Tilts {
		n, ok := c.reference(ref)
		if !ok {
			continue
		}
		cant, pitch := c.tilts(n)
		c.certain("tilt against "+ref, got.CantDeg-cant, got.UDeg)
		c.certain("tilt against "+ref, got.PitchDeg-pitch, got.UDeg)
		c.err("tilt "+ref, math.Max(math.Abs(got.CantDeg-cant), math.Abs(got.PitchDeg-pitch)))
	}
}

// reference is the true normal of a reference plane. That of the crest is the patient's own axis,
// which leaves out what the frame of a scan is said to be.
func (c *comparison) reference(name string) (vec, bool) {
	l := c.truth.Landmarks
	switch name {
	case "hamular-papilla":
		a, b, p := l["hamular_notch_left"], l["hamular_notch_right"], l["incisive_papilla"]
		n := a.Sub(p).Cross(b.Sub(p)).Unit()
		if n.Dot(c.truth.Axes.TowardTissue) < 0 {
			n = n.Scale(-1)
		}
		return n, c.truth.Jaw == "upper"
	case "crest":
		return c.truth.Axes.TowardTissue, false
	}
	return vec{}, false
}

// tilts returns cant and pitch of the true plane against a reference normal, signed as in a report.
func (c *comparison) tilts(ref vec) (cant, pitch float64) {
	a := &c.truth.Axes
	left := a.Left.Along(-a.Left.Dot(ref), ref).Unit()
	back := a.Posterior.Along(-a.Posterior.Dot(ref), ref)
	back = back.Along(-back.Dot(left), left).Unit()
	n := c.truth.Plane.Normal
	up := n.Dot(ref)
	return math.Atan2(-n.Dot(left), up) * 180 / math.Pi, math.Atan2(-n.Dot(back), up) * 180 / math.Pi
}
