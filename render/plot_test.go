package render

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"fmt"
	"image/png"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var plotDir = flag.String("plots", "", "keep the plots of the tests in this folder")

// plots are the figures that a study draws, of random values in several sizes.
func plots() map[string]*Figure {
	r := rand.New(rand.NewPCG(4, 2))
	out := map[string]*Figure{}
	for _, n := range []int{2, 17, 300} {
		var d BlandAltman
		d.A, d.B, d.Unit = "first device", "second device", "mm"
		for i := range n {
			x := 3 + r.NormFloat64()
			d.Points = append(d.Points, PlotPoint{X: x, Y: 0.02 + 0.05*r.NormFloat64(), Tip: fmt.Sprintf("subject <%d> & more", i), Link: "reports/a b/report.html"})
		}
		d.Bias = 0.02
		if n > 2 {
			d.Limits = &[2]float64{-0.08, 0.12}
			e := 0.3 / math.Sqrt(float64(n))
			d.BiasRange, d.LowRange, d.HighRange = &[2]float64{0.02 - 0.3*e, 0.02 + 0.3*e}, &[2]float64{-0.08 - e, -0.08 + e}, &[2]float64{0.12 - e, 0.12 + e}
		}
		out[fmt.Sprintf("agreement-%d", n)] = d.Figure()
	}
	tight := BlandAltman{A: "A", B: "B", Points: []PlotPoint{{X: 1, Y: 5}, {X: 2, Y: 5.001}}, Bias: 5, Limits: &[2]float64{4.999, 5.001}}
	out["agreement-tight"] = tight.Figure()
	for _, n := range []int{1, 4, 9} {
		d := Groups{Quantity: "median thickness of the labial border", Unit: "mm"}
		for i := range n {
			g := PlotGroup{Name: fmt.Sprintf("operator number %d", i+1), Box: &[3]float64{2.4, 3, 3.5}}
			m := 3.1
			g.Mean, g.Range = &m, &[2]float64{2.8, 3.4}
			for range 3 + 20*i {
				g.Points = append(g.Points, PlotPoint{Y: 3 + 0.7*r.NormFloat64(), Tip: "scan"})
			}
			d.Groups = append(d.Groups, g)
		}
		out[fmt.Sprintf("groups-%d", n)] = d.Figure()
	}
	p := Profile{Quantity: "border thickness", Unit: "mm", Step: 0.02}
	for i := range 50 {
		x, sd := (float64(i)+0.5)/50, 0.3
		if i > 20 && i < 24 {
			continue
		}
		m := 3 + math.Sin(7*x)
		p.Stations = append(p.Stations, ProfileStation{Along: x, N: 5, Mean: m, Min: m - 0.5, Max: m + 0.6, SD: &sd})
	}
	for i, n := range []string{"distobuccal right", "zygomatic right", "buccal right", "labial", "buccal left", "zygomatic left", "distobuccal left"} {
		p.Places = append(p.Places, PlotTick{At: (float64(i) + 0.5) / 7, Name: n})
	}
	out["profile"] = p.Figure()
	out["empty"] = Groups{Quantity: "nothing"}.Figure()
	out["flat"] = Profile{Quantity: "nothing"}.Figure()
	return out
}

// Words lie on the sheet and on no other words.
func TestPlotWordsLieApart(t *testing.T) {
	for name, f := range plots() {
		var set []Box
		var texts []string
		for _, p := range f.parts {
			if p.kind != partText {
				continue
			}
			b := Box{p.path[0][0], p.path[0][1] - 0.75*p.size, f.width(p.text), 0.95 * p.size} // from the height of capitals to that of descenders
			if b.X < 0 || b.Y < 0 || b.X+b.W > f.W || b.Y+b.H > f.H {
				t.Errorf("%s: %q leaves the sheet: %.1f", name, p.text, b)
			}
			for i, o := range set {
				if b.X < o.X+o.W && o.X < b.X+b.W && b.Y < o.Y+o.H && o.Y < b.Y+b.H {
					t.Errorf("%s: %q lies on %q", name, p.text, texts[i])
				}
			}
			set, texts = append(set, b), append(texts, p.text)
		}
	}
}

// Dots of a few values do not cover each other, and each stays at its value's height.
func TestPlotSwarm(t *testing.T) {
	d := Groups{Quantity: "q", Groups: []PlotGroup{{Name: "g", Points: []PlotPoint{{Y: 1}, {Y: 1}, {Y: 1}, {Y: 1.01}, {Y: 2}}}}}
	f := d.Figure()
	var set [][2]float64
	for _, p := range f.parts {
		if p.kind == partDisc {
			for _, o := range set {
				if l := math.Hypot(o[0]-p.path[0][0], o[1]-p.path[0][1]); l < 2*figureDot {
					t.Errorf("dots %.2f mm apart", l)
				}
			}
			set = append(set, p.path[0])
		}
	}
	if len(set) != 5 || set[0][1] != set[1][1] || set[3][1] >= set[0][1] {
		t.Errorf("dots at %.2f", set)
	}
}

// The three files of a figure can be read, hold what was said, and are the same every time.
func TestPlotFiles(t *testing.T) {
	again := plots()
	for name, f := range plots() {
		svg := f.SVG()
		d := xml.NewDecoder(bytes.NewReader(svg))
		circles, words := 0, ""
		for {
			k, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			switch k := k.(type) {
			case xml.StartElement:
				if k.Name.Local == "circle" {
					circles++
				}
			case xml.CharData:
				words += string(k)
			}
		}
		want := 0
		for _, p := range f.parts {
			if p.kind == partDisc {
				want++
			}
			if p.kind == partText && !strings.Contains(words, p.text) {
				t.Errorf("%s: SVG lacks %q", name, p.text)
			}
		}
		if circles != want {
			t.Errorf("%s: %d circles, want %d", name, circles, want)
		}
		if bytes.Contains(svg, []byte("NaN")) || bytes.Contains(svg, []byte("Inf")) {
			t.Errorf("%s: SVG holds a place that is none", name)
		}
		pdf, err := f.PDF()
		if err != nil {
			t.Fatal(err)
		}
		pixels, err := f.PNG()
		if err != nil {
			t.Fatal(err)
		}
		img, err := png.Decode(bytes.NewReader(pixels))
		if err != nil || img.Bounds().Dx() != int(math.Round(f.W*300/25.4)) {
			t.Errorf("%s: %v %v", name, img.Bounds(), err)
		}
		pdf2, _ := again[name].PDF()
		if !bytes.HasPrefix(pdf, []byte("%PDF-")) || !bytes.Equal(pdf, pdf2) || !bytes.Equal(svg, again[name].SVG()) {
			t.Errorf("%s: other bytes the second time", name)
		}
		if *plotDir != "" {
			for ext, data := range map[string][]byte{".svg": svg, ".pdf": pdf, ".png": pixels} {
				if err := os.WriteFile(filepath.Join(*plotDir, name+ext), data, 0o644); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
}
