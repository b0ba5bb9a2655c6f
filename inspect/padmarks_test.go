package inspect

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Two straight lines are their own fit, and how sure their join is follows from simulation
// (JCGM 101), which knows nothing of the curvature of what is left.
func TestJoinOfTwoLines(t *testing.T) {
	const seed, sd, step, rounds, join = 17, 0.02, 0.1, 1500, 7.033
	r := rand.New(rand.NewPCG(seed, 2))
	x, y := make([]float64, 110), make([]float64, 110)
	lay := func(sd float64) {
		for i := range x {
			x[i] = step * float64(i)
			y[i] = 3 - 0.05*x[i] + 0.6*max(0, x[i]-join) + sd*r.NormFloat64()
		}
	}
	lay(0)
	if f, ok := fitJoin(x, y, 0, 10, 0, step); !ok || math.Abs(f.at-join) > 0.01 {
		t.Errorf("join at %.4f, ok %v; laid at %.4f", f.at, ok, join)
	}
	var ss, said float64
	n, in := 0, 0
	for range rounds {
		lay(sd)
		f, ok := fitJoin(x, y, 0, 10, sd, step)
		if !ok {
			continue
		}
		n++
		if math.Abs(f.at-join) <= 2*f.u {
			in++
		}
		ss += (f.at - join) * (f.at - join)
		said += f.u * f.u
	}
	share, spread := float64(in)/float64(n), math.Sqrt(ss/said)
	t.Logf("%d of %d within k = 2 (%.1f %%); spread over what is said %.3f", in, n, 100*share, spread)
	if n < rounds*99/100 || share < 0.92 || share > 0.98 || math.Abs(spread-1) > 0.12 {
		t.Errorf("%d joins; %.1f %% within k = 2, spread over what is said %.3f (seed %d)", n, 100*share, spread, seed)
	}
	for i := range y {
		y[i] = -y[i]
	}
	if _, ok := fitJoin(x, y, 0, 10, sd, step); ok {
		t.Error("a join where the slope falls off")
	}
}

// profileOf is a rear end whose profile is the course given, without noise.
func profileOf(z func(t float64) float64, limit float64) (*Anatomy, *archEnd) {
	e := &archEnd{limit: limit}
	for t := 0.0; t <= limit+1; t += gridMM {
		e.t, e.z = append(e.t, t), append(e.z, z(t))
	}
	an := &Anatomy{Jaw: Lower, fm: FrameMethod{AxisDeg: 1.5}, grain: Grain{EdgeMM: 0.3}}
	return an, e
}

// The vertex of a pad's crown is the same point of the surface whichever way the frame leans, where
// the place at which the slope has died out goes with it; and it is sure of no more than there is of
// material behind it.
func TestPadSummitIsTheVertexOfItsCrown(t *testing.T) {
	const top, width = 20.0, 2.5
	for _, deg := range []float64{-6, 0, 10} {
		for _, past := range []float64{1.6, 5} {
			sin, cos := math.Sincos(deg * math.Pi / 180)
			turned := func(u float64) (x, z float64) { // about the summit
				z = -1.5 * math.Exp(-u*u/(2*width*width))
				return u*cos - (z+1.5)*sin, u*sin + (z+1.5)*cos
			}
			u := -top
			an, e := profileOf(func(t float64) float64 {
				x, z := turned(u)
				for ; x < t-top; x, z = turned(u) {
					u += 0.002
				}
				return z
			}, top+past)
			at, su, ok := an.padSummit(e, top-width)
			t.Logf("turned %+.0f, end %+.1f: summit %+.2f, u %.2f", deg, past, at-top, su)
			if !ok || math.Abs(at-top) > 2*su || su > 0.6 || past > 2 && math.Abs(at-top) > 0.2 {
				t.Errorf("turned by %+.0f degrees, material to %+.1f: summit off by %+.2f, standard uncertainty %.2f, found %v", deg, past, at-top, su, ok)
			}
		}
	}
	an, e := profileOf(func(t float64) float64 { return -0.1 * t * t / 20 }, 25)
	if _, _, ok := an.padSummit(e, 10); ok {
		t.Error("a fall that grows steeper has a summit")
	}
}

// The rear of a tuberosity is where a rise out of the level sets in, as a parabola or a corner, and not
// where it has left the level for certain, half a millimetre and more behind.
func TestTuberosityEndsWhereTheRiseSetsIn(t *testing.T) {
	const set = 14.0
	for name, rise := range map[string]func(d float64) float64{
		"parabola": func(d float64) float64 { return 0.11 * d * d },
		"corner":   func(d float64) float64 { return 0.9*d + 0.05*d*d },
	} {
		an, e := profileOf(func(t float64) float64 { return rise(max(0, t-set)) }, 21)
		an.Jaw = Upper
		for t := 10.0; t < 20; t += gridMM {
			e.slopeAt = max(e.slopeAt, e.slope(t))
		}
		at, u := an.leaves(e, e.slope, 20)
		t.Logf("%s: %+.2f, u %.2f", name, at-set, u)
		if math.Abs(at-set) > 0.35 || math.Abs(at-set) > 2*u || u > 0.4 {
			t.Errorf("%s: rise that sets in at %.1f found at %.2f, standard uncertainty %.2f", name, set, at, u)
		}
	}
}

