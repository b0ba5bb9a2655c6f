package main

import (
	"bytes"
	"fmt"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/shape"
	"fornix/render"

	"github.com/chromedp/chromedp"
)

// The committed script is what its modules and three.js make, byte for byte.
func TestPageScriptIsBundled(t *testing.T) {
	if _, err := exec.LookPath("npm"); err != nil {
		t.Skip("no npm")
	}
	dir := t.TempDir()
	if err := three.unpack(dir); err != nil {
		t.Skip("npm reaches no registry: ", err)
	}
	root := filepath.Join("..", "..")
	want, err := bundle(root, dir)
	if err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(filepath.Join(root, filepath.FromSlash(pageBundle)))
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("%s is not what its modules make: go run ./cmd/check -page (%v)", pageBundle, err)
	}
	if !bytes.Contains(got[:2000], []byte("Permission is hereby granted, free of charge")) {
		t.Error("the licence of three.js is not in front")
	}
}

// What makes and tests the page is no part of the program that is shipped.
func TestShippedProgramHoldsNoTools(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "fornix/cmd/fornix").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, tool := range []string{"evanw/esbuild", "chromedp"} {
		if strings.Contains(string(out), tool) {
			t.Errorf("the program imports %s", tool)
		}
	}
	if !strings.Contains(string(out), "fornix/render") {
		t.Errorf("no list: %.200s", out)
	}
}

// A module is a file that one reads.
func TestPageModulesAreShort(t *testing.T) {
	files, err := filepath.Glob("../../render/page/*.*s*")
	if err != nil || len(files) < 8 {
		t.Fatal(files, err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(text, []byte("\n")); n > longest && filepath.Base(f) != "bundle.js" {
			t.Errorf("%s has %d lines", f, n)
		}
	}
}

// scanned is a page made of a phantom, with the report that it shows.
type scanned struct {
	file   string
	report *inspect.Report
	middle mesh.Vec
	err    error
}

var faulty = sync.OnceValue(func() (s scanned) {
	p, _ := phantom.Named("upper-voids")
	p.Spacing = 0.5
	made, err := phantom.Make(p)
	if err != nil {
		return scanned{err: err}
	}
	var b bytes.Buffer
	if s.err = mesh.WriteSTL(&b, made.Mesh, "upper-voids"); s.err != nil {
		return s
	}
	scan, err := inspect.Read(&b, "upper-voids.stl", inspect.ReadOptions{})
	if err != nil {
		return scanned{err: err}
	}
	o := inspect.Run(scan, inspect.DefaultProtocol(), inspect.Options{})
	images, err := render.Images(o.Mesh, o.Report, render.Options{CloseUps: -1})
	if err != nil {
		return scanned{err: err}
	}
	s.report, s.middle = o.Report, middleOf(o.Mesh)
	s.file, s.err = keepPage(render.PageInput{Report: o.Report, Mesh: o.Mesh, Protocol: inspect.DefaultProtocol(), Images: images})
	return s
})

func middleOf(m *mesh.Mesh) mesh.Vec {
	lo, hi := m.Pos[0], m.Pos[0]
	for _, p := range m.Pos {
		lo, hi = lo.Min(p), hi.Max(p)
	}
	return lo.Add(hi).Scale(0.5)
}

// keepPage writes a page where it outlives the test that made it.
func keepPage(in render.PageInput) (string, error) {
	html, err := render.Page(in)
	if err != nil {
		return "", err
	}
	dir, err := os.MkdirTemp(pagesDir, "page")
	if err != nil {
		return "", err
	}
	file := filepath.Join(dir, "report.html")
	return file, os.WriteFile(file, html, 0o644)
}

var pagesDir string

func TestMain(m *testing.M) {
	var err error
	if pagesDir, err = os.MkdirTemp("", "pages"); err != nil {
		panic(err)
	}
	code := m.Run()
	os.RemoveAll(pagesDir)
	os.Exit(code)
}

func faultyPage(t *testing.T) scanned {
	t.Helper()
	if _, found := chromium(); !found {
		t.Skip("no Chromium: go run ./cmd/check installs it on Debian")
	}
	s := faulty()
	if s.err != nil {
		t.Fatal(s.err)
	}
	return s
}

// Each row of a finding with a place leads there, on a wide window and on a narrow one.
func TestPageFindsEachFault(t *testing.T) {
	s := faultyPage(t)
	for _, width := range []int64{1400, 390} {
		p := openPage(t, s.file, width, 900, false)
		p.shot(fmt.Sprintf("faults-%d", width), true)
		if w := value[float64](p, `document.documentElement.scrollWidth`); w > float64(width) {
			t.Errorf("the page is %g wide in a window of %d", w, width)
		}
		seen := 0
		for _, f := range s.report.Findings {
			at, plane := place(s.report, f)
			if f.Number == 0 || len(at) == 0 {
				continue
			}
			p.click(fmt.Sprintf(`button.finding[data-number="%d"]`, f.Number))
			c, half := p.stage()
			least := math.Inf(1)
			for _, q := range at {
				least = min(least, q.Dist(s.middle.Add(mesh.Vec{X: c[0], Y: c[1], Z: c[2]})))
			}
			if reach := f.Where.RadiusMM + 1.5; !plane && least > reach {
				t.Errorf("finding %d: the view is %.1f mm from its place", f.Number, least)
			}
			if half > 46 {
				t.Errorf("finding %d is seen from afar, %g mm", f.Number, half)
			}
			if signs := " " + value[string](p, `document.getElementById('stage').dataset.signs`) + " "; !strings.Contains(signs, fmt.Sprintf(" %d ", f.Number)) {
				t.Errorf("finding %d does not show among %q", f.Number, signs)
			}
			if y := value[float64](p, `document.getElementById('stage').getBoundingClientRect().bottom`); y < 100 {
				t.Errorf("finding %d: the view is out of the window", f.Number)
			}
			seen++
		}
		if seen < 3 {
			t.Errorf("only %d findings with a place", seen)
		}
	}
}

// place returns the points of a finding, and whether it is about the rim's plane as a whole.
func place(rep *inspect.Report, f inspect.Finding) (at []mesh.Vec, plane bool) {
	at = append(append(at, f.Where.Points...), f.Where.Path...)
	return at, rep.Occlusal != nil && len(f.Where.Points) == 1 && f.Where.Points[0].Dist(rep.Occlusal.Point) < 1e-6
}

// Each layer changes the picture, and changes it back.
func TestPageLayers(t *testing.T) {
	s := faultyPage(t)
	p := openPage(t, s.file, 1200, 900, false)
	p.box("#stage")
	look := func() []byte {
		p.settle()
		out, err := chromedp.Run(p.ctx, chromedp.Screenshot(chromedp.CSS("#stage")))
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	first := look()
	for _, layer := range []string{"thickness", "faults", "landmarks", "plane", "regions", "lines"} {
		toggle := fmt.Sprintf(`document.querySelector('[data-layer=%s]').click()`, layer)
		value[any](p, toggle)
		changed := look()
		if bytes.Equal(first, changed) {
			t.Errorf("%s changes nothing", layer)
		}
		if layer == "thickness" {
			if was, is := coloured(t, first), coloured(t, changed); was < 4000 || is > was/10 {
				t.Errorf("%d coloured pixels with the border's thickness, %d without", was, is)
			}
		}
		value[any](p, toggle)
		if !bytes.Equal(first, look()) {
			t.Errorf("%s does not change back", layer)
		}
	}
	value[any](p, `document.querySelectorAll('[data-layer]').forEach((b) => b.checked || b.click())`)
	p.settle()
	p.shot("layers", false)
}

// coloured counts the pixels of strong colour: the border's.
func coloured(t *testing.T, data []byte) int {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			r, g, b, _ := img.At(x, y).RGBA()
			if max(r, g, b)-min(r, g, b) > 0x5000 {
				n++
			}
		}
	}
	return n
}

