package inspect

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

var occlusalDefaults = OcclusalMethod{
	SearchDeg: 30, SlopeDeg: 25, CellMM: 1.5, Guesses: 3000, BandMM: 1.2, CutMM: 0.15, SkirtMM: 2, WallDeg: 55, WallShare: 0.5, WaveMM: 8, WaveShare: 0.7,
	AreaMM2: 100, LengthMM: 30, BreadthMM: 15, WidthMM: 3.5, LevelShare: 0.65, TrimShare: 0.01, PixelMM: 0.2, PlateMM: 15,
	ChipMM: 10, ChipDepthMM: 0.2, ChipAreaMM2: 1, AnteriorHalfDeg: 20, SideFromDeg: 35, SideToDeg: 70, ClusterMM: 8,
}

// tray is a swept impression tray: an arch of trough section with an occlusion rim below it,
// tissue toward +z, the patient's left +x, posterior +y, the rim's mean plane z = 0, then
// turned into a frame of its own.
type tray struct {
	noise, step          float64
	wave                 func(x, y, phi float64) float64 // added to the flat's height
	chips                []Vec                           // X, Y: centre; Z: radius; 0.8 mm deep at the middle
	width                func(phi float64) float64
	noRim, plate, handle bool
	tilt                 float64 // of the rim's plane about y, degrees
	edge                 float64 // radius to which the rim's edge is rounded
}

type built struct {
	m                       *mesh.Mesh
	left, posterior, toward Vec
	plane                   Plane
	place                   func(Vec) Vec
}

const archX, archY = 24.0, 30.0

func archPoint(phi, s float64) (x, y float64) {
	sin, cos := math.Sincos(phi)
	nx, ny := sin/archX, -cos/archY
	l := math.Hypot(nx, ny)
	return archX*sin + s*nx/l, -archY*cos + s*ny/l
}

func sampled(corners [][2]float64, step float64) [][2]float64 {
	var out [][2]float64
	for i, a := range corners {
		b := corners[(i+1)%len(corners)]
		n := max(1, int(math.Round(math.Hypot(b[0]-a[0], b[1]-a[1])/step)))
		for k := range n {
			t := float64(k) / float64(n)
			out = append(out, [2]float64{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])})
		}
	}
	return out
}

