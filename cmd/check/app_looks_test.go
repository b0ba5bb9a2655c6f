package main

import (
	"context"
	"fmt"
	"image"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// look is a window and a scheme of colours.
type look struct {
	width int64
	dark  bool
}

func (l look) String() string {
	return fmt.Sprintf("%d-%s", l.width, map[bool]string{false: "light", true: "dark"}[l.dark])
}

// looks are those in which screens are seen: both windows and both schemes, and with -shots, or FORNIX_LOOKS set,
// each window in each scheme, which takes twice as long.
func looks() []look {
	if *shots != "" || os.Getenv("FORNIX_LOOKS") != "" {
		return []look{{1300, false}, {1300, true}, {390, false}, {390, true}}
	}
	return []look{{1300, false}, {390, true}}
}

// as shows the page in a look.
func (p *tab) as(l look) {
	p.t.Helper()
	scheme := "light"
	if l.dark {
		scheme = "dark"
	}
	p.do("look", chromedp.Func(func(ctx context.Context, s *chromedp.Target) error {
		_, err := cdp.Call(ctx, s, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
			{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
		return err
	}), chromedp.EmulateViewport(l.width, 900))
	p.settle()
}

// cutOff lists words of the page that their own box hides a part of, and what reaches out of the window.
const cutOff = `(() => {
	const out = [];
	const name = (e) => e.tagName.toLowerCase() + (e.id ? '#' + e.id : '') + (e.className && e.className.baseVal === undefined ? '.' + e.className : '');
	for (const e of document.querySelectorAll('body *')) {
		const s = getComputedStyle(e), b = e.getBoundingClientRect();
		if (b.width === 0 || s.visibility === 'hidden' || s.position === 'absolute' || e.closest('[hidden]') || e.closest('svg')) {
			continue;
		}
		const words = [...e.childNodes].some((c) => c.nodeType === 3 && c.textContent.trim());
		if (words && s.overflowX !== 'visible' && s.overflowX !== 'auto' && s.overflowX !== 'scroll' && e.scrollWidth > e.clientWidth + 1) {
			out.push(name(e) + ' is cut off: ' + e.textContent.trim().slice(0, 40));
		}
		if (b.right + scrollX > innerWidth + 1 && !e.closest('.wide, #views')) {
			out.push(name(e) + ' reaches to ' + Math.round(b.right + scrollX));
		}
		if ((e.tagName === 'SELECT' || e.tagName === 'INPUT') && b.right > e.parentElement.getBoundingClientRect().right + 1) {
			out.push(name(e) + ' is wider than its place');
		}
	}
	return out;
})()`

// fits looks at a screen in one look: the checker finds nothing serious, no word is cut off, nothing is
// wider than the window.
func (p *tab) fits(checker, screen string, l look) {
	p.t.Helper()
	if *shots != "" && value[bool](p, `(document.getElementById('turn')?.scrollIntoView(), document.getElementById('turn') !== null)`) {
		time.Sleep(500 * time.Millisecond) // a frame draws what of it is in the window, and late
		p.shot("look-"+screen+"-view-"+l.String(), false)
	}
	p.shot("look-"+screen+"-"+l.String(), true)
	p.accessible(checker, screen+" "+l.String())
	for _, text := range value[[]string](p, cutOff) {
		p.t.Errorf("%s %s: %s", screen, l, text)
	}
	if w := value[float64](p, `document.documentElement.scrollWidth`); w > float64(l.width) {
		p.t.Errorf("%s %s: the page is %g wide", screen, l, w)
	}
}

// everyLook looks at a screen in each of the looks.
func (p *tab) everyLook(checker, screen string) {
	p.t.Helper()
	for _, l := range looks() {
		p.as(l)
		p.fits(checker, screen, l)
	}
}

// caseIn opens a case in a look; a look does not reach a frame that is there already.
func caseIn(t *testing.T, base string, n int, l look) *tab {
	t.Helper()
	p := openTab(t, fmt.Sprintf("%scase/%d", base, n), base, "#main", l.width, 900, l.dark)
	p.await("the frame", `document.getElementById('turn')?.dataset.ready === 'yes'`)
	return p
}

// slow lets uploads pass at so many bytes a second; -1 does not bound them. The parameters are those of the
// Chrome DevTools Protocol, as in offline.
func slow(perSecond float64) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, s *chromedp.Target) error {
		type conditions struct {
			Offline  bool    `json:"offline"`
			Latency  float64 `json:"latency"`
			Download float64 `json:"downloadThroughput"`
			Upload   float64 `json:"uploadThroughput"`
		}
		_, err := cdp.Call(ctx, s, cdp.Command[conditions, cdp.Empty]{Method: "Network.emulateNetworkConditions"}, conditions{Download: -1, Upload: perSecond})
		return err
	})
}

