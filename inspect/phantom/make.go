// Package phantom makes synthetic scans of edentulous impressions whose answers are known by
// construction: an impression is the union of all balls whose centres lie on a smooth sheet cut
// out by a smooth outline, so that the border's thickness is the diameter of the balls at the
// outline; wax is cut by a known plane, voids and folds are balls and tubes taken out. The solid's
// signed distance is evaluated exactly and every vertex lies on it before noise is added.
package phantom

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"

	"fornix/mesh"
)

// Phantom is a scan and what is known of it.
type Phantom struct {
	Mesh  *mesh.Mesh
	Truth Truth
}

// Make builds the scan of p. The same Params give the same bytes, whatever the number of
// processors. It fails where the Params do not describe an impression.
func Make(p Params) (*Phantom, error) { return MakeWith(p, 0) }

// MakeWith is Make on the given number of workers; 0: one for each processor.
func MakeWith(p Params, workers int) (*Phantom, error) {
	if workers < 1 {
		workers = runtime.GOMAXPROCS(0)
	}
	m, err := prepare(&p)
	if err != nil {
		return nil, err
	}
	sf, err := m.s.polygonise(p.Spacing, workers)
	if err != nil {
		return nil, err
	}
	for i := range sf.pos {
		m.truth.Deviation = math.Max(m.truth.Deviation, math.Abs(sf.f[i]))
	}
	return m.finish(sf, workers)
}

// prepare makes the solid and its truth, in the patient's frame.
func prepare(p *Params) (*maker, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	rng := rand.New(rand.NewPCG(uint64(p.Seed), 0x5eed))
	w := make([]wobble, 4)
	for i := range w {
		for k := range w[i] {
			w[i][k] = 2*rng.Float64() - 1
		}
	}
	build := buildUpper
	if p.Jaw == "lower" {
		build = buildLower
	}
	an, err := build(p, w)
	if err != nil {
		return nil, err
	}
	m := &maker{p: p, an: an, s: &solid{sheet: an.sheet, tissue: an.tissue}, rng: rng}
	m.truth = Truth{Name: p.Name, Jaw: p.Jaw, Seed: p.Seed, OneSided: p.TissueSide || p.Cast,
		Surface: "impression", InsideOut: p.InsideOut, Scale: p.Scale, Noise: p.Noise,
		Landmarks: map[string]vec{}, Thin: p.Stretch,
		Voids: []CapTruth{}, Blebs: []CapTruth{}, Folds: []FoldTruth{}, Holes: []HoleTruth{}}
	if p.Cast {
		m.truth.Surface = "cast"
	}
	m.border()
	m.wax()
	m.bounds()
	if err := m.attach(); err != nil {
		return nil, err
	}
	if err := m.chips(); err != nil {
		return nil, err
	}
	m.thicken()
	if err := m.faults(); err != nil {
		return nil, err
	}
	m.places()
	return m, nil
}

func (p *Params) check() error {
	for _, c := range []struct {
		what   string
		v      float64
		lo, hi float64
	}{
		{"Spacing", p.Spacing, 0.1, 3}, {"Body", p.Body, 1, 5}, {"Border", p.Border, 0.6, 10}, {"Scale", p.Scale, 1e-6, 1e6},
		{"Size", p.Size, 0.6, 1.5}, {"Height", p.Height, 0.3, 1.8}, {"Noise", p.Noise, 0, 0.2}, {"Decimate", p.Decimate, 0, 0.7},
		{"HalfWidth", p.HalfWidth, 12, 40}, {"Length", p.Length, 25, 70}, {"ExtensionLeft", p.ExtensionLeft, -12, 7},
		{"ExtensionRight", p.ExtensionRight, -12, 7}, {"PadCoverLeft", p.PadCoverLeft, -0.5, 1.3}, {"PadCoverRight", p.PadCoverRight, -0.5, 1.3},
	} {
		if !(c.v >= c.lo && c.v <= c.hi) {
			return fmt.Errorf("phantom: %s is %g, not within %g and %g", c.what, c.v, c.lo, c.hi)
		}
	}
	if p.Jaw != "upper" && p.Jaw != "lower" {
		return fmt.Errorf("phantom: jaw %q is neither upper nor lower", p.Jaw)
	}
	switch p.Rim.Kind {
	case "rim", "plate", "none", "":
	default:
		return fmt.Errorf("phantom: rim %q is not rim, plate or none", p.Rim.Kind)
	}
	return nil
}