// A ball whose contours and chords are known, in a page without any frame, under a nasty name.
func ballPage(t *testing.T) string {
	t.Helper()
	if _, found := chromium(); !found {
		t.Skip("no Chromium: go run ./cmd/check installs it on Debian")
	}
	rep := &inspect.Report{Verdict: inspect.Rescan}
	rep.Scan.File = `</script><script>throw 1</script>"><img src=x onerror="throw 2">.stl`
	rep.Findings = []inspect.Finding{{Code: "x", Severity: inspect.Info, Text: rep.Scan.File}}
	ball := shape.Map(shape.Icosphere(ballRadius, 5).Mesh, func(p mesh.Vec) mesh.Vec { return p.Add(mesh.Vec{X: 100, Y: -50, Z: 7}) })
	file, err := keepPage(render.PageInput{Report: rep, Mesh: ball, Protocol: inspect.DefaultProtocol()})
	if err != nil {
		t.Fatal(err)
	}
	return file
}

const ballRadius = 10.0

// The section of a ball at the height z is a circle of radius √(r² - z²), wherever it is dragged to.
func TestPageSectionMeasuresACircle(t *testing.T) {
	p := openPage(t, ballPage(t), 1300, 1000, false)
	if h := value[string](p, `document.querySelector('h1').textContent`); !strings.HasPrefix(h, "</script><script>throw 1") {
		t.Errorf("the name reads %q", h)
	}
	p.click("[data-view=y-minus]") // Z is upward
	p.click("#cut")
	p.click("[data-cut=toward]")
	_, _, w, h := p.box("#stage")
	_, half := p.stage()
	perMM := min(w, h) / 2 / half
	for _, up := range []float64{0, 4.5, -12} { // mm, each from where the last one ended
		at := value[float64](p, `Number(document.getElementById('slide').value)`)
		if up != 0 {
			p.drag("#stage", w/2, h/2-at*perMM, w/2, h/2-(at+up)*perMM)
		}
		z := value[float64](p, `Number(document.getElementById('slide').value)`)
		if math.Abs(z-at-up) > 0.15 {
			t.Errorf("dragged by %g mm, moved by %g", up, z-at)
		}
		got := value[float64](p, `Number(document.getElementById('panel').dataset.length)`)
		// The ball's faces and the simplified ones lie up to 0.03 mm inside; so does the circle.
		want := 2 * math.Pi * math.Sqrt(ballRadius*ballRadius-z*z)
		if got > want+0.1 || got < want-1 {
			t.Errorf("the circle at %g mm is %g mm long, not %g", z, got, want)
		}
	}
	p.shot("section", false)

	// Two ends of a level chord through the middle of the panel: the diameter, and half of the circle.
	value[any](p, `(() => { const s = document.getElementById('slide'); s.value = 0; s.dispatchEvent(new Event('input')); })()`)
	p.settle()
	p.click("[data-cut=toward]")
	_, _, w, h = p.box("#panel")
	scale := min((w-116)/(2*ballRadius), (h-70)/(2*ballRadius))
	p.press("#panel", w/2-ballRadius*scale, h/2)
	p.press("#panel", w/2+ballRadius*scale, h/2)
	said := value[string](p, `document.getElementById('contour-said').textContent`)
	var straight, within, along float64
	if _, err := fmt.Sscanf(said, "Straight %f ± %f mm, along the contour %f mm.", &straight, &within, &along); err != nil {
		t.Fatalf("%q: %v", said, err)
	}
	if math.Abs(straight-2*ballRadius) > 0.1 || math.Abs(along-math.Pi*ballRadius) > 0.4 {
		t.Errorf("a circle of radius %g: %s", ballRadius, said)
	}
	p.shot("circle", false)
}