// Every screen of the app in every look, from the empty list to the sheet.
func TestAppInEveryLook(t *testing.T) {
	checker := accessibility(t)
	base := serveApp(t)
	dir := t.TempDir()
	upper, lower := scanFile(t, "upper-voids", "Quibbleton Zara 1950-03-04 upper.stl"), scanFile(t, "lower-canted", "lower.stl")
	broken := filepath.Join(dir, "broken-with-a-rather-long-name-as-scanners-write-them-20240331-112233.stl")
	if err := os.WriteFile(broken, []byte("solid nothing\nendsolid\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	p := openApp(t, base, 1300, false)
	p.everyLook(checker, "empty")
	value[any](p, `document.getElementById('drop').classList.add('over'); null`)
	p.everyLook(checker, "over")

	// On its way, refused, and being inspected.
	p.do("slow", slow(200))
	p.do("drop", chromedp.SetUploadFiles(chromedp.CSS("#files"), []string{upper}))
	p.await("the bar", `document.querySelector('#uploads progress') !== null`)
	p.everyLook(checker, "uploading")
	p.do("away", chromedp.Navigate(base), chromedp.WaitReady(chromedp.CSS("#drop")), slow(-1)) // what is half copied makes no case
	p.do("drop", chromedp.SetUploadFiles(chromedp.CSS("#files"), []string{notes(t, dir)}))
	p.await("the refusal", `!document.getElementById('notice').hidden`)
	p.everyLook(checker, "refused")
	p.click("#notice button")
	p.await("the refusal to be closed", `document.getElementById('notice').hidden && document.querySelectorAll('.case').length === 0`)
	p.do("drop", chromedp.SetUploadFiles(chromedp.CSS("#files"), []string{upper, lower, broken}))
	p.await("three cases", `document.querySelectorAll('.case').length === 3`)
	p.everyLook(checker, "list-busy")
	p.do("case", chromedp.Navigate(base+"case/2"))
	p.everyLook(checker, "busy")
	p.do("case", chromedp.Navigate(base+"case/3"))
	p.await("the failure", `document.querySelector('#status')?.dataset.status === 'failed'`)
	p.everyLook(checker, "failed")
	p.do("list", chromedp.Navigate(base))
	p.await("the list", `document.querySelectorAll('.case .badge').length === 2 && [...document.querySelectorAll('.thumb img')].every((i) => i.naturalWidth > 0)`)
	p.everyLook(checker, "list")
	p.do("search", chromedp.SendKeys(chromedp.CSS("#q"), "retake"))
	p.await("no case", `document.querySelectorAll('.case').length === 0`)
	p.everyLook(checker, "search")

	// The result: turned, as pictures, with every panel open, a correction refused.
	for _, l := range looks() {
		p := caseIn(t, base, 1, l)
		p.fits(checker, "result", l)
		p.click(`.row[data-number="1"]`)
		p.click(`[data-mode="pictures"]`)
		p.fits(checker, "pictures", l)
		p.click(`[data-mode="turn"]`)
		value[any](p, `document.querySelectorAll('details').forEach((d) => { d.open = true; }); document.getElementById('turn').scrollIntoView(); null`)
		inner := p.inner() // which draws while it is in the window
		inner.click("[data-view=tissue]")
		inner.await("handles", `document.getElementById('stage').dataset.handles?.includes('hamular')`)
		inner.accessible(checker, "the turned scan "+l.String())
		p.fits(checker, "correct", l)
		for _, key := range []string{"incisive_papilla", "rim-1"} {
			p.click(`li[data-key=` + key + `] .place`)
			inner.await("the cross", `!document.getElementById('cross').hidden`)
			inner.do("enter", chromedp.KeyEvent("\r"))
			p.await("the point", `document.querySelector('li[data-key=`+key+`] [data-said]').textContent.startsWith('placed by you')`)
		}
		p.click("#measure-again")
		p.await("the refusal", `!document.getElementById('notice').hidden`)
		p.fits(checker, "correct-refused", l)
	}
	p.do("case", chromedp.Navigate(base+"case/1"), chromedp.WaitReady(chromedp.CSS("#files")))
	p.do("drop", chromedp.SetUploadFiles(chromedp.CSS("#files"), []string{lower, broken}))
	p.await("all scans", `document.querySelectorAll('.tabs a').length === 3 && document.querySelector('#status')?.dataset.status === 'failed'`)
	p.await("the other jaw", `document.querySelectorAll('.tabs .word.correct').length === 2`)
	for _, l := range looks() {
		caseIn(t, base, 1, l).fits(checker, "three-scans", l)
	}

	// The order, empty, wrong, and with letters that the sheet lacks; what leaves.
	p.do("order", chromedp.Navigate(base+"case/1/order"))
	p.await("the gaps", `document.querySelectorAll('#gaps li').length > 10`)
	p.everyLook(checker, "order")
	for key, text := range map[string]string{"vertical.rest_mm": "6,5", "clinic.name": "漢字 Clinic", "more.notes": "Patient Zara Quibbleton, born 1950-03-04", "order.number": "2024-117"} {
		p.do(key, chromedp.SendKeys(chromedp.CSS(fmt.Sprintf(`[id=%q]`, key)), text))
	}
	p.await("the error", `document.getElementById('err-vertical.rest_mm').textContent.includes('not between') && !document.getElementById('unset').hidden`)
	p.click("#save")
	p.await("the refusal", `document.getElementById('saved').textContent.startsWith('Not saved')`)
	p.everyLook(checker, "order-wrong")
	value[any](p, `document.getElementById('vertical.rest_mm').value = ''; null`)
	p.click("#save")
	p.await("saved", `document.getElementById('saved').textContent === 'Saved.'`)
	p.do("case", chromedp.Navigate(base+"case/1"))
	p.await("the frame", `document.getElementById('turn')?.dataset.ready === 'yes'`)
	photo := filepath.Join(dir, "photo.png")
	f, err := os.Create(photo)
	if err == nil {
		err = png.Encode(f, image.NewGray(image.Rect(0, 0, 320, 240)))
		f.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	p.do("photograph", chromedp.SetUploadFiles(chromedp.CSS("#photo"), []string{photo}))
	p.await("the photograph", `(document.querySelector('.photos')?.scrollIntoView(), document.querySelector('.photos img')?.naturalWidth === 320)`)
	p.click("#sheet")
	p.await("the sheet", `document.getElementById('open-sheet') !== null`)
	for _, l := range looks() {
		p := caseIn(t, base, 1, l)
		value[any](p, `document.querySelectorAll('#leave details').forEach((d) => { d.open = true; }); null`)
		p.fits(checker, "leave", l)
	}

	p.do("no such case", chromedp.Navigate(base+"case/99"), chromedp.WaitReady(chromedp.CSS("#main h1")))
	p.everyLook(checker, "gone")
	p.mu.Lock()
	p.said = nil // the browser tells that there is no such page
	p.mu.Unlock()
}

func notes(t *testing.T, dir string) string {
	t.Helper()
	path := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(path, []byte(strings.Repeat("x", 10)), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// The page that travels with the case, and that of both jaws, in every look, with their tools open.
func TestPagesInEveryLook(t *testing.T) {
	checker := accessibility(t)
	single, both := faultyPage(t), pairPage(t)
	for name, file := range map[string]string{"page": single.file, "pair": both.file} {
		p := openPage(t, file, 1300, 900, false)
		p.everyLook(checker, name)
		if n := value[int](p, `[...document.images].filter((i) => i.naturalWidth > 1000 && i.alt.length > 20).length`); n != 2 {
			t.Errorf("%s: %d pictures with words for those who do not see them", name, n)
		}
		p.click("#cut")
		p.click("#measure")
		_, _, w, h := p.box("#stage")
		p.press("#stage", w/2-60, h/2-20)
		p.press("#stage", w/2+60, h/2-20)
		value[any](p, `document.querySelectorAll('[data-layer]').forEach((b) => b.checked || b.click())`)
		p.settle()
		for _, l := range looks() {
			p.as(l)
			p.fits(checker, name+"-tools", l)
			apart(t, p, name+" "+l.String()) // the length that was measured among them
		}
	}
}

// A picture that shows all of a scan goes on to do so in a window of another size, as when a phone is
// turned; one that was brought nearer stays as near.
func TestPageFitsAnotherWindow(t *testing.T) {
	s := pairPage(t)
	wide, narrow := look{1300, false}, look{390, false}
	fresh := openPage(t, s.file, narrow.width, 900, false)
	at, want := fresh.stage()
	p := openPage(t, s.file, wide.width, 900, false)
	_, first := p.stage()
	p.as(narrow)
	if c, half := p.stage(); math.Abs(half-want) > 0.01 || c != at || math.Abs(first-want) < 1 {
		t.Errorf("made narrow, the picture shows %.2f mm and not %.2f; wide %.2f", half, want, first)
	}
	p.as(wide)
	if _, half := p.stage(); math.Abs(half-first) > 0.01 {
		t.Errorf("made wide again, the picture shows %.2f mm and not %.2f", half, first)
	}
	p.click("#closer")
	_, near := p.stage()
	p.as(narrow)
	if _, half := p.stage(); near > 0.9*first || half != near {
		t.Errorf("brought nearer to %.2f mm, it shows %.2f in another window", near, half)
	}
}