// maker carries one phantom from anatomy to scan.
type maker struct {
	p     *Params
	an    *anatomy
	s     *solid
	rng   *rand.Rand
	truth Truth
	apex  vec // mean of the border apices beside the labial frenum
}

// wax sets the rim, or bite plate, and the handle.
func (m *maker) wax() {
	r := m.p.Rim
	n := vec{X: math.Tan(r.Roll * math.Pi / 180), Y: -math.Tan(r.Pitch * math.Pi / 180), Z: 1}.Unit()
	p0 := m.apex.Along(-r.Height, n)
	if r.Kind == "rim" || r.Kind == "plate" {
		w := &wax{outline: newLoop(m.an.rim), n: n, p0: p0, wave: r.Wave, top: m.an.rimTop, backY: m.an.rimBack}
		if r.Kind == "plate" {
			w.plate = newLoop(m.an.plate)
		}
		pt := &PlaneTruth{Normal: n, Pitch: r.Pitch, Roll: r.Roll, Wave: r.Wave, RimHeight: r.Height, Kind: r.Kind}
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, q := range m.an.rim {
			lo, hi = math.Min(lo, q[1]), math.Max(hi, q[1])
		}
		onPlane := func(x, y float64) vec { return vec{X: x, Y: y, Z: p0.Z - (n.X*(x-p0.X)+n.Y*(y-p0.Y))/n.Z} }
		pt.Point = onPlane(0, 0.5*(lo+hi))
		for _, c := range r.Chips {
			// On the outer edge, which is the first half of the outline.
			u := 0.02 + 0.46*(c.Deg+100)/200
			x, y, _, _, _, _ := w.outline.at(u * float64(len(w.outline.ctl)))
			q := onPlane(x, y)
			w.chips = append(w.chips, ball{q, c.Radius})
			pt.Chips = append(pt.Chips, q)
		}
		m.s.wax, m.truth.Plane = w, pt
	}
	if m.p.Handle {
		// In front of the tray, half way between crest and plane, dipping 10 degrees.
		z := -6.0
		if m.s.wax != nil {
			z = (p0.Z - 1) / 2
		}
		m.s.handle = &box{c: vec{Y: -12, Z: z}, half: vec{X: 6, Y: 12, Z: 2}, round: 1.2,
			cos: math.Cos(10 * math.Pi / 180), sin: math.Sin(10 * math.Pi / 180)}
	}
}

// chips fails where a chip goes through the wax and into the tray: its truth would then be that of
// the rim alone.
func (m *maker) chips() error {
	if m.s.wax == nil {
		return nil
	}
	for i, c := range m.s.wax.chips {
		if ft := m.s.sheet.nearest(c.c); ft.f < c.r {
			return fmt.Errorf("phantom: the chip at %g degrees is %.2f mm deep and the tray lies %.2f mm under it", m.p.Rim.Chips[i].Deg, c.r, ft.f)
		}
	}
	return nil
}

