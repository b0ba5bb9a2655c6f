package render

import (
	"bytes"
	"fmt"
	"image/color"
	"image/png"
	"math"
	"testing"

	"fornix/inspect"
	"fornix/mesh"
)

// meanSlab is the slab with a mean that rises from the patient's right to left, -0.06 to 0.06 mm, and
// nothing over a strip in front; one scan of ten is missing behind.
func meanSlab(scans int) MeanDeviation {
	f := frameAt(inspect.Upper)
	d := MeanDeviation{Reference: slab(f, 12), Frame: f, Jaw: inspect.Upper, Surface: inspect.Impression, Scans: scans, Of: "hand · reference: object.stl", ScaleMM: 0.05}
	for _, p := range d.Reference.Pos {
		q := p.Sub(f.Origin)
		mean, n := 0.06*q.Dot(f.Left)/30, int32(scans)
		switch y := q.Dot(f.Posterior); {
		case y < -8:
			mean, n = math.NaN(), 0
		case y > 15:
			n--
		}
		d.MeanMM, d.Covered = append(d.MeanMM, mean), append(d.Covered, n)
	}
	return d
}

// The pictures say what the numbers say: to the left of the picture, the patient's left as seen from the
// tissue, the colour of the highest step; to the right that of the lowest; the strip in front white.
func TestMeanDeviationImages(t *testing.T) {
	d := meanSlab(5)
	got, err := MeanDeviationImages(d, Options{Width: 800, Height: 600})
	if err != nil {
		t.Fatal(err)
	}
	for i, name := range []string{"tissue.png", "oral.png", "cover.png"} {
		if got[i].Name != name || got[i].Title == "" || got[i].Alt == "" {
			t.Errorf("picture %d: %q, %q, %q", i, got[i].Name, got[i].Title, got[i].Alt)
		}
	}
	img, err := png.Decode(bytes.NewReader(got[0].PNG))
	if err != nil {
		t.Fatal(err)
	}
	l, u := newLayout(800, 600)
	cam := wholeViews(d.Frame, d.Jaw, d.Surface)[0].Camera.fit(Box{0, 0, l.picture.W, l.picture.H}.inset(pictureEdge*u), NewSurface(d.Reference, false))
	steps := d.steps().colours()
	for _, c := range []struct {
		what string
		at   mesh.Vec
		want [3]float64
	}{
		{"left", mesh.Vec{X: 24}, cielab(decode(steps[5]))}, {"right", mesh.Vec{X: -24}, cielab(decode(steps[1]))},
		{"middle", mesh.Vec{}, cielab(decode(levelGrey))}, {"front", mesh.Vec{Y: -14}, cielab(decode(bare))},
	} {
		x, y, _ := cam.Project(d.Frame.World(c.at))
		r, g, b, _ := img.At(int(math.Round(x+l.picture.X)), int(math.Round(y+l.picture.Y))).RGBA()
		seen := cielab([3]float64{linear(r), linear(g), linear(b)})
		// Light falls off on a slope, so that only the hue is compared: a* and b*.
		if e := math.Hypot(seen[1]-c.want[1], seen[2]-c.want[2]); e > 14 {
			t.Errorf("%s: a*, b* are %.0f, %.0f, want %.0f, %.0f", c.what, seen[1], seen[2], c.want[1], c.want[2])
		}
		if e := difference(seen, c.want); c.what == "front" && e > difference(seen, cielab(decode(material))) {
			t.Errorf("front: nearer to the material than to white, %.1f", e)
		}
	}
	d.MeanMM = d.MeanMM[1:]
	if _, err := MeanDeviationImages(d, Options{}); err == nil {
		t.Error("distances of another reference were drawn")
	}
}

// linear undoes the sRGB transfer function for 16 bits.
func linear(v uint32) float64 {
	x := float64(v) / 0xffff
	if x <= 0.04045 {
		return x / 12.92
	}
	return math.Pow((x+0.055)/1.055, 2.4)
}

