package inspect

import (
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"testing"

	"fornix/mesh"
)

// defaultDefects is the one literal of the tests.
func defaultDefects() DefectMethod {
	return DefectMethod{FineMM: 0.4, CoarseMM: 1.0, CupPerMM: 0.5, GroovePerMM: 0.7, MinWidthMM: 0.7, MaxWidthMM: 7, MinDepthMM: 0.22,
		RimDeg: 15, RimSharp: 0.5, RimShare: 0.7, EdgeDeg: 30, PitMisfit: 0.06, SoundMisfit: 0.14,
		CloseEdgeDeg: 45, ClosePitMisfit: 0.03, CloseSoundMisfit: 0.08, Bias: 0.03, FalseShare: 0.01, FoldBias: 0.03, FoldMM: 3, DepthShare: 0.5, FoldRatio: 2.5, TurnShare: 0.3, ShownShare: 0.5}
}

// cut is a fault cut into a field: a cap at (x, y) or, with length, a groove that runs in plan
// along deg. Heights over the field are negative depths.
type cut struct{ x, y, width, depth, length, deg float64 }

// field is a smooth surface over a rectangle of 40 x 30 mm.
type field func(x, y float64) float64

// trough bends like the impression of a ridge, with the smooth forms that are no faults: a
// papilla's hollow (0.5 deep, 4 wide), rugae (grooves 0.5 deep, 2 wide) and a raphe.
func trough(x, y float64) float64 {
	z := y*y/12 + x*x/160
	z -= 0.5 * math.Exp(-(sq(x+12)+sq(y-3))/(2*sq(1.2)))
	for k := range 3 {
		z -= 0.5 * math.Exp(-sq((x-0.2*y-float64(4*k))/0.8)/2) * math.Exp(-sq(y-10)/18)
	}
	return z - 0.4*math.Exp(-sq(y+9)/2)
}

func sq(x float64) float64 { return x * x }

func (f field) normal(x, y float64) Vec {
	const h = 1e-4
	return Vec{X: -(f(x+h, y) - f(x-h, y)) / (2 * h), Y: -(f(x, y+h) - f(x, y-h)) / (2 * h), Z: 1}.Unit()
}

// scan meshes the field with faults cut in: a grid of equal triangles with the given spacing,
// shaken by a quarter of it in plan and by noise (SD) along the normal. The truth is exact: caps
// and grooves are balls that meet the tangent plane in circles of the stated width.
func (f field) scan(cuts []cut, spacing, noise float64, r *rand.Rand) *mesh.Mesh {
	type ball struct {
		c    Vec
		r    float64
		sign float64
	}
	var balls []ball
	for _, c := range cuts {
		h := math.Abs(c.depth)
		rad := (sq(c.width/2) + h*h) / (2 * h)
		sign := math.Copysign(1, c.depth)
		// A groove's axis is walked from its middle both ways, evenly along the surface.
		dir := Vec{X: math.Cos(c.deg * math.Pi / 180), Y: math.Sin(c.deg * math.Pi / 180)}
		for _, way := range []float64{1, -1} {
			p := Vec{X: c.x, Y: c.y, Z: f(c.x, c.y)}
			for done := 0.0; ; {
				balls = append(balls, ball{p.Along(sign*(rad-h), f.normal(p.X, p.Y)), rad, sign})
				q := p.Along(0.02*way, dir)
				q.Z = f(q.X, q.Y)
				if done += q.Dist(p); done > (c.length-c.width)/2 {
					break
				}
				p = q
			}
		}
	}
	nx, ny := int(40/spacing), int(30/(spacing*math.Sqrt(3)/2))
	var pos []Vec
	for j := range ny + 1 {
		for i := range nx + 1 {
			x := -20 + spacing*(float64(i)+0.5*float64(j%2)+r.Float64()/4)
			y := -15 + spacing*math.Sqrt(3)/2*(float64(j)+r.Float64()/4)
			z := f(x, y)
			for _, b := range balls {
				d2 := sq(b.r) - sq(x-b.c.X) - sq(y-b.c.Y)
				if d2 <= 0 {
					continue
				}
				// Taken out from above, or laid on.
				if end := b.c.Z - b.sign*math.Sqrt(d2); b.sign*(z-end) > 0 && b.sign*(f(x, y)-b.c.Z) < math.Sqrt(d2) {
					z = end
				}
			}
			pos = append(pos, Vec{X: x, Y: y, Z: z}.Along(noise*r.NormFloat64(), f.normal(x, y)))
		}
	}
	var tri [][3]mesh.VertexID
	for j := range ny {
		for i := range nx {
			a, b := mesh.VertexID(j*(nx+1)+i), mesh.VertexID((j+1)*(nx+1)+i)
			if j%2 == 0 {
				tri = append(tri, [3]mesh.VertexID{a, a + 1, b}, [3]mesh.VertexID{a + 1, b + 1, b})
			} else {
				tri = append(tri, [3]mesh.VertexID{a, b + 1, b}, [3]mesh.VertexID{a, a + 1, b + 1})
			}
		}
	}
	return mesh.New(pos, tri)
}

