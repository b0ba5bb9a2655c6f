package render

import (
	"bytes"
	"flag"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"strings"
	"testing"

	"fornix/inspect"
	"fornix/mesh"
)

var update = flag.Bool("update", false, "write the golden picture anew")

// onePage draws one view at the default size.
func onePage(m *mesh.Mesh, rep *inspect.Report, v View, opt Options) *page {
	opt, _ = opt.orDefault()
	var p page
	s := NewScan(m, rep).whole(opt.Thickness)
	c := reportContent(rep, opt, s.tint != nil)
	c.view, c.tint = v, s.tint
	p.draw(s.surface, c)
	return &p
}

func TestImagesSameBytesForAnyWorkers(t *testing.T) {
	m, rep := fullReport(inspect.Lower)
	opt := Options{Width: 800, Height: 600, CloseUps: 3, Limits: []Limit{{1.5, "thin"}, {4, "thick"}}}
	var want []Image
	for _, workers := range []int{1, 2, 3} {
		opt.Workers = workers
		got, err := Images(NewScan(m, rep), opt)
		if err != nil {
			t.Fatal(err)
		}
		if workers == 1 {
			want = got
			var names []string
			for _, i := range got {
				names = append(names, i.Name)
				c, err := png.DecodeConfig(bytes.NewReader(i.PNG))
				if err != nil || c.Width != 800 || c.Height != 600 {
					t.Errorf("%s: %d × %d, %v", i.Name, c.Width, c.Height, err)
				}
				if i.Title == "" || i.Alt == "" {
					t.Errorf("%s has no title or no words in its place", i.Name)
				}
			}
			if w := strings.Fields("tissue.png oral.png front.png left.png right.png back.png finding-1.png finding-7.png finding-9.png"); !equal(names, w) {
				t.Errorf("images %v, want %v", names, w)
			}
			continue
		}
		for i := range want {
			if !bytes.Equal(want[i].PNG, got[i].PNG) || want[i].Alt != got[i].Alt {
				t.Errorf("%s: other bytes from %d workers", want[i].Name, workers)
			}
		}
	}
}

// No two texts of a page overlap, none leaves the page, and none lies on a marked point.
func TestTextsOfAPageDoNotOverlap(t *testing.T) {
	for _, jaw := range []inspect.Jaw{inspect.Upper, inspect.Lower} {
		m, rep := fullReport(jaw)
		all := append(views(rep), closeUps(rep, NewSurface(m, false), 20)...)
		sizes := [][2]int{{800, 600}}
		if jaw == inspect.Upper {
			sizes = append(sizes, [2]int{1600, 1200}, [2]int{1600, 880})
		}
		for _, size := range sizes {
			for _, v := range all[:min(len(all), 600*15/size[1])] { // close-ups at one size only
				p := onePage(m, rep, v, Options{Width: size[0], Height: size[1], Limits: []Limit{{1, "thin"}, {1.5, "thin"}, {4, "thick"}, {4.2, "thick"}}})
				checkTexts(t, p, v.Name, size)
			}
		}
	}
}

// With more marks than labels fit, the gravest are labelled and the page says how many are not.
func TestPageWithTooManyFindings(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	for i := range 60 {
		a := float64(i)
		p := rep.Frame.World(mesh.Vec{X: 15 * math.Sin(a), Y: 12 * math.Cos(1.7*a)})
		rep.Findings = append(rep.Findings, inspect.Finding{Number: 20 + i, Code: "posterior-long", Severity: inspect.Review, Value: ptr(a),
			Unit: "mm", Region: "a region with a name so long that it takes two lines", Where: inspect.Where{Points: []mesh.Vec{p}}})
	}
	v := views(rep)[0]
	few := onePage(m, rep, v, Options{})
	checkTexts(t, few, v.Name, [2]int{1600, 1200})
	l, _ := newLayout(1600, 1200)
	said := false
	for _, b := range few.set {
		said = said || b.Y > l.foot.Y && b.X > 800
	}
	if !said {
		t.Error("nothing is said of the labels left out")
	}
}

func TestPlaneWords(t *testing.T) {
	o := &inspect.Occlusal{Tilts: map[string]inspect.Tilt{"crest": {CantDeg: -3.04, PitchDeg: 1.5}}, RimHeight: inspect.RimHeight{Anterior: ptr(18.02)}}
	want := "rim height in front 18.0\u00a0mm; cant 3.0° (right nearer the tissue), pitch 1.5° (back nearer the tissue) against the plane of the ridge crest"
	if got := planeWords(o); got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got := planeWords(nil); got != "" {
		t.Errorf("%q for no plane", got)
	}
}

func checkTexts(t *testing.T, p *page, name string, size [2]int) {
	t.Helper()
	for i, a := range p.set {
		if a.X < 0 || a.Y < 0 || a.X+a.W > float64(size[0])+0.5 || a.Y+a.H > float64(size[1])+0.5 {
			t.Errorf("%s %v: text %d leaves the page: %+v", name, size, i, a)
		}
		for j, b := range p.set[:i] {
			if a.inset(p.u).Overlaps(b.inset(p.u)) {
				t.Errorf("%s %v: texts %d and %d overlap: %+v %+v", name, size, j, i, b, a)
			}
		}
	}
}

