package phantom

import (
	"encoding/json"
	"hash/fnv"
	"math"
	"strings"
	"testing"

	"fornix/mesh"
)

func hash(t *testing.T, ph *Phantom) uint64 {
	t.Helper()
	h := fnv.New64a()
	for _, v := range []any{ph.Truth, ph.Mesh.Pos, ph.Mesh.Tri} {
		b, err := json.Marshal(v)
		if err != nil {
			t.Fatal(err)
		}
		h.Write(b)
	}
	return h.Sum64()
}

func TestSameBytes(t *testing.T) {
	p := Random(7, "upper")
	p.Spacing, p.Holes = 2, nil
	var got []uint64
	for _, workers := range []int{1, 2, 2} {
		ph, err := MakeWith(p, workers)
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, hash(t, ph))
	}
	if got[0] != got[1] || got[1] != got[2] {
		t.Errorf("hashes differ: %x", got)
	}
	if p.Seed++; Random(8, "upper").Size == Random(7, "upper").Size {
		t.Error("two seeds gave the same phantom")
	}
}

// Sound cases are closed surfaces without handles in the topological sense, every vertex on the
// solid, counted right and turned outward.
func TestClosedAndExact(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole impressions")
	}
	for _, name := range []string{"upper-voids", "upper-plate", "upper-decimated", "upper-cast-base", "lower-folds", "lower-handle", "lower-chipped"} {
		p, ok := Named(name)
		if !ok {
			t.Fatalf("no %s", name)
		}
		p.Spacing = 1.1
		ph, err := Make(p)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if e := euler(t, ph.Mesh); e != 2 {
			t.Errorf("%s: Euler number %d", name, e)
		}
		if d := ph.Truth.Deviation; d > 0.002 {
			t.Errorf("%s: a vertex lies %g mm off", name, d)
		}
		var v float64
		for f := range ph.Mesh.Tri {
			a, b, c := ph.Mesh.Corners(mesh.FaceID(f))
			v += a.Dot(b.Cross(c)) / 6
		}
		if v < 5000 {
			t.Errorf("%s: volume %.0f mm³", name, v)
		}
	}
}

// local returns the mesh in the patient's frame.
func local(ph *Phantom, p Params) []vec {
	a, o := p.axes()
	out := make([]vec, len(ph.Mesh.Pos))
	for i, v := range ph.Mesh.Pos {
		d := v.Scale(1 / p.Scale).Sub(o)
		out[i] = vec{X: d.Dot(a.Left), Y: d.Dot(a.Posterior), Z: d.Dot(a.TowardTissue)}
	}
	return out
}

// Extension, rim height and apices are those of the vertices.
func TestTruthOnTheMesh(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole impressions")
	}
	p, _ := Named("upper-one-sided-short")
	p.Noise, p.Spacing, p.Frame, p.ExtensionLeft = 0, 0.6, Frame{}, 4.5
	p.Rim.Roll, p.Rim.Pitch = 2, -1
	ph, err := Make(p)
	if err != nil {
		t.Fatal(err)
	}
	v := local(ph, p)
	for side, want := range map[string]float64{"left": 4.5, "right": -4} {
		q := ph.Truth.Landmarks["hamular_notch_"+side]
		y := math.Inf(-1)
		for _, u := range v {
			if math.Abs(u.X-q.X) < 3 {
				y = math.Max(y, u.Y)
			}
		}
		if got := y - q.Y; math.Abs(got-want) > 0.06 {
			t.Errorf("%s: the rearmost vertex lies %.3f mm behind the notch, not %.1f", side, got, want)
		}
	}
	pl := ph.Truth.Plane
	on, least := 0, math.Inf(1)
	for _, u := range v {
		d := u.Sub(pl.Point).Dot(pl.Normal)
		least = math.Min(least, d)
		if math.Abs(d) < 1e-4 {
			on++
		}
	}
	if on < 500 || least < -1e-4 {
		t.Errorf("%d vertices on the occlusal plane, the lowest %g mm under it", on, least)
	}
	roll := math.Atan2(pl.Normal.X, pl.Normal.Z) * 180 / math.Pi
	pitch := -math.Atan2(pl.Normal.Y, pl.Normal.Z) * 180 / math.Pi
	if math.Abs(roll-2) > 1e-9 || math.Abs(pitch+1) > 1e-9 {
		t.Errorf("plane leans %g, %g degrees", roll, pitch)
	}
	for _, b := range ph.Truth.Border {
		for i, a := range b.Apex {
			near := math.Inf(1)
			for _, u := range v {
				near = math.Min(near, u.Dist(a))
			}
			if near > 0.6 {
				t.Errorf("%s apex at %.0f degrees lies %.2f mm from the nearest vertex", b.Side, b.Deg[i], near)
			}
		}
	}
}

