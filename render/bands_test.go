package render

import (
	"math"
	"testing"
)

func TestBandsStepAndOrder(t *testing.T) {
	b := bands{edges: []float64{-0.1, -0.05, 0.05, 0.1}, level: 2}
	for v, want := range map[float64]int{-1: 0, -0.1: 0, -0.07: 1, 0: 2, 0.049: 2, 0.06: 3, 5: 4} {
		if got := b.step(v); got != want {
			t.Errorf("%v lies in step %d, want %d", v, got, want)
		}
	}
	tint := b.tint([]float64{math.NaN(), 0, 0.2})
	if tint[0].A != 0 || tint[1] != levelGrey || tint[2].A != 255 {
		t.Errorf("tint %v", tint)
	}
	// Grey print keeps the order: luma (ITU-R BT.709) rises from step to step.
	last := -1.0
	for _, c := range b.colours() {
		y := 0.2126*float64(c.R) + 0.7152*float64(c.G) + 0.0722*float64(c.B)
		if y <= last+8 {
			t.Errorf("step of luma %.0f after one of %.0f", y, last)
		}
		last = y
	}
	g := b.legend()
	if len(g.ticks) != 4 || g.ticks[3].text != "+0.1" || g.ticks[0].text != "-0.1" {
		t.Errorf("ticks %v", g.ticks)
	}
}
