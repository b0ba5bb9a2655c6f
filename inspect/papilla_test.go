package inspect

import (
	"testing"

	"fornix/inspect/phantom"
)

// A void between crest and papilla, or on the far side of it, is not the papilla: that is found within
// what its uncertainty says, or not at all.
func TestVoidIsNoPapilla(t *testing.T) {
	p := smallPhantom("upper")
	const papillaY = 6.2 // of the default upper jaw
	found := 0
	for i, beside := range []float64{-3.5, 4} {
		p.Voids = []phantom.Cap{{X: 0.3, Y: papillaY + beside, Diameter: 2.6, Depth: 0.9}}
		m := mustMake(p, uint64(40+i))
		out := Run(m.Scan, DefaultProtocol(), Options{})
		if len(out.Report.Defects) != 1 {
			t.Fatalf("%d faults", len(out.Report.Defects))
		}
		l, ok := out.Report.Landmarks[IncisivePapilla]
		if !ok {
			continue
		}
		found++
		if d := l.Point.Dist(m.truth.Landmarks[IncisivePapilla]); d > l.UncertaintyMM || d > 2 {
			t.Errorf("void %g mm behind: papilla off by %.2f, stated %.2f mm", beside, d, l.UncertaintyMM)
		} else {
			t.Logf("void %g mm behind: papilla off by %.2f, stated %.2f mm", beside, d, l.UncertaintyMM)
		}
	}
	if found == 0 {
		t.Error("no papilla beside a void")
	}
}

// A bleb or void in the papilla's own pit hides its middle; the flanks beside it still tell where the
// papilla lies, within what its uncertainty says and far nearer than the fault's rim, where a mean of
// sections that a fault takes out one after the other has a step.
func TestFaultOnThePapillaLeavesItWhereItIs(t *testing.T) {
	const papillaY = 6.2 // of the default upper jaw
	for i, fault := range []struct {
		x, y float64
		bleb bool
	}{{-0.1, -0.6, true}, {0.2, 0.5, true}, {-0.3, 0.3, false}} {
		p := smallPhantom("upper")
		at := phantom.Cap{X: fault.x, Y: papillaY + fault.y, Diameter: 1.2, Depth: 0.4}
		if fault.bleb {
			p.Blebs = []phantom.Cap{at}
		} else {
			p.Voids = []phantom.Cap{at}
		}
		m := mustMake(p, uint64(60+i))
		out := Run(m.Scan, DefaultProtocol(), Options{})
		if len(out.Report.Defects) != 1 {
			t.Fatalf("fault %d: %d found", i, len(out.Report.Defects))
		}
		l, ok := out.Report.Landmarks[IncisivePapilla]
		if !ok {
			t.Errorf("fault %d: no papilla", i)
			continue
		}
		d := l.Point.Dist(m.truth.Landmarks[IncisivePapilla])
		t.Logf("fault %d: papilla off by %.2f, stated %.2f mm", i, d, l.UncertaintyMM)
		if d > l.UncertaintyMM || d > 0.5 || l.UncertaintyMM > 1.5 {
			t.Errorf("fault %d: papilla off by %.2f, stated %.2f mm", i, d, l.UncertaintyMM)
		}
	}
}

// A fold along the middle of the papilla hides it: what is left falls off toward the fold, and the edge of
// that is no papilla.
func TestFoldAlongThePapillaHidesIt(t *testing.T) {
	for i, c := range []struct{ x, y, deg, length float64 }{{1, 3.4, 115, 8.4}, {0.3, 5, 95, 9}} {
		p := smallPhantom("upper")
		p.Spacing = 0.35
		p.Folds = []phantom.Fold{{X: c.x, Y: c.y, Deg: c.deg, Length: c.length, Width: 1.2, Depth: 0.45}}
		m := mustMake(p, uint64(70+i))
		l, ok := Run(m.Scan, DefaultProtocol(), Options{}).Report.Landmarks[IncisivePapilla]
		if !ok {
			t.Logf("fold %d: none", i)
			continue
		}
		d := l.Point.Dist(m.truth.Landmarks[IncisivePapilla])
		t.Logf("fold %d: papilla off by %.2f, stated %.2f mm", i, d, l.UncertaintyMM)
		if d > l.UncertaintyMM || d > 2 {
			t.Errorf("fold %d: papilla off by %.2f, stated %.2f mm", i, d, l.UncertaintyMM)
		}
	}
}
