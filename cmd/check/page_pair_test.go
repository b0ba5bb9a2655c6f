package main

import (
	"bytes"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/render"
)

// A page of two phantoms closed on each other.
type pairScanned struct {
	file string
	out  *inspect.RelateOutcome
	err  error
}

var closedPair = sync.OnceValue(func() (s pairScanned) {
	p, _ := phantom.NamedPair("pair-back-right")
	p.Upper.Spacing, p.Lower.Spacing = 0.6, 0.6
	made, err := phantom.MakePair(p)
	if err != nil {
		return pairScanned{err: err}
	}
	var scans [2]*inspect.Scan
	for i, m := range [2]*phantom.Phantom{made.Upper, made.Lower} {
		var b bytes.Buffer
		if s.err = mesh.WriteSTL(&b, m.Mesh, "jaw"); s.err != nil {
			return s
		}
		if scans[i], s.err = inspect.Read(&b, [2]string{"upper.stl", "lower.stl"}[i], inspect.ReadOptions{}); s.err != nil {
			return s
		}
	}
	if s.out, s.err = inspect.Relate(scans[0], scans[1], inspect.DefaultProtocol(), inspect.RelateOptions{}); s.err != nil {
		return s
	}
	pair := render.NewPair(s.out, render.NewScan(s.out.Upper.Mesh, s.out.Upper.Report), render.NewScan(s.out.Lower.Mesh, s.out.Lower.Report))
	images, err := render.RelationImages(pair, render.Options{})
	if err != nil {
		return pairScanned{err: err}
	}
	html, err := render.PairPage(pair, images)
	if err != nil {
		return pairScanned{err: err}
	}
	dir, err := os.MkdirTemp(pagesDir, "pair")
	if err != nil {
		return pairScanned{err: err}
	}
	s.file = filepath.Join(dir, "report.html")
	s.err = os.WriteFile(s.file, html, 0o644)
	return s
})

func pairPage(t *testing.T) pairScanned {
	t.Helper()
	if _, found := chromium(); !found {
		t.Skip("no Chromium: go run ./cmd/check installs it on Debian")
	}
	s := closedPair()
	if s.err != nil {
		t.Fatal(s.err)
	}
	return s
}

// view is the picture of the stage.
func (p *tab) view() []byte {
	p.t.Helper()
	p.box("#stage")
	p.settle()
	out, err := chromedp.Run(p.ctx, chromedp.Screenshot(chromedp.CSS("#stage")))
	if err != nil {
		p.t.Fatal(err)
	}
	return out
}

// Each finding of a pair with a place leads there and shows its number, wide and narrow.
func TestPairPageFindsEachFinding(t *testing.T) {
	s := pairPage(t)
	f := s.out.Relation
	for _, width := range []int64{1400, 390} {
		p := openPage(t, s.file, width, 900, width == 390)
		p.shot(fmt.Sprintf("pair-%d", width), true)
		if w := value[float64](p, `document.documentElement.scrollWidth`); w > float64(width) {
			t.Errorf("the page is %g wide in a window of %d", w, width)
		}
		middle := value[[]float64](p, `JSON.parse(document.getElementById('data').textContent).middle`)
		seen := 0
		for _, g := range f.Findings {
			if g.Number == 0 || len(g.Where.Points) == 0 {
				continue
			}
			p.click(fmt.Sprintf(`button.finding[data-number="%d"]`, g.Number))
			c, half := p.stage()
			at := mesh.Vec{X: middle[0] + c[0], Y: middle[1] + c[1], Z: middle[2] + c[2]}
			if d := at.Dist(g.Where.Points[0]); d > 0.5 || half > 46 {
				t.Errorf("finding %d: the view is %.1f mm from its place, %g mm wide", g.Number, d, half)
			}
			if signs := " " + value[string](p, `document.getElementById('stage').dataset.signs`) + " "; !bytes.Contains([]byte(signs), fmt.Appendf(nil, " %d ", g.Number)) {
				t.Errorf("finding %d does not show among %q", g.Number, signs)
			}
			seen++
		}
		if seen < 2 {
			t.Errorf("only %d findings with a place", seen)
		}
		p.shot(fmt.Sprintf("pair-finding-%d", width), false)
	}
}

