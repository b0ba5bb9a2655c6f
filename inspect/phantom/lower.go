package phantom

import "math"

// buildLower lays the sheet of a lower impression. Its parameter plane is a strip: a runs along
// the ridge crest from the patient's right to left, b across it, buccal (outward) negative so
// that the plane is not turned over, lingual positive.
func buildLower(p *Params, w []wobble) (*anatomy, error) {
	hand := 1.0 // -1 swaps the asymmetry's sides
	if p.Mirror {
		hand = -1
	}
	half, front := p.HalfWidth*p.Size, p.Length*p.Size
	pad := p.PadLength
	// Plan of the crest: a catenary-like arch, flat in front, hardly diverging behind.
	var pts [][2]float64
	turn := 0.62 * front
	const power = 2.2
	width := func(y float64) float64 {
		return half - 2.5*p.Size*smooth(y, front+6, 0.35*front) - 0.04*math.Max(0, y-front)
	}
	behind := pad*1.4 + 12
	for y := front + behind; y > turn; y -= 0.3 {
		pts = append(pts, [2]float64{-width(y), y})
	}
	for i := 0; i <= 240; i++ {
		th := (-1 + float64(i)/120) * math.Pi / 2
		cx, cy := math.Sin(th), math.Cos(th)
		k := math.Pow(math.Pow(math.Abs(cx), power)+math.Pow(cy, power), -1/power)
		y := turn - turn*cy*k
		pts = append(pts, [2]float64{cx * k * width(y), y})
	}
	for y := turn + 0.3; y < front+behind; y += 0.3 {
		pts = append(pts, [2]float64{width(y), y})
	}
	for i := range pts {
		pts[i][0] += hand * p.Asymmetry * w[0].at(hand*100*pts[i][0]/half)
	}
	ar := newArch(pts)
	padFront := func(sign float64) float64 { // arc length at which the pad begins
		lo, hi := 0.0, -ar.s[0]
		for hi-lo > 1e-6 {
			m := (lo + hi) / 2
			if q, _ := ar.at(sign * m); q[1] < front {
				lo = m
			} else {
				hi = m
			}
		}
		return lo
	}
	pl, pr := padFront(1), padFront(-1)
	end := (pl + pr) / 2
	deg := func(s float64) float64 { return 90 * s / end }
	past := func(s float64) float64 { // mm behind the pad's front, along the crest
		if s > 0 {
			return s - pl
		}
		return -s - pr
	}
	// Floor: nearly level, then the pad's bulge on the slope of the ramus (oral is -z).
	crest := func(s float64) float64 {
		u := past(s)
		z := 0.9*smooth(math.Abs(s), 0.25*end, 0.8*end) - 0.26*soft(u)
		return z - p.PadHeight*smooth(u, 0, 0.5*pad)*(1-0.9*smooth(u, 0.5*pad, 1.1*pad))
	}
	notch := func(s, at float64, n Notch, r float64) float64 {
		u := (s - at) / (n.Width/2 + 0.8*r)
		return n.Depth * math.Exp(-math.Ln2*u*u)
	}
	r0 := p.Body / 2
	rBuc := func(s float64) float64 {
		return stretched(p.Stretch, "buccal", deg(s), p.Border+0.35*w[1].at(hand*deg(s))) / 2
	}
	rLin := func(s float64) float64 {
		return stretched(p.Stretch, "lingual", deg(s), p.Lingual+0.3*w[2].at(hand*deg(s)+17)) / 2
	}
	bucL, bucR := 0.42*end+w[3].at(hand*50), -0.42*end-w[3].at(hand*-50)
	// The borders run down to the floor over the pad.
	fall := func(h, s float64) float64 {
		u := past(s)
		return h + (2.6-h)*smooth(u, -6, 0.6*pad)
	}
	hBuc := func(s float64) float64 { // over the floor
		u := math.Abs(deg(s))
		h := p.LabialHeight + (p.BuccalHeight-p.LabialHeight)*smooth(u, 15, 50)
		h = fall(h*p.Height+p.Asymmetry*w[2].at(hand*deg(s)), s) - lowered(p.Stretch, "buccal", deg(s))
		r := rBuc(s)
		return h - notch(s, 0, p.LabialFrenum, r) - notch(s, bucL, p.BuccalFrenum, r) - notch(s, bucR, p.BuccalFrenum, r)
	}
	hLin := func(s float64) float64 {
		u := math.Abs(deg(s))
		h := p.LingualFront + (p.LingualBack-p.LingualFront)*smooth(u, 30, 78)
		h = fall(h*p.Height+p.Asymmetry*w[1].at(hand*deg(s)+31), s) - lowered(p.Stretch, "lingual", deg(s))
		return h - notch(s, 0, p.LingualFrenum, rLin(s))
	}
	const rampB, rampL = 6.0, 5.5
	slopeB := func(s float64) float64 { return 70 - 10*smooth(math.Abs(deg(s)), 30, 60) }
	slopeL := func(s float64) float64 { return 74 - 6*smooth(math.Abs(deg(s)), 60, 85) }
	eBuc := func(s float64) float64 { return reach(math.Max(0.9, hBuc(s)-rBuc(s)), slopeB(s), rampB) }
	eLin := func(s float64) float64 { return reach(math.Max(0.9, hLin(s)-rLin(s)), slopeL(s), rampL) }

	endL, endR := pl+p.PadCoverLeft*pad, pr+p.PadCoverRight*pad
	sh := &sheet{step: ctlStep, a0: -ctlStep * math.Ceil((math.Max(endL, endR)+12)/ctlStep), b0: -22}
	sh.na, sh.nb = int(-2*sh.a0/ctlStep+0.5)+1, 60
	sh.ctl = make([][4]float64, sh.na*sh.nb)
	for i := 0; i < sh.na; i++ {
		s := sh.a0 + ctlStep*float64(i)
		q, n := ar.at(s)
		eb, el := eBuc(s), eLin(s)
		for k := 0; k < sh.nb; k++ {
			b := sh.b0 + ctlStep*float64(k)
			c := &sh.ctl[i*sh.nb+k]
			e, r, top, ramp, edge := -b, rBuc(s), slopeB(s), rampB, eb
			if b > 0 {
				e, r, top, ramp, edge = b, rLin(s), slopeL(s), rampL, el
			}
			d, z := profile(e, top, ramp)
			if b > 0 {
				d = -d
			}
			*c = [4]float64{q[0] + n[0]*d, q[1] + n[1]*d, crest(s) + z, r0 + (r-r0)*smooth(edge-e, 7.5, 3.5)}
		}
	}
	sh.hang(r0)
	an := &anatomy{sheet: sh, tissue: 1, bucL: deg(bucL), bucR: deg(bucR), landmarks: map[string]vec{}}
	var poly, corners [][2]float64
	for s := -endR; s < endL; s += 0.25 {
		poly = append(poly, [2]float64{s, -eBuc(s)})
	}
	for b := -eBuc(endL); b < eLin(endL); b += 0.25 {
		poly = append(poly, [2]float64{endL, b})
	}
	for s := endL; s > -endR; s -= 0.25 {
		poly = append(poly, [2]float64{s, eLin(s)})
	}
	for b := eLin(-endR); b > -eBuc(-endR); b -= 0.25 {
		poly = append(poly, [2]float64{-endR, b})
	}
	corners = [][2]float64{{endL, -eBuc(endL)}, {endL, eLin(endL)}, {-endR, eLin(-endR)}, {-endR, -eBuc(-endR)}}
	poly = resample(poly, 0.5)
	roundCorners(poly, corners, 2.6, 0.5)
	sh.trim = newLoop(resample(poly, 0.7))
	for _, c := range sh.trim.ctl {
		side := sideBuccal
		switch {
		case c[0] > endL-2.5 || c[0] < -endR+2.5:
			side = sideBack
		case c[1] > 0:
			side = sideLingual
		}
		an.side, an.deg = append(an.side, side), append(an.deg, deg(c[0]))
	}
	an.landmarks["pad_front_left"], an.landmarks["pad_front_right"] = vec{X: pl}, vec{X: -pr}
	an.landmarks["pad_summit_left"], an.landmarks["pad_summit_right"] = vec{X: pl + pad/2}, vec{X: -pr - pad/2}
	an.landmarks["pad_posterior_left"], an.landmarks["pad_posterior_right"] = vec{X: pl + pad}, vec{X: -pr - pad}
	for s := -endR; s <= endL; s++ {
		an.crest = append(an.crest, [2]float64{s, 0})
	}
	an.rimPlan(p, ar, end, front-9, -0.3)
	an.rimTop, an.rimBack = 1.5, front-9
	return an, nil
}

// soft is max(0, x) with a rounded corner 3 mm wide.
func soft(x float64) float64 {
	switch {
	case x < -1.5:
		return 0
	case x > 1.5:
		return x
	}
	return sq(x+1.5) / 6
}