// A pad's front is where it is wherever behind it the material ends, and its uncertainty says so.
func TestPadFrontIsNotWhereTheMaterialEnds(t *testing.T) {
	var all covered
	for i, cover := range [][2]float64{{0.24, 1.15}, {0.28, 0.65}} {
		p := smallPhantom("lower")
		p.PadCoverLeft, p.PadCoverRight = cover[0], cover[1]
		m := mustMake(p, uint64(80+i))
		an, why := Locate(m.Scan.Mesh, Grain{NoiseMM: 0.01, EdgeMM: 0.6}, DefaultProtocol().Method.Frame, "", nil)
		if an == nil {
			t.Fatal(why)
		}
		s := MeasurePosterior(an)
		for k, name := range []string{PadFrontLeft, PadFrontRight} {
			l, ok := an.Landmarks[name]
			if !ok {
				t.Errorf("pad covered to %.2f: no front", cover[k])
				continue
			}
			d := an.Frame.Local(l.Point).Y - an.Frame.Local(m.truth.Landmarks[name]).Y
			side := []*PosteriorSide{s.Left, s.Right}[k]
			t.Logf("pad covered to %.2f: front off by %+.2f along, %.2f in all, stated %.2f; %.2f past it, stated %.2f", cover[k], d,
				l.Point.Dist(m.truth.Landmarks[name]), l.UncertaintyMM, *side.PastPadFrontMM, *side.PastPadFrontUMM)
			if math.Abs(d) > 0.5 || *side.PastPadFrontUMM > 1.6 {
				t.Errorf("pad covered to %.2f: front off by %+.2f mm, stated %.2f", cover[k], d, *side.PastPadFrontUMM)
			}
			all.add(l.Point.Dist(m.truth.Landmarks[name]), l.UncertaintyMM)
		}
	}
	if all.share() < 1 {
		t.Errorf("fronts over their uncertainty: %.2f", all.ratio)
	}
}

// The extension counts to the rearmost material behind the notch, which lies beside the line of the
// crest where the ends of the two sides are unlike.
func TestExtensionToTheRearmostBehindTheNotch(t *testing.T) {
	p := smallPhantom("upper")
	p.ExtensionLeft, p.ExtensionRight = 1.9, 5.5
	m := mustMake(p, 90)
	an, why := Locate(m.Scan.Mesh, Grain{NoiseMM: 0.01, EdgeMM: 0.6}, DefaultProtocol().Method.Frame, "", nil)
	if an == nil {
		t.Fatal(why)
	}
	post := MeasurePosterior(an)
	for side, s := range map[string]*PosteriorSide{"left": post.Left, "right": post.Right} {
		want := map[string]float64{"left": p.ExtensionLeft, "right": p.ExtensionRight}[side]
		notch := an.Frame.Local(m.truth.Landmarks["hamular_notch_"+side]).Y
		rear := an.Frame.Local(*s.Rearmost).Y - notch
		t.Logf("%s: %.2f past the notch, rearmost %+.3f off, stated %.2f", side, *s.ExtensionMM, rear-want, *s.ExtensionUMM)
		if math.Abs(rear-want) > 0.1 {
			t.Errorf("%s: rearmost material %.2f behind the notch, made %.2f", side, rear, want)
		}
	}
}

// What an extension's uncertainty says of the way to the tissue is by how much the extension changes as the frame
// leans, the summit on the ridge's round crown and the rounded end behind it together.
func TestExtensionChangesAsTheWayToTheTissueLeans(t *testing.T) {
	const top, crown, turn, end, roll = 20.0, 6.0, 0.03, 3.5, 1.2
	extension := func(lean float64) (mm, u float64) {
		sin, cos := math.Sincos(lean)
		frame := func(p Vec) Vec { return Vec{Y: p.Y*cos + p.Z*sin, Z: p.Z*cos - p.Y*sin} }
		// An arc of the crown's radius about (top, -crown), then the rounded end's middle on the right-hand side.
		var e archEnd
		for a := -1.2; a < 0.6; a += 0.002 {
			if q := frame(Vec{Y: top + crown*math.Sin(a), Z: crown*math.Cos(a) - crown}); q.Y < top+end-roll {
				e.t, e.z = append(e.t, q.Y), append(e.z, q.Z)
			}
		}
		e.limit, e.dir = e.t[len(e.t)-1], Vec{Y: 1}
		e.rearPoint = frame(Vec{Y: top + end - roll, Z: -2.5}).Add(Vec{Y: roll})
		an := &Anatomy{Jaw: Upper, fm: FrameMethod{AxisDeg: 180 / math.Pi}, grain: Grain{EdgeMM: 1e-3}} // a radian
		at := an.crown(&e, top)
		d, du := an.behind(&e, Vec{Y: at, Z: e.zAt(at)}, 0, e.topLean)
		return *d, *du / 2
	}
	lo, _ := extension(-turn)
	hi, _ := extension(turn)
	_, u := extension(0)
	got := (hi - lo) / (2 * turn)
	t.Logf("%.2f mm per radian, stated %.2f", got, u)
	if math.Abs(math.Abs(got)-u) > 0.1*math.Abs(got) || got < 2 {
		t.Errorf("the extension changes by %.2f mm per radian, stated %.2f", got, u)
	}
}