// The default sizes lie within two SD of published means.
func TestAnthropometry(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole impressions")
	}
	up, err := Make(func() Params { p := Default("upper"); p.Spacing = 1.5; return p }())
	if err != nil {
		t.Fatal(err)
	}
	lo, err := Make(func() Params { p := Default("lower"); p.Spacing = 1.5; return p }())
	if err != nil {
		t.Fatal(err)
	}
	u, l := up.Truth.Landmarks, lo.Truth.Landmarks
	d := func(m map[string]vec, a, b string) float64 { return m[a].Dist(m[b]) }
	for _, c := range []struct {
		what        string
		got, lo, hi float64
		source      string
	}{
		{"inter-hamular distance", d(u, "hamular_notch_left", "hamular_notch_right"), 42.38 - 2*3.47, 42.38 + 2*3.47, "Guldag et al., J Prosthodont 2010, 42.38 SD 3.47"},
		{"the same", d(u, "hamular_notch_left", "hamular_notch_right"), 44.28 - 2*3.29, 44.28 + 2*3.29, "100 dentate, Indian J Public Health Res Dev 11(12), 44.28 SD 3.29"},
		{"papilla to vibrating line", d(u, "incisive_papilla", "posterior_midline"), 45, 55, "teaching, from memory"},
		{"papilla to hamular notch", d(u, "incisive_papilla", "hamular_notch_left"), 48, 58, "teaching, from memory"},
		{"retromolar pad length", d(l, "pad_front_left", "pad_posterior_left"), 8.9 - 2*1.8, 8.9 + 2*1.8, "Naeem et al. 2021, 8.9 SD 1.8"},
		{"the same", d(l, "pad_front_left", "pad_posterior_left"), 11.20 - 2*2.51, 11.20 + 2*2.51, "Lopez et al., Int J Odontostomat 2008, 11.20 SD 2.51"},
		{"pad centres apart", d(l, "pad_summit_left", "pad_summit_right"), 48, 60, "teaching, from memory"},
		{"vault over crest", Default("upper").PalateHeight, 11.54 - 2*2.4, 11.54 + 2*2.4, "Sarilita & Soames, 11.54 SD 2.4"},
		{"upper rim height", up.Truth.Plane.RimHeight, 22, 22, "Occlusion Rims, prosthodontic laboratory text, 2015"},
		{"lower rim height", lo.Truth.Plane.RimHeight, 18, 18, "the same"},
	} {
		t.Logf("%s %.2f", c.what, c.got)
		if c.got < c.lo || c.got > c.hi {
			t.Errorf("%s is %.2f, not within %.2f and %.2f (%s)", c.what, c.got, c.lo, c.hi, c.source)
		}
	}
}

