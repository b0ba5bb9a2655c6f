package inspect

import "math"

// Grain is how finely a scan shows a surface: what every uncertainty is propagated from.
type Grain struct {
	NoiseMM float64 // SD along the normal
	EdgeMM  float64 // median edge
}

// Grain returns the grain of the scan; an unmeasured noise counts as none.
func (q *Quality) Grain() Grain {
	g := Grain{EdgeMM: q.EdgeMedianMM}
	if q.NoiseMM != nil {
		g.NoiseMM = *q.NoiseMM
	}
	return g
}

// sag is the greatest distance of a flat face from a surface of the given radius: of the chord
// from the arc, e²/8R.
func (g Grain) sag(radius float64) float64 { return g.EdgeMM * g.EdgeMM / (8 * radius) }

// ripple is the standard uncertainty of one place of the surface along its normal: of the noise,
// and of flat faces, which lie anywhere from none to their sag inside.
func (g Grain) ripple(radius float64) float64 {
	return math.Hypot(g.NoiseMM, g.sag(radius)/math.Sqrt(12))
}

// topU is the standard uncertainty of where a circle fitted to the top of a roll, as far down as
// depth, has its top across the roll, taken over a length to both sides along it: that of a slope
// through the vertices there, times the radius.
func (g Grain) topU(radius, depth, half float64) float64 {
	angle := math.Acos(max(0, 1-depth/radius)) // from the top to the last vertex that counts
	n := max(3, 2*radius*angle/g.EdgeMM*max(1, 1.4*half/g.EdgeMM))
	return g.ripple(radius) / math.Sqrt(n) * math.Sqrt(3) / angle
}

// turn is the standard uncertainty, in radians, of a normal averaged over a radius r on a
// surface of the given radius: of the noise of its vertices, and of faces that each turn by up
// to a quarter edge over the radius to both sides.
func (g Grain) turn(r, radius float64) float64 {
	n := max(3, math.Pi*r*r/(0.866*g.EdgeMM*g.EdgeMM))
	return math.Hypot(2*g.NoiseMM/r, g.EdgeMM/(4*radius)) / math.Sqrt(n)
}

// apexU is the standard uncertainty, mm, of the height of a border's apex whose place is open by
// beside. The highest of some dozens of vertices stands out by twice the noise.
func (g Grain) apexU(beside float64) float64 {
	return math.Hypot(beside, math.Hypot(2*g.NoiseMM, rectangle(g.sag(rollRadiusMM))))
}

// expanded adds standard uncertainties in squares and expands the sum by k = 2.
func expanded(u ...float64) float64 {
	var s float64
	for _, v := range u {
		s += v * v
	}
	return 2 * math.Sqrt(s)
}

// rectangle is the standard uncertainty of what lies anywhere within half a width (JCGM 100).
func rectangle(half float64) float64 { return half / math.Sqrt(3) }

// rollRadiusMM is the radius of a usual border roll, for what flat faces cut off it.
const rollRadiusMM = 1.5

// spreadStations gives the thickness and height of a border's stations, in order, their expanded
// uncertainty (k = 2).
//
// Two parts are added in squares (JCGM 100:2008). Evaluated from the data: the scatter of a
// series about its running median, since neighbouring stations see other vertices of the same
// border; this holds whatever noise, spacing and normals do. And from what is known: a wall's
// nearest place stands out by part of the noise at both ends, and flat faces cut between
// nothing and their sag off both walls, a rectangular distribution; and a ball pressed in at a
// slant is too small by up to 0.58 of its diameter per radian (sin/(1-cos) of the least angle
// between the walls, 120 degrees). A height also carries what its direction leaves open, which
// stands in the station already.
func spreadStations(s []Station, g Grain, bm BorderMethod) {
	type field struct {
		value func(*Station) *float64
		set   func(*Station, float64)
		known float64
	}
	sag := g.sag(rollRadiusMM)
	least := bm.FacingDeg * math.Pi / 180
	slant := rectangle(math.Sin(least) / (1 - math.Cos(least)) * 2 * rollRadiusMM * g.turn(bm.NormalMM, rollRadiusMM))
	for _, f := range []field{
		{func(s *Station) *float64 { return s.ThicknessMM }, func(s *Station, u float64) { s.ThicknessUMM = &u }, math.Hypot(slant, math.Hypot(0.7*g.NoiseMM, 2*sag/math.Sqrt(12)))},
		{func(s *Station) *float64 { return s.HeightMM }, func(s *Station, u float64) { s.HeightUMM = ptr(math.Hypot(u, 2**s.HeightUMM)) }, math.Hypot(g.NoiseMM, 2*sag/math.Sqrt(12))},
	} {
		var at []int
		var v []float64
		for i := range s {
			if p := f.value(&s[i]); p != nil {
				at, v = append(at, i), append(v, *p)
			}
		}
		for k, sd := range scatter(v) {
			f.set(&s[at[k]], 2*math.Hypot(sd, f.known))
		}
	}
}

// scatter returns, for each value of a series, the robust standard deviation of the values
// around it about their running median over 7.
func scatter(v []float64) []float64 {
	const half, around = 3, 20
	// The median of |x - running median of 7| of normal deviates is 0.551 SD (by simulation).
	const toSD = 1 / 0.551
	res := make([]float64, len(v))
	for i := range v {
		res[i] = math.Abs(v[i] - median(v[max(0, i-half):min(len(v), i+half+1)]))
	}
	out := make([]float64, len(v))
	for i := range v {
		out[i] = toSD * median(res[max(0, i-around):min(len(v), i+around+1)])
	}
	return out
}

// area is the expanded uncertainty of the area of a surface: noise tilts every face by about
// 2·noise/edge, which adds half the square of that to the area, a one-sided error.
func (g Grain) area(a float64) float64 {
	if g.EdgeMM == 0 {
		return 0
	}
	t := 2 * g.NoiseMM / g.EdgeMM
	return 2 * rectangle(a*t*t)
}

// volume is the expanded uncertainty of the volume inside a surface of area a: the vertices' own
// noise averages out, the sag of flat faces on rolls does not.
func (g Grain) volume(a float64, vertices int) float64 {
	return expanded(a*g.NoiseMM/math.Sqrt(max(1, float64(vertices))), rectangle(a*g.sag(10*rollRadiusMM)))
}
