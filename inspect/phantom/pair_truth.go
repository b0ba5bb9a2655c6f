package phantom

import (
	"math"
	"slices"
)

// PairTruth is what two closed scans are known to be. Points and directions are in the upper scan's
// coordinates.
type PairTruth struct {
	Name  string `json:"name"`
	Seed  int64  `json:"seed"`
	Apart bool   `json:"apart"`

	// The lower scan's coordinates into the upper's: rows of the rotation, and the shift.
	LowerToUpper  [3][4]float64 `json:"lower_to_upper"`
	UpperToClosed [3][4]float64 `json:"upper_to_closed"` // zero without a scan of both

	Left      vec `json:"left"` // at right angles to Up
	Posterior vec `json:"posterior"`
	Up        vec `json:"up"` // mean of both planes' normals

	AngleDeg    float64 `json:"angle_deg"` // between the planes
	ForeAftDeg  float64 `json:"fore_aft_deg"`
	SidewaysDeg float64 `json:"sideways_deg"`

	// Of the flats' exact surfaces along Up, over their common area on a grid of 0.2 mm; the rounded
	// edges are no part of a flat.
	AreaMM2    float64    `json:"area_mm2"`
	MinMM      float64    `json:"min_mm"`
	MedianMM   float64    `json:"median_mm"`
	P95MM      float64    `json:"p95_mm"`
	MaxMM      float64    `json:"max_mm"`
	ContactMM2 [3]float64 `json:"contact_mm2"` // up to 0.05, 0.1, 0.2 mm
	SunkMM3    float64    `json:"sunk_mm3"`
	Places     []GapTruth `json:"places"` // some places of it

	SulcusMM float64 `json:"sulcus_mm"` // along Up, between the borders beside the labial frena, where their notches have run out
	// Along Up, between the crests: where each crosses its jaw's midline, and on each side where both
	// lie MolarMM behind the foremost place of the common area.
	MolarMM      float64 `json:"molar_mm"`
	CrestMM      float64 `json:"crest_mm"`
	CrestRightMM float64 `json:"crest_molar_right_mm"`
	CrestLeftMM  float64 `json:"crest_molar_left_mm"`

	// Outer edge of the upper flat outside that of the lower; along the sides 20 mm behind the
	// foremost place of the common area, and at the upper's midline: the median over 10 mm.
	OverLeftMM    float64 `json:"over_left_mm"`
	OverRightMM   float64 `json:"over_right_mm"`
	OverForwardMM float64 `json:"over_forward_mm"`
	MidlineMM     float64 `json:"midline_mm"` // lower labial frenum to the patient's left of the upper one
}

// GapTruth is the gap at one place, which lies midway between the flats.
type GapTruth struct {
	At vec     `json:"at"`
	MM float64 `json:"mm"`
}

// truthMolarMM is PairTruth.MolarMM.
const truthMolarMM = 26.0

// pairFrame looks at both flats along the mean of their normals, in the upper's upright axes.
type pairFrame struct {
	u, l   *half
	axes   motion // columns: left, posterior, up; t: the origin of the upper's axes
	lo, hi [2]float64
}