func TestWrongParams(t *testing.T) {
	for what, change := range map[string]func(*Params){
		"jaw":       func(p *Params) { p.Jaw = "middle" },
		"spacing":   func(p *Params) { p.Spacing = 0 },
		"nan":       func(p *Params) { p.Noise = math.NaN() },
		"rim":       func(p *Params) { p.Rim.Kind = "crown" },
		"void off":  func(p *Params) { p.Voids = []Cap{{X: 90, Y: 90, Diameter: 1, Depth: 1}} },
		"fine hole": func(p *Params) { p.Holes = []Hole{{0, 20, 0.1, "tissue"}} },
		"chip":      func(p *Params) { p.Rim.Height, p.Rim.Chips = 12, []Chip{{60, 3}} },
		"hole":      func(p *Params) { p.Holes = []Hole{{0, 20, 1, "inner"}} },
	} {
		p := Default("upper")
		p.Spacing = 2
		change(&p)
		if _, err := Make(p); err == nil {
			t.Errorf("%s: no error", what)
		}
	}
}

// Random phantoms are whole: closed unless faces were taken out, and exact.
func TestRandom(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole impressions")
	}
	for seed := int64(21); seed < 23; seed++ {
		for _, jaw := range []string{"upper", "lower"} {
			p := Random(seed, jaw)
			p.Holes, p.TissueSide, p.Spacing = nil, false, 1.1
			for i := range p.Stretch { // too thin for so coarse a net
				p.Stretch[i].Thickness = math.Max(p.Stretch[i].Thickness, 1.8)
			}
			ph, err := Make(p)
			if err != nil {
				t.Errorf("%s, seed %d: %v", jaw, seed, err)
				continue
			}
			if e := euler(t, ph.Mesh); e != 2 || ph.Truth.Deviation > 0.002 {
				t.Errorf("%s, seed %d: Euler number %d, off by %g mm", jaw, seed, e, ph.Truth.Deviation)
			}
		}
	}
}

// A mirrored jaw has its landmarks and thicknesses on the other side.
func TestMirror(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole impressions")
	}
	for _, jaw := range []string{"upper", "lower"} {
		p := Default(jaw)
		p.Asymmetry = 0.8
		a, err := prepare(&p)
		if err != nil {
			t.Fatal(err)
		}
		q := p
		q.Mirror = true
		b, err := prepare(&q)
		if err != nil {
			t.Fatal(err)
		}
		asym := 0.0
		for k, v := range a.truth.Landmarks {
			o := k
			if n, ok := strings.CutSuffix(k, "_left"); ok {
				o = n + "_right"
			} else if n, ok := strings.CutSuffix(k, "_right"); ok {
				o = n + "_left"
			}
			w := b.truth.Landmarks[o]
			w.X = -w.X
			// The outline is sampled from one end, and a notch is flat at its bottom.
			if d := v.Dist(w); d > 0.15 {
				t.Errorf("%s: %s and mirrored %s are %.3f mm apart", jaw, k, o, d)
			}
			asym = math.Max(asym, math.Abs(v.Dist(a.truth.Landmarks[o])-2*math.Abs(v.X)))
			asym = math.Max(asym, v.Dist(b.truth.Landmarks[k]))
		}
		if asym < 0.2 {
			t.Errorf("%s: nothing differs between the sides", jaw)
		}
	}
}

// Every named phantom describes an impression, and no two are alike.
func TestNamed(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole impressions")
	}
	seeds := map[int64]string{}
	for _, name := range Names() {
		p, ok := Named(name)
		if !ok || p.Name != name || !strings.HasPrefix(name, p.Jaw) {
			t.Errorf("%s: found %v, named %q, jaw %q", name, ok, p.Name, p.Jaw)
		}
		if o := seeds[p.Seed]; o != "" {
			t.Errorf("%s has the seed of %s", name, o)
		}
		seeds[p.Seed] = name
		if err := p.check(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if len(p.Voids)+len(p.Blebs)+len(p.Folds) == 0 {
			continue
		}
		m, err := prepare(&p)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for _, c := range append(m.truth.Voids, m.truth.Blebs...) {
			m.s.voids, m.s.blebs = nil, nil
			if f, _, _ := m.s.at(c.Point); math.Abs(f) > 1e-6 {
				t.Errorf("%s: a fault lies %g mm off the sound surface", name, f)
			}
		}
	}
	if _, ok := Named("upper-none"); ok {
		t.Error("a phantom that is not there was found")
	}
}