// Two points of a ball, seen at the same distance left and right of its middle, are that far apart.
func TestPageDistance(t *testing.T) {
	p := openPage(t, ballPage(t), 1300, 1000, true)
	p.click("[data-view=x-plus]")
	p.click("#measure")
	_, _, w, h := p.box("#stage")
	_, half := p.stage()
	perMM := min(w, h) / 2 / half
	p.press("#stage", w/2-6*perMM, h/2)
	p.press("#stage", w/2+6*perMM, h/2)
	said := value[string](p, `document.getElementById('said').textContent`)
	var got, within float64
	if _, err := fmt.Sscanf(said, "Distance %f ± %f mm.", &got, &within); err != nil || math.Abs(got-12) > 0.1 {
		t.Errorf("12 mm apart: %q (%v)", said, err)
	}
	p.shot("distance", false)

	// By keys: the point under the cross, and zoom.
	p.do("focus", chromedp.Focus(chromedp.CSS("#stage")), chromedp.KeyEvent("\r"))
	if said := value[string](p, `document.getElementById('said').textContent`); said != "First point set." {
		t.Errorf("after Enter: %q", said)
	}
	p.do("plus", chromedp.KeyEvent("+"))
	p.settle()
	if _, nearer := p.stage(); math.Abs(nearer/half-0.8) > 0.01 {
		t.Errorf("after +: %g from %g", nearer, half)
	}
}

// axe-core, a general-purpose checker of accessibility (npm), has nothing serious to say.
func TestPageIsAccessible(t *testing.T) {
	if _, err := exec.LookPath("npm"); err != nil {
		t.Skip("no npm")
	}
	s := faultyPage(t)
	dir := t.TempDir()
	if err := axe.unpack(dir); err != nil {
		t.Skip("npm reaches no registry: ", err)
	}
	checker, err := os.ReadFile(filepath.Join(dir, axe.name, "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	for _, dark := range []bool{false, true} {
		p := openPage(t, s.file, 390, 844, dark)
		p.click("#cut")
		p.click("#measure")
		p.shot(fmt.Sprintf("narrow-dark-%v", dark), true)
		value[any](p, string(checker)+"; null")
		found := value[[]string](p, `axe.run().then((r) => r.violations.filter((v) => v.impact === 'serious' || v.impact === 'critical')
			.map((v) => v.id + ': ' + v.nodes.map((n) => n.target + ' ' + n.failureSummary).join('; ')))`)
		for _, f := range found {
			t.Errorf("dark %v: %s", dark, f)
		}
		if n := value[int](p, `axe.run().then((r) => r.passes.length)`); n < 20 {
			t.Errorf("only %d rules passed", n)
		}
	}
}