func (c tray) build(seed uint64) built {
	if c.step == 0 {
		c.step = 0.35
	}
	if c.width == nil {
		c.width = func(phi float64) float64 { return 5 + 4*math.Abs(math.Sin(phi)) }
	}
	var pos []Vec
	var tri [][3]mesh.VertexID
	grid := func(rows, cols int, wrap bool, at func(i, j int) Vec) {
		first := mesh.VertexID(len(pos))
		for i := range rows {
			for j := range cols {
				pos = append(pos, at(i, j))
			}
		}
		id := func(i, j int) mesh.VertexID { return first + mesh.VertexID(i*cols+j%cols) }
		last := cols - 1
		if wrap {
			last = cols
		}
		for i := range rows - 1 {
			for j := range last {
				tri = append(tri, [3]mesh.VertexID{id(i, j), id(i+1, j), id(i+1, j+1)}, [3]mesh.VertexID{id(i, j), id(i+1, j+1), id(i, j+1)})
			}
		}
	}
	slope := math.Tan(c.tilt * math.Pi / 180)
	flat := func(p Vec, phi float64) Vec {
		p.Z = slope * p.X
		if c.wave != nil {
			p.Z += c.wave(p.X, p.Y, phi)
		}
		for _, q := range c.chips {
			if d := math.Hypot(p.X-q.X, p.Y-q.Y); d < q.Z {
				p.Z += 0.8 * math.Sqrt(1-d*d/(q.Z*q.Z))
			}
		}
		return p
	}
	// The section, for width 1 at |s| <= 1/2; the first corner pair is the flat.
	r := c.edge
	var section [][2]float64
	if c.noRim {
		for a := -90.0; a <= 90; a += 6 { // half a tube of radius 6 below
			s, k := math.Sincos(a * math.Pi / 180)
			section = append(section, [2]float64{6 * s, 6 - 6*k})
		}
	} else {
		for _, side := range []float64{-1, 1} {
			for k := range 5 {
				a := float64(k) / 4 * 80 * math.Pi / 180
				if side < 0 {
					a = 80*math.Pi/180 - a
				}
				section = append(section, [2]float64{side * (100 - r + r*math.Sin(a)), r - r*math.Cos(a)}) // ±100: see below
			}
		}
	}
	section = append(section, [2]float64{6.5, 9}, [2]float64{6, 10}, [2]float64{5, 9.5}, [2]float64{0, 6}, [2]float64{-5, 9.5}, [2]float64{-6, 10}, [2]float64{-6.5, 9})
	shaped := func(phi float64) [][2]float64 {
		out := slices.Clone(section)
		for i, q := range out {
			if math.Abs(q[0]) > 50 {
				out[i][0] = q[0] - math.Copysign(100-c.width(phi)/2, q[0])
			}
		}
		return out
	}
	cols := len(sampled(shaped(0), c.step))
	rows := int(2*1.7*28/c.step) + 1
	grid(rows, cols, true, func(i, j int) Vec {
		phi := 1.7 * (2*float64(i)/float64(rows-1) - 1)
		corners := shaped(phi)
		// As many samples on each side of the section as at phi = 0.
		n := 0
		ref := shaped(0)
		for k, a := range corners {
			b := corners[(k+1)%len(corners)]
			d := max(1, int(math.Round(math.Hypot(ref[(k+1)%len(ref)][0]-ref[k][0], ref[(k+1)%len(ref)][1]-ref[k][1])/c.step)))
			if j < n+d {
				t := float64(j-n) / float64(d)
				s, z := a[0]+t*(b[0]-a[0]), a[1]+t*(b[1]-a[1])
				x, y := archPoint(phi, s)
				p := Vec{X: x, Y: y, Z: z}
				if z < 1.5 && !c.noRim {
					p = flat(Vec{X: x, Y: y}, phi).Add(Vec{Z: z})
				}
				return p
			}
			n += d
		}
		panic("no such column")
	})
	if c.plate { // fills the arch at the flat's level
		grid(int(44/c.step), int(50/c.step), false, func(i, j int) Vec {
			y, x := -28+float64(i)*c.step, -22+float64(j)*c.step*0.88
			w := archX * math.Sqrt(max(0, 1-min(y, 0)*min(y, 0)/(archY*archY)))
			return flat(Vec{X: x * w / 22, Y: y}, 0)
		})
	}
	if c.handle { // a block in front with a level underside nearer the tissue than the flat
		for _, z := range []float64{3, 7} {
			n := int(14 / c.step)
			grid(n, n, false, func(i, j int) Vec {
				x := -7 + 14*float64(j)/float64(n-1)
				if z > 5 {
					x = -x
				}
				return Vec{X: x, Y: -33 - 16 + 16*float64(i)/float64(n-1), Z: z}
			})
		}
	}
	m := mesh.New(pos, tri)
	n := m.Normals()
	rnd := rand.New(rand.NewPCG(seed, 7))
	out := built{}
	q := turn(rnd)
	out.place = func(p Vec) Vec { return q(p).Add(Vec{X: 12, Y: -30, Z: 55}) }
	for v := range pos {
		pos[v] = out.place(pos[v].Along(c.noise*rnd.NormFloat64(), n[v]))
	}
	out.m = mesh.New(pos, tri)
	out.left, out.posterior, out.toward = q(Vec{X: 1}), q(Vec{Y: 1}), q(Vec{Z: 1})
	out.plane = Plane{out.place(Vec{}), q(Vec{X: -slope, Z: 1}.Unit())}
	return out
}

// turn returns a random rotation.
func turn(r *rand.Rand) func(Vec) Vec {
	v := func() Vec { return Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()} }
	a := v().Unit()
	b := a.Cross(v()).Unit()
	c := a.Cross(b)
	return func(p Vec) Vec { return a.Scale(p.X).Along(p.Y, b).Along(p.Z, c) }
}

