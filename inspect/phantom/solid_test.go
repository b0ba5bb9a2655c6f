package phantom

import (
	"math"
	"testing"

	"fornix/mesh"
)

// disk is a flat round sheet of the given radius with balls of radius r.
func disk(radius, r float64) *solid {
	s := &sheet{a0: -2*radius - 4, b0: -2*radius - 4, step: 1}
	s.na = int(-2*s.a0) + 2
	s.nb = s.na
	for i := 0; i < s.na; i++ {
		for k := 0; k < s.nb; k++ {
			s.ctl = append(s.ctl, [4]float64{s.a0 + float64(i), s.b0 + float64(k), 0, r})
		}
	}
	var poly [][2]float64
	const n = 180
	// A cubic B-spline through even points of a circle is smaller by (2+cos)/3 of the step's angle.
	k := radius / ((2 + math.Cos(2*math.Pi/n)) / 3)
	for i := 0; i < n; i++ {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / n)
		poly = append(poly, [2]float64{k * cos, k * sin})
	}
	s.trim = newLoop(poly)
	d := radius + r + 2.2
	sol := &solid{sheet: s, tissue: 1, lo: vec{X: -d, Y: -d, Z: -r - 2.1}, hi: vec{X: d, Y: d, Z: r + 2.2}}
	s.plant(sol.lo, sol.hi)
	return sol
}

func (sf *surface) volume() float64 {
	var v float64
	for _, t := range sf.tri {
		v += sf.pos[t[0]].Dot(sf.pos[t[1]].Cross(sf.pos[t[2]])) / 6
	}
	return v
}

// euler returns V - E + F; the surface must be closed.
func euler(t *testing.T, m *mesh.Mesh) int {
	t.Helper()
	for _, o := range m.Across {
		if o < 0 {
			t.Fatalf("the surface is not a closed manifold")
		}
	}
	return len(m.Pos) - len(m.Tri)*3/2 + len(m.Tri)
}

// A round plate with a half-round rim has the volume that Pappus gives.
func TestDiskVolume(t *testing.T) {
	const radius, r = 4, 1.2
	sol := disk(radius, r)
	sf, err := sol.polygonise(0.25, 2)
	if err != nil {
		t.Fatal(err)
	}
	want := math.Pi*radius*radius*2*r + math.Pi*math.Pi*radius*r*r + 4*math.Pi/3*r*r*r
	// Chords of length e lie within e²/8R of a curved surface: here at most 0.4 % of the volume.
	if got := sf.volume(); math.Abs(got/want-1) > 0.004 {
		t.Errorf("volume %.3f, not %.3f", got, want)
	}
	if e := euler(t, mesh.New(sf.pos, sf.tri)); e != 2 {
		t.Errorf("Euler number %d", e)
	}
	for _, p := range sf.pos {
		h := math.Hypot(p.X, p.Y)
		d := math.Abs(p.Z) - r
		if h > radius {
			d = math.Hypot(h-radius, p.Z) - r
		}
		if math.Abs(d) > 2e-5 {
			t.Fatalf("vertex %v lies %g mm off the plate", p, d)
		}
	}
}

// Void, bleb and fold have the volumes of a spherical cap (base radius a, depth h:
// pi h (3a²+h²)/6, handbook; a 1, h 0.5: 0.850848) and of a groove.
func TestCapVolume(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole solids")
	}
	if v := capVolume(2, 0.5); math.Abs(v-0.850848) > 1e-6 {
		t.Errorf("cap volume %.6f, not 0.850848", v)
	}
	volume := func(change func(*solid)) float64 {
		sol := disk(4, 1.2)
		change(sol)
		sf, err := sol.polygonise(0.15, 2)
		if err != nil {
			t.Fatal(err)
		}
		return sf.volume()
	}
	q, n := vec{X: 0.3, Y: -0.2, Z: 1.2}, vec{Z: 1}
	sound := volume(func(*solid) {})
	void := sound - volume(func(s *solid) { s.voids = []ball{capBall(q, n, 2, 0.5, 1)} })
	bleb := volume(func(s *solid) { s.blebs = []ball{capBall(q, n, 2, 0.5, -1)} }) - sound
	t.Logf("void %.4f, bleb %.4f, cap 0.8508", void, bleb)
	// Edges of 0.15 cut the rim of the opening: 3 %.
	for _, v := range []float64{void, bleb} {
		if math.Abs(v/0.850848-1) > 0.03 {
			t.Errorf("volume %.4f, not 0.8508", v)
		}
	}
}

// Every cell of the table closes: each of its edges that is used is used by two triangles, or by
// one and the loop's boundary on the cube's faces.
func TestCubeTable(t *testing.T) {
	for code, tri := range cubeFaces {
		inner := map[[2]int]int{}
		for _, f := range tri {
			for k := range f {
				inner[[2]int{f[k], f[(k+1)%3]}]++
			}
		}
		for e, n := range inner {
			if n != 1 {
				t.Fatalf("code %d uses %v %d times", code, e, n)
			}
		}
		if (code == 0 || code == 255) != (len(tri) == 0) {
			t.Errorf("code %d has %d triangles", code, len(tri))
		}
	}
}

