package main

import (
	"bytes"
	"context"
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
	"fornix/render"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
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
	got, err := committedPage(root)
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
		if n := bytes.Count(text, []byte("\n")); n > longest {
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
	images, err := render.Images(render.NewScan(o.Mesh, o.Report), render.Options{CloseUps: -1})
	if err != nil {
		return scanned{err: err}
	}
	s.report, s.middle = o.Report, middleOf(o.Mesh)
	s.file, s.err = keepPage(render.PageInput{Scan: render.NewScan(o.Mesh, o.Report), Protocol: inspect.DefaultProtocol(), Images: images})
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

// On paper stand the pictures, the findings and the table, and no view or button that nobody can press.
func TestPageOnPaper(t *testing.T) {
	s := faultyPage(t)
	p := openPage(t, s.file, 1200, 900, true)
	p.do("paper", chromedp.Func(func(ctx context.Context, s *chromedp.Target) error {
		_, err := cdp.Call(ctx, s, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"})
		return err
	}))
	for css, want := range map[string]bool{"#viewer": false, "#layers": false, "#theme": false, "#pictures img": true, "#findings": true, "#measured": true, "#cautions": true} {
		if got := value[bool](p, `[...document.querySelectorAll('`+css+`')].some((e) => e.getClientRects().length > 0)`); got != want {
			t.Errorf("%s on paper: %v", css, got)
		}
	}
	if n := value[int](p, `[...document.images].filter((i) => i.naturalWidth > 1000 && i.alt.length > 20).length`); n != 2 {
		t.Errorf("%d pictures with words for those who do not see them", n)
	}
	pdf := filepath.Join(t.TempDir(), "page.pdf")
	if err := os.WriteFile(pdf, p.paper(), 0o644); err != nil {
		t.Fatal(err)
	}
	if !havePDF() {
		return
	}
	text, err := exec.Command("pdftotext", "-layout", pdf, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"CORRECT", s.report.Findings[0].Text[:20], "Rim height", "licensed clinician decides"} {
		if !strings.Contains(string(text), want) {
			t.Errorf("no %q on paper", want)
		}
	}
}

// accessibility is the script of axe-core, a general-purpose checker of accessibility (npm).
func accessibility(t *testing.T) string {
	t.Helper()
	if _, err := exec.LookPath("npm"); err != nil {
		t.Skip("no npm")
	}
	dir := t.TempDir()
	if err := axe.unpack(dir); err != nil {
		t.Skip("npm reaches no registry: ", err)
	}
	checker, err := os.ReadFile(filepath.Join(dir, axe.name, "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	return string(checker)
}

// accessible fails the test where the checker finds something serious on the page; pages in its frames
// are looked at by themselves.
func (p *tab) accessible(checker, where string) {
	p.t.Helper()
	if !value[bool](p, `typeof axe === 'object'`) {
		value[any](p, checker+"; null")
	}
	found := value[struct {
		Bad    []string `json:"bad"`
		Passed int      `json:"passed"`
	}](p, `axe.run({ iframes: false }).then((r) => ({ passed: r.passes.length, bad: r.violations.filter((v) => v.impact === 'serious' || v.impact === 'critical')
		.map((v) => v.id + ': ' + v.nodes.map((n) => n.target + ' ' + n.failureSummary).join('; ')) }))`)
	for _, f := range found.Bad {
		p.t.Errorf("%s: %s", where, f)
	}
	if found.Passed < 20 {
		p.t.Errorf("%s: only %d rules passed", where, found.Passed)
	}
}