// Of a rounded end that was scanned by half, noise of 0.02 leaves the radius open by a third at most, so that
// where the end begins is known to a fraction of a millimetre; over 1 mm of it it would not be.
func TestRadiusOfAnEndScannedByHalf(t *testing.T) {
	const seed, radius, sd, step, rounds = 23, 1.2, 0.02, 0.16, 400
	r := rand.New(rand.NewPCG(seed, 3))
	wrong := func(walk float64) (n int) {
		for range rounds {
			var c contour
			for s := 6.0; s >= 0; s -= step { // a level floor, then a quarter of a circle to its tip
				x, z := -(s - radius*math.Pi/2), 0.0
				if a := s / radius; a < math.Pi/2 {
					x, z = radius*math.Cos(a), radius*(math.Sin(a)-1)
				}
				c.rho, c.pts = append(c.rho, x+sd*r.NormFloat64()), append(c.pts, Vec{Z: z + sd*r.NormFloat64()})
			}
			for i := range c.pts {
				c.pts[i].Y = c.rho[i]
			}
			if math.Abs(c.tipRadius(len(c.pts)-1, walk)-radius) > radius/3 {
				n++
			}
		}
		return n
	}
	long, short := wrong(partialMM), wrong(1)
	t.Logf("off by over a third: %d of %d over %.1f mm, %d over 1 mm (seed %d)", long, rounds, partialMM, short, seed)
	if long > rounds/20 || short < 2*long {
		t.Errorf("radius off by over a third %d times in %d; over 1 mm of the end %d times (seed %d)", long, rounds, short, seed)
	}
}

// Where the scan shows the end by half and the surface comes level there as sharply bent as the end, or
// the other way about, nothing is told of the notch.
func TestNotchUnderAnEndScannedByHalfIsNotTold(t *testing.T) {
	const radius = 1.3
	for _, c := range []struct {
		past            float64 // from the notch's summit to the end
		roll            float64 // that the end was taken for
		reached, unsure bool
	}{{3.5, radius, true, false}, {-3, radius, false, false}, {2.3, 3, false, true}} {
		const top = 20.0
		rear := top + c.past
		// A ridge 5.5 mm round on a rise of 0.9 out of the level.
		ridge := func(t float64) float64 {
			d := top - t
			if d > 5 {
				return -2.25 - 0.9*min(d-5, 6)
			}
			return -0.09 * d * d
		}
		an, e := profileOf(func(t float64) float64 {
			z := ridge(t)
			if d := t - (rear - radius); d > 0 {
				z += math.Sqrt(max(0, radius*radius-d*d)) - radius
			}
			return z
		}, rear-1)
		an.Jaw, an.Landmarks = Upper, map[string]Landmark{}
		e.rear, e.roll, e.limit, e.partial, e.dir = rear, c.roll, rear-c.roll, true, Vec{Y: 1}
		an.endLandmarks(e)
		if e.reached != c.reached || e.unsure != c.unsure {
			t.Errorf("end %+.1f behind the notch, taken for %.1f round: reached %v, unsure %v", c.past, c.roll, e.reached, e.unsure)
		}
		an.Surface = Impression
		if s := an.posteriorSide(e); (s.ReachesNotch == nil) != c.unsure || c.unsure && s.Unmeasured == "" {
			t.Errorf("end %+.1f behind the notch, taken for %.1f round: told %+v", c.past, c.roll, s)
		}
	}
}

// A place on the line is as uncertain sideways as the arch may bend on: by the arc's own way from its
// tangent.
func TestLineOfABendingArch(t *testing.T) {
	const radius, from, past = 60.0, 20.0, 7.0
	var pts []Vec
	for y := from - endLineMM; y <= from; y += 0.4 {
		pts = append(pts, Vec{X: radius - math.Sqrt(radius*radius-(y-from)*(y-from)), Y: y})
	}
	bow, ok := bowOf(pts)
	if want := 1 / (2 * radius); !ok || math.Abs(bow-want) > 0.02*want {
		t.Errorf("bow %.5f, that of an arc of %.0f mm is %.5f", bow, radius, want)
	}
	e := &archEnd{lineT: from, bow: bow}
	want := ((past+endLineMM/2)*(past+endLineMM/2) - endLineMM*endLineMM/4) / (2 * radius) // beyond the middle of the stretch
	if got := e.off(from+past, 0) / 2; math.Abs(got-want) > 0.02*want || e.off(from, 0) != 0 {
		t.Errorf("%.3f mm sideways, the arc goes %.3f", got, want)
	}
}
