package render

import (
	"image"
	"math"
	"strings"
	"testing"
)

// covered returns the area of what a pen has covered, in pixels.
func covered(draw func(p *pen)) float64 {
	var p pen
	p.reset(image.NewRGBA(image.Rect(0, 0, 120, 100)))
	draw(&p)
	sum := 0.0
	for _, m := range p.mask {
		sum += float64(m) / 255
	}
	return sum
}

// The coverage of shapes adds up to their areas; of a circle's, whose edge is a ramp one pixel
// wide, to within 1 %.
func TestShapesCoverTheirAreas(t *testing.T) {
	for _, c := range []struct {
		name      string
		want, tol float64
		draw      func(p *pen)
	}{
		{"disc", math.Pi * 400, 13, func(p *pen) { p.disc(dot{50, 50, 0}, 20) }},
		{"ring", math.Pi * (22*22 - 18*18), 5, func(p *pen) { p.ring(dot{50, 50, 0}, 20, 4) }},
		{"line with round ends", 60*4 + math.Pi*4, 3, func(p *pen) { p.line(dot{20.2, 30.7, 0}, dot{68.2, 66.7, 0}, 4) }},
		{"box", 200, 1e-9, func(p *pen) { p.box(Box{10, 20, 20, 10}) }},
		{"triangle", 600, 3, func(p *pen) {
			p.area([]stroke{{{10, 10, 0}, {50, 10, 0}, {10, 40, 0}}}, func(x, y float64) float64 { return always })
		}},
		{"frame: even-odd", 40*40 - 20*20, 1, func(p *pen) {
			p.area([]stroke{{{10, 10, 0}, {50, 10, 0}, {50, 50, 0}, {10, 50, 0}}, {{20, 20, 0}, {40, 20, 0}, {40, 40, 0}, {20, 40, 0}}},
				func(x, y float64) float64 { return always })
		}},
		{"a shape that leaves the picture", 50 * 100, 1, func(p *pen) { p.box(Box{70, -900, 1000, 2000}) }},
	} {
		if got := covered(c.draw); math.Abs(got-c.want) > c.tol {
			t.Errorf("%s covers %.2f pixels, want %.2f", c.name, got, c.want)
		}
	}
}

// A line that dips behind a surface is drawn up to where it does.
func TestLineStopsBehindTheSurface(t *testing.T) {
	var p pen
	p.reset(image.NewRGBA(image.Rect(0, 0, 120, 100)))
	p.depth = make([]float32, 120*100) // a surface at height 0
	p.line(dot{10, 50, 4}, dot{90, 50, -4}, 1)
	for x, want := range map[int]bool{15: true, 45: true, 48: true, 52: false, 85: false} {
		if got := p.mask[50*120+x] > 0; got != want {
			t.Errorf("at %d: drawn %v, want %v", x, got, want)
		}
	}
	if p.sees(dot{60, 50, -1}) || !p.sees(dot{60, 50, 1}) {
		t.Error("the middle of a shape is hidden by what lies behind it, or not by what lies in front")
	}
}

func TestDashesAndEvenPoints(t *testing.T) {
	s := stroke{{0, 0, 0}, {30, 0, 0}, {30, 70, 7}}
	total := 0.0
	for _, d := range s.dashes(12, 8) {
		l := 0.0
		for i := 1; i < len(d); i++ {
			l += math.Hypot(d[i].x-d[i-1].x, d[i].y-d[i-1].y)
		}
		if math.Abs(l-12) > 1e-9 {
			t.Errorf("a dash of %g pixels", l)
		}
		total += l
	}
	if math.Abs(total-60) > 1e-9 {
		t.Errorf("dashes of %g pixels in all, want 60 of 100", total)
	}
	e := s.even(25)
	want := stroke{{0, 0, 0}, {25, 0, 0}, {30, 20, 2}, {30, 45, 4.5}, {30, 70, 7}}
	if len(e) != len(want) {
		t.Fatalf("%d points, want %d", len(e), len(want))
	}
	for i := range e {
		if math.Abs(e[i].x-want[i].x)+math.Abs(e[i].y-want[i].y)+math.Abs(e[i].z-want[i].z) > 1e-9 {
			t.Errorf("point %d is %v, want %v", i, e[i], want[i])
		}
	}
}

func TestTextWrapsAndStaysLegible(t *testing.T) {
	var w writer
	s := style{20, false}
	long := "The border is 1.2 mm thick over 9.4 mm of its length at the buccal left, under the limit of 1.5 mm."
	for _, limit := range []float64{90, 200, 500} {
		lines := w.wrap(long, limit, 3, s)
		if len(lines) > 3 {
			t.Errorf("%d lines", len(lines))
		}
		for _, l := range lines {
			if w.width(l, s) > limit {
				t.Errorf("%q is wider than %g", l, limit)
			}
		}
		if all := strings.Join(lines, " "); all != long && !strings.HasSuffix(all, "…") {
			t.Errorf("%q was cut without a sign", all)
		}
	}
	if got := w.wrap(long, 5000, 1, s); len(got) != 1 || got[0] != long {
		t.Errorf("%q", got)
	}
	if got := w.legible("ø 3 µm – 2° ✓ 骨", s); got != "ø 3 µm – 2° ? ?" {
		t.Errorf("legible: %q", got)
	}
	if got := w.legible("…\u00a0·", s); strings.Contains(got, "?") {
		t.Errorf("the page's own signs are not in the font: %q", got)
	}
}