// attach brings a handle that meets nothing to the solid: up, where it would pass under it, and back
// along itself until its end is inside, as one that hangs in the air is a piece of its own and not part of the
// impression.
func (m *maker) attach() error {
	h := m.s.handle
	if h == nil {
		return nil
	}
	const deepMM, stepMM, mostMM, upMM = 2.5, 0.25, 15, 12
	m.s.handle = nil
	defer func() { m.s.handle = h }()
	along := vec{Y: h.cos, Z: h.sin}
	for up := 0.0; up < upMM; up += 2 * stepMM {
		c := h.c.Add(vec{Z: up})
		end := c.Along(h.half.Y, along)
		for t := -2 * h.half.Y; t < mostMM; t += stepMM {
			if f, _, _ := m.s.at(end.Along(t, along)); f < 0 {
				if t > 0 {
					c = c.Along(t+deepMM, along)
				}
				h.c = c
				return nil
			}
		}
	}
	return fmt.Errorf("phantom: the handle meets nothing")
}

// bounds fits the box that holds the solid and plants the sheet's seeds in it.
func (m *maker) bounds() {
	s := m.s
	s.lo, s.hi = vec{X: 1e9, Y: 1e9, Z: 1e9}, vec{X: -1e9, Y: -1e9, Z: -1e9}
	grow := func(p vec, r float64) {
		d := vec{X: r, Y: r, Z: r}
		s.lo, s.hi = s.lo.Min(p.Sub(d)), s.hi.Max(p.Add(d))
	}
	var j jet
	for a := s.sheet.a0; a < s.sheet.a0+s.sheet.step*float64(s.sheet.na); a++ {
		for b := s.sheet.b0; b < s.sheet.b0+s.sheet.step*float64(s.sheet.nb); b++ {
			if d, _ := s.sheet.trim.rough(a, b); d < 1.5 {
				s.sheet.at(a, b, &j)
				grow(j.pos(), j.v[3])
			}
		}
	}
	if w := s.wax; w != nil {
		for _, q := range append(append([][2]float64(nil), m.an.rim...), m.an.plate...) {
			z := w.p0.Z - (w.n.X*(q[0]-w.p0.X)+w.n.Y*(q[1]-w.p0.Y))/w.n.Z
			grow(vec{X: q[0], Y: q[1], Z: z}, w.wave)
		}
	}
	if h := s.handle; h != nil {
		grow(h.c, h.half.Y+h.half.Z)
	}
	const margin = 1.4
	grow(s.lo, margin)
	grow(s.hi, margin)
	s.sheet.plant(s.lo, s.hi)
}

