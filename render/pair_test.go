package render

import (
	"bytes"
	"math"
	"testing"

	"fornix/inspect"
	"fornix/mesh"
)

// closedPair is two slabs, one 9 mm over the other, with a gap that widens to the left.
func closedPair() *inspect.RelateOutcome {
	uf, lf := frameAt(inspect.Upper), frameAt(inspect.Upper)
	lf.TowardTissue, lf.Origin = lf.TowardTissue.Scale(-1), lf.Origin.Along(-9, uf.TowardTissue)
	upper := &inspect.Outcome{Mesh: slab(uf, 40), Report: &inspect.Report{}}
	lower := &inspect.Outcome{Mesh: slab(lf, 40), Report: &inspect.Report{}}
	upper.Report.Occlusal = &inspect.Occlusal{}
	var ring []mesh.Vec
	for j := range 80 {
		a := 2 * math.Pi * float64(j) / 80
		ring = append(ring, uf.World(mesh.Vec{X: 20 * math.Cos(a), Y: 18 * math.Sin(a), Z: -4}))
	}
	upper.Report.Occlusal.Outline = [][]mesh.Vec{ring}
	one := inspect.Motion{Rotation: [3]mesh.Vec{{X: 1}, {Y: 1}, {Z: 1}}}
	at := func(x, y, z float64) mesh.Vec { return uf.World(mesh.Vec{X: x, Y: y, Z: z}) }
	gap := func(o *inspect.Outcome, f *inspect.Frame) []float64 {
		v := make([]float64, len(o.Mesh.Pos))
		for i, p := range o.Mesh.Pos {
			v[i] = math.NaN()
			if q := f.Local(p); math.Abs(q.Z+4) < 0.1 && math.Hypot(q.X, q.Y) < 20 {
				v[i] = 0.3 + 0.02*uf.Local(p).X
			}
		}
		return v
	}
	r := &inspect.Relation{Verdict: inspect.Correct}
	r.Upper.File, r.Lower.File = "upper.stl", "lower.stl"
	r.Shared = inspect.Shared{How: inspect.SharedFrame, Upper: one, Lower: one}
	r.Frame = inspect.RelationFrame{Origin: at(0, 0, -4.5), Left: uf.Left, Posterior: uf.Posterior, Up: uf.TowardTissue}
	r.Planes = inspect.RimPlanes{AngleDeg: 1.21, AngleUDeg: 0.05, ForeAftDeg: 0.01, ForeAftUDeg: 0.04, SidewaysDeg: 1.2, SidewaysUDeg: 0.04}
	for _, n := range inspect.HeightNames {
		x := map[string]float64{inspect.CrestMolarRight: -20, inspect.CrestMolarLeft: 20, inspect.CrestAnterior: 4}[n]
		r.Heights = append(r.Heights, inspect.Height{Name: n, MM: ptr(38.2), UMM: ptr(0.2), Line: []mesh.Vec{at(x, -20, 8), at(x, -20, -17)}})
	}
	for i, n := range inspect.GapPartNames {
		r.Gap.Parts = append(r.Gap.Parts, inspect.GapPart{Name: n, MinMM: ptr(0.02), MedianMM: ptr(0.3), P95MM: ptr(0.6), Middle: ptr(at(float64(5*i-20), 0, -4.5))})
	}
	r.Gap.All = inspect.GapPart{P95MM: ptr(0.7)}
	r.Horizontal = inspect.Horizontal{LeftMM: ptr(2.0), LeftAt: []mesh.Vec{at(22, 0, -4), at(20, 0, -5)}, RightMM: ptr(1.5), RightAt: []mesh.Vec{at(-21.5, 0, -4), at(-20, 0, -5)}, UMM: 0.1}
	r.Findings = []inspect.Finding{{Number: 1, Code: "rims-uneven", Severity: inspect.Fail, Value: ptr(0.8), Unit: "mm", Text: "The gap is uneven.", Where: inspect.Where{Points: []mesh.Vec{at(18, 0, -4.5)}}}}
	r.WhatIf = []inspect.WhatIf{{FrontMM: 2, How: "translation", Upper: inspect.Wedge{LeastMM: 0.5, MostMM: 1.5, UMM: 0.05, AddMM3: 300, FrontMM: ptr(1.0)},
		Lower: inspect.Wedge{LeastMM: -0.5, MostMM: 1, UMM: 0.05, AddMM3: 200, RemoveMM3: 20}}}
	out := &inspect.RelateOutcome{Relation: r, Upper: upper, Lower: lower, UpperGap: gap(upper, uf), LowerGap: gap(lower, lf)}
	out.UpperWax, out.LowerWax = [][]float64{out.UpperGap}, [][]float64{out.LowerGap}
	return out
}

func pairOf(out *inspect.RelateOutcome) *Pair {
	return NewPair(out, NewScan(out.Upper.Mesh, out.Upper.Report), NewScan(out.Lower.Mesh, out.Lower.Report))
}

func TestRelationImages(t *testing.T) {
	var want []Image
	for _, workers := range []int{1, 2} {
		got, err := RelationImages(pairOf(closedPair()), Options{Width: 800, Height: 600, Workers: workers})
		if err != nil {
			t.Fatal(err)
		}
		if workers == 1 {
			want = got
			names := []string{}
			for _, i := range got {
				names = append(names, i.Name)
			}
			if w := []string{"closed-front.png", "closed-right.png", "closed-left.png", "closed-back.png", "gap-upper.png", "gap-lower.png",
				"overlap.png", "wax-1-upper.png", "wax-1-lower.png"}; !equal(names, w) {
				t.Errorf("pictures %v, want %v", names, w)
			}
			continue
		}
		for i := range want {
			if !bytes.Equal(got[i].PNG, want[i].PNG) || got[i].Alt != want[i].Alt {
				t.Errorf("%s: other bytes from %d workers", got[i].Name, workers)
			}
		}
	}
}

