package phantom

import (
	"math"
	"math/rand/v2"
	"sort"
)

// cases are the named phantoms: each a change to the default of its jaw.
var cases = map[string]func(*Params){
	"upper-sound": func(p *Params) {},
	"upper-voids": func(p *Params) {
		p.Voids = []Cap{{9, 13, 2, 0.8, false}, {-21, 24, 2.6, 0.9, false}, {2, 33, 1.2, 0.5, false}, {14, 40, 0.8, 0.4, false}}
		p.Blebs = []Cap{{-9, 30, 2, 0.6, false}}
	},
	"upper-thin":            func(p *Params) { p.Stretch = []Stretch{{"buccal", 20, 42, 1.2, 0}} },
	"upper-thick":           func(p *Params) { p.Stretch = []Stretch{{"buccal", -80, -50, 6.2, 0}} },
	"upper-border-short":    func(p *Params) { p.Stretch = []Stretch{{"buccal", 57, 80, 0, 4}} },
	"upper-short":           func(p *Params) { p.ExtensionLeft, p.ExtensionRight = -3, -3 },
	"upper-one-sided-short": func(p *Params) { p.ExtensionRight = -4 },
	"upper-long":            func(p *Params) { p.ExtensionLeft, p.ExtensionRight = 6, 6 },
	"upper-plate":           func(p *Params) { p.Rim.Kind, p.Rim.Height = "plate", 20 },
	"upper-norim":           func(p *Params) { p.Rim.Kind = "none" },
	"upper-handle":          func(p *Params) { p.Handle = true },
	"upper-canted":          func(p *Params) { p.Rim.Roll, p.Rim.Pitch = -2.5, 1 },
	"upper-wavy":            func(p *Params) { p.Rim.Wave = 0.8 },
	"upper-folds":           func(p *Params) { p.Folds = []Fold{{-8, 30, 70, 11, 0.9, 0.5}, {23, 26, 95, 7, 0.6, 0.35}} },
	"upper-holes": func(p *Params) {
		p.Holes = []Hole{{6, 24, 2, "tissue"}, {-20, 30, 1.2, "tissue"}, {-26, 20, 1.5, "border"}, {0, 35, 1.8, "outer"}}
	},
	"upper-tissue-side": func(p *Params) { p.TissueSide = true },
	"upper-inside-out":  func(p *Params) { p.InsideOut = true },
	"upper-cast":        func(p *Params) { p.Cast, p.Rim.Kind = true, "none" },
	"upper-cast-base":   func(p *Params) { p.Cast, p.Base, p.Rim.Kind = true, true, "none" },
	"upper-inch":        func(p *Params) { p.Scale = 1 / 25.4 },
	"upper-decimated":   func(p *Params) { p.Decimate, p.Spacing = 0.5, 0.3 },
	"upper-noisy":       func(p *Params) { p.Noise, p.Spacing = 0.02, 0.25 },
	"upper-washed": func(p *Params) {
		p.Layers = []Layer{{0, 10, 0, 0.6, 3}, {-12, 30, 4, -0.6, 1.5}} // but for one place
	},

	"lower-sound":         func(p *Params) {},
	"lower-pads-short":    func(p *Params) { p.PadCoverLeft, p.PadCoverRight = 0.15, 0.15 },
	"lower-pads-full":     func(p *Params) { p.PadCoverLeft, p.PadCoverRight = 1.1, 1.1 },
	"lower-one-pad-short": func(p *Params) { p.PadCoverLeft = 0.1 },
	"lower-canted":        func(p *Params) { p.Rim.Roll, p.Rim.Pitch = 3.5, -1.5 },
	"lower-chipped":       func(p *Params) { p.Rim.Wave, p.Rim.Chips = 0.5, []Chip{{-50, 2.5}, {35, 1.8}} },
	"lower-voids": func(p *Params) {
		p.Voids = []Cap{{19, 16, 1.8, 0.7, false}, {-24, 33, 2.4, 0.8, false}, {4, 1, 1, 0.4, false}}
	},
	"lower-folds":        func(p *Params) { p.Folds = []Fold{{-21, 20, 70, 9, 0.8, 0.4}} },
	"lower-holes":        func(p *Params) { p.Holes = []Hole{{22, 24, 1.6, "tissue"}, {-26, 40, 1.5, "outer"}} },
	"lower-thin":         func(p *Params) { p.Stretch = []Stretch{{"lingual", -70, -40, 1.1, 0}} },
	"lower-border-short": func(p *Params) { p.Stretch = []Stretch{{"lingual", 50, 75, 0, 4}} },
	"lower-tissue-side":  func(p *Params) { p.TissueSide = true },
	"lower-norim":        func(p *Params) { p.Rim.Kind = "none" },
	"lower-plate":        func(p *Params) { p.Rim.Kind = "plate" },
	"lower-handle":       func(p *Params) { p.Handle = true },
	"lower-inside-out":   func(p *Params) { p.InsideOut = true },
	"lower-cast-base":    func(p *Params) { p.Cast, p.Base, p.Rim.Kind = true, true, "none" },
	"lower-cast":         func(p *Params) { p.Cast, p.Rim.Kind = true, "none" },
}