func allTissue(m *mesh.Mesh) *Anatomy {
	an := &Anatomy{Part: make([]Part, len(m.Pos))}
	for i := range an.Part {
		an.Part[i] = PartTissue
	}
	return an
}

func testNormals(m *mesh.Mesh) []Vec {
	n := make([]Vec, len(m.Pos))
	for f, t := range m.Tri {
		a, b, c := m.Corners(mesh.FaceID(f))
		x := b.Sub(a).Cross(c.Sub(a))
		for _, v := range t {
			n[v] = n[v].Add(x)
		}
	}
	for i := range n {
		n[i] = n[i].Unit()
	}
	return n
}

func defectsOf(m *mesh.Mesh, noise float64) []Defect {
	return FindDefects(m, testNormals(m), allTissue(m), defaultDefects(), noise)
}

var someCuts = []cut{
	{x: -5, y: 0, width: 2, depth: 0.8}, {x: 3, y: 2, width: 3, depth: 1}, {x: 11, y: 4, width: 1.5, depth: 0.5},
	{x: 15, y: -1, width: 1, depth: 0.4}, {x: -16, y: -4, width: 1.2, depth: 0.5}, {x: -10, y: 10, width: 1.6, depth: 0.6},
	{x: 8, y: -4, width: 2, depth: -0.7}, {x: -10, y: -5, width: 1.2, depth: -0.45},
	{x: 0, y: -3.5, width: 1.2, depth: 0.5, length: 8, deg: 10}, {x: 16, y: 4, width: 1.1, depth: 0.45, length: 6, deg: 70},
}

// checkCuts holds what was found against what was cut: every fault once, nothing else, sizes
// within the tolerance (a share).
func checkCuts(t *testing.T, f field, cuts []cut, found []Defect, tol float64) {
	t.Helper()
	used := make([]bool, len(found))
	for _, c := range cuts {
		kind, at := Void, Vec{X: c.x, Y: c.y, Z: f(c.x, c.y)}
		if c.depth < 0 {
			kind = Bleb
		}
		if c.length > 0 {
			kind = Fold
		}
		hit := -1
		for i, d := range found {
			if !used[i] && d.Kind == kind && d.Centre.Dist(at) < 0.2*math.Max(c.width, c.length)+0.1 {
				hit = i
			}
		}
		if hit < 0 {
			t.Errorf("%s %.1f x %.2f mm at (%g, %g) not found", kind, math.Max(c.width, c.length), c.depth, c.x, c.y)
			continue
		}
		used[hit] = true
		d := found[hit]
		size, want := d.DiameterMM, c.width
		if kind == Fold {
			size, want = d.LengthMM, c.length
			if e := *d.WidthMM/c.width - 1; math.Abs(e) > tol {
				t.Errorf("fold's width %.2f, cut %.2f", *d.WidthMM, c.width)
			}
		}
		t.Logf("%s: size %+.1f %%, depth %+.1f %%", kind, 100*(*size/want-1), 100*(d.DepthMM/math.Abs(c.depth)-1))
		if e := *size/want - 1; math.Abs(e) > tol {
			t.Errorf("%s at (%g, %g): size %.2f, cut %.2f", kind, c.x, c.y, *size, want)
		}
		if e := d.DepthMM/math.Abs(c.depth) - 1; math.Abs(e) > tol {
			t.Errorf("%s at (%g, %g): depth %.2f, cut %.2f", kind, c.x, c.y, d.DepthMM, math.Abs(c.depth))
		}
		if v := capVolume(c.width/2, math.Abs(c.depth)); kind != Fold && math.Abs(d.VolumeMM3/v-1) > 3*tol {
			t.Errorf("%s at (%g, %g): volume %.3f, cut %.3f", kind, c.x, c.y, d.VolumeMM3, v)
		}
		if n := f.normal(c.x, c.y); d.Normal.Dot(n) < math.Cos(15*math.Pi/180) {
			t.Errorf("%s at (%g, %g): normal %v, surface's %v", kind, c.x, c.y, d.Normal, n)
		}
	}
	for i, d := range found {
		if !used[i] {
			t.Errorf("invented: %s at %.2f, %.2f, depth %.2f", d.Kind, d.Centre.X, d.Centre.Y, d.DepthMM)
		}
	}
}