// What must be on the tissue picture, said without a golden file: the border's colours, a dark
// ring with a light halo round a void, the legend's colours, and no colour beside the border.
func TestTissuePictureClaims(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	v := views(rep)[0]
	p := onePage(m, rep, v, Options{})
	l, u := newLayout(1600, 1200)
	cam := v.Camera.fit(Box{0, 0, l.picture.W, l.picture.H}.inset(pictureEdge*u), NewSurface(m, false))
	on := func(q mesh.Vec) (int, int) {
		x, y, _ := cam.Project(q)
		return int(math.Round(x + l.picture.X)), int(math.Round(y + l.picture.Y))
	}
	cs := Scale{}.orDefault().colours()
	for _, j := range []int{30, 60, 90, 120} {
		x, y := on(rep.Border.Stations[j].Apex)
		mm := *rep.Border.Stations[j].ThicknessMM
		got := p.img.RGBAAt(x, y)
		best, least := 0, math.Inf(1)
		for i, c := range cs {
			if d := difference(cielab(decode(c)), cielab(decode(got))); d < least {
				best, least = i, d
			}
		}
		if want := (Scale{}).orDefault().step(mm); best < want-1 || best > want+1 {
			t.Errorf("station %d, %.1f mm: %v looks like step %d, want %d", j, mm, got, best, want)
		}
	}
	// The bleb stands alone: over its centre the triangle's line is dark.
	d := rep.Defects[3]
	x, y := on(d.Centre)
	dark, light := 255, 0
	for k := range 80 {
		c := int(p.img.RGBAAt(x, y+k).G)
		dark, light = min(dark, c), max(light, c)
	}
	if dark > 60 || light < 240 {
		t.Errorf("below the bleb: darkest %d, lightest %d", dark, light)
	}
	if got := p.img.RGBAAt(on(rep.Frame.World(mesh.Vec{Y: 3}))); int(got.R) < int(got.B) || spread(got) > 60 {
		t.Errorf("the middle is %v, not the material's warm grey", got)
	}
	if got := p.img.RGBAAt(3, 600); got != paper {
		t.Errorf("the page's edge is %v", got)
	}
}

func spread(c color.RGBA) int {
	return int(max(c.R, c.G, c.B)) - int(min(c.R, c.G, c.B))
}

// Ten millimetres in the picture are as long as the bar under it.
func TestScaleBar(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	v := views(rep)[0]
	p := onePage(m, rep, v, Options{})
	l, u := newLayout(1600, 1200)
	cam := v.Camera.fit(Box{0, 0, l.picture.W, l.picture.H}.inset(pictureEdge*u), NewSurface(m, false))
	n := 0
	for x := range 320 {
		dark := 0
		for y := int(l.strip.Y); y < 1200-int(footHeight); y++ {
			if p.img.RGBAAt(x, y) == ink {
				dark++
			}
		}
		if dark > 0 && x >= int(l.strip.X) && x < int(l.strip.X)+290 {
			n++
		}
	}
	if want := 10 * cam.Scale; math.Abs(float64(n)-want) > 2 {
		t.Errorf("the bar is %d pixels, 10 mm are %.1f", n, want)
	}
}

// A picture with no frame, no border, no finding: it says what is not known.
func TestBareReport(t *testing.T) {
	m := sphere(10, 20)
	rep := &inspect.Report{}
	rep.Border.ThicknessUnmeasured = "the scan has no outer surface"
	got, err := Images(NewScan(m, rep), Options{Width: 800, Height: 600})
	if err != nil || len(got) != 6 {
		t.Fatalf("%d images, %v", len(got), err)
	}
	for _, i := range got {
		if !strings.Contains(i.Alt, "patient side unknown") {
			t.Errorf("%s: %s", i.Name, i.Alt)
		}
	}
	if _, err := Images(NewScan(mesh.New(nil, nil), rep), Options{}); err != nil {
		t.Errorf("an empty scan: %v", err)
	}
	if _, err := Images(NewScan(m, rep), Options{Width: 10, Height: 10}); err == nil {
		t.Error("a picture of 10 × 10 pixels was made")
	}
}

// The golden picture is the tissue view at a quarter of its size, where small differences of
// processors and fonts blur.
func TestGoldenTissue(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	p := onePage(m, rep, views(rep)[0], Options{Limits: []Limit{{1.5, "thin"}, {4, "thick"}}})
	small := shrink(p.img, 4)
	const file = "testdata/tissue.png"
	if *update {
		var b bytes.Buffer
		if err := png.Encode(&b, small); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	want, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	if want.Bounds() != small.Bounds() {
		t.Fatalf("size %v, want %v", small.Bounds(), want.Bounds())
	}
	off, worst := 0, 0
	for y := range small.Bounds().Dy() {
		for x := range small.Bounds().Dx() {
			w := color.RGBAModel.Convert(want.At(x, y)).(color.RGBA)
			g := small.RGBAAt(x, y)
			d := max(abs(int(w.R)-int(g.R)), abs(int(w.G)-int(g.G)), abs(int(w.B)-int(g.B)))
			worst = max(worst, d)
			if d > 12 {
				off++
			}
		}
	}
	if n := small.Bounds().Dx() * small.Bounds().Dy(); off > n/1000 {
		t.Errorf("%d of %d pixels differ by more than 12 levels, the worst by %d", off, n, worst)
	}
}

func abs(a int) int { return max(a, -a) }

// shrink averages blocks of k × k pixels.
func shrink(img *image.RGBA, k int) *image.RGBA {
	w, h := img.Bounds().Dx()/k, img.Bounds().Dy()/k
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			var s [4]int
			for j := range k * k {
				c := img.RGBAAt(x*k+j%k, y*k+j/k)
				s = [4]int{s[0] + int(c.R), s[1] + int(c.G), s[2] + int(c.B), 0}
			}
			out.SetRGBA(x, y, color.RGBA{uint8(s[0] / k / k), uint8(s[1] / k / k), uint8(s[2] / k / k), 255})
		}
	}
	return out
}
