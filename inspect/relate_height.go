package inspect

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// crestPoint is a place of a ridge's crest in the pair's frame.
type crestPoint struct {
	at Vec
	u  float64 // standard uncertainty of its height, mm
}

// crest is a jaw's crest in the pair's frame, from the patient's right to left, with the heights of
// a smooth surface: a polynomial of second order fitted to the tissue surface within reach of each
// place, nearer ones counting more (least squares). A single section's lowest vertex would stand out by the noise.
func (s *seat) crest(reach, step float64) []crestPoint {
	var places []Vec
	var along float64
	raw := s.an.Crest()
	for i, p := range raw {
		if i > 0 {
			along += p.Dist(raw[i-1])
		}
		if i == 0 || along >= step {
			places, along = append(places, p), 0
		}
	}
	near := make([][]Vec, len(places))
	for v, q := range s.m.Pos {
		if s.an.Part[v] != PartTissue {
			continue
		}
		for i, p := range places {
			if d := q.Sub(p); math.Abs(d.X) < reach && math.Abs(d.Y) < reach && math.Abs(d.Z) < reach && d.Norm2() < reach*reach {
				near[i] = append(near[i], s.turned(d))
			}
		}
	}
	var out []crestPoint
	for i, p := range places {
		over, u, ok := s.smoothed(near[i], reach)
		if !ok {
			continue
		}
		q := s.local(p)
		q.Z += over
		out = append(out, crestPoint{q, u})
	}
	return out
}

// placeU is how far a crest's place may be off across it, standard uncertainty, mm: along a slope
// its height is off by as much of that.
const placeU = 0.3

// smoothed fits z = a + bx + cy + dx² + exy + fy² and returns a with its standard uncertainty.
func (s *seat) smoothed(points []Vec, reach float64) (a, u float64, ok bool) {
	const unknowns = 6
	if len(points) < 2*unknowns {
		return 0, 0, false
	}
	n, rhs := mat.NewSymDense(unknowns, nil), mat.NewVecDense(unknowns, nil)
	rows, weight := make([][]float64, len(points)), make([]float64, len(points))
	for i, q := range points {
		x, y := q.X/reach, q.Y/reach
		rows[i] = []float64{1, x, y, float64(x * x), float64(x * y), float64(y * y)}
		weight[i] = max(0, 1-q.Norm2()/(reach*reach))
		v := mat.NewVecDense(unknowns, rows[i])
		n.SymRankOne(n, weight[i], v)
		rhs.AddScaledVec(rhs, weight[i]*q.Z, v)
	}
	var chol mat.Cholesky
	var sol mat.VecDense
	if !chol.Factorize(n) || chol.Cond() > 1e8 || chol.SolveVecTo(&sol, rhs) != nil {
		return 0, 0, false
	}
	left, all := 0.0, 0.0
	for i, q := range points {
		d := q.Z - mat.Dot(mat.NewVecDense(unknowns, rows[i]), &sol)
		left, all = left+float64(weight[i]*d*d), all+weight[i]
	}
	var unit mat.VecDense
	if chol.SolveVecTo(&unit, mat.NewVecDense(unknowns, []float64{1, 0, 0, 0, 0, 0})) != nil {
		return 0, 0, false
	}
	sd := max(s.grain.NoiseMM, math.Sqrt(left/all*float64(len(points))/float64(len(points)-unknowns)))
	slope := math.Hypot(sol.AtVec(1), sol.AtVec(2)) / reach
	return sol.AtVec(0), math.Hypot(sd*math.Sqrt(unit.AtVec(0)), slope*placeU), true
}

// crossing returns where a crest passes a value of key, between the two places around it.
func crossing(crest []crestPoint, value float64, accept func(Vec) bool, key func(Vec) float64) (crestPoint, bool) {
	for i := 1; i < len(crest); i++ {
		a, b := crest[i-1], crest[i]
		ka, kb := key(a.at)-value, key(b.at)-value
		if ka*kb > 0 || ka == kb || !accept(a.at) || a.at.Dist(b.at) > 8 {
			continue
		}
		t := ka / (ka - kb)
		return crestPoint{a.at.Along(t, b.at.Sub(a.at)), math.Hypot((1-t)*a.u, t*b.u)}, true
	}
	return crestPoint{}, false
}

