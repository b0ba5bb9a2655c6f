package inspect

import (
	"bytes"
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"strings"
	"sync"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/register"
	"fornix/mesh/shape"
)

// aScan wraps a mesh as a scan in mm.
func aScan(name string, m *mesh.Mesh) *Scan {
	return &Scan{Mesh: m, Info: ScanInfo{File: name, Unit: "mm", UnitToMM: 1, Faces: len(m.Tri), Vertices: len(m.Pos)}}
}

// Two equal spheres as scans, their middles d apart: at the places of either the mean of the signed
// distance is d²/(3R) outward, the RMS d/√3. At A's places the sign is turned, since it says how far B
// lies beyond A. Flat faces lie under the sphere by up to e²/8R.
func TestCompareSpheres(t *testing.T) {
	const r, d = 10.0, 0.3
	ball := shape.Icosphere(r, 5).Mesh
	_, e := edgeLengths(ball)
	sag := e * e / (8 * r)
	pose := register.Pose{R: register.Identity().R, T: Vec{X: 3, Y: -2, Z: d}}
	// B's file has the sphere elsewhere, so that the pose has something to do.
	at := register.Pose{R: pose.R, T: Vec{X: -3, Y: 2}}
	pos := make([]Vec, len(ball.Pos))
	for i, p := range ball.Pos {
		pos[i] = at.Apply(p)
	}
	out, err := Compare(aScan("a.stl", ball), aScan("b.stl", mesh.New(pos, ball.Tri)), DefaultProtocol(), CompareOptions{Purpose: AsReference, Pose: &pose})
	if err != nil {
		t.Fatal(err)
	}
	c := out.Comparison
	near(t, "mean at B", c.Overall.AtB.MeanMM, d*d/(3*r), sag)
	near(t, "mean at A", c.Overall.AtA.MeanMM, -d*d/(3*r), sag)
	for _, v := range []*Deviation{c.Overall.AtA, c.Overall.AtB} {
		near(t, "RMS", v.RMSMM, d/math.Sqrt(3), sag)
		near(t, "greatest", v.Highest.MM, d, sag)
		near(t, "area", v.AreaMM2, ball.Area(), 1e-6)
	}
	if len(c.Regions) != 0 || c.Jaw != "" {
		t.Errorf("a sphere has a %s jaw and parts %+v", c.Jaw, c.Regions)
	}
	near(t, "turn", c.Alignment.TurnDeg, 0, 1e-9)
	near(t, "shift", c.Alignment.Pose[2][3], d, 1e-12)
}

// A shell, 20 and 18: 2 mm apart everywhere, as a distance and as a layer taken off.
func TestCompareShell(t *testing.T) {
	outer, inner := shape.Icosphere(20, 4).Mesh, shape.Icosphere(18, 4).Mesh
	_, e := edgeLengths(outer)
	sag := e * e / (8 * 18)
	pose := register.Identity()
	out, err := Compare(aScan("a.stl", outer), aScan("b.stl", inner), DefaultProtocol(), CompareOptions{Purpose: AsLayer, Pose: &pose})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean", out.Comparison.Overall.AtA.MeanMM, -2, sag)
	l := out.Comparison.Layer
	if len(l.Parts) != 1 || l.Parts[0].Kind != LayerRemoved {
		t.Fatalf("%+v", l.Parts)
	}
	near(t, "mean of the layer", *l.Parts[0].MeanMM, 2, sag)
	near(t, "cut back", *l.Parts[0].CutBackMM, 2, sag)
	near(t, "volume", l.RemovedMM3, outer.Volume()-inner.Volume(), sag*outer.Area())
	near(t, "area", l.RemovedMM2, outer.Area(), 1e-6)

	out, err = Compare(aScan("a.stl", inner), aScan("b.stl", outer), DefaultProtocol(), CompareOptions{Purpose: AsLayer, Pose: &pose})
	if err != nil {
		t.Fatal(err)
	}
	if l = out.Comparison.Layer; len(l.Parts) != 1 || l.Parts[0].Kind != LayerAdded {
		t.Fatalf("%+v", l.Parts)
	}
	near(t, "mean of the layer", *l.Parts[0].MeanMM, 2, sag)
	near(t, "volume", l.AddedMM3, outer.Volume()-inner.Volume(), sag*outer.Area())
}