func (b built) refs() OcclusalRefs {
	return OcclusalRefs{Left: b.left, Posterior: b.posterior, Toward: b.toward}
}

func (b built) errors(o *Occlusal) (deg, offset float64) {
	return degrees(math.Acos(min(1, o.Normal.Dot(b.plane.Normal)))), math.Abs(b.plane.Height(o.Point))
}

func TestOcclusalPlaneOfTrays(t *testing.T) {
	wave := func(amp, k, phase float64) func(x, y, phi float64) float64 {
		return func(_, _, phi float64) float64 { return amp * math.Sin(k*phi+phase) }
	}
	for _, c := range []struct {
		name        string
		tray        tray
		deg, offset float64
	}{
		{"sound", tray{}, 0.05, 0.03},
		{"noisy and fine", tray{noise: 0.02, step: 0.2}, 0.05, 0.03},
		{"noisy and coarse", tray{noise: 0.02, step: 0.5}, 0.05, 0.03},
		{"canted", tray{noise: 0.02, tilt: 4}, 0.05, 0.03},
		{"round edge", tray{noise: 0.02, edge: 0.8, step: 0.25}, 0.05, 0.03},
		{"handle", tray{noise: 0.012, handle: true}, 0.05, 0.03},
		{"chipped", tray{noise: 0.02, chips: []Vec{{X: 14, Y: -24, Z: 4}, {X: -20, Y: -8, Z: 3}, {X: 22, Y: 0, Z: 4}}}, 0.05, 0.03},
		{"wave .2", tray{noise: 0.012, wave: wave(0.2, 8, 0)}, 0.1, 0.05},
		{"wave .5 k 12", tray{noise: 0.012, wave: wave(0.5, 12, 1)}, 0.1, 0.05},
		{"wave .5 k 6", tray{noise: 0.012, wave: wave(0.5, 6, 0)}, 0.1, 0.05},
		{"wave .3 k 5", tray{noise: 0.012, wave: wave(0.3, 5, 2)}, 0.1, 0.05},
		{"wave across", tray{noise: 0.02, wave: func(x, y, _ float64) float64 { return 0.4 * math.Sin(0.25*x+0.1*y) }}, 0.1, 0.05},
		{"wave across, one period", tray{noise: 0.02, wave: func(x, y, _ float64) float64 { return 0.4 * math.Sin(0.24*y+0.1*x) }}, 0.1, 0.05},
		{"wave, chipped", tray{noise: 0.02, wave: wave(0.3, 7, 1), chips: []Vec{{X: 14, Y: -24, Z: 4}, {X: -20, Y: -8, Z: 3}}}, 0.15, 0.05},
		{"plate", tray{noise: 0.02, plate: true}, 0.05, 0.03},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := c.tray.build(3)
			rim, why := FindRim(b.m, b.m.Normals(), b.toward.Along(0.25, b.left), occlusalDefaults)
			if rim == nil {
				t.Fatal(why)
			}
			o := FitOcclusal(b.m, rim, b.refs(), occlusalDefaults)
			deg, off := b.errors(o)
			t.Logf("%.4f° %.4f mm area %.0f flat %.3f mz %.3f kind %s wall %.2f level %.2f disc %.1f chips %v", deg, off, o.AreaMM2, o.FlatnessMM, o.MinimumZoneMM, o.Kind, rim.WallShare, rim.LevelShare, rim.DiscMM, o.Chips)
			for k, w := range o.RimWidth {
				t.Log(k, *w)
			}
			if deg > c.deg || off > c.offset {
				t.Errorf("plane %.3f° and %.3f mm off", deg, off)
			}
		})
	}
}

