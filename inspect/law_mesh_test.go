package inspect

import (
	"maps"
	"math"
	"slices"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// split cuts each face in four at the middles of its sides, rounded as a file rounds them: the
// surface stays where it was.
func split(m *mesh.Mesh) *mesh.Mesh {
	pos := append([]Vec(nil), m.Pos...)
	middle := make([]mesh.VertexID, len(m.Across))
	for c := range middle {
		middle[c] = -1
	}
	half := func(c mesh.Corner) mesh.VertexID {
		if middle[c] < 0 {
			pos = append(pos, m.Pos[m.Vertex(c)].Add(m.Pos[m.Vertex(c.Next())]).Scale(0.5))
			middle[c] = mesh.VertexID(len(pos) - 1)
			if d := m.Across[c]; d >= 0 {
				middle[d] = middle[c]
			}
		}
		return middle[c]
	}
	var tri [][3]mesh.VertexID
	for f, t := range m.Tri {
		c := mesh.Corner(3 * f)
		a, b, d := half(c), half(c+1), half(c+2)
		tri = append(tri, [3]mesh.VertexID{t[0], a, d}, [3]mesh.VertexID{a, t[1], b}, [3]mesh.VertexID{d, b, t[2]}, [3]mesh.VertexID{a, b, d})
	}
	return mesh.New(pos, tri)
}

// Cutting faces finer moves no surface, so what belongs to the surface stays; and a phantom
// sampled twice as finely comes nearer to the finest one.
func TestRefinementConverges(t *testing.T) {
	t.Run("faces in four", func(t *testing.T) {
		m := lawScans()["upper"]
		a, b := inspected(t, m), inspected(t, split(m))
		near := func(what string, x, y *float64, tolerance float64) {
			t.Helper()
			if (x == nil) != (y == nil) || x != nil && math.Abs(*x-*y) > tolerance {
				t.Errorf("%s: %v, then %v", what, text(x), text(y))
			}
		}
		near("area", &a.Quality.AreaMM2, &b.Quality.AreaMM2, 0.01)
		if len(a.Holes) != 1 || len(b.Holes) != 1 {
			t.Fatalf("%d holes, then %d", len(a.Holes), len(b.Holes))
		}
		// The teeth of the rim, now cut finer, are no longer told from its shape.
		near("hole span", &a.Holes[0].SpanMM, &b.Holes[0].SpanMM, lawSpacing)
		near("hole area", &a.Holes[0].AreaMM2, &b.Holes[0].AreaMM2, 1e-3)
		if d := degrees(math.Acos(min(1, a.Occlusal.Normal.Dot(b.Occlusal.Normal)))); d > 0.02 {
			t.Errorf("the occlusal plane turned by %.4f degrees", d)
		}
		near("rim height", a.Occlusal.RimHeight.Anterior, b.Occlusal.RimHeight.Anterior, 0.02)
		near("flatness", &a.Occlusal.FlatnessMM, &b.Occlusal.FlatnessMM, 0.03)
		if d := degrees(math.Acos(min(1, a.Frame.Left.Dot(b.Frame.Left)))); d > 0.05 {
			t.Errorf("left turned by %.4f degrees", d)
		}
		// Landmarks are read at sections 0.6 mm apart and along a broad summit.
		for name, l := range a.Landmarks {
			if d := l.Point.Dist(b.Landmarks[name].Point); d > 0.6 {
				t.Errorf("%s moved by %.3f mm", name, d)
			}
		}
	})
	t.Run("sampling", func(t *testing.T) {
		if testing.Short() {
			t.Skip("three scans down to 0.2 mm")
		}
		p := phantom.Default("lower")
		p.Noise = 0
		var tilt, offset, height []float64
		for _, spacing := range []float64{0.8, 0.4, 0.2} {
			p.Spacing = spacing
			made, err := phantom.Make(p)
			if err != nil {
				t.Fatal(err)
			}
			o, q := inspected(t, made.Mesh).Occlusal, made.Truth.Plane
			tilt = append(tilt, degrees(math.Acos(min(1, o.Normal.Dot(q.Normal)))))
			offset = append(offset, math.Abs(o.Point.Sub(q.Point).Dot(q.Normal)))
			height = append(height, *o.RimHeight.Anterior)
		}
		t.Logf("at 0.8, 0.4, 0.2 mm: tilt off by %.4f degrees, plane by %.4f mm, rim height %.4f", tilt, offset, height)
		if tilt[2] > 0.01 || offset[2] > 0.005 || math.Abs(height[2]-height[1]) > max(0.01, math.Abs(height[1]-height[0])) {
			t.Error("does not converge")
		}
	})
}

func text(x *float64) any {
	if x == nil {
		return "unmeasured"
	}
	return *x
}

// Measures without a length of their own grow with the scan.
func TestScaleGrowsWhatHasNoLengthOfItsOwn(t *testing.T) {
	const k = 1.25
	m := lawScans()["upper"]
	pos := make([]Vec, len(m.Pos))
	for i, p := range m.Pos {
		pos[i] = p.Scale(k)
	}
	a, b := inspected(t, m), inspected(t, mesh.New(pos, m.Tri))
	grows := func(what string, x, y, power, share float64) {
		t.Helper()
		if want := x * math.Pow(k, power); !(math.Abs(y-want) <= share*want) {
			t.Errorf("%s: %.5f times %v^%v is %.5f, got %.5f", what, x, k, power, want, y)
		}
	}
	const exact = 2e-6 // of float32
	grows("area", a.Quality.AreaMM2, b.Quality.AreaMM2, 2, exact)
	grows("edge", a.Quality.EdgeMedianMM, b.Quality.EdgeMedianMM, 1, exact)
	grows("hole span", a.Holes[0].SpanMM, b.Holes[0].SpanMM, 1, exact)
	grows("hole perimeter", a.Holes[0].PerimeterMM, b.Holes[0].PerimeterMM, 1, exact)
	grows("hole area", a.Holes[0].AreaMM2, b.Holes[0].AreaMM2, 2, 10*exact)
	// Bands and windows in mm take part in these, little.
	grows("rim height", *a.Occlusal.RimHeight.Anterior, *b.Occlusal.RimHeight.Anterior, 1, 0.005)
	grows("rim area", a.Occlusal.AreaMM2, b.Occlusal.AreaMM2, 2, 0.01)
	if d := degrees(math.Acos(min(1, a.Occlusal.Normal.Dot(b.Occlusal.Normal)))); d > 0.01 {
		t.Errorf("the occlusal plane turned by %.4f degrees", d)
	}
	if len(a.Holes) != len(b.Holes) || a.Jaw != b.Jaw || a.Surface != b.Surface {
		t.Errorf("%d holes of %s %s, then %d of %s %s", len(a.Holes), a.Jaw, a.Surface, len(b.Holes), b.Jaw, b.Surface)
	}
}

// One more hole adds one, and leaves the others as they were.
func TestOneMoreHoleAddsOne(t *testing.T) {
	m := lawScans()["upper"]
	before := inspected(t, m)
	for i, at := range []Vec{{X: 9, Y: 32}, {X: -17, Y: 18}, {X: 2, Y: 40}} {
		// The tissue surface over the place: the highest face there.
		top := math.Inf(-1)
		for f := range m.Tri {
			c := middleOf(m, mesh.FaceID(f))
			if math.Hypot(c.X-at.X, c.Y-at.Y) < 0.5 && c.Z > top {
				top, at.Z = c.Z, c.Z
			}
		}
		var tri [][3]mesh.VertexID
		for f, corners := range m.Tri {
			if middleOf(m, mesh.FaceID(f)).Dist(at) > 2 {
				tri = append(tri, corners)
			}
		}
		after := inspected(t, mesh.New(m.Pos, tri))
		if len(after.Holes) != len(before.Holes)+1 {
			t.Errorf("hole %d: %d became %d", i, len(before.Holes), len(after.Holes))
			continue
		}
		for _, h := range before.Holes {
			same := false
			for _, g := range after.Holes {
				same = same || g.Centre.Dist(h.Centre) < 1e-6 && g.SpanMM == h.SpanMM
			}
			if !same {
				t.Errorf("hole %d changed the one at %v", i, h.Centre)
			}
		}
	}
}

func middleOf(m *mesh.Mesh, f mesh.FaceID) Vec {
	a, b, c := m.Corners(f)
	return a.Add(b).Add(c).Scale(1. / 3)
}

// A third of the scan cut away takes numbers with it, but makes no wrong ones: what is still
// told is what the whole scan told, or the cut itself.
func TestCropInventsNoNumber(t *testing.T) {
	for name, m := range lawScans() {
		whole := inspected(t, m)
		lo, hi := m.Bounds()
		span := hi.Sub(lo)
		cuts := map[string]func(Vec) bool{
			"rear":  func(p Vec) bool { return p.Y < hi.Y-span.Y/3 },
			"left":  func(p Vec) bool { return p.X < hi.X-span.X/3 },
			"front": func(p Vec) bool { return p.Y > lo.Y+span.Y/3 },
			// Elsewhere on the crest, whose waves may look like a low pad.
			"rear fifth": func(p Vec) bool { return p.Y < hi.Y-span.Y/5 },
			"rear 3/10":  func(p Vec) bool { return p.Y < hi.Y-3*span.Y/10 },
			"rear half":  func(p Vec) bool { return p.Y < hi.Y-span.Y/2 },
		}
		for _, cut := range slices.Sorted(maps.Keys(cuts)) {
			var tri [][3]mesh.VertexID
			for f, corners := range m.Tri {
				if cuts[cut](middleOf(m, mesh.FaceID(f))) {
					tri = append(tri, corners)
				}
			}
			rep := inspected(t, mesh.New(m.Pos, tri))
			for side, s := range map[string]*PosteriorSide{"left": rep.Posterior.Left, "right": rep.Posterior.Right} {
				was := map[string]*PosteriorSide{"left": whole.Posterior.Left, "right": whole.Posterior.Right}[side]
				if s == nil || was == nil {
					continue
				}
				for what, v := range map[string][2]*float64{"extension": {s.ExtensionMM, was.ExtensionMM}, "past pad front": {s.PastPadFrontMM, was.PastPadFrontMM}} {
					if v[0] != nil && (v[1] == nil || math.Abs(*v[0]-*v[1]) > 1.5) {
						t.Errorf("%s without its %s: %s %s %v, whole %v", name, cut, side, what, text(v[0]), text(v[1]))
					}
				}
			}
			for landmark, l := range rep.Landmarks {
				w, ok := whole.Landmarks[landmark]
				if !ok || l.Point.Dist(w.Point) > max(3, 2*l.UncertaintyMM) {
					t.Errorf("%s without its %s: %s is %v (within %.2f mm), whole %v", name, cut, landmark, l.Point, l.UncertaintyMM, w.Point)
				}
			}
			if o, w := rep.Occlusal, whole.Occlusal; o != nil && w != nil {
				if d := degrees(math.Acos(min(1, o.Normal.Dot(w.Normal)))); d > 0.2 {
					t.Errorf("%s without its %s: occlusal plane turned by %.2f degrees", name, cut, d)
				}
				for what, v := range map[string][2]*float64{"anterior": {o.RimHeight.Anterior, w.RimHeight.Anterior}, "left": {o.RimHeight.Left, w.RimHeight.Left}, "right": {o.RimHeight.Right, w.RimHeight.Right}} {
					if v[0] != nil && (v[1] == nil || math.Abs(*v[0]-*v[1]) > 0.5) {
						t.Errorf("%s without its %s: rim height %s %v, whole %v", name, cut, what, text(v[0]), text(v[1]))
					}
				}
			}
			for _, h := range rep.Holes {
				known := false
				for _, g := range whole.Holes {
					known = known || h.Centre.Dist(g.Centre) < 0.5
				}
				// The cut itself is an opening of a two-sided scan.
				if !known && h.SpanMM < 8 {
					t.Errorf("%s without its %s: a hole %.1f mm wide at %v", name, cut, h.SpanMM, h.Centre)
				}
			}
			t.Logf("%s without its %s: %s, %d landmarks, %d holes, jaw %q", name, cut, rep.Verdict, len(rep.Landmarks), len(rep.Holes), rep.Jaw)
		}
	}
}