func TestDefectsCutIntoASmoothSurface(t *testing.T) {
	for _, c := range []struct{ spacing, noise, tol float64 }{
		{0.15, 0, 0.05}, {0.2, 0.01, 0.1}, {0.3, 0.01, 0.1}, {0.3, 0.02, 0.15},
	} {
		m := field(trough).scan(someCuts, c.spacing, c.noise, rand.New(rand.NewPCG(3, 2)))
		t.Logf("spacing %g, noise %g", c.spacing, c.noise)
		checkCuts(t, trough, someCuts, defectsOf(m, c.noise), c.tol)
	}
}

func TestNoDefectsOnSmoothForms(t *testing.T) {
	for _, spacing := range []float64{0.2, 0.35, 0.5} {
		for _, noise := range []float64{0, 0.02} {
			m := field(trough).scan(nil, spacing, noise, rand.New(rand.NewPCG(3, 4)))
			checkCuts(t, trough, nil, defectsOf(m, noise), 0)
			checkCuts(t, trough, nil, defectsOf(flipped(m), noise), 0)
		}
	}
}

// flipped turns every face over, which makes a surface the other side's.
func flipped(m *mesh.Mesh) *mesh.Mesh {
	tri := make([][3]mesh.VertexID, len(m.Tri))
	for i, t := range m.Tri {
		tri[i] = [3]mesh.VertexID{t[0], t[2], t[1]}
	}
	return mesh.New(m.Pos, tri)
}

// Seen from the other side every void is a bleb of the same size and the other way round.
func TestDefectsTurnedInsideOut(t *testing.T) {
	pits := someCuts[:8]
	m := field(trough).scan(pits, 0.25, 0.01, rand.New(rand.NewPCG(5, 6)))
	a, b := defectsOf(m, 0.01), defectsOf(flipped(m), 0.01)
	if len(a) != len(pits) || len(b) != len(pits) {
		t.Fatalf("%d and %d found, %d cut", len(a), len(b), len(pits))
	}
	other := map[string]string{Void: Bleb, Bleb: Void}
	for i := range a {
		if b[i].Kind != other[a[i].Kind] || math.Abs(*a[i].DiameterMM-*b[i].DiameterMM) > 1e-3 || a[i].Centre.Dist(b[i].Centre) > 1e-2 {
			t.Errorf("%s %.3f at %v became %s %.3f at %v", a[i].Kind, *a[i].DiameterMM, a[i].Centre, b[i].Kind, *b[i].DiameterMM, b[i].Centre)
		}
	}
}