// Names lists the named phantoms, sorted.
func Names() []string {
	var n []string
	for k := range cases {
		n = append(n, k)
	}
	sort.Strings(n)
	return n
}

// Named returns the Params of a named phantom. Each stands in its own scanner frame and has its
// own asymmetry, both drawn from the name.
func Named(name string) (Params, bool) {
	change, ok := cases[name]
	if !ok {
		return Params{}, false
	}
	p := Default(name[:5])
	p.Name = name
	for _, c := range []byte(name) { // FNV-1a
		p.Seed = (p.Seed ^ int64(c)) * 16777619 & 0x7fffffff
	}
	p.Frame = frame(rand.New(rand.NewPCG(uint64(p.Seed), 0xf4a3e)))
	change(&p)
	return p, true
}

// frame draws an even rotation (Marsaglia 1972, on the 4-sphere) and a shift within 60 mm.
func frame(r *rand.Rand) Frame {
	return Frame{
		Quat:  [4]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()},
		Shift: vec{X: 120*r.Float64() - 60, Y: 120*r.Float64() - 60, Z: 120*r.Float64() - 60},
	}
}

// Random draws a phantom: size and form of the jaw, frame, noise of 0 to 0.02, spacing of 0.2 to
// 0.5, and now and then each of the faults. The seed alone decides.
func Random(seed int64, jaw string) Params {
	p := Default(jaw)
	r := rand.New(rand.NewPCG(uint64(seed), 0xd1ce))
	in := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	often := func(q float64) bool { return r.Float64() < q }
	p.Name, p.Seed = "random", seed
	p.Size, p.Height, p.Asymmetry, p.Mirror = in(0.9, 1.1), in(0.75, 1.2), in(0, 0.8), often(0.5)
	p.HalfWidth *= in(0.95, 1.06)
	p.Body, p.Border, p.Lingual = in(2, 2.8), in(2.2, 3.4), in(2.2, 3.2)
	p.Rugae, p.PadLength = p.Rugae*in(0, 1.3), p.PadLength*in(0.88, 1.15)
	for _, n := range []*Notch{&p.LabialFrenum, &p.BuccalFrenum, &p.LingualFrenum} {
		n.Depth, n.Width = n.Depth*in(0.7, 1.2), n.Width*in(0.8, 1.3)
	}
	p.Noise, p.Spacing, p.Frame = in(0, 0.02), in(0.2, 0.5), frame(r)
	if often(0.2) {
		p.Decimate = in(0.2, 0.6)
	}
	ext := func() float64 {
		switch {
		case often(0.2):
			return in(-6, -1.5)
		case often(0.25):
			return in(4.5, 6.5)
		}
		return in(1.6, 3.6)
	}
	p.ExtensionLeft = ext()
	p.ExtensionRight = p.ExtensionLeft
	if often(0.25) {
		p.ExtensionRight = ext()
	}
	// Covers near one half are left out: there the answer hangs on the roll of the edge.
	cover := func() float64 {
		if often(0.3) {
			return in(0, 0.3)
		}
		return in(0.62, 1.2)
	}
	p.PadCoverLeft = cover()
	p.PadCoverRight = p.PadCoverLeft
	if often(0.25) {
		p.PadCoverRight = cover()
	}
	for often(0.4) {
		s := Stretch{Side: "buccal", From: in(-80, 55), Thickness: in(0.9, 1.4)}
		s.To = s.From + in(15, 30)
		if jaw == "lower" && often(0.5) {
			s.Side = "lingual"
		}
		switch {
		case often(0.35):
			s.Thickness = in(4.8, 6.5)
		case often(0.3):
			// Behind the buccal frenum, whose notch would else be lost in it.
			s.Thickness, s.Lower, s.From = 0, in(2.5, 4), in(56, 62)
			if s.To = s.From + in(12, 20); often(0.5) {
				s.From, s.To = -s.To, -s.From
			}
		}
		p.Stretch = append(p.Stretch, s)
	}
	p.Rim.Height *= in(0.85, 1.1)
	p.Rim.Front, p.Rim.Back = in(4.5, 7), in(7.5, 10)
	if often(0.4) {
		p.Rim.Roll, p.Rim.Pitch = in(-4, 4), in(-3, 3)
	}
	if often(0.3) {
		p.Rim.Wave = in(0.2, 1.2)
	}
	for often(0.3) {
		p.Rim.Chips = append(p.Rim.Chips, Chip{in(-85, 85), in(1.2, 2.5)})
	}
	switch {
	case often(0.12):
		p.Rim.Kind = "none"
	case often(0.15):
		p.Rim.Kind = "plate"
	}
	p.Handle, p.TissueSide, p.InsideOut = often(0.12), often(0.12), often(0.08)
	// Places on the tissue surface, away from its edge and from each other.
	var used [][2]float64
	place := func(apart float64) (x, y float64, ok bool) {
		for try := 0; try < 60; try++ {
			th := in(-1.25, 1.25)
			x, y = 0.94*p.HalfWidth*p.Size*math.Sin(th), 0.66*p.Length*p.Size*(1-math.Cos(th))+in(-0.6, 0.6)
			if jaw == "upper" {
				k := in(0.1, 1)
				x, y = x*k, y*k+(1-k)*in(0.3, 0.7)*p.Length*p.Size
			}
			ok = true
			for _, u := range used {
				ok = ok && math.Hypot(u[0]-x, u[1]-y) > apart
			}
			if ok {
				used = append(used, [2]float64{x, y})
				return
			}
		}
		return
	}
	for often(0.55) {
		if x, y, ok := place(7); ok {
			d := in(0.8, 3)
			p.Voids = append(p.Voids, Cap{x, y, d, d * in(0.25, 0.5), false})
		}
	}
	for often(0.3) {
		if x, y, ok := place(7); ok {
			d := in(1, 2.5)
			p.Blebs = append(p.Blebs, Cap{x, y, d, d * in(0.25, 0.45), false})
		}
	}
	for often(0.3) {
		if x, y, ok := place(10); ok {
			p.Folds = append(p.Folds, Fold{x, y, in(0, 180), in(5, 10), in(0.6, 1.2), in(0.25, 0.6)})
		}
	}
	for often(0.35) {
		if x, y, ok := place(7); ok {
			s := "tissue"
			if !p.TissueSide && often(0.4) {
				s = "outer"
			}
			least := math.Max(0.8, 1.6*p.Spacing/math.Sqrt(1-p.Decimate)) // or it takes no face
			p.Holes = append(p.Holes, Hole{x, y, in(least, 2.5), s})
		}
	}
	return p
}