// Columns over flat faces are exact: a plate's upper side raised by a plane of any slope.
func TestColumns(t *testing.T) {
	m := shape.Grid(7, 5, false, false, func(u, v float64) Vec { return Vec{X: 20 * u, Y: 30 * v} })
	tall := make([]float64, len(m.Pos))
	for v, p := range m.Pos {
		tall[v] = 1 + 0.1*p.X - 0.02*p.Y
	}
	sum := 0.0
	for _, v := range columns(m, m.Normals(), tall) {
		sum += v
	}
	if m.Normals()[0].Z < 0 {
		t.Fatal("the grid is wound the other way")
	}
	near(t, "volume", sum, 600*(1+0.1*10-0.02*15), 1e-9)
	tall[0] = math.NaN()
	less := 0.0
	for _, v := range columns(m, m.Normals(), tall) {
		less += v
	}
	if !(less < sum && less > 0.9*sum) {
		t.Errorf("without one corner %v of %v", less, sum)
	}
}

// On a sphere flat faces of edge e lie within e²/8R of it, by how many edges ever.
func TestSags(t *testing.T) {
	for _, level := range []int{3, 4} {
		b := register.NewBody(shape.Icosphere(10, level).Mesh)
		mean := 0.0
		for _, s := range sags(b, 0) {
			mean += s / float64(len(b.Mesh.Pos))
		}
		_, e := edgeLengths(b.Mesh)
		near(t, "sag", mean, e*e/80, 0.3*e*e/80)
	}
}

// sharedUpper is one small sound upper impression that several tests compare with.
var sharedUpper = sync.OnceValue(func() made { return mustMake(smallPhantom("upper"), 1) })

// Scans that cannot show the same thing are refused, each with a hint.
func TestCompareRefuses(t *testing.T) {
	shows := func(file string, jaw Jaw, surface string) *compared {
		return &compared{scan: &Scan{Info: ScanInfo{File: file, Unit: "mm", UnitToMM: 1}}, anatomy: &Anatomy{Jaw: jaw, Surface: surface}}
	}
	upper, lower, cast := shows("upper.stl", Upper, Impression), shows("lower.stl", Lower, Impression), shows("cast.stl", Upper, Cast)
	inch := shows("inch.stl", Upper, Impression)
	inch.scan.Info.Unit = "inch"
	told := shows("told.stl", Upper, Impression)
	told.scan.Info.Unit, told.scan.Info.UnitToMM = "inch", 25.4
	ball := &compared{scan: &Scan{Info: ScanInfo{File: "ball.stl", Unit: "mm", UnitToMM: 1}}, why: "it is round"}
	for _, c := range []struct {
		a, b    *compared
		purpose Purpose
		want    string // "": taken
	}{
		{upper, lower, AsRetake, "upper.stl shows the upper jaw, lower.stl the lower"},
		{upper, cast, AsRetake, "upper.stl is an impression, cast.stl a cast"},
		{upper, upper, AsCast, "these are an impression and an impression"},
		{cast, upper, AsCast, "these are a cast and an impression"},
		{upper, lower, AsCast, "upper.stl shows the upper jaw, lower.stl the lower"},
		{upper, inch, AsRepeat, "inch.stl seems to be in inch, not in mm"},
		{ball, upper, AsCast, "which surface ball.stl shows is not known: it is round"},
		{upper, ball, AsCast, "which surface ball.stl shows is not known: it is round"},
		{upper, upper, AsRetake, ""}, {cast, cast, AsRepeat, ""}, {upper, cast, AsCast, ""}, {ball, ball, AsReference, ""}, {upper, told, AsLayer, ""},
	} {
		err := alike(c.a, c.b, CompareOptions{Purpose: c.purpose})
		var u *Unlike
		switch {
		case c.want == "" && err != nil:
			t.Errorf("%s and %s as %s: %v", c.a.scan.Info.File, c.b.scan.Info.File, c.purpose, err)
		case c.want != "" && (!errors.As(err, &u) || u.Hint == "" || !strings.Contains(u.Text, c.want)):
			t.Errorf("%s and %s as %s: %v", c.a.scan.Info.File, c.b.scan.Info.File, c.purpose, err)
		}
	}
	ballMesh := aScan("ball.stl", shape.Icosphere(10, 3).Mesh)
	for want, opt := range map[string]CompareOptions{
		"no purpose": {Purpose: "fun"}, "no zone": {Purpose: AsRepeat, Zone: "nose"}, `zone "stable" of ball.stl is not known`: {Purpose: AsRetake},
	} {
		out, err := Compare(ballMesh, ballMesh, DefaultProtocol(), opt)
		var u *Unlike
		if out != nil || !errors.As(err, &u) || u.Hint == "" || !strings.Contains(u.Text, want) {
			t.Errorf("%s: %v", want, err)
		}
	}
}