// A scan whose faces are wound the wrong way round shows the same faults: the normals alone say
// what is outside.
func TestDefectsOfAnInsideOutScan(t *testing.T) {
	m := field(trough).scan(someCuts, 0.3, 0.01, rand.New(rand.NewPCG(15, 16)))
	a := FindDefects(m, testNormals(m), allTissue(m), defaultDefects(), 0.01)
	b := FindDefects(flipped(m), testNormals(m), allTissue(m), defaultDefects(), 0.01)
	if len(a) != len(someCuts) || len(b) != len(a) {
		t.Fatalf("%d found of %d, %d where the faces are turned", len(a), len(someCuts), len(b))
	}
	for i := range a {
		if a[i].Kind != b[i].Kind || a[i].Centre.Dist(b[i].Centre) > 1e-6 || math.Abs(a[i].DepthMM-b[i].DepthMM) > 1e-6 {
			t.Errorf("%s %.3f deep at %v became %s %.3f deep at %v", a[i].Kind, a[i].DepthMM, a[i].Centre, b[i].Kind, b[i].DepthMM, b[i].Centre)
		}
	}
}

// A rigid motion moves what is found and changes nothing else.
func TestDefectsMoveWithTheScan(t *testing.T) {
	m := field(trough).scan(someCuts, 0.3, 0.01, rand.New(rand.NewPCG(7, 8)))
	turn := func(v Vec) Vec {
		v = Vec{X: 0.6*v.X - 0.8*v.Y, Y: 0.8*v.X + 0.6*v.Y, Z: v.Z}
		return Vec{X: v.X, Y: 0.28*v.Y - 0.96*v.Z, Z: 0.96*v.Y + 0.28*v.Z}
	}
	shift := Vec{X: 50, Y: -20, Z: 130}
	pos := make([]Vec, len(m.Pos))
	for i, p := range m.Pos {
		pos[i] = turn(p).Add(shift)
	}
	a, b := defectsOf(m, 0.01), defectsOf(mesh.New(pos, m.Tri), 0.01)
	if len(a) != len(b) || len(a) < len(someCuts)-1 {
		t.Fatalf("%d found, %d after the motion", len(a), len(b))
	}
	for i := range a {
		if d := turn(a[i].Centre).Add(shift).Dist(b[i].Centre); a[i].Kind != b[i].Kind || d > 1e-3 || math.Abs(a[i].DepthMM-b[i].DepthMM) > 1e-3 {
			t.Errorf("%s %d: centre off by %g, depth %g and %g", a[i].Kind, a[i].ID, d, a[i].DepthMM, b[i].DepthMM)
		}
	}
}

func TestDefectsSameForAnyNumberOfWorkers(t *testing.T) {
	m := field(trough).scan(someCuts, 0.4, 0.01, rand.New(rand.NewPCG(9, 10)))
	many := defectsOf(m, 0.01)
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	if one := defectsOf(m, 0.01); !reflect.DeepEqual(one, many) {
		t.Errorf("one worker: %v\nmany: %v", one, many)
	}
}

// What lies on other parts of the scan is none of the material's business.
func TestDefectsOnlyOnTissueAndBorder(t *testing.T) {
	m := field(trough).scan(someCuts[:1], 0.3, 0, rand.New(rand.NewPCG(11, 12)))
	an := allTissue(m)
	for i := range an.Part {
		an.Part[i] = PartRim
	}
	if d := FindDefects(m, testNormals(m), an, defaultDefects(), 0); len(d) != 0 {
		t.Errorf("found on a rim: %v", d)
	}
	for i := range an.Part {
		an.Part[i] = PartBorder
	}
	if d := FindDefects(m, testNormals(m), an, defaultDefects(), 0); len(d) != 1 || d[0].Surface != OnBorder {
		t.Errorf("on a border: %v", d)
	}
}

// A fold that runs over a bend, in a trough as over a ridge of 5 mm radius, is as deep as it was cut. The
// middle of a cross-section 1.4 mm long lies 0.7²/6/5 = 0.016 mm under the mean of it, or over it.
func TestFoldsOverABend(t *testing.T) {
	for _, bend := range []float64{5, -5} {
		f := field(func(x, y float64) float64 { return sq(x) / (2 * bend) * math.Exp(-sq(x/8)) })
		m := f.scan([]cut{{width: 1.2, depth: 0.5, length: 7}}, 0.25, 0.004, rand.New(rand.NewPCG(17, 18)))
		found := defectsOf(m, 0.004)
		if len(found) != 1 || found[0].Kind != Fold {
			t.Fatalf("radius %g: %d found", bend, len(found))
		}
		d := &found[0]
		t.Logf("radius %g: depth %.4f, known to %.4f", bend, d.DepthMM, d.DepthUMM)
		if math.Abs(d.DepthMM-0.5) > 0.008 || math.Abs(d.DepthMM-0.5) > d.DepthUMM {
			t.Errorf("radius %g: depth %.4f, known to %.4f, cut 0.5", bend, d.DepthMM, d.DepthUMM)
		}
	}
}

