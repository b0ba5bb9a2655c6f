package main

import (
	"bytes"
	"fmt"
	"image/png"
	"math"
	"strings"
	"testing"

	"fornix/inspect"
	"fornix/mesh"
	"fornix/mesh/shape"
	"fornix/render"

	"github.com/chromedp/chromedp"
)

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
	file, err := keepPage(render.PageInput{Scan: render.NewScan(ball, rep), Protocol: inspect.DefaultProtocol()})
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

// The colours of a file are a layer: red on the patient's left, green on the right, and as told by the
// file; without the layer the scan is plain.
func TestPageShowsTheColoursOfTheFile(t *testing.T) {
	if _, found := chromium(); !found {
		t.Skip("no Chromium: go run ./cmd/check installs it on Debian")
	}
	ball := shape.Icosphere(ballRadius, 5).Mesh
	for _, p := range ball.Pos {
		c := mesh.Colour{40, 180, 40}
		if p.X > 0 {
			c = mesh.Colour{200, 40, 40}
		}
		ball.Colour = append(ball.Colour, c)
	}
	file, err := keepPage(render.PageInput{Scan: render.NewScan(ball, &inspect.Report{Verdict: inspect.Rescan}), Protocol: inspect.DefaultProtocol()})
	if err != nil {
		t.Fatal(err)
	}
	p := openPage(t, file, 1000, 900, false)
	p.click("[data-view=y-minus]") // X is to the right
	if n := coloured(t, p.view()); n > 100 {
		t.Errorf("%d coloured pixels without the layer", n)
	}
	value[any](p, `document.querySelector('[data-layer=colour]').click()`)
	p.settle()
	img, err := png.Decode(bytes.NewReader(p.view()))
	if err != nil {
		t.Fatal(err)
	}
	b := img.Bounds()
	for _, side := range []struct {
		x         int
		red, name string
	}{{b.Dx()/2 - b.Dx()/6, "no", "left"}, {b.Dx()/2 + b.Dx()/6, "yes", "right"}} {
		r, g, blue, _ := img.At(side.x, b.Dy()/2).RGBA()
		if (r > 2*g) != (side.red == "yes") || (g > 2*r) != (side.red == "no") || blue > max(r, g)/2 {
			t.Errorf("in the %s half: red %d, green %d, blue %d", side.name, r>>8, g>>8, blue>>8)
		}
	}
	p.shot("colours", false)
	if !value[bool](p, `document.body.innerText.includes('Colours are those of the file')`) {
		t.Error("the page does not say whose colours they are")
	}
}