// The nearest ball is that which a dense sampling of the sheet finds, wherever a point lies.
func TestNearestAgainstSampling(t *testing.T) {
	if testing.Short() {
		t.Skip("samples whole sheets")
	}
	for _, jaw := range []string{"upper", "lower"} {
		p := Default(jaw)
		p.Noise, p.Spacing = 0, 1.1
		m, err := prepare(&p)
		if err != nil {
			t.Fatal(err)
		}
		s := m.s.sheet
		type sample struct {
			c vec
			r float64
		}
		const step = 0.2
		bins := map[[3]int][]sample{}
		bin := func(v vec) [3]int {
			return [3]int{int(math.Floor(v.X / 4)), int(math.Floor(v.Y / 4)), int(math.Floor(v.Z / 4))}
		}
		var j jet
		put := func(a, b float64) {
			s.at(a, b, &j)
			bins[bin(j.pos())] = append(bins[bin(j.pos())], sample{j.pos(), j.v[3]})
		}
		for a := s.a0; a < s.a0+s.step*float64(s.na); a += step {
			for b := s.b0; b < s.b0+s.step*float64(s.nb); b += step {
				if d, _ := s.trim.nearest(a, b); d <= 0 {
					put(a, b)
				}
			}
		}
		for u := 0.0; u < float64(len(s.trim.ctl)); u += 0.2 {
			a, b, _, _, _, _ := s.trim.at(u)
			put(a, b)
		}
		sf, err := m.s.polygonise(p.Spacing, 2)
		if err != nil {
			t.Fatal(err)
		}
		worst, n := 0.0, 0
		for i, v := range sf.pos {
			if sf.part[i] != partSheet || i%7 != 0 {
				continue
			}
			g := math.Inf(1)
			k := bin(v)
			for x := -1; x <= 1; x++ {
				for y := -1; y <= 1; y++ {
					for z := -1; z <= 1; z++ {
						for _, c := range bins[[3]int{k[0] + x, k[1] + y, k[2] + z}] {
							g = math.Min(g, v.Dist(c.c)-c.r)
						}
					}
				}
			}
			n++
			worst = math.Max(worst, math.Abs(g))
			// No sampled ball may reach past a vertex; and the nearest sample is within step/√2 times
			// the sheet's stretch (under 2) of the true one: 0.28²/2/1.0 = 0.04.
			if g < -1e-5 || g > 0.04 {
				t.Fatalf("%s: a vertex %v lies %g mm off the sampled balls", jaw, v, g)
			}
		}
		t.Logf("%s: %d vertices, sampled balls within %.4f mm", jaw, n, worst)
	}
}

// A fold that would run over the end of the surface ends there, and its truth says so.
func TestFoldEndsWithTheSurface(t *testing.T) {
	p := Default("lower")
	within := Fold{X: -21, Y: 20, Deg: 70, Length: 8, Width: 1.1, Depth: 0.45}
	over := Fold{X: 0, Y: 3, Deg: 90, Length: 14, Width: 1.1, Depth: 0.45} // across the crest, over both sides
	p.Folds = []Fold{within, over}
	m, err := prepare(&p)
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range m.truth.Folds {
		length := f.Width
		for k := range len(f.Path) - 1 {
			length += f.Path[k].Dist(f.Path[k+1])
		}
		if math.Abs(f.Length-length) > 1e-9 {
			t.Errorf("fold %d: %g mm long along its line, told as %g", i, length, f.Length)
		}
	}
	if got := m.truth.Folds[0]; math.Abs(got.Length-within.Length) > 0.01 || got.Middle.Dist(got.Path[0]) < 3 {
		t.Errorf("a fold of %g mm told as %g, its middle at %v", within.Length, got.Length, got.Middle)
	}
	if got := m.truth.Folds[1].Length; got > over.Length-1 {
		t.Errorf("a fold of %g mm over the end of the surface told as %g", over.Length, got)
	}
}

// A fold along the round rim of a plate takes in as much of its turn as two circles that cut each other; in the
// plate's face it takes in none.
func TestTurnAcross(t *testing.T) {
	const radius, r, width = 4.0, 1.2, 1.3
	s := disk(radius, r)
	for _, depth := range []float64{0.2, 0.4, 0.6} {
		tube := (sq(width/2) + sq(depth)) / (2 * depth)
		far := r + tube - depth // between the circles' centres
		want := 2 * math.Acos((sq(far)+sq(r)-sq(tube))/(2*far*r)) * 180 / math.Pi
		var rim, face []vec
		along, in := chain{r: tube}, chain{r: tube}
		for i := range 9 {
			x := 0.25 * float64(i-4)
			sin, cos := math.Sincos(x / (radius + r))
			rim = append(rim, vec{X: (radius + r) * cos, Y: (radius + r) * sin})
			along.p = append(along.p, vec{X: (radius + far) * cos, Y: (radius + far) * sin})
			face = append(face, vec{X: x, Z: r})
			in.p = append(in.p, vec{X: x, Z: far})
		}
		step := 2 * tube / 60 / r * 180 / math.Pi // one at either rim
		if got := s.turnAcross(rim, &along); math.Abs(got-want-step/2) > step/2+0.1 {
			t.Errorf("depth %g, along the rim: the surface turns by %.1f degrees, told %.1f", depth, want, got)
		}
		if got := s.turnAcross(face, &in); got > 0.1 {
			t.Errorf("depth %g, in the face: told %.1f degrees", depth, got)
		}
	}
}