func TestTextsOfRelationAndComparisonDoNotOverlap(t *testing.T) {
	opt, _ := Options{}.orDefault()
	k := newPair(pairOf(closedPair()), opt)
	var p page
	for _, j := range append(append(append(k.closed(), k.gaps()...), k.overlap()), k.wax(0)...) {
		p.draw(j.surface, j.content)
		checkTexts(t, &p, j.content.view.Name, [2]int{1600, 1200})
	}
	c := retake()
	p.spread(content{opt: opt, chart: spreadChart(c.Comparison, deviationBands(c.Comparison, purposeWords(inspect.AsRetake)), purposeWords(inspect.AsRetake)),
		view: View{Title: "How the distances spread"}, legend: gapBands(inspect.RimGap{}).legend()})
	checkTexts(t, &p, "spread", [2]int{1600, 1200})
}

// The patient's right is at the left of the front view and of the lower rim seen from above is at
// its right: both follow from where the viewer stands.
func TestSidesOfThePair(t *testing.T) {
	opt, _ := Options{}.orDefault()
	k := newPair(pairOf(closedPair()), opt)
	for _, c := range []struct {
		j        job
		left, up string
	}{
		{k.closed()[0], "patient's right", "upper jaw"}, {k.closed()[3], "patient's left", "upper jaw"},
		{k.gaps()[0], "patient's right", "front"}, {k.gaps()[1], "patient's left", "front"},
	} {
		if left, _, up, _ := sides(c.j.content.view.Camera, c.j.content.frame, c.j.content.third); left != c.left || up != c.up {
			t.Errorf("%s: %q at the left and %q at the top, want %q and %q", c.j.content.view.Name, left, up, c.left, c.up)
		}
	}
}

func TestPlanesWords(t *testing.T) {
	p := inspect.RimPlanes{AngleDeg: 1.21, AngleUDeg: 0.05, ForeAftDeg: -0.5, ForeAftUDeg: 0.04, SidewaysDeg: 0.03, SidewaysUDeg: 0.04}
	if got, want := planesWords(p), "planes of the rims 1.2 ± 0.1° apart: 0.5° wider at the back"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// retake is a slab against itself moved out by up to 0.4 mm.
func retake() *inspect.CompareOutcome {
	f := frameAt(inspect.Upper)
	m := slab(f, 40)
	d := make([]float64, len(m.Pos))
	for i, p := range m.Pos {
		if q := f.Local(p); q.Y > 20 {
			d[i] = math.NaN()
		} else {
			d[i] = 0.4 * q.X / 30
		}
	}
	dev := &inspect.Deviation{MeanMM: 0.001, SDMM: 0.2, RMSMM: 0.2, AbsP95MM: 0.36, Percentiles: inspect.Percentiles{P5: -0.36, P95: 0.36},
		Within: []inspect.Within{{MM: 0.05, Share: 0.1}, {MM: 0.1, Share: 0.3}}, AreaMM2: 4000,
		Lowest: inspect.Extreme{MM: -0.4, At: f.World(mesh.Vec{X: -29, Z: 6})}, Highest: inspect.Extreme{MM: 0.4, At: f.World(mesh.Vec{X: 29, Z: 6})}}
	c := &inspect.Comparison{Purpose: inspect.AsRetake, Jaw: inspect.Upper, SurfaceA: inspect.Impression, SurfaceB: inspect.Impression, Frame: f, Verdict: inspect.Send,
		Overall: inspect.BothWays{AtA: dev, AtB: dev}}
	c.A.File, c.B.File = "first.stl", "second.stl"
	c.Histogram = inspect.Histogram{FromMM: -0.5, BinMM: 0.05, BelowAMM2: 10}
	for i := range 20 {
		c.Histogram.AtAMM2 = append(c.Histogram.AtAMM2, float64(10+i*(19-i)))
		c.Histogram.AtBMM2 = append(c.Histogram.AtBMM2, float64(15+i*(18-i)))
	}
	return &inspect.CompareOutcome{Comparison: c, A: m, B: m, ADist: d, BDist: d}
}

func TestComparisonImages(t *testing.T) {
	out := retake()
	got, err := ComparisonImages(out, Options{Width: 800, Height: 600})
	if err != nil {
		t.Fatal(err)
	}
	names := []string{}
	for _, i := range got {
		names = append(names, i.Name)
		if i.Alt == "" {
			t.Errorf("%s has no words in its place", i.Name)
		}
	}
	if w := []string{"a-tissue.png", "a-oral.png", "a-front.png", "a-left.png", "a-right.png", "a-back.png", "b-tissue.png", "b-oral.png", "spread.png"}; !equal(names, w) {
		t.Errorf("pictures %v, want %v", names, w)
	}
	// A part that nothing was compared with stays plain.
	tint := deviationBands(out.Comparison, purposeWords(inspect.AsRetake)).tint(out.ADist)
	for i, v := range out.ADist {
		if math.IsNaN(v) != (tint[i].A == 0) {
			t.Fatalf("vertex %d at %v has the colour %v", i, v, tint[i])
		}
	}
}
