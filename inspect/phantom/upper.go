package phantom

import (
	"fmt"
	"math"
)

const ctlStep = 0.75 // mm, control net of the sheet

// wobble is a slow, seeded variation along the arch, within -1 and 1; deg is -100 to 100.
type wobble [4]float64

func (w wobble) at(deg float64) float64 {
	u := deg * math.Pi / 200
	return (w[0]*math.Sin(u) + w[1]*math.Cos(2*u) + w[2]*math.Sin(3*u) + w[3]*math.Cos(4*u)) / 2
}

// anatomy is what the jaw builders hand to the solid.
type anatomy struct {
	sheet      *sheet
	side       []uint8        // per control point of the loop
	deg        []float64      // the same: -100 … 100 along the arch
	landmarks  map[string]vec // found later on the tissue surface; here parameter points in X, Y
	tissue     float64        // sign of the sheet's normal that points to the tissue
	crest      [][2]float64   // parameter points of the ridge crest, right to left
	rim        [][2]float64   // rim's outline
	plate      [][2]float64
	rimTop     float64 // z up to which the rim's walls may rise
	rimBack    float64 // y of the rim's back end at the plane
	bucL, bucR float64 // deg of the buccal frena
}

// Sides of the loop.
const (
	sideBack uint8 = iota
	sideBuccal
	sideLingual
)

// profile integrates a wall whose slope rises from 0 to top degrees over the first ramp mm.
func profile(e, top, ramp float64) (d, z float64) {
	const h = 0.1
	for u := 0.0; u < e; u += h {
		w := math.Min(h, e-u)
		al := top * math.Pi / 180 * smooth(u+w/2, 0, ramp)
		d += w * math.Cos(al)
		z += w * math.Sin(al)
	}
	return
}

// reach is the inverse of profile's z.
func reach(z, top, ramp float64) float64 {
	const h = 0.05
	var got float64
	for u := 0.0; u < 40; u += h {
		got += h * math.Sin(top*math.Pi/180*smooth(u+h/2, 0, ramp))
		if got >= z {
			return u + h
		}
	}
	return 40
}

// arch is a plan curve from the patient's right to left, as a polyline with unit outward normals.
type arch struct {
	p, n [][2]float64
	s    []float64 // arc length from the midline, negative on the right
	mid  int
}

func newArch(p [][2]float64) *arch {
	a := &arch{p: p, n: make([][2]float64, len(p)), s: make([]float64, len(p))}
	for i := range p {
		q, o := p[max(0, i-1)], p[min(len(p)-1, i+1)]
		dx, dy := o[0]-q[0], o[1]-q[1]
		l := math.Hypot(dx, dy)
		a.n[i] = [2]float64{dy / l, -dx / l}
		if i > 0 {
			a.s[i] = a.s[i-1] + math.Hypot(p[i][0]-p[i-1][0], p[i][1]-p[i-1][1])
		}
		if p[i][1] < p[a.mid][1] {
			a.mid = i
		}
	}
	m := a.s[a.mid]
	for i := range a.s {
		a.s[i] -= m
	}
	return a
}

// at returns point and outward normal at arc length s; beyond the ends the arch goes on straight.
func (a *arch) at(s float64) (p, n [2]float64) {
	k := len(a.s) - 1
	switch {
	case s <= a.s[0]:
		d := s - a.s[0]
		return [2]float64{a.p[0][0] - a.n[0][1]*d, a.p[0][1] + a.n[0][0]*d}, a.n[0]
	case s >= a.s[k]:
		d := s - a.s[k]
		return [2]float64{a.p[k][0] - a.n[k][1]*d, a.p[k][1] + a.n[k][0]*d}, a.n[k]
	}
	lo, hi := 0, k
	for hi-lo > 1 {
		if m := (lo + hi) / 2; a.s[m] <= s {
			lo = m
		} else {
			hi = m
		}
	}
	u := (s - a.s[lo]) / (a.s[hi] - a.s[lo])
	for c := 0; c < 2; c++ {
		p[c] = a.p[lo][c] + u*(a.p[hi][c]-a.p[lo][c])
		n[c] = a.n[lo][c] + u*(a.n[hi][c]-a.n[lo][c])
	}
	l := math.Hypot(n[0], n[1])
	return p, [2]float64{n[0] / l, n[1] / l}
}