// asText is a comparison as JSON.
func asText(t *testing.T, c *Comparison) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteComparisonJSON(&b, c); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// One and several processors give equal bytes; moving either scan, and shuffling its faces, changes
// nothing but the places.
func TestCompareLaws(t *testing.T) {
	a := sharedUpper()
	p := smallPhantom("upper")
	p.Seed, p.Spacing = 1, 0.65
	p.Layers = []phantom.Layer{{X: 5, Y: 25, Radius: 8, Thickness: 0.5, Fade: 3}}
	b := mustMake(p, 4)
	opt := CompareOptions{Purpose: AsLayer, Pose: b.onto(a)}
	first := compare(t, a, b, opt)
	before := runtime.GOMAXPROCS(1)
	again := compare(t, a, b, opt)
	runtime.GOMAXPROCS(before)
	if x, y := asText(t, first.Comparison), asText(t, again.Comparison); x != y {
		t.Error("one processor gives other bytes than several")
	}
	parts(t, first)

	r := rand.New(rand.NewPCG(3, 9))
	g, h := anyMotion(r), anyMotion(r)
	moved := func(s made, g motion) made {
		return made{aScan("moved.stl", reordered(g.moved(s.Mesh), r)), s.truth, s.place.Then(g.pose())}
	}
	ma, mb := moved(a, g), moved(b, h)
	there := compare(t, ma, mb, CompareOptions{Purpose: AsLayer, Pose: mb.onto(ma)})
	same := func(what string, x, y float64) { t.Helper(); near(t, what, y, x, 2e-3*math.Max(1, math.Abs(x))) }
	f, s := first.Comparison, there.Comparison
	same("mean", f.Overall.AtB.MeanMM, s.Overall.AtB.MeanMM)
	same("RMS", f.Overall.AtA.RMSMM, s.Overall.AtA.RMSMM)
	same("added", f.Layer.AddedMM2, s.Layer.AddedMM2)
	same("volume", f.Layer.AddedMM3, s.Layer.AddedMM3)
	if len(f.Regions) != len(s.Regions) || len(f.Layer.Parts) != len(s.Layer.Parts) {
		t.Fatalf("%d and %d parts, %d and %d pieces", len(f.Regions), len(s.Regions), len(f.Layer.Parts), len(s.Layer.Parts))
	}
	for i := range f.Regions {
		// A vertex on the line between two parts may change sides.
		near(t, f.Regions[i].Region, s.Regions[i].AtA.AreaMM2, f.Regions[i].AtA.AreaMM2, 0.01*f.Overall.AtA.AreaMM2)
	}
	if d := s.Layer.Parts[0].Centre.Dist(g.point(f.Layer.Parts[0].Centre)); d > 1.5 {
		t.Errorf("the layer's middle moved by %.2f mm", d)
	}
}

// parts checks that the parts of a comparison add up to the whole, at both scans.
func parts(t *testing.T, out *CompareOutcome) {
	t.Helper()
	c := out.Comparison
	var area, sum [2]float64
	for _, w := range c.Regions {
		for i, d := range []*Deviation{w.AtA, w.AtB} {
			if d != nil {
				area[i], sum[i] = area[i]+d.AreaMM2, sum[i]+d.AreaMM2*d.MeanMM
			}
		}
	}
	for i, d := range []*Deviation{c.Overall.AtA, c.Overall.AtB} {
		near(t, "area of the parts", area[i], d.AreaMM2, 1e-6)
		near(t, "mean of the parts", sum[i]/area[i], d.MeanMM, 1e-9)
	}
	if l := c.Layer; l != nil {
		near(t, "areas of the layer", l.AddedMM2+l.RemovedMM2+l.SameMM2+l.UncoveredMM2, out.A.Area(), 1e-6)
		added, removed := 0.0, 0.0
		for i := range l.Parts {
			if l.Parts[i].Kind == LayerAdded {
				added += l.Parts[i].AreaMM2
			} else {
				removed += l.Parts[i].AreaMM2
			}
		}
		near(t, "added pieces", added, l.AddedMM2, 1e-6)
		near(t, "removed pieces", removed, l.RemovedMM2, 1e-6)
	}
}

// pose is a motion as the register's.
func (g motion) pose() register.Pose {
	return register.Pose{R: [3][3]float64{{g.x.X, g.y.X, g.z.X}, {g.x.Y, g.y.Y, g.z.Y}, {g.x.Z, g.y.Z, g.z.Z}}, T: g.shift}
}