func gapFrame(u, l *half) *pairFrame {
	f := &pairFrame{u: u, l: l, axes: along(u.n.Add(l.to.turn(l.n)).Unit())}
	back := f.axes.inverse()
	f.lo, f.hi = [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, q := range u.m.an.rim {
		p := back.apply(vec{X: q[0], Y: q[1], Z: u.p.Z})
		f.lo = [2]float64{math.Min(f.lo[0], p.X), math.Min(f.lo[1], p.Y)}
		f.hi = [2]float64{math.Max(f.hi[0], p.X), math.Max(f.hi[1], p.Y)}
	}
	return f
}

// flat returns the height along Up of a jaw's flat over (x, y); false beside it.
func (f *pairFrame) flat(h *half, x, y float64) (float64, bool) {
	from := f.axes.then(h.to.inverse()) // of the pair's axes to the jaw's upright ones
	w := h.m.s.wax
	height := func(z float64) float64 { return w.height(h.upright(from.apply(vec{X: x, Y: y, Z: z}))) }
	z, step := from.inverse().apply(h.p).Z, 1.0
	for range 8 { // Newton; the wave's slope is small
		g := height(z)
		step = (height(z+1e-3) - g) / 1e-3
		z -= g / step
	}
	p := h.upright(from.apply(vec{X: x, Y: y, Z: z}))
	if d, _ := w.outline.nearest(p.X, p.Y); d > -rimEdge {
		return z, false
	}
	return z, w.at(p, math.Inf(1)) < 1e-6
}

// over visits the common area on a grid: places midway, in the upper's upright axes, and the gap.
func (f *pairFrame) over(step float64, visit func(mid vec, gap, y float64)) {
	for y := f.lo[1] + step/2; y < f.hi[1]; y += step {
		for x := f.lo[0] + step/2; x < f.hi[0]; x += step {
			zu, ok := f.flat(f.u, x, y)
			if !ok {
				continue
			}
			if zl, ok := f.flat(f.l, x, y); ok {
				visit(f.axes.apply(vec{X: x, Y: y, Z: (zu + zl) / 2}), zu-zl, y)
			}
		}
	}
}

// truth measures the pair.
func (p *PairParams) truth(u, l *half, pr *Pair) PairTruth {
	f := gapFrame(u, l)
	t := PairTruth{Name: p.Name, Seed: p.Seed, Apart: p.Apart, MolarMM: truthMolarMM}
	scan := u.m.p.placed()
	t.LowerToUpper = l.m.p.placed().inverse().then(l.to).then(scan).rows()
	t.Left, t.Posterior, t.Up = scan.turn(f.axes.x), scan.turn(f.axes.y), scan.turn(f.axes.z)
	deg := 180 / math.Pi
	nu, nl := f.axes.inverse().turn(u.n), f.axes.inverse().turn(l.to.turn(l.n))
	t.AngleDeg = deg * math.Acos(math.Min(1, nu.Dot(nl)))
	t.ForeAftDeg = deg * (math.Atan2(nu.Y, nu.Z) - math.Atan2(nl.Y, nl.Z))
	t.SidewaysDeg = deg * (math.Atan2(nl.X, nl.Z) - math.Atan2(nu.X, nu.Z))

	const step = 0.2
	var gaps []float64
	front := math.Inf(1)
	f.over(step, func(mid vec, g, y float64) {
		gaps = append(gaps, g)
		front = math.Min(front, y)
		for i, c := range [3]float64{0.05, 0.1, 0.2} {
			if g <= c {
				t.ContactMM2[i] += step * step
			}
		}
		t.SunkMM3 += step * step * math.Max(0, -g)
		if len(gaps)%401 == 1 {
			t.Places = append(t.Places, GapTruth{scan.apply(mid), g})
		}
	})
	slices.Sort(gaps)
	n := len(gaps) - 1
	t.AreaMM2 = float64(n+1) * step * step
	t.MinMM, t.MedianMM, t.P95MM, t.MaxMM = gaps[0], gaps[n/2], gaps[n*95/100], gaps[n]

	t.SulcusMM = f.local(u, u.besideFrenum()).Z - f.local(l, l.besideFrenum()).Z
	cu, cl := f.crest(u), f.crest(l)
	t.CrestMM = f.atMidline(u, cu) - f.atMidline(l, cl)
	behind := front + truthMolarMM
	t.CrestRightMM = crossing(cu, behind, -1) - crossing(cl, behind, -1)
	t.CrestLeftMM = crossing(cu, behind, 1) - crossing(cl, behind, 1)

	outer := func(h *half, x, y, dx, dy float64) float64 {
		const fine = 0.02
		for d := 45.0; d > 0; d -= fine {
			if _, ok := f.flat(h, x+d*dx, y+d*dy); ok {
				return d + fine/2
			}
		}
		return math.NaN()
	}
	// The median over 10 mm, so that no chip counts.
	over := func(x, y, dx, dy, alongX, alongY float64) float64 {
		var mm []float64
		for i := -10; i <= 10; i++ {
			d := 0.5 * float64(i)
			v := outer(u, x+d*alongX, y+d*alongY, dx, dy) - outer(l, x+d*alongX, y+d*alongY, dx, dy)
			if !math.IsNaN(v) {
				mm = append(mm, v)
			}
		}
		if len(mm) == 0 {
			return math.NaN()
		}
		slices.Sort(mm)
		return mm[len(mm)/2]
	}
	at := front + 20
	t.OverLeftMM, t.OverRightMM, t.OverForwardMM = over(0, at, 1, 0, 0, 1), over(0, at, -1, 0, 0, 1), over(0, at, 0, -1, 1, 0)
	lower := pr.Lower.Truth.Landmarks["labial_frenum"]
	lower = l.m.p.placed().inverse().then(l.to).then(scan).apply(lower)
	t.MidlineMM = lower.Sub(pr.Upper.Truth.Landmarks["labial_frenum"]).Dot(t.Left)
	return t
}

// besideFrenum is the middle, in the jaw's own axes, of the border's apexes on both sides of the
// labial frenum where its notch has just run out: 2.6 times as far along the crest as where it is
// half as deep, a hundredth of it is left.
func (h *half) besideFrenum() vec {
	var crest []vec
	for _, q := range h.m.an.crest {
		crest = append(crest, h.m.an.sheet.tissuePoint(q, h.m.an.tissue))
	}
	left := func(p vec) float64 { // of the crest's place nearest in plan
		best, x := math.Inf(1), 0.0
		for i := 1; i < len(crest); i++ {
			a, b := crest[i-1], crest[i]
			dx, dy := b.X-a.X, b.Y-a.Y
			t := math.Max(0, math.Min(1, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/(dx*dx+dy*dy)))
			if d := math.Hypot(a.X+t*dx-p.X, a.Y+t*dy-p.Y); d < best {
				best, x = d, a.X+t*dx
			}
		}
		return x
	}
	mid := left(h.m.an.lowest(sideBuccal, 0, 4).apex)
	var sum vec
	for _, sign := range []float64{-1, 1} {
		best, at := math.Inf(1), vec{}
		for i := range h.m.an.deg {
			st := h.m.an.station(float64(i))
			off := (left(st.apex) - mid) * sign
			if st.side == sideBuccal && math.Abs(st.deg) < 40 && off > 2.6*(h.m.p.LabialFrenum.Width/2+0.8*st.r) && off < best {
				best, at = off, st.apex
			}
		}
		sum = sum.Add(at)
	}
	return sum.Scale(0.5)
}

// local returns a point of a jaw's own axes in the pair's.
func (f *pairFrame) local(h *half, p vec) vec {
	return f.axes.inverse().apply(h.to.apply(h.upright(p)))
}

// crest returns the ridge crest in the pair's axes, from the patient's right to left.
func (f *pairFrame) crest(h *half) []vec {
	var out []vec
	for _, q := range h.m.an.crest {
		out = append(out, f.local(h, h.m.an.sheet.tissuePoint(q, h.m.an.tissue)))
	}
	return out
}

// atMidline is the height of a jaw's crest where it crosses the jaw's own midline in front.
func (f *pairFrame) atMidline(h *half, crest []vec) float64 {
	mid := f.local(h, vec{})
	left := f.axes.inverse().turn(h.to.turn(vec{X: 1}))
	for i := 1; i < len(crest); i++ {
		a, b := crest[i-1].Sub(mid).Dot(left), crest[i].Sub(mid).Dot(left)
		if a <= 0 && b > 0 {
			return crest[i-1].Z + (crest[i].Z-crest[i-1].Z)*a/(a-b)
		}
	}
	return math.NaN()
}

// crossing is the height of a crest at y, on the left (side 1) or right.
func crossing(crest []vec, y, side float64) float64 {
	for i := 1; i < len(crest); i++ {
		a, b := crest[i-1], crest[i]
		if a.X*side > 5 && (a.Y-y)*(b.Y-y) <= 0 && a.Y != b.Y {
			return a.Z + (b.Z-a.Z)*(y-a.Y)/(b.Y-a.Y)
		}
	}
	return math.NaN()
}

func (m motion) rows() [3][4]float64 {
	return [3][4]float64{
		{m.x.X, m.y.X, m.z.X, m.t.X}, {m.x.Y, m.y.Y, m.z.Y, m.t.Y}, {m.x.Z, m.y.Z, m.z.Z, m.t.Z},
	}
}