// locate returns the arc length of the nearest point and the distance, positive outward.
func (a *arch) locate(x, y float64) (s, e float64) {
	best, bi := math.Inf(1), 0
	for i, p := range a.p {
		if d := (x-p[0])*(x-p[0]) + (y-p[1])*(y-p[1]); d < best {
			best, bi = d, i
		}
	}
	n, p := a.n[bi], a.p[bi]
	along := -n[1]*(x-p[0]) + n[0]*(y-p[1])
	if bi > 0 && bi < len(a.p)-1 {
		along = math.Max(-0.3, math.Min(0.3, along))
	}
	s = a.s[bi] + along
	q, m := a.at(s)
	return s, (x-q[0])*m[0] + (y-q[1])*m[1]
}

// buildUpper lays the sheet of an upper impression. Its parameter plane is the plan view inside
// the ridge crest; outside the crest it is the flange laid out flat.
func buildUpper(p *Params, w []wobble) (*anatomy, error) {
	hand := 1.0 // -1 swaps the asymmetry's sides
	if p.Mirror {
		hand = -1
	}
	half, back := p.HalfWidth*p.Size, p.Length*p.Size
	turn := 0.66 * back // where the arch becomes straight
	const power = 2.25
	width := func(y float64) float64 { return half - 0.03*math.Max(0, back-y) }
	var pts [][2]float64
	for y := back + 14; y > turn; y -= 0.3 {
		pts = append(pts, [2]float64{-width(y), y})
	}
	for i := 0; i <= 240; i++ {
		x := -1 + float64(i)/120
		// Even steps in angle, so that front and sides are sampled alike.
		th := x * math.Pi / 2
		cx, cy := math.Sin(th), math.Cos(th)
		k := math.Pow(math.Pow(math.Abs(cx), power)+math.Pow(cy, power), -1/power)
		y := turn - turn*cy*k
		pts = append(pts, [2]float64{cx * k * width(y), y})
	}
	for y := turn + 0.3; y < back+14; y += 0.3 {
		pts = append(pts, [2]float64{width(y), y})
	}
	for i := range pts {
		pts[i][0] += hand * p.Asymmetry * w[0].at(hand*100*pts[i][0]/half)
	}
	ar := newArch(pts)
	sEnd := (ar.s[len(ar.s)-1]-ar.s[0])/2 - 14
	deg := func(s float64) float64 { return 100 * s / sEnd }
	level := func(x, y float64) float64 { // 0 at the middle, 1 on the crest
		c := math.Max(0, (turn-y)/turn)
		a := math.Abs(x-hand*p.Asymmetry*w[0].at(hand*100*x/half)) / width(math.Max(y, 0))
		return math.Pow(math.Pow(a, power)+math.Pow(c, power), 1/power)
	}
	// Along the crest: the tuberosity sinks a little, then the floor climbs to the notch's summit.
	crest := func(y float64) float64 {
		return -1.2*math.Exp(-sq((y-0.70*back)/7)) + 6.5*smooth(y, back-13, back) - 2.0*smooth(y, back, back+7)
	}
	vault := func(y float64) float64 {
		h := p.PalateHeight * p.Height
		return h + (8.2-h)*smooth(y, 0.55*back, back+2)
	}
	r0 := p.Body / 2
	notch := func(s, at float64, n Notch, r float64) float64 {
		u := (s - at) / (n.Width/2 + 0.8*r)
		return n.Depth * math.Exp(-math.Ln2*u*u)
	}
	bucL, bucR := 0.40*sEnd+w[3].at(hand*50), -0.40*sEnd-w[3].at(hand*-50)
	radius := func(s float64) float64 {
		th := p.Border + 0.35*w[1].at(hand*deg(s))
		return stretched(p.Stretch, "buccal", deg(s), th) / 2
	}
	apex := func(s float64, y float64) float64 { // of the border, over z = 0
		u := math.Abs(deg(s))
		h := p.LabialHeight + (p.BuccalHeight-p.LabialHeight)*smooth(u, 20, 60) - 1.2*math.Exp(-sq((u-66)/9))
		h = h*p.Height + p.Asymmetry*w[2].at(hand*deg(s))
		h += (crest(y) + 3.0 - h) * smooth(y, back-12, back+1)
		h -= lowered(p.Stretch, "buccal", deg(s))
		r := radius(s)
		return h - notch(s, 0, p.LabialFrenum, r) - notch(s, bucL, p.BuccalFrenum, r) - notch(s, bucR, p.BuccalFrenum, r)
	}
	const ramp = 7.0
	slope := func(s float64) float64 { return 74 - 8*smooth(math.Abs(deg(s)), 30, 70) }
	edge := func(s float64) float64 { // laid-out height of the flange
		q, _ := ar.at(s)
		return reach(math.Max(1.2, apex(s, q[1])-radius(s)-crest(q[1])), slope(s), ramp)
	}
	papY := 6.2 * p.Size
	sh := &sheet{step: ctlStep, a0: -ctlStep * math.Ceil((half+24)/ctlStep), b0: -24}
	sh.na, sh.nb = int(2*-sh.a0/ctlStep+0.5)+1, int((back+14-sh.b0)/ctlStep)+2
	sh.ctl = make([][4]float64, sh.na*sh.nb)
	edges := make([]float64, 0, 1024)
	s0 := ar.s[0]
	for s := s0; s < -s0+1; s += 0.25 {
		edges = append(edges, edge(s))
	}
	edgeAt := func(s float64) float64 {
		return edges[int(math.Max(0, math.Min(float64(len(edges)-1), (s-s0)/0.25+0.5)))]
	}
	for i := 0; i < sh.na; i++ {
		for k := 0; k < sh.nb; k++ {
			a, b := sh.a0+ctlStep*float64(i), sh.b0+ctlStep*float64(k)
			s, e := ar.locate(a, b)
			q, n := ar.at(s)
			c := &sh.ctl[i*sh.nb+k]
			c[3] = r0 + (radius(s)-r0)*smooth(edgeAt(s)-e, 8, 4)
			if e > 0 && level(a, b) > 0.9 {
				d, z := profile(e, slope(s), ramp)
				c[0], c[1], c[2] = q[0]+n[0]*d, q[1]+n[1]*d, crest(q[1])+z
				continue
			}
			t := math.Max(0, math.Min(1, (1-level(a, b))/0.62))
			f := (1 - math.Cos(math.Pi*t)) / 2
			z := crest(b) + (vault(b)-crest(b))*f
			z -= 1.1 * math.Exp(-sq(a/1.8)-sq((b-papY)/3))
			z += p.Raphe * math.Exp(-sq(a/1.3)) * smooth(b, papY+5, papY+9)
			for r := 0; r < 3; r++ {
				u := math.Abs(a)
				y0 := papY + 3.5 + 4.2*float64(r) + 0.12*u + 0.8*math.Sin(u*0.6+float64(r)+2*w[0][2])
				z -= p.Rugae * math.Exp(-sq((b-y0)/1.0)) * smooth(u, 1.5, 3) * smooth(u, 10.5-float64(r), 8-float64(r))
			}
			c[0], c[1], c[2] = a, b, z
		}
	}
	sh.hang(r0)
	an := &anatomy{sheet: sh, tissue: 1, bucL: deg(bucL), bucR: deg(bucR), landmarks: map[string]vec{}}
	// The summit of the notch lies at `back` on the crest; so far the sheet ends that far behind it.
	yl, yr := back+p.ExtensionLeft-r0, back+p.ExtensionRight-r0
	yMid := func(x float64) float64 {
		u := smooth(x, -0.7*half, 0.7*half)
		y := yr + (yl-yr)*u
		return y - 1.6*math.Exp(-sq(x/(0.28*half)))
	}
	outline := func() error {
		var poly, corners [][2]float64
		for s := ar.s[0]; s < -ar.s[0]; s += 0.25 {
			q, n := ar.at(s)
			e := edgeAt(s)
			x, y := q[0]+n[0]*e, q[1]+n[1]*e
			if s < 0 && y > yr || s > 0 && y > yl {
				continue
			}
			poly = append(poly, [2]float64{x, y})
		}
		if len(poly) < 100 {
			return fmt.Errorf("phantom: an extension of %g mm leaves no flange", p.ExtensionLeft)
		}
		first, last := poly[0], poly[len(poly)-1]
		corners = [][2]float64{{first[0], yr}, {last[0], yl}}
		for x := last[0]; x > first[0]; x -= 0.25 {
			poly = append(poly, [2]float64{x, yMid(x)})
		}
		poly = resample(poly, 0.5)
		roundCorners(poly, corners, 3.2, 0.5)
		sh.trim = newLoop(resample(poly, 0.7))
		an.side, an.deg = nil, nil
		for _, c := range sh.trim.ctl {
			s, e := ar.locate(c[0], c[1])
			lim := yl
			if s < 0 {
				lim = yr
			}
			side := sideBack
			if c[1] < lim-2.5 && e > 0 {
				side = sideBuccal
			}
			an.side, an.deg = append(an.side, side), append(an.deg, deg(s))
		}
		return nil
	}
	// Shift the back edge until the rearmost material lies as asked behind the notch's summit.
	notchL, notchR := an.summitAlong(ar, back, 1), an.summitAlong(ar, back, -1)
	for it := 0; it < 4; it++ {
		if err := outline(); err != nil {
			return nil, err
		}
		nl, nr := sh.tissuePoint(notchL, 1), sh.tissuePoint(notchR, 1)
		yl += nl.Y + p.ExtensionLeft - an.rearmost(nl)
		yr += nr.Y + p.ExtensionRight - an.rearmost(nr)
	}
	if err := outline(); err != nil {
		return nil, err
	}
	param := func(q [2]float64) vec { return vec{X: q[0], Y: q[1]} }
	tub := func(sign float64) [2]float64 {
		q, _ := ar.at(sign * (sEnd - 0.27*back))
		return q
	}
	an.landmarks["hamular_notch_left"], an.landmarks["hamular_notch_right"] = param(notchL), param(notchR)
	an.landmarks["tuberosity_left"], an.landmarks["tuberosity_right"] = param(tub(1)), param(tub(-1))
	an.landmarks["incisive_papilla"] = vec{Y: papY}
	for s := ar.s[0]; s < -ar.s[0]; s++ {
		q, _ := ar.at(s)
		if d, _ := sh.trim.nearest(q[0], q[1]); d < 0 {
			an.crest = append(an.crest, q)
		}
	}
	an.rimPlan(p, ar, sEnd, back-11, 0.5)
	an.rimTop, an.rimBack = 2.5, back-11
	return an, nil
}