func TestMeanDeviationSameBytesForAnyWorkers(t *testing.T) {
	one, err := MeanDeviationImages(meanSlab(12), Options{Width: 800, Height: 600, Workers: 1})
	if err != nil {
		t.Fatal(err)
	}
	many, err := MeanDeviationImages(meanSlab(12), Options{Width: 800, Height: 600, Workers: 3})
	if err != nil {
		t.Fatal(err)
	}
	for i := range one {
		if !bytes.Equal(one[i].PNG, many[i].PNG) {
			t.Errorf("%s differs", one[i].Name)
		}
	}
}

// 95 % of the vertices lie within the scale unless one is asked for; every edge is a short number.
func TestMeanDeviationScale(t *testing.T) {
	d := MeanDeviation{MeanMM: make([]float64, 100)}
	for _, c := range []struct{ size, asked, want float64 }{{0, 0, 0.05}, {0.05, 0, 0.05}, {0.051, 0, 0.1}, {0.3, 0, 0.5}, {9, 0, 5}, {0.3, 0.25, 0.25}} {
		for i := range d.MeanMM {
			d.MeanMM[i] = -c.size
			if i < 5 {
				d.MeanMM[i] = 20
			}
		}
		d.ScaleMM = c.asked
		if got := d.steps().edges; got[5] != c.want || got[0] != -c.want || got[3] != math.Round(2e5*c.want)/1e6 {
			t.Errorf("%v: edges %v, want them to %v", c.size, got, c.want)
		}
		for _, k := range d.steps().legend().ticks {
			if len(k.text) > 6 {
				t.Errorf("%v: a tick %q", c.size, k.text)
			}
		}
	}
	d.MeanMM = []float64{math.NaN()}
	if got := d.steps().edges; got[5] != 0.25 {
		t.Errorf("nothing is covered: %v", got)
	}
}

// Steps of the maps, and the white of what is not covered, are told apart by every sight (sources and
// thresholds as for the legend of thickness).
func TestMeanDeviationColoursAreToldApart(t *testing.T) {
	all := map[string][]color.RGBA{"distances": (&MeanDeviation{}).steps().colours()}
	for _, n := range []int{1, 2, 3, 5, 8, 9, 40} {
		_, g := (&MeanDeviation{Scans: n}).cover()
		if want := min(n, 8); n <= 8 && len(g.colours) != want || n > 8 && len(g.colours) != 5 || len(g.ticks) != len(g.colours) {
			t.Errorf("%d scans: %d colours", n, len(g.colours))
		}
		all[fmt.Sprint(n)] = g.colours
	}
	for what, cs := range all {
		cs = append(cs, bare)
		for name, m := range sights {
			least := math.Inf(1)
			for i := range cs {
				for j := range i {
					least = min(least, difference(seen(m, cs[i]), seen(m, cs[j])))
				}
			}
			t.Logf("%s, %s: least difference %.1f", what, name, least)
			if least < 4.6 {
				t.Errorf("%s, %s: two colours differ by only %.1f", what, name, least)
			}
		}
	}
}

func TestCoverCounts(t *testing.T) {
	d := MeanDeviation{Scans: 3, Covered: []int32{0, 1, 2, 3}}
	tint, g := d.cover()
	if tint[0] != bare || tint[1] != g.colours[0] || tint[2] != g.colours[1] || tint[3] != g.colours[2] || len(g.ticks) != 3 || g.ticks[2].text != "3" {
		t.Errorf("%v of %v", tint, g)
	}
	d = MeanDeviation{Scans: 20, Covered: []int32{0, 5, 6, 19, 20}}
	tint, g = d.cover()
	if tint[0] != bare || tint[1] != g.colours[0] || tint[2] != g.colours[1] || tint[3] != g.colours[3] || tint[4] != g.colours[4] {
		t.Errorf("%v of %v", tint, g)
	}
}
