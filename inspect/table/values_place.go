package table

import (
	"math"

	"fornix/inspect"
)

// byJaw picks what belongs to the jaw; nothing where it is not known.
func byJaw[T any](jaw inspect.Jaw, upper, lower []T) []T {
	switch jaw {
	case inspect.Upper:
		return upper
	case inspect.Lower:
		return lower
	}
	return nil
}

func (c *collector) border(r *inspect.Report) {
	b := &r.Border
	var length *float64
	if len(b.Stations) > 0 {
		length = &b.LengthMM
	}
	c.number("border_length", "", length, nil, b.Unmeasured)
	found := map[string]*inspect.BorderRegion{}
	for i := range b.Regions {
		found[b.Regions[i].Region] = &b.Regions[i]
	}
	for _, name := range byJaw(r.Jaw, upperRegions, lowerRegions) {
		g, ok := found[name]
		if !ok {
			why := b.Unmeasured
			if why == "" {
				why = "no station of the border lies there"
			}
			g = &inspect.BorderRegion{Unmeasured: why}
			c.number("border_region_length", name, nil, nil, why)
		} else {
			c.number("border_region_length", name, &g.LengthMM, nil, "")
		}
		c.number("border_thickness_min", name, g.MinMM, nil, g.Unmeasured)
		c.number("border_thickness_median", name, g.MedianMM, g.ThicknessUMM, g.Unmeasured)
		c.number("border_thickness_max", name, g.MaxMM, nil, g.Unmeasured)
		c.number("border_outside", name, g.OutsideMM, nil, g.Unmeasured)
		c.number("border_height_median", name, g.HeightMM, nil, g.Unmeasured)
	}
	c.stations(b.Stations)
}

// stations adds thickness and height at each station. How far along its side a station lies is told
// as a share of the way from the first to the last, so that sides of different length lie on
// each other.
func (c *collector) stations(all []inspect.Station) {
	ends := map[string]float64{}
	for i := range all {
		ends[all[i].Side] = max(ends[all[i].Side], all[i].SMM)
	}
	for i := range all {
		s := &all[i]
		along := 0.0
		if end := ends[s.Side]; end > 0 {
			along = math.Round(s.SMM/end*1e6) / 1e6
		}
		item := Value{Place: s.Region, Surface: s.Side, Item: i + 1, Along: &along, Reason: s.Unmeasured}
		c.item("border_thickness", item, s.ThicknessMM, s.ThicknessUMM)
		item.Reason = ""
		c.item("border_height", item, s.HeightMM, s.HeightUMM)
	}
}

func (c *collector) posterior(r *inspect.Report) {
	p := &r.Posterior
	for _, side := range [2]struct {
		name string
		at   *inspect.PosteriorSide
	}{{"right", p.Right}, {"left", p.Left}} {
		s := side.at
		if s == nil {
			s = &inspect.PosteriorSide{Unmeasured: p.Unmeasured}
		}
		switch r.Jaw {
		case inspect.Upper:
			c.number("reaches_notch", side.name, yes(s.ReachesNotch), nil, s.Unmeasured)
			c.number("extension", side.name, s.ExtensionMM, s.ExtensionUMM, s.Unmeasured)
		case inspect.Lower:
			c.number("past_pad_front", side.name, s.PastPadFrontMM, s.PastPadFrontUMM, s.Unmeasured)
			c.number("summit_reached", side.name, yes(s.SummitReached), nil, s.Unmeasured)
		}
	}
	if r.Jaw == inspect.Upper {
		c.number("midline", "", p.MidlineMM, p.MidlineUMM, p.Unmeasured)
	}
}

// yes is 1 for true and 0 for false.
func yes(b *bool) *float64 {
	switch {
	case b == nil:
		return nil
	case *b:
		return new(1.0)
	}
	return new(0.0)
}

func (c *collector) landmarks(r *inspect.Report) {
	for _, name := range byJaw(r.Jaw, upperLandmarks, lowerLandmarks) {
		l, found := r.Landmarks[name]
		if !found || r.Frame == nil {
			const why = "the landmark was not found"
			for _, way := range []string{"left", "posterior", "toward_tissue"} {
				c.number("landmark_"+way, name, nil, nil, why)
			}
			continue
		}
		p := r.Frame.Local(l.Point)
		u := &l.UncertaintyMM
		c.number("landmark_left", name, rounded(p.X), u, "")
		c.number("landmark_posterior", name, rounded(p.Y), u, "")
		c.number("landmark_toward_tissue", name, rounded(p.Z), u, "")
		if l.WidthMM > 0 { // of a frenal notch whose form was measured
			c.number("frenum_width", name, &l.WidthMM, &l.WidthUMM, "")
		}
		if l.DepthMM > 0 {
			c.number("frenum_depth", name, &l.DepthMM, &l.DepthUMM, "")
		}
	}
}

// rounded is to 0.0001, as numbers are in reports.
func rounded(x float64) *float64 { return new(math.Round(x*1e4)/1e4 + 0) }

func (c *collector) rim(r *inspect.Report) {
	o := r.Occlusal
	if o == nil {
		why := r.OcclusalUnmeasured
		for _, name := range []string{"rim_flatness", "rim_minimum_zone", "rim_rms", "rim_area", "rim_chips"} {
			c.number(name, "", nil, nil, why)
		}
		for _, place := range rimParts {
			c.number("rim_height", place, nil, nil, why)
		}
		for _, name := range []string{"rim_cant", "rim_pitch", "rim_tilt"} {
			c.number(name, "crest", nil, nil, why)
		}
		return
	}
	c.number("rim_flatness", "", &o.FlatnessMM, &o.FlatnessUMM, "")
	c.number("rim_minimum_zone", "", &o.MinimumZoneMM, nil, "")
	c.number("rim_rms", "", &o.RMSMM, nil, "")
	c.number("rim_area", "", &o.AreaMM2, nil, "")
	c.count("rim_chips", len(o.Chips))
	for _, ref := range references {
		t, found := o.Tilts[ref]
		if !found {
			continue
		}
		c.number("rim_cant", ref, &t.CantDeg, &t.UDeg, "")
		c.number("rim_pitch", ref, &t.PitchDeg, &t.UDeg, "")
		c.number("rim_tilt", ref, &t.TotalDeg, &t.UDeg, "")
	}
	for _, h := range [3]struct {
		place string
		v     *float64
	}{{"anterior", o.RimHeight.Anterior}, {"right", o.RimHeight.Right}, {"left", o.RimHeight.Left}} {
		c.number("rim_height", h.place, h.v, &o.RimHeight.UMM, "no apex of the border lies beside the rim there")
	}
	for _, place := range rimParts {
		w := o.RimWidth[place]
		if w == nil {
			continue
		}
		c.number("rim_width_min", place, &w.MinMM, nil, "")
		c.number("rim_width_median", place, &w.MedianMM, nil, "")
		c.number("rim_width_max", place, &w.MaxMM, nil, "")
	}
}
