package render

import (
	"image/color"
	"math"
	"testing"
)

// decode undoes the sRGB transfer function (IEC 61966-2-1).
func decode(c color.RGBA) (v [3]float64) {
	for i, b := range [3]uint8{c.R, c.G, c.B} {
		x := float64(b) / 255
		if x <= 0.04045 {
			v[i] = x / 12.92
		} else {
			v[i] = math.Pow((x+0.055)/1.055, 2.4)
		}
	}
	return v
}

// cielab converts linear sRGB to CIE 1976 L*a*b* for white D65 (matrix of IEC 61966-2-1).
func cielab(v [3]float64) [3]float64 {
	x := (0.4124*v[0] + 0.3576*v[1] + 0.1805*v[2]) / 0.9505
	y := 0.2126*v[0] + 0.7152*v[1] + 0.0722*v[2]
	z := (0.0193*v[0] + 0.1192*v[1] + 0.9505*v[2]) / 1.0890
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	return [3]float64{116*f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))}
}

func difference(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}

// Full protanopia and deuteranopia on linear RGB: G. Machado, M. Oliveira, L. Fernandes, "A
// physiologically-based model for simulation of color vision deficiency", IEEE TVCG 15(6),
// 2009, severity 1.0. The last one is no deficiency, the one before it grey print.
var sights = map[string][3][3]float64{
	"protanopia": {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"deuteranopia": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413},
		{-0.011820, 0.042940, 0.968881}},
	"grey":   {{0.2126, 0.7152, 0.0722}, {0.2126, 0.7152, 0.0722}, {0.2126, 0.7152, 0.0722}},
	"normal": {{1, 0, 0}, {0, 1, 0}, {0, 0, 1}},
}

func seen(m [3][3]float64, c color.RGBA) [3]float64 {
	v := decode(c)
	var w [3]float64
	for i := range w {
		w[i] = max(0, min(1, m[i][0]*v[0]+m[i][1]*v[1]+m[i][2]*v[2]))
	}
	return cielab(w)
}

// A colour difference of 2.3 is just noticeable side by side (M. Mahy and others, Color
// Research and Application 19, 1994); the steps keep twice that for every sight.
func TestLegendStepsAreToldApart(t *testing.T) {
	for _, s := range []Scale{{}, {FromMM: 0, ToMM: 8, StepMM: 1}, {FromMM: 0, ToMM: 6, StepMM: 0.5}} {
		s = s.orDefault()
		cs := s.colours()
		for name, m := range sights {
			least := math.Inf(1)
			for i := 1; i < len(cs); i++ {
				a, b := seen(m, cs[i-1]), seen(m, cs[i])
				least = min(least, difference(a, b))
				if b[0] <= a[0] {
					t.Errorf("%s, %d steps: lightness falls at step %d: %.1f to %.1f", name, len(cs), i, a[0], b[0])
				}
			}
			if least < 4.6 {
				t.Errorf("%s, %d steps: adjacent steps differ by only %.1f", name, len(cs), least)
			}
			t.Logf("%s, %d steps: least difference %.1f", name, len(cs), least)
		}
	}
}

// The border must stand out from the material it lies on.
func TestBorderStandsOutFromMaterial(t *testing.T) {
	for i, c := range (Scale{}).orDefault().colours() {
		for _, name := range []string{"normal", "protanopia", "deuteranopia"} {
			if d := difference(seen(sights[name], c), seen(sights[name], material)); d < 20 {
				t.Errorf("step %d is %.1f from the material for %s", i, d, name)
			}
		}
	}
}

// Where two steps meet the colour is half of each; in the middle of a step it is the legend's.
func TestStepsBlendWhereTheyMeet(t *testing.T) {
	s := Scale{}.orDefault()
	cs := s.colours()
	a, b := s.colour(1.499, cs), s.colour(1.501, cs)
	for _, d := range [3]int{int(a.R) - int(b.R), int(a.G) - int(b.G), int(a.B) - int(b.B)} {
		if abs(d) > 1 {
			t.Errorf("the colour jumps from %v to %v", a, b)
		}
	}
	for i, mm := range []float64{0.75, 1.25, 1.75} {
		if got := s.colour(mm, cs); got != cs[i] {
			t.Errorf("%g mm is %v and not %v", mm, got, cs[i])
		}
	}
	for mm, want := range map[float64]color.RGBA{-3: cs[0], 0.5: cs[0], 5.5: cs[len(cs)-1], 60: cs[len(cs)-1]} {
		if got := s.colour(mm, cs); got != want {
			t.Errorf("%g mm is %v and not %v", mm, got, want)
		}
	}
}

func TestScaleSteps(t *testing.T) {
	s := Scale{}.orDefault()
	for _, c := range []struct {
		mm   float64
		want int
	}{{-1, 0}, {0.5, 0}, {0.99, 0}, {1.01, 1}, {5.4, 9}, {40, 9}} {
		if got := s.step(c.mm); got != c.want {
			t.Errorf("step(%g) = %d, want %d", c.mm, got, c.want)
		}
	}
}
