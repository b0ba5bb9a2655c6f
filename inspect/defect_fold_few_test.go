package inspect

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Deep folds over rolls of 1 and 1.3 mm radius that few vertices show, at edges of 0.4 to 0.5 mm: no straight cylinder
// lies in them. By straight ones alone 17 of 32 were found, begun at the strongest vertices alone 24.
func TestFoldsOfFewVertices(t *testing.T) {
	const noise, edge = 0.01, 0.4
	found, made, within := 0, 0, 0
	for k := range 8 {
		radius := []float64{1, 1.3}[k/4]
		roll := field(func(x, y float64) float64 { return rollOf(radius, y) })
		r := rand.New(rand.NewPCG(uint64(k%4), 6))
		cuts := overRoll(r)
		faults := defectsOf(roll.scan(cuts, edge, noise, r), noise)
		for _, q := range cuts {
			made++
			for _, d := range faults {
				if d.Kind == Fold && d.Centre.Dist(Vec{X: q.x, Y: q.y, Z: roll(q.x, q.y)}) < 1.5 {
					found++
					if math.Abs(*d.LengthMM-q.length) < *d.LengthUMM+0.04 {
						within++
					}
					break
				}
			}
		}
	}
	t.Logf("%d of %d found, %d of them as long as said", found, made, within)
	if found < 30 {
		t.Errorf("%d of %d found", found, made)
	}
	if float64(within) < 0.9*float64(found) {
		t.Errorf("%d of %d lengths within their uncertainty", within, found)
	}
}
