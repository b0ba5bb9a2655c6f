package main

import (
	"bytes"
	"encoding/json"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"fornix/inspect"
	"fornix/mesh"
	"fornix/mesh/shape"
	"fornix/render"
)

// From each standard view the patient's left and right stand at their true edges of the picture, or, where
// one looks along that axis, the words say from which side.
func TestPageMarksLeftAndRight(t *testing.T) {
	s := faultyPage(t)
	p := openPage(t, s.file, 390, 844, false)
	var d struct {
		Frame struct{ Left [3]float64 }
		Views []struct {
			Name       string
			Toward, Up [3]float64
		}
	}
	if err := json.Unmarshal([]byte(value[string](p, `document.getElementById('data').textContent`)), &d); err != nil || len(d.Views) != 6 {
		t.Fatal(err, len(d.Views))
	}
	vec := func(v [3]float64) mesh.Vec { return mesh.Vec{X: v[0], Y: v[1], Z: v[2]} }
	shift := regexp.MustCompile(`^translate\((-?[\d.]+)px`)
	for _, v := range d.Views {
		value[any](p, `document.querySelector('[data-view="`+v.Name+`"]').click()`)
		p.settle()
		left, toward := vec(d.Frame.Left), vec(v.Toward)
		across := left.Dot(vec(v.Up).Cross(toward).Unit())
		words := value[string](p, `document.getElementById('looking').textContent`)
		seen := value[string](p, `document.getElementById('side-left').hidden || document.getElementById('side-right').hidden ? '' : document.getElementById('side-left').style.transform`)
		if math.Abs(across) < 0.3 {
			want := "the patient’s left"
			if left.Dot(toward) < 0 {
				want = "the patient’s right"
			}
			if !strings.Contains(words, want) {
				t.Errorf("%s: %q does not say %q", v.Name, words, want)
			}
			continue
		}
		m := shift.FindStringSubmatch(seen)
		if m == nil {
			t.Errorf("%s: no sides", v.Name)
			continue
		}
		x, _ := strconv.ParseFloat(m[1], 64)
		if middle := value[float64](p, `document.getElementById('stage').clientWidth / 2`); (x > middle) != (across > 0) {
			t.Errorf("%s: L stands at %g of %g, the patient's left is %+.2f to the right", v.Name, x, 2*middle, across)
		}
	}
}

// All is reached by keys: a finding, turning and going back, the section's place and direction, a layer.
func TestPageByKeys(t *testing.T) {
	s := faultyPage(t)
	p := openPage(t, s.file, 1200, 900, false)
	keys := func(css string, text ...string) {
		t.Helper()
		p.do("focus "+css, chromedp.Focus(chromedp.CSS(css)))
		for _, k := range text {
			p.do("key", chromedp.KeyEvent(k))
		}
		p.settle()
	}
	const left, home, enter, space, right = kb.ArrowLeft, kb.Home, "\r", " ", kb.ArrowRight
	middle, whole := p.stage()
	first := p.view()
	keys(`button.finding[data-number="1"]`, enter)
	if _, half := p.stage(); half > 0.7*whole {
		t.Errorf("by Enter on its row, finding 1 is seen from %g mm of %g", half, whole)
	}
	keys("#stage", home)
	if c, half := p.stage(); c != middle || half != whole { // what has the focus has a frame, so that its picture is another
		t.Error("Home does not go back to the first view")
	}
	keys("#stage", left, left, left, left)
	if words := value[string](p, `document.getElementById('looking').textContent`); words == "seen from the tissue side" {
		t.Error("arrows do not turn the scan")
	}
	keys("#reset", enter)
	if !bytes.Equal(p.view(), first) {
		t.Error("Reset by Enter does not go back")
	}
	keys("#cut", enter)
	at := value[float64](p, `Number(document.getElementById('slide').value)`)
	long := value[float64](p, `Number(document.getElementById('panel').dataset.length)`)
	keys("#slide", right, right, right, right, right, right, right, right, right, right)
	if moved := value[float64](p, `Number(document.getElementById('slide').value)`) - at; math.Abs(moved-0.5) > 0.03 {
		t.Errorf("by 10 arrows the section moved by %.2f mm", moved)
	}
	if got := value[float64](p, `Number(document.getElementById('panel').dataset.length)`); got == long || got < 20 {
		t.Errorf("a contour of %g mm before and %g after", long, got)
	}
	keys(`[data-cut="posterior"]`, enter)
	if got := value[string](p, `document.querySelector('[data-cut="posterior"]').getAttribute('aria-pressed')`); got != "true" {
		t.Error("the direction is not chosen by Enter")
	}
	keys("#panel", right, enter, right, right, right, enter)
	if said := value[string](p, `document.getElementById('contour-said').textContent`); !strings.HasPrefix(said, "Straight ") {
		t.Errorf("measured by keys on the contour: %q", said)
	}
	keys(`[data-layer="regions"]`, space)
	if !value[bool](p, `document.querySelector('[data-layer=regions]').checked`) {
		t.Error("a layer is not switched by the space bar")
	}
}

// The layer of openings shows them and hides them.
func TestPageShowsOpenings(t *testing.T) {
	if _, found := chromium(); !found {
		t.Skip("no Chromium: go run ./cmd/check installs it on Debian")
	}
	rep := &inspect.Report{Verdict: inspect.Rescan}
	rim := []mesh.Vec{{X: 10, Y: 2}, {X: 9.8, Z: 2}, {X: 10, Y: -2}, {X: 9.8, Z: -2}}
	rep.Holes = []inspect.Hole{{Centre: mesh.Vec{X: 10}, SpanMM: 4, PerimeterMM: 11, AreaMM2: 8, Rim: rim, Surface: "tissue"}}
	file, err := keepPage(render.PageInput{Scan: render.NewScan(shape.Icosphere(ballRadius, 4).Mesh, rep), Protocol: inspect.DefaultProtocol()})
	if err != nil {
		t.Fatal(err)
	}
	p := openPage(t, file, 900, 800, false)
	p.click("[data-view=x-plus]")
	with := p.view()
	value[any](p, `document.querySelector('[data-layer=holes]').click()`)
	without := p.view()
	value[any](p, `document.querySelector('[data-layer=holes]').click()`)
	if bytes.Equal(with, without) || !bytes.Equal(with, p.view()) {
		t.Error("the layer of openings shows nothing, or does not come back")
	}
}
