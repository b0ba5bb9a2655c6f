package render

import (
	"image/color"
	"math"
)

// Inks of the page. Each differs from its neighbours in lightness too, so that a picture
// printed in grey still reads.
var (
	paper          = color.RGBA{255, 255, 255, 255}
	ink            = color.RGBA{24, 24, 28, 255}
	softInk        = color.RGBA{88, 88, 94, 255}
	ruleInk        = color.RGBA{196, 194, 190, 255}
	material       = color.RGBA{226, 217, 203, 255} // front of the surface, fully lit
	secondMaterial = color.RGBA{203, 214, 219, 255} // the same of a second body
	backside       = color.RGBA{128, 138, 152, 255} // the side of a face that is not surface
	crestInk       = color.RGBA{20, 66, 120, 255}
	rearInk        = color.RGBA{120, 30, 60, 255}
	planeInk       = color.RGBA{30, 92, 150, 255}
	planeFill      = color.RGBA{74, 150, 214, 255}
)

// Scale maps a border thickness to a colour in equal steps. The steps run from dark (thin) to
// light (thick), so that their order survives grey print; values past an end take the end's
// colour.
type Scale struct {
	FromMM float64 // lower end of the first step; default 0.5
	ToMM   float64 // upper end of the last step; default 5.5
	StepMM float64 // width of a step; default 0.5
}

// orDefault fills what is not set. Three to twelve steps are legible; outside of that the
// step is widened or narrowed.
func (s Scale) orDefault() Scale {
	if !(s.ToMM > s.FromMM) {
		s.FromMM, s.ToMM = 0.5, 5.5
	}
	if !(s.StepMM > 0) {
		s.StepMM = 0.5
	}
	n := math.Round((s.ToMM - s.FromMM) / s.StepMM)
	s.StepMM = (s.ToMM - s.FromMM) / max(3, min(12, n))
	return s
}

// Steps returns the number of colours.
func (s Scale) Steps() int { return int(math.Round((s.ToMM - s.FromMM) / s.StepMM)) }

// step returns the index of the colour of a thickness in mm.
func (s Scale) step(mm float64) int {
	return max(0, min(s.Steps()-1, int(math.Floor((mm-s.FromMM)/s.StepMM))))
}

// colours returns the colour of every step, thinnest first.
func (s Scale) colours() []color.RGBA {
	n := s.Steps()
	cs := make([]color.RGBA, n)
	for i := range cs {
		cs[i] = ramp(float64(i) / float64(n-1))
	}
	return cs
}

// colour returns the colour of a thickness in mm out of cs, the colours of the steps. Over a
// quarter of a step to both sides of where two meet they blend, so that thicknesses that differ
// by noise alone look alike.
func (s Scale) colour(mm float64, cs []color.RGBA) color.RGBA {
	const blend = 0.25
	i := s.step(mm)
	t := (mm-s.FromMM)/s.StepMM - float64(i) // place within the step
	switch {
	case t < blend && i > 0:
		return mix(cs[i-1], cs[i], float32(0.5+0.5*max(0, t)/blend))
	case t > 1-blend && i < len(cs)-1:
		return mix(cs[i], cs[i+1], float32(0.5*(min(1, t)-1+blend)/blend))
	}
	return cs[i]
}

// ramp is a sequential colour map over t in 0 … 1: dark violet, blue, teal, green, yellow.
//
// It is an arc in the OKLab space (B. Ottosson, "A perceptual color space for image
// processing", 2020): lightness rises linearly, hue turns from 300° to 105° through blue and
// green, and chroma is as high as the sRGB gamut allows up to 0.14. The hues lie on both sides
// of the blue-yellow axis, which the common red-green deficiencies keep, and the lightness
// alone orders the steps for everyone else.
func ramp(t float64) color.RGBA {
	l := 0.28 + 0.60*t
	h := (300 - 195*t) * math.Pi / 180
	lo, hi := 0.0, 0.14
	for range 24 {
		c := (lo + hi) / 2
		if inGamut(oklabToLinear(l, c*math.Cos(h), c*math.Sin(h))) {
			lo = c
		} else {
			hi = c
		}
	}
	rgb := oklabToLinear(l, lo*math.Cos(h), lo*math.Sin(h))
	return color.RGBA{encode8(rgb[0]), encode8(rgb[1]), encode8(rgb[2]), 255}
}

func inGamut(c [3]float64) bool {
	for _, v := range c {
		if v < 0 || v > 1 {
			return false
		}
	}
	return true
}

// oklabToLinear converts OKLab to linear sRGB (matrices of Ottosson 2020).
func oklabToLinear(l, a, b float64) [3]float64 {
	cube := func(x float64) float64 { return x * x * x }
	L := cube(l + 0.3963377774*a + 0.2158037573*b)
	M := cube(l - 0.1055613458*a - 0.0638541728*b)
	S := cube(l - 0.0894841775*a - 1.2914855480*b)
	return [3]float64{
		4.0767416621*L - 3.3077115913*M + 0.2309699292*S,
		-1.2684380046*L + 2.6097574011*M - 0.3413193965*S,
		-0.0041960863*L - 0.7034186147*M + 1.7076147010*S,
	}
}

// encode8 applies the sRGB transfer function (IEC 61966-2-1) to a linear value in 0 … 1.
func encode8(v float64) uint8 {
	v = max(0, min(1, v))
	if v <= 0.0031308 {
		v *= 12.92
	} else {
		v = 1.055*math.Pow(v, 1/2.4) - 0.055
	}
	return uint8(math.Round(v * 255))
}