// besideFrenum is the mean, over both sides of the labial frenum, of the greatest height of the
// border over a plane within 12 mm of the notch: what a rim's height is measured from.
func besideFrenum(p Plane, apexes []Vec, frenum, left Vec) float64 {
	best := [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, a := range apexes {
		if d := a.Sub(frenum); d.Norm() < 12 {
			side := 0
			if d.Dot(left) > 0 {
				side = 1
			}
			best[side] = max(best[side], p.Height(a))
		}
	}
	return (best[0] + best[1]) / 2
}

func TestOcclusalPlaneOfPublicPhantoms(t *testing.T) {
	for _, name := range publicNames {
		var tr planeTruth
		m := sharedPhantom(t, name, &tr)
		n := m.Normals()
		// The direction toward the tissue is off by 15 degrees, sideways or fore and aft.
		off := math.Tan(15 * math.Pi / 180)
		for _, toward := range []Vec{tr.Axes.Toward.Along(off, tr.Axes.Left), tr.Axes.Toward.Along(-off, tr.Axes.Posterior)} {
			rim, why := FindRim(m, n, toward, occlusalDefaults)
			if rim == nil {
				t.Fatalf("%s: %s", name, why)
			}
			o := FitOcclusal(m, rim, OcclusalRefs{Left: tr.Axes.Left, Posterior: tr.Axes.Posterior, Toward: tr.Axes.Toward}, occlusalDefaults)
			deg := degrees(math.Acos(min(1, o.Normal.Dot(tr.Plane.Normal))))
			offset := math.Abs(tr.Plane.Point.Sub(o.Point).Dot(o.Normal))
			height := besideFrenum(Plane{o.Point, o.Normal}, tr.Border[0].Apex, tr.Landmarks["frenum_labial"], tr.Axes.Left)
			t.Logf("%s: %.4f°, %.4f mm off, flat %.3f, zone %.3f, height %.2f of %.1f", name, deg, offset, o.FlatnessMM, o.MinimumZoneMM, height, tr.Plane.Height)
			if deg > 0.05 || offset > 0.03 || o.Kind != "rim" || len(o.Chips) > 0 {
				t.Errorf("%s: %.3f°, %.3f mm off, %s, chips %v", name, deg, offset, o.Kind, o.Chips)
			}
			near(t, name+" rim height", height, tr.Plane.Height, 0.5)
		}
		if ends := FindRims(m, n, tr.Axes.Toward, occlusalDefaults); ends[0].Rim == nil || ends[1].Rim != nil {
			t.Errorf("%s: rims at the ends: %+v", name, ends)
		}
	}
}

func TestOcclusalOfMadePhantoms(t *testing.T) {
	for _, c := range []struct {
		name, kind string
		chips      int
	}{{"upper-wavy", "rim", 0}, {"lower-chipped", "rim", 2}, {"upper-plate", "plate", 0}, {"lower-handle", "rim", 0}, {"lower-norim", "", 0}} {
		p, ok := phantom.Named(c.name)
		if !ok {
			t.Fatalf("no phantom %s", c.name)
		}
		p.Spacing = 0.45 // coarser than most scans, to save time
		made, err := phantom.Make(p)
		if err != nil {
			t.Fatal(err)
		}
		axes := made.Truth.Axes
		rim, why := FindRim(made.Mesh, made.Mesh.Normals(), axes.TowardTissue.Along(0.2, axes.Left), occlusalDefaults)
		if (rim != nil) != (c.kind != "") {
			t.Errorf("%s: rim %v %s", c.name, rim != nil, why)
		}
		if rim == nil || c.kind == "" {
			continue
		}
		o := FitOcclusal(made.Mesh, rim, OcclusalRefs{Left: axes.Left, Posterior: axes.Posterior, Toward: axes.TowardTissue}, occlusalDefaults)
		deg := degrees(math.Acos(min(1, o.Normal.Dot(made.Truth.Plane.Normal))))
		t.Logf("%s: %.4f°, flatness %.3f, wave %.2f, chips %v", c.name, deg, o.FlatnessMM, made.Truth.Plane.Wave, o.Chips)
		if deg > 0.1 || o.Kind != c.kind || len(o.Chips) != c.chips {
			t.Errorf("%s: %.3f°, %s, %d chips", c.name, deg, o.Kind, len(o.Chips))
		}
		near(t, c.name+" flatness", o.FlatnessMM, made.Truth.Plane.Wave+5.2*p.Noise, 0.1)
	}
}

func TestOcclusalReferencesAndWidths(t *testing.T) {
	b := tray{tilt: 3, chips: []Vec{{X: 24, Y: -14, Z: 3}}}.build(9)
	rim, why := FindRim(b.m, b.m.Normals(), b.toward, occlusalDefaults)
	if rim == nil {
		t.Fatal(why)
	}
	refs := b.refs()
	refs.References = map[string]Vec{"given": b.toward}
	refs.Apex = map[string]Vec{"anterior": b.plane.Point.Along(21.5, b.plane.Normal)}
	o := FitOcclusal(b.m, rim, refs, occlusalDefaults)
	tilt := o.Tilts["given"]
	near(t, "cant", tilt.CantDeg, 3, 0.02) // the plane rises to the patient's left
	near(t, "pitch", tilt.PitchDeg, 0, 0.02)
	near(t, "total", tilt.TotalDeg, 3, 0.02)
	if o.RimHeight.Anterior == nil || o.RimHeight.Left != nil {
		t.Fatalf("heights %+v", o.RimHeight)
	}
	near(t, "height", *o.RimHeight.Anterior, 21.5, 0.02)
	// Width 5 + 4 |sin phi|, across the arch: 5 at the midline, within a pixel or two there.
	near(t, "least width in front", o.RimWidth["anterior"].MinMM, 5, 0.5)
	near(t, "width at the right", o.RimWidth["right"].MedianMM, 5+4*math.Sin(60*math.Pi/180), 0.5)
	if len(o.Chips) != 1 || len(o.Outline) == 0 {
		t.Fatalf("%d chips, %d outlines", len(o.Chips), len(o.Outline))
	}
	near(t, "chip depth", o.Chips[0].DepthMM, 0.8, 0.1)
	for _, path := range o.Outline {
		if path[0] != path[len(path)-1] {
			t.Error("outline not closed")
		}
	}
}

func TestOcclusalDoesNotDependOnOrder(t *testing.T) {
	b := tray{noise: 0.02, step: 0.4, wave: func(x, y, _ float64) float64 { return 0.2 * math.Sin(0.3*x+0.1*y) }}.build(11)
	tri := slices.Clone(b.m.Tri)
	slices.Reverse(tri)
	for i, f := range tri {
		tri[i] = [3]mesh.VertexID{f[1], f[2], f[0]}
	}
	other := mesh.New(b.m.Pos, tri)
	one, _ := FindRim(b.m, b.m.Normals(), b.toward, occlusalDefaults)
	two, _ := FindRim(other, other.Normals(), b.toward, occlusalDefaults)
	if one == nil || two == nil {
		t.Fatal("no rim")
	}
	near(t, "normal", one.Plane.Normal.Dist(two.Plane.Normal), 0, 1e-5)
	again, _ := FindRim(b.m, b.m.Normals(), b.toward, occlusalDefaults)
	if again.Plane != one.Plane {
		t.Error("not the same plane twice")
	}
}

func TestRimOfScanInAnotherUnit(t *testing.T) {
	b := tray{}.build(5)
	for _, k := range []float64{1e-3, 1 / 25.4, 1000} {
		pos := make([]Vec, len(b.m.Pos))
		for i, p := range b.m.Pos {
			pos[i] = p.Scale(k)
		}
		m := mesh.New(pos, b.m.Tri)
		if rim, why := FindRim(m, m.Normals(), b.toward, occlusalDefaults); rim == nil && why == "" {
			t.Errorf("scale %g: neither a rim nor a reason", k)
		} else if rim != nil {
			FitOcclusal(m, rim, b.refs(), occlusalDefaults)
		}
	}
	empty := mesh.New(nil, nil)
	if rim, why := FindRim(empty, nil, Vec{Z: 1}, occlusalDefaults); rim != nil || why == "" {
		t.Error("a rim on nothing")
	}
}
