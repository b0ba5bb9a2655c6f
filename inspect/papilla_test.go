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
