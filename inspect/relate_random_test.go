package inspect

import (
	"os"
	"strconv"
	"testing"

	"fornix/inspect/phantom"
)

// What is measured on closed pairs of random jaws, tilts, gaps and noise against what they were made
// with. FORNIX_PAIRS=12 goes over more of them, at their own spacing.
func TestRelateRandomPairs(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("FORNIX_PAIRS"))
	first, last := int64(3), int64(3)
	if n > 0 {
		first, last = 1, int64(n)
	}
	k := &pairTally{t: t, inside: map[string][2]int{}, worst: map[string]float64{}}
	for seed := first; seed <= last; seed++ {
		p := phantom.RandomPair(seed)
		if n == 0 {
			p.Upper.Spacing, p.Lower.Spacing = 0.5, 0.5
		}
		pr, err := phantom.MakePair(p)
		if err != nil {
			t.Fatal(seed, err)
		}
		out, err := Relate(scanOf(t, pr.Upper.Mesh, "u"), scanOf(t, pr.Lower.Mesh, "l"), DefaultProtocol(), RelateOptions{})
		if err != nil {
			t.Error(seed, err)
			continue
		}
		k.relation(out, pr.Truth, pr.Lower.Mesh)
	}
	for what, n := range k.inside {
		t.Logf("%-20s worst %.4f, within u %d of %d", what, k.worst[what], n[0], n[1])
	}
	for what, most := range map[string]float64{"angle": 0.05, "fore-aft": 0.05, "sideways": 0.05, "min": 0.03, "median": 0.03, "p95": 0.03, "place": 0.03,
		"crest anterior": 0.1, "crest molar right": 0.1, "crest molar left": 0.1} {
		if k.worst[what] > most {
			t.Errorf("%s: off by up to %.4f, want %.4f", what, k.worst[what], most)
		}
	}
}