// No word or number lies over another, nor over what stands at the edges, from wherever the pair is seen.
func TestPairPageSignsKeepApart(t *testing.T) {
	s := pairPage(t)
	for _, width := range []int64{1280, 390} {
		p := openPage(t, s.file, width, 900, false)
		value[any](p, `document.querySelectorAll('[data-layer]').forEach((b) => b.checked || b.click())`)
		most := 0
		for _, view := range []string{"front", "left", "right", "back", "above", "below"} {
			p.click("[data-view=" + view + "]")
			most = max(most, apart(t, p, fmt.Sprintf("%d wide, %s", width, view)))
			p.shot(fmt.Sprintf("pair-signs-%s-%d", view, width), false)
		}
		if most < 12 {
			t.Errorf("%d wide: only %d signs", width, most)
		}
	}
}

// apart fails the test where words or numbers over a view overlap or are cut off, and counts them with
// what stands at the view's edges.
func apart(t *testing.T, p *tab, where string) int {
	t.Helper()
	boxes := value[[][4]float64](p, `JSON.parse(document.getElementById('stage').dataset.boxes)`)
	size := value[[2]float64](p, `[document.getElementById('stage').clientWidth, document.getElementById('stage').clientHeight]`)
	for i, a := range boxes {
		if a[0] < -1 || a[1] < -1 || a[2] > size[0]+1 || a[3] > size[1]+1 {
			t.Errorf("%s: a sign at %v is cut off by the picture of %v", where, a, size)
		}
		for _, b := range boxes[:i] {
			if a[0] < b[2]-1 && b[0] < a[2]-1 && a[1] < b[3]-1 && b[1] < a[3]-1 {
				t.Errorf("%s: %v and %v overlap", where, a, b)
			}
		}
	}
	return len(boxes)
}

// Each layer of the pair changes the picture and changes it back; the gap's colours lie on the rims.
func TestPairPageLayers(t *testing.T) {
	s := pairPage(t)
	p := openPage(t, s.file, 1200, 900, false)
	toggle := func(layer string) {
		value[any](p, fmt.Sprintf(`document.querySelector('[data-layer=%s]').click()`, layer))
	}
	first := p.view()
	for _, layer := range []string{"upper", "lower", "others", "plane", "lengths", "space"} {
		toggle(layer)
		if bytes.Equal(first, p.view()) {
			t.Errorf("%s changes nothing", layer)
		}
		toggle(layer)
		if !bytes.Equal(first, p.view()) {
			t.Errorf("%s does not change back", layer)
		}
	}
	for _, jaw := range [2][2]string{{"upper", "above"}, {"lower", "below"}} { // what is hidden, and from where the other's rim is seen
		toggle(jaw[0])
		p.click("[data-view=" + jaw[1] + "]")
		with := coloured(t, p.view())
		p.shot("pair-gap-without-"+jaw[0], false)
		toggle("gap")
		without := coloured(t, p.view())
		toggle("gap")
		toggle(jaw[0])
		if with < 2000 || without > with/10 {
			t.Errorf("without the %s jaw %d coloured pixels with the gap, %d without", jaw[0], with, without)
		}
	}
}