// faults lays voids, blebs and folds on the sound surface.
func (m *maker) faults() error {
	var voids, blebs []ball
	lay := func(c Cap, sign float64, what string) (CapTruth, ball, error) {
		q, n, ok := m.s.hit(c.X, c.Y, c.Outer)
		if !ok || !(c.Diameter > 0) || !(c.Depth > 0) {
			return CapTruth{}, ball{}, fmt.Errorf("phantom: no place or size for a %s at %g, %g", what, c.X, c.Y)
		}
		on := "tissue"
		if c.Outer {
			on = "outer"
		}
		return CapTruth{Point: q, Diameter: c.Diameter, Volume: capVolume(c.Diameter, c.Depth), Surface: on}, capBall(q, n, c.Diameter, c.Depth, sign), nil
	}
	for _, c := range m.p.Voids {
		t, b, err := lay(c, 1, "void")
		if err != nil {
			return err
		}
		t.Depth = c.Depth
		m.truth.Voids, voids = append(m.truth.Voids, t), append(voids, b)
	}
	for _, c := range m.p.Blebs {
		t, b, err := lay(c, -1, "bleb")
		if err != nil {
			return err
		}
		t.Height = c.Depth
		m.truth.Blebs, blebs = append(m.truth.Blebs, t), append(blebs, b)
	}
	for _, f := range m.p.Folds {
		q, _, ok := m.s.hit(f.X, f.Y, false)
		if !ok || !(f.Length > f.Width) || !(f.Depth > 0) {
			return fmt.Errorf("phantom: no place or size for a fold at %g, %g", f.X, f.Y)
		}
		r := (sq(f.Width/2) + sq(f.Depth)) / (2 * f.Depth)
		dir := vec{X: math.Cos(f.Deg * math.Pi / 180), Y: math.Sin(f.Deg * math.Pi / 180)}
		half := (f.Length - f.Width) / 2
		walk := func(sign float64) (path, axis []vec) {
			const step = 0.25
			at, x := q, 0.0
			for done := 0.0; done < half-1e-9; {
				ahead, _, ok := m.s.hit(f.X+sign*(x+0.02)*dir.X, f.Y+sign*(x+0.02)*dir.Y, false)
				if !ok {
					break
				}
				// Advance in plan so that the step along the surface is even.
				slope := math.Max(1, ahead.Dist(at)/0.02)
				d := math.Min(step, half-done)
				x += d / slope
				n, g, ok := m.s.hit(f.X+sign*x*dir.X, f.Y+sign*x*dir.Y, false)
				if !ok {
					break
				}
				done += math.Max(1e-3, n.Dist(at))
				at = n
				path, axis = append(path, n), append(axis, n.Along(r-f.Depth, g))
			}
			return
		}
		bp, ba := walk(-1)
		fp, fa := walk(1)
		_, g, _ := m.s.at(q)
		var c chain
		var path []vec
		for i := len(bp) - 1; i >= 0; i-- {
			path, c.p = append(path, bp[i]), append(c.p, ba[i])
		}
		path, c.p = append(append(path, q), fp...), append(append(c.p, q.Along(r-f.Depth, g)), fa...)
		c.r, c.lo, c.hi = r, c.p[0], c.p[0]
		for _, v := range c.p {
			c.lo, c.hi = c.lo.Min(v), c.hi.Max(v)
		}
		length := f.Width // less than was asked for where the surface ends first
		for i := range len(path) - 1 {
			length += path[i].Dist(path[i+1])
		}
		m.truth.Folds = append(m.truth.Folds, FoldTruth{path[len(path)/2], length, f.Width, f.Depth, m.s.turnAcross(path, &c), path})
		m.s.folds = append(m.s.folds, c)
	}
	m.s.voids, m.s.blebs = voids, blebs
	return nil
}

// places finds the landmarks and what the protocol measures at the back.
func (m *maker) places() {
	an, lm := m.an, m.truth.Landmarks
	for k, q := range an.landmarks {
		lm[k] = an.sheet.tissuePoint([2]float64{q.X, q.Y}, an.tissue)
	}
	for _, q := range an.crest {
		m.truth.Crest = append(m.truth.Crest, an.sheet.tissuePoint(q, an.tissue))
	}
	lm["labial_frenum"] = an.lowest(sideBuccal, 0, 4).apex
	lm["buccal_frenum_left"] = an.lowest(sideBuccal, m.an.bucL, 4).apex
	lm["buccal_frenum_right"] = an.lowest(sideBuccal, m.an.bucR, 4).apex
	if m.p.Jaw == "lower" {
		lm["lingual_frenum"] = an.lowest(sideLingual, 0, 6).apex
		l, r := m.p.PadCoverLeft, m.p.PadCoverRight
		least := math.Min(l, r)
		m.truth.PadCover, m.truth.PadCoverLeft, m.truth.PadCoverRight = &least, &l, &r
		return
	}
	m.truth.Extension = &Sides{m.p.ExtensionLeft - 1.4, m.p.ExtensionRight - 1.4}
	best := math.Inf(1)
	for i, s := range an.side {
		if s != sideBack {
			continue
		}
		for u := -0.5; u < 0.5; u += 0.02 {
			var j jet
			a, b, _, _, _, _ := an.sheet.trim.at(float64(i) + u)
			an.sheet.at(a, b, &j)
			if math.Abs(j.v[0]) < best {
				best = math.Abs(j.v[0])
				lm["posterior_midline"] = j.pos().Add(vec{Y: j.v[3]})
			}
		}
	}
}
