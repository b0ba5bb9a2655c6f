package phantom

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"

	"fornix/mesh"
)

// PairParams describes an upper and a lower scan whose occlusion rims are closed on each other.
type PairParams struct {
	Name         string
	Seed         int64
	Upper, Lower Params // the lower's Frame is worked out unless Apart

	Least    float64 // mm along the mean normal, least gap between the flats; negative: they run into each other
	ForeAft  float64 // deg, wedge between the planes, positive: farther apart in front
	Sideways float64 // deg, positive: farther apart on the patient's left
	Left     float64 // mm by which the lower stands to the patient's left
	Forward  float64 // mm by which it stands forward
	Apart    bool    // each scan in a frame of its own
	Closed   bool    // make the scan of both together too
}

// Pair is two scans, what is known of them together, and the scan of both closed.
type Pair struct {
	Upper, Lower *Phantom
	Closed       *mesh.Mesh // nil unless asked for; in a frame of its own
	Truth        PairTruth
}

// motion is a proper rigid motion p -> R p + t; x, y and z are the columns of R.
type motion struct{ x, y, z, t vec }

func (m motion) turn(v vec) vec  { return m.x.Scale(v.X).Along(v.Y, m.y).Along(v.Z, m.z) }
func (m motion) apply(p vec) vec { return m.t.Add(m.turn(p)) }

// then is first m, then n.
func (m motion) then(n motion) motion {
	return motion{n.turn(m.x), n.turn(m.y), n.turn(m.z), n.apply(m.t)}
}

func (m motion) inverse() motion {
	r := motion{x: vec{X: m.x.X, Y: m.y.X, Z: m.z.X}, y: vec{X: m.x.Y, Y: m.y.Y, Z: m.z.Y}, z: vec{X: m.x.Z, Y: m.y.Z, Z: m.z.Z}}
	r.t = r.turn(m.t).Scale(-1)
	return r
}

// quaternion returns w, x, y, z of the rotation (Shepperd, J Guid Control 1978;1:223).
func (m motion) quaternion() [4]float64 {
	trace := m.x.X + m.y.Y + m.z.Z
	d := [4]float64{trace, m.x.X, m.y.Y, m.z.Z}
	k := 0
	for i := range d {
		if d[i] > d[k] {
			k = i
		}
	}
	a, b, c := m.y.Z-m.z.Y, m.z.X-m.x.Z, m.x.Y-m.y.X
	e, f, g := m.x.Y+m.y.X, m.z.X+m.x.Z, m.y.Z+m.z.Y
	s := 1 + 2*d[k] - trace
	switch k {
	case 0:
		return [4]float64{1 + trace, a, b, c}
	case 1:
		return [4]float64{a, s, e, f}
	case 2:
		return [4]float64{b, e, s, g}
	}
	return [4]float64{c, f, g, s}
}

// placed is where Params put the patient's upright axes (z superior in both jaws) in the scan.
func (p *Params) placed() motion {
	a, shift := p.axes()
	up := a.TowardTissue
	if p.Jaw == "lower" {
		up = up.Scale(-1)
	}
	return motion{a.Left, a.Posterior, up, shift}
}

// half is one jaw of a pair: its maker, and the plane of its rim in the jaw's upright axes.
type half struct {
	m      *maker
	n, p   vec    // normal upward, point over the origin
	to     motion // the jaw's upright axes to the upper's
	mirror float64
}

func newHalf(p *Params) (*half, error) {
	m, err := prepare(p)
	if err != nil {
		return nil, err
	}
	if m.s.wax == nil {
		return nil, fmt.Errorf("phantom: a pair needs a rim on the %s jaw", p.Jaw)
	}
	h := &half{m: m, mirror: 1, n: m.s.wax.n, to: motion{x: vec{X: 1}, y: vec{Y: 1}, z: vec{Z: 1}}}
	if p.Jaw == "lower" {
		h.mirror = -1
		h.n = vec{X: -h.n.X, Y: -h.n.Y, Z: h.n.Z}
	}
	w := m.s.wax
	h.p = vec{Z: h.mirror * (w.p0.Z + (w.n.X*w.p0.X+w.n.Y*w.p0.Y)/w.n.Z)}
	return h, nil
}

// upright turns the jaw's own axes, z toward its tissue, upright, and back.
func (h *half) upright(v vec) vec { return vec{X: v.X, Y: v.Y, Z: h.mirror * v.Z} }

// along returns n as z, and the patient's left and posterior laid into the plane across it.
func along(n vec) motion {
	x := vec{X: 1}.Along(-n.X, n).Unit()
	return motion{x: x, y: n.Cross(x), z: n}
}