// Opened by 20 mm, the pair is 20 mm higher, and a section through both goes on to be of both.
func TestPairPageOpensAndCuts(t *testing.T) {
	s := pairPage(t)
	p := openPage(t, s.file, 1300, 1000, true)
	p.click("#cut")
	p.click("[data-cut=toward]")
	height := func() float64 {
		return value[float64](p, `Number(document.getElementById('slide').max) - Number(document.getElementById('slide').min)`)
	}
	closed := height()
	open := func(mm int) {
		value[any](p, fmt.Sprintf(`(() => { const a = document.getElementById('apart'); a.value = %d; a.dispatchEvent(new Event('input')); })()`, mm))
		p.settle()
	}
	open(20)
	if got := height() - closed; math.Abs(got-20) > 0.02 {
		t.Errorf("opened by 20 mm, higher by %.3f", got)
	}
	// A section from front to back cuts what it cut before, wherever the jaws stand along the height.
	p.click("[data-cut=left]")
	length := func() float64 {
		p.settle()
		return value[float64](p, `Number(document.getElementById('panel').dataset.length)`)
	}
	opened := length()
	p.shot("pair-open", false)
	value[any](p, `document.querySelector('[data-layer=lower]').click()`)
	upper := length()
	value[any](p, `document.querySelector('[data-layer=lower]').click(); document.querySelector('[data-layer=upper]').click()`)
	lower := length()
	value[any](p, `document.querySelector('[data-layer=upper]').click()`)
	open(0)
	if l := length(); math.Abs(l-opened) > 0.01 || upper < 50 || lower < 20 || math.Abs(upper+lower-l) > 0.01 {
		t.Errorf("contours of %.2f mm closed, %.2f opened; %.2f of the upper and %.2f of the lower", l, opened, upper, lower)
	}
	// Along the height, closed: from crest to crest, as the relation says, which the section shows flat.
	p.click("#measure")
	_, _, w, h := p.box("#stage")
	p.press("#stage", w/2, h/2-20)
	p.press("#stage", w/2, h/2+20)
	if said := value[string](p, `document.getElementById('said').textContent`); len(said) < 10 {
		t.Errorf("measured: %q", said)
	}
	p.shot("pair-cut", false)
}

// With the network off, as the pages are opened in these tests, nothing can be fetched: else to open
// them so would show nothing.
func TestOfflineIsOffline(t *testing.T) {
	asked := 0
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Access-Control-Allow-Origin", "*")
		asked++
	}))
	defer server.Close()
	p := openTab(t, server.URL, server.URL, "body", 400, 400, false)
	try := `fetch('` + server.URL + `/x').then(() => 'came', () => 'failed')`
	if got := value[string](p, try); got != "came" || asked == 0 {
		t.Fatalf("with the network on: %s", got)
	}
	asked = 0
	p.do("offline", chromedp.Func(offline))
	if got := value[string](p, try); got != "failed" || asked != 0 {
		t.Errorf("with the network off: %s", got)
	}
	p.mu.Lock()
	p.said = nil // the fetch that failed is told on the console
	p.mu.Unlock()
}

// Two scans that share a frame, dropped together: the app relates them by itself, tells the verdict, and
// opens the page of both, which leaves with the package.
func TestAppRelatesBothJaws(t *testing.T) {
	s := pairPage(t)
	dir := t.TempDir()
	var files []string
	for i, o := range [2]*inspect.Outcome{s.out.Upper, s.out.Lower} {
		var b bytes.Buffer
		if err := mesh.WriteSTL(&b, o.Mesh, "jaw"); err != nil {
			t.Fatal(err)
		}
		files = append(files, filepath.Join(dir, [2]string{"upper.stl", "lower.stl"}[i]))
		if err := os.WriteFile(files[i], b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	base := serveApp(t)
	p := openApp(t, base, 390, false)
	p.drop(files...)
	p.await("the pair", `document.getElementById('pair-page')?.innerText.includes('CORRECT')`)
	p.shot("app-pair-390", true)
	address := value[string](p, `document.getElementById('pair-page').href`)
	if w := value[float64](p, `document.getElementById('turn').getBoundingClientRect().width`); w < 300 {
		t.Errorf("in a window of 390 the scan is %g wide", w)
	}
	q := openTab(t, address, base, "html.drawn", 1300, 900, false)
	q.click("button.finding")
	if words := value[string](q, `document.getElementById('findings').innerText`); !bytes.Contains([]byte(words), []byte(s.out.Relation.Findings[0].Text)) {
		t.Errorf("the page says %q", words)
	}
	q.shot("app-pair-page", false)
	p.click("#sheet")
	p.await("the sheet", `document.getElementById('open-sheet') !== null`)
}