func sq(x float64) float64 { return x * x }

// summitAlong finds where the floor is highest toward the tissue on the line that goes on from
// the crest, near y, on the left (sign 1) or right.
func (an *anatomy) summitAlong(ar *arch, y, sign float64) [2]float64 {
	var best [2]float64
	top := math.Inf(-1)
	for s := 0.0; s < -ar.s[0]; s += 0.02 {
		q, _ := ar.at(sign * s)
		if math.Abs(q[1]-y) > 4 {
			continue
		}
		if z := an.sheet.tissuePoint(q, an.tissue).Z; z > top {
			top, best = z, q
		}
	}
	return best
}

// rearmost returns the greatest y of the material straight behind a point.
func (an *anatomy) rearmost(at vec) float64 {
	y := math.Inf(-1)
	var j jet
	l := an.sheet.trim
	for t := 0.0; t < float64(len(l.ctl)); t += 0.02 {
		a, b, _, _, _, _ := l.at(t)
		if math.Abs(a-at.X) > 6 {
			continue
		}
		an.sheet.at(a, b, &j)
		if math.Abs(j.v[0]-at.X) <= 3 && j.v[1]+j.v[3] > y && b > at.Y-25 {
			y = j.v[1] + j.v[3]
		}
	}
	return y
}

// tissuePoint returns the point of the tissue surface over the sheet's point q.
func (s *sheet) tissuePoint(q [2]float64, sign float64) vec {
	var j jet
	s.at(q[0], q[1], &j)
	// The envelope of balls whose radius varies leans against the gradient of the radius.
	a, b, n := xyz(&j.a), xyz(&j.b), j.normal()
	aa, ab, bb := a.Dot(a), a.Dot(b), b.Dot(b)
	det := aa*bb - ab*ab
	u, v := (bb*j.a[3]-ab*j.b[3])/det, (aa*j.b[3]-ab*j.a[3])/det
	g := a.Scale(u).Along(v, b)
	m := g.Scale(-1).Along(sign*math.Sqrt(math.Max(0, 1-g.Dot(g))), n)
	return j.pos().Along(j.v[3], m)
}

// stretched returns the thickness of a border with its stretches, blended over 7 degrees.
func stretched(st []Stretch, side string, deg, th float64) float64 {
	for _, s := range st {
		if s.Side == side && s.Thickness > 0 {
			th += (s.Thickness - th) * inside(deg, s.From, s.To)
		}
	}
	return th
}

func lowered(st []Stretch, side string, deg float64) (h float64) {
	for _, s := range st {
		if s.Side == side {
			h += s.Lower * inside(deg, s.From, s.To)
		}
	}
	return h
}

func inside(x, from, to float64) float64 {
	return smooth(x, from-7, from) * (1 - smooth(x, to, to+7))
}
