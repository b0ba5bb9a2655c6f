package inspect

import "math"

// ridges tells how the crests of the two ridges stand to each other. Fore and aft: straight lines by
// least squares through the heights of each crest along one side; sideways: through both crests at
// the molars.
func (p *pair) ridges(f *common, upper, lower []crestPoint, heights []Height) Ridges {
	var r Ridges
	side := func(sign float64) (deg, u *float64) {
		a, ua, ok1 := p.slope(f, upper, sign)
		b, ub, ok2 := p.slope(f, lower, sign)
		if !ok1 || !ok2 {
			r.Unmeasured = "the crest of one ridge was not found along a whole side"
			return nil, nil
		}
		return ptr(degrees(math.Atan(b) - math.Atan(a))), ptr(degrees(expanded(ua, ub, p.poseU.turn)))
	}
	r.LeftDeg, r.LeftUDeg = side(1)
	r.RightDeg, r.RightUDeg = side(-1)
	var right, left *Height
	for i := range heights {
		switch heights[i].Name {
		case CrestMolarRight:
			right = &heights[i]
		case CrestMolarLeft:
			left = &heights[i]
		}
	}
	if right == nil || left == nil || right.MM == nil || left.MM == nil {
		r.Unmeasured = "the crest of one ridge was not found at the molars"
		return r
	}
	lean := func(a, b *Vec) (angle, width float64) {
		d := b.Sub(*a)
		width = d.Dot(p.frame.Left)
		return math.Atan2(d.Dot(p.frame.Up), width), width
	}
	up, wu := lean(right.Upper, left.Upper)
	low, wl := lean(right.Lower, left.Lower)
	r.SidewaysDeg = ptr(degrees(up - low))
	r.SidewaysUDeg = ptr(degrees(math.Hypot(*right.UMM, *left.UMM) / min(wu, wl)))
	return r
}

// slope is how much a crest rises along posterior on one side (1 left, -1 right), with its standard
// uncertainty.
func (p *pair) slope(f *common, crest []crestPoint, sign float64) (slope, u float64, ok bool) {
	var n, sy, sz, syy, syz float64
	var on []crestPoint
	for _, q := range crest {
		if y := q.at.Y - f.front; q.at.X*sign > 5 && y >= p.method.RidgeFromMM && y <= p.method.RidgeToMM {
			on = append(on, q)
			n, sy, sz = n+1, sy+q.at.Y, sz+q.at.Z
		}
	}
	if n < 4 {
		return 0, 0, false
	}
	sy, sz = sy/n, sz/n
	for _, q := range on {
		syy += float64((q.at.Y - sy) * (q.at.Y - sy))
		syz += float64((q.at.Y - sy) * (q.at.Z - sz))
	}
	slope = syz / syy
	left := 0.0
	for _, q := range on {
		d := q.at.Z - sz - slope*(q.at.Y-sy)
		left += float64(d*d) + float64(q.u*q.u)
	}
	return slope, math.Sqrt(left / (n - 2) / syy), true
}
