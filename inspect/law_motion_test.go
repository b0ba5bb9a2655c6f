package inspect

import (
	"math/rand/v2"
	"testing"
)

// The numbers of a scan do not hang on where the scanner's axes lie, nor on the order of faces.
func TestMotionAndOrderChangeNothing(t *testing.T) {
	const seed = 71
	for name, m := range lawScans() {
		want := values(inspected(t, m), still())
		r := rand.New(rand.NewPCG(seed, 1))
		for i := range 3 {
			g := still()
			if i > 0 {
				g = anyMotion(r)
			}
			got := values(inspected(t, reordered(g.moved(m), r)), g)
			d := differ(want, got, within)
			for _, line := range d[:min(len(d), 12)] {
				t.Errorf("%s, motion %d of seed %d: %s", name, i, seed, line)
			}
			t.Logf("%s, motion %d: %d of %d values part", name, i, len(d), len(want))
		}
	}
}