// MakePair builds both scans and their truth. What Make says holds for each.
func MakePair(p PairParams) (*Pair, error) {
	u, l, err := p.place()
	if err != nil {
		return nil, err
	}
	workers := runtime.GOMAXPROCS(0)
	pr := &Pair{}
	for _, h := range []*half{u, l} {
		sf, err := h.m.s.polygonise(h.m.p.Spacing, workers)
		if err != nil {
			return nil, err
		}
		for i := range sf.pos {
			h.m.truth.Deviation = math.Max(h.m.truth.Deviation, math.Abs(sf.f[i]))
		}
		ph, err := h.m.finish(sf, workers)
		if err != nil {
			return nil, err
		}
		if h == u {
			pr.Upper = ph
		} else {
			pr.Lower = ph
		}
	}
	// Points of both truths stand in their scans by now.
	pr.Truth = p.truth(u, l, pr)
	if p.Closed {
		pr.Closed, pr.Truth.UpperToClosed, err = p.closed(u, l, workers)
	}
	return pr, err
}

// place prepares both jaws and works out how the lower stands.
func (p *PairParams) place() (u, l *half, err error) {
	up, low := p.Upper, p.Lower
	if up.Jaw != "upper" || low.Jaw != "lower" || up.Scale != 1 || low.Scale != 1 {
		return nil, nil, fmt.Errorf("phantom: a pair is an upper and a lower in mm")
	}
	if u, err = newHalf(&up); err == nil {
		l, err = newHalf(&low)
	}
	if err != nil {
		return nil, nil, err
	}
	rad := math.Pi / 180
	a := along(u.n)
	n := a.z.Along(-math.Tan(p.ForeAft*rad), a.y).Along(math.Tan(p.Sideways*rad), a.x).Unit()
	l.to = along(l.n).inverse().then(along(n))
	at := u.p.Along(p.Left, a.x).Along(-p.Forward, a.y)
	l.to.t = at.Sub(l.to.turn(l.p))
	// Along the mean normal until the least gap is as asked.
	f := gapFrame(u, l)
	least := math.Inf(1)
	f.over(0.5, func(_ vec, g, _ float64) { least = math.Min(least, g) })
	if math.IsInf(least, 1) {
		return nil, nil, fmt.Errorf("phantom: the rims do not lie over each other")
	}
	l.to.t = l.to.t.Along(least-p.Least, f.axes.z)
	if !p.Apart {
		m := l.to.then(u.m.p.placed())
		low.Frame = Frame{Quat: m.quaternion(), Shift: m.t}
	}
	return u, l, nil
}

// pairs are the named pairs: each a change to two sound jaws with closed rims.
var pairs = map[string]func(*PairParams){
	"pair-sound":      func(p *PairParams) { p.Least, p.ForeAft, p.Sideways = 0.02, 0.04, -0.04 },
	"pair-back-right": func(p *PairParams) { p.ForeAft, p.Sideways, p.Left = 0.9, 0.8, 0.5 },
	"pair-open":       func(p *PairParams) { p.Least, p.ForeAft, p.Forward = 2.5, 0.5, -1 },
}

// PairNames lists the named pairs, sorted.
func PairNames() []string {
	var n []string
	for k := range pairs {
		n = append(n, k)
	}
	slices.Sort(n)
	return n
}

// NamedPair returns the params of a named pair. Both jaws have sides of their own, drawn from the
// name.
func NamedPair(name string) (PairParams, bool) {
	change, ok := pairs[name]
	if !ok {
		return PairParams{}, false
	}
	p := PairParams{Name: name, Upper: Default("upper"), Lower: Default("lower")}
	for _, c := range []byte(name) { // FNV-1a
		p.Seed = (p.Seed ^ int64(c)) * 16777619 & 0x7fffffff
	}
	p.Reseed(p.Seed)
	change(&p)
	return p, true
}

// Reseed draws frames and the sides' asymmetry anew.
func (p *PairParams) Reseed(seed int64) {
	p.Seed, p.Upper.Seed, p.Lower.Seed = seed, seed, seed+1
	p.Upper.Frame = frame(rand.New(rand.NewPCG(uint64(seed), 0xf4a3e)))
	p.Lower.Frame = frame(rand.New(rand.NewPCG(uint64(seed), 0xf4a3f)))
}

// RandomPair draws a pair: jaws as of Random without faults of the material, gaps from -0.3 to 2
// mm, wedges to 3 degrees, the lower up to 2.5 mm off its place. The seed alone decides.
func RandomPair(seed int64) PairParams {
	r := rand.New(rand.NewPCG(uint64(seed), 0x9a12))
	in := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	p := PairParams{Name: "random", Upper: Random(seed, "upper"), Lower: Random(seed+7919, "lower")}
	for _, j := range []*Params{&p.Upper, &p.Lower} {
		j.Voids, j.Blebs, j.Folds, j.Holes, j.Stretch, j.TissueSide, j.Handle = nil, nil, nil, nil, nil, false, false
		j.Rim.Kind, j.Rim.Chips = "rim", j.Rim.Chips[:min(1, len(j.Rim.Chips))]
		j.Rim.Wave = math.Min(j.Rim.Wave, 0.5)
		j.Spacing, j.Decimate = in(0.15, 0.5), 0
	}
	// One patient has jaws of one size.
	p.Lower.Size = p.Upper.Size * in(0.97, 1.03)
	p.Reseed(seed)
	p.Least, p.ForeAft, p.Sideways = in(-0.3, 2), in(-3, 3), in(-3, 3)
	p.Left, p.Forward = in(-2.5, 2.5), in(-2.5, 2.5)
	return p
}