// heights measures the distances between the jaws along Up.
func (p *pair) heights(f *common, upper, lower []crestPoint) []Height {
	out := []Height{p.sulcus()}
	side := func(v Vec, s float64) bool { return v.X*s > 5 }
	for _, h := range []struct {
		name string
		sign float64
	}{{CrestAnterior, 0}, {CrestMolarRight, -1}, {CrestMolarLeft, 1}} {
		at := func(s *seat, crest []crestPoint) (crestPoint, bool) {
			if h.sign == 0 {
				return crossing(crest, 0, func(v Vec) bool { return v.Y < f.front+f.rear/2-f.front/2 }, func(v Vec) float64 { return v.X - s.midline(v.Y) })
			}
			return crossing(crest, f.front+p.method.MolarMM, func(v Vec) bool { return side(v, h.sign) }, func(v Vec) float64 { return v.Y })
		}
		a, ok1 := at(&p.upper, upper)
		b, ok2 := at(&p.lower, lower)
		if !ok1 || !ok2 {
			out = append(out, Height{Name: h.name, Unmeasured: "the crest of one ridge was not found there"})
			continue
		}
		out = append(out, p.height(h.name, a, b))
	}
	return out
}

// sulcus is the height between the borders' apexes beside the labial frena.
func (p *pair) sulcus() Height {
	var at [2]crestPoint
	for i, s := range []*seat{&p.upper, &p.lower} {
		apexes, beside := s.an.rimApexes()
		a, ok := apexes["anterior"]
		if !ok {
			return Height{Name: SulcusAnterior, Unmeasured: fmtJaw(s.jaw) + " border beside the labial frenum was not found"}
		}
		at[i] = crestPoint{s.local(a), s.grain.apexU(beside)}
	}
	return p.height(SulcusAnterior, at[0], at[1])
}

func fmtJaw(j Jaw) string { return "the " + string(j) }

// height is one between two places.
func (p *pair) height(name string, a, b crestPoint) Height {
	mm := a.at.Z - b.at.Z
	mid := a.at.Add(b.at).Scale(0.5)
	across := math.Hypot(a.at.X-b.at.X, a.at.Y-b.at.Y)
	u := expanded(a.u, b.u, p.poseU.at(math.Hypot(mid.X, mid.Y)), across*p.turn()/2)
	return Height{
		Name: name, MM: &mm, UMM: &u, UpperMM: ptr(a.at.Z), LowerMM: ptr(-b.at.Z),
		Upper: ptr(p.world(a.at)), Lower: ptr(p.world(b.at)),
		Line: []Vec{p.world(Vec{X: mid.X, Y: mid.Y, Z: a.at.Z}), p.world(Vec{X: mid.X, Y: mid.Y, Z: b.at.Z})},
	}
}

// space measures the room between the crests along the arch: from each place of the lower crest to
// the place of the upper one nearest to it, seen along Up.
func (p *pair) space(f *common, upper, lower []crestPoint) []SpaceAt {
	out := []SpaceAt{}
	for _, b := range lower {
		best, least := -1, p.method.CrestApartMM
		for i, a := range upper {
			if d := math.Hypot(a.at.X-b.at.X, a.at.Y-b.at.Y); d < least {
				best, least = i, d
			}
		}
		if best < 0 || b.at.Y > f.rear {
			continue
		}
		a := upper[best]
		part, _ := p.part(f, b.at.X, b.at.Y)
		h := p.height("", a, b)
		out = append(out, SpaceAt{Part: part, MM: *h.MM, UMM: *h.UMM, UpperMM: a.at.Z, LowerMM: -b.at.Z, Upper: *h.Upper, Lower: *h.Lower})
	}
	return out
}