// Folds across, along and oblique to a crest of 2.5 mm radius, in the trough that it leaves and on the ridge
// itself, at 2.8 edges of the scan. Of 120, 108 were found by a cylinder along the line that the normals
// give and a quadric, and 2 invented.
func TestFoldsOnANarrowCrest(t *testing.T) {
	const radius, edge, noise = 2.5, 0.4, 0.01
	scans := 4
	if testing.Short() {
		scans = 1
	}
	for _, sign := range []float64{1, -1} {
		crest := field(func(x, y float64) float64 { // round on top, straight flanks
			y = math.Abs(y) / radius
			if y < 0.7 {
				return sign * radius * (1 - math.Sqrt(1-sq(y)))
			}
			s := math.Sqrt(1 - sq(0.7))
			return sign * radius * (1 - s + (y-0.7)*0.7/s)
		})
		for _, deg := range []float64{0, 20, 40, 60, 90} {
			made, found := 0, 0
			for k := range scans {
				r := rand.New(rand.NewPCG(uint64(k), 5))
				var cuts []cut
				for i := range 3 {
					cuts = append(cuts, cut{x: -12 + 12*float64(i) + r.Float64(), y: 0.3 * r.NormFloat64(),
						width: 1.1 + 0.1*r.Float64(), depth: 0.45 + 0.1*r.Float64(), length: 6 + r.Float64(), deg: deg})
				}
				made += len(cuts)
				for _, d := range defectsOf(crest.scan(cuts, edge, noise, r), noise) {
					if slices.ContainsFunc(cuts, func(q cut) bool {
						return d.Kind == Fold && d.Centre.Dist(Vec{X: q.x, Y: q.y, Z: crest(q.x, q.y)}) < 1.5
					}) {
						found++
					} else {
						t.Errorf("sign %g, %g degrees: invented a %s at %.1f", sign, deg, d.Kind, d.Centre)
					}
				}
			}
			if found < made-1 {
				t.Errorf("sign %g, %g degrees: %d of %d found", sign, deg, found, made)
			}
		}
	}
}

// Of a bleb only as much is told as the scan shows: a third of one may be anything that is round there.
func TestDefectsMostlyShown(t *testing.T) {
	f := field(func(x, y float64) float64 { return 0 })
	whole := f.scan([]cut{{width: 4.4, depth: -0.95}}, 0.3, 0.005, rand.New(rand.NewPCG(19, 20)))
	for _, c := range []struct {
		from float64 // mm: what lies in the opening beyond this is missing
		told int
	}{{3, 1}, {0.5, 1}, {-0.7, 0}} {
		var left [][3]mesh.VertexID
		for _, v := range whole.Tri {
			mid := whole.Pos[v[0]].Add(whole.Pos[v[1]]).Add(whole.Pos[v[2]]).Scale(1.0 / 3)
			if mid.Y < c.from || math.Hypot(mid.X, mid.Y) > 2.2 {
				left = append(left, v)
			}
		}
		if found := defectsOf(mesh.New(whole.Pos, left), 0.005); len(found) != c.told {
			t.Errorf("missing from %g mm: told %v, want %d", c.from, found, c.told)
		}
	}
}

func BenchmarkFindDefects(b *testing.B) {
	m := field(trough).scan(someCuts, 0.1, 0.01, rand.New(rand.NewPCG(13, 14)))
	nor, an := testNormals(m), allTissue(m)
	b.ReportMetric(float64(len(m.Tri)), "faces")
	for b.Loop() {
		FindDefects(m, nor, an, defaultDefects(), 0.01)
	}
}
