package main

import (
	"archive/zip"
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/chromedp"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
)

// The local app, driven in a real browser as people do: the program itself is built and started.

var program = sync.OnceValues(func() (string, error) {
	bin := filepath.Join(pagesDir, "fornix-app")
	out, err := exec.Command("go", "build", "-o", bin, "fornix/cmd/fornix").CombinedOutput()
	if err != nil {
		err = fmt.Errorf("%s: %w", out, err)
	}
	return bin, err
})

// serveApp starts the app with an empty folder and returns its address.
func serveApp(t *testing.T, args ...string) string {
	t.Helper()
	if _, found := chromium(); !found {
		t.Skip("no Chromium: go run ./cmd/check installs it on Debian")
	}
	bin, err := program()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(bin, append([]string{"serve", "--dir", filepath.Join(t.TempDir(), "cases"), "--no-browser", "--listen", "127.0.0.1:0"}, args...)...)
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var stderr bytes.Buffer
	c.Stderr = &stderr
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		c.Process.Signal(os.Interrupt)
		if err := c.Wait(); err != nil || stderr.Len() > 0 {
			t.Errorf("the program ended with %v\n%s", err, &stderr)
		}
	})
	line, err := bufio.NewReader(out).ReadString('\n')
	base, found := strings.CutPrefix(strings.TrimSpace(line), "Open ")
	if err != nil || !found {
		t.Fatalf("%q: %v", line, err)
	}
	return base
}

// scanFile writes a phantom to a file.
func scanFile(t *testing.T, name, file string) string {
	t.Helper()
	p, found := phantom.Named(name)
	if !found {
		t.Fatalf("no phantom %s", name)
	}
	p.Spacing = 0.55
	made, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, made.Mesh, "scan"); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), file)
	if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func openApp(t *testing.T, base string, width int64, dark bool) *tab {
	t.Helper()
	return openTab(t, base, base, "#drop", width, 900, dark)
}

// await waits until an expression is true.
func (p *tab) await(what, expression string) {
	p.t.Helper()
	for end := time.Now().Add(90 * time.Second); ; time.Sleep(50 * time.Millisecond) {
		if ok, err := chromedp.Run(p.ctx, chromedp.Evaluate[bool](expression)); err == nil && ok { // in the midst of a change of page it fails
			return
		}
		if time.Now().After(end) {
			p.shot("in-vain", true)
			p.t.Fatalf("waited in vain for %s\n%s", what, value[string](p, `document.body.innerText`))
		}
	}
}

// drop gives files to the page and waits until the last one is inspected with all its pictures.
func (p *tab) drop(files ...string) {
	p.t.Helper()
	p.do("drop", chromedp.SetUploadFiles(chromedp.CSS("#files"), files))
	p.await("the result", `location.pathname.startsWith('/case/') && document.querySelector('#status')?.dataset.status === 'done' && document.getElementById('turn')?.dataset.ready === 'yes'`)
}

// inner is the frame in which the scan is turned, as a page of its own.
func (p *tab) inner() *tab {
	p.t.Helper()
	infos, err := chromedp.Targets(p.ctx)
	if err != nil {
		p.t.Fatal(err)
	}
	for _, i := range infos {
		if i.Type == "iframe" && strings.Contains(i.URL, "report.html") {
			q := &tab{t: p.t, from: p.from}
			ctx, cancel := chromedp.NewContext(p.ctx, chromedp.WithTargetID(i.TargetID), chromedp.WithListener(q.hear))
			p.t.Cleanup(cancel)
			q.ctx = ctx
			q.watch()
			return q
		}
	}
	p.t.Fatal("the scan has no frame of its own")
	return nil
}

// report is that of a scan as the app serves it.
func appReport(t *testing.T, address string) (rep inspect.Report) {
	t.Helper()
	w, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	if err := json.NewDecoder(w.Body).Decode(&rep); err != nil {
		t.Fatal(err)
	}
	return rep
}

// A scan is dropped and each planted fault found by its row, on a wide window and on a narrow one.
func TestAppFindsEachFault(t *testing.T) {
	base := serveApp(t)
	file := scanFile(t, "upper-voids", "upper.stl")
	for n, width := range []int64{1300, 390} {
		p := openApp(t, base, width, n == 1)
		p.shot(fmt.Sprintf("app-list-%d", width), true)
		p.drop(file)
		rep := appReport(t, fmt.Sprintf("%scase/%d/scan/1/report.json", base, n+1))
		inner := p.inner()
		middle := value[[]float64](inner, `JSON.parse(document.getElementById('data').textContent).middle`)
		seen := 0
		for _, f := range rep.Findings {
			at, plane := place(&rep, f)
			if f.Number == 0 || len(at) == 0 || plane {
				continue
			}
			p.click(fmt.Sprintf(`.row[data-number="%d"]`, f.Number))
			far := math.Inf(1)
			for end := time.Now().Add(10 * time.Second); far > f.Where.RadiusMM+1.5 && time.Now().Before(end); inner.settle() {
				c, _ := inner.stage()
				far = math.Inf(1)
				for _, q := range at {
					far = min(far, q.Dist(mesh.Vec{X: middle[0] + c[0], Y: middle[1] + c[1], Z: middle[2] + c[2]}))
				}
			}
			if far > f.Where.RadiusMM+1.5 {
				t.Errorf("%d wide: finding %d: the view is %.1f mm from its place", width, f.Number, far)
			}
			if y := value[[]float64](p, `(() => { const b = document.getElementById('turn').getBoundingClientRect(); return [b.top, b.bottom]; })()`); y[0] < -100 || y[0] > 600 {
				t.Errorf("%d wide: finding %d: the view is out of the window: %v", width, f.Number, y)
			}
			seen++
		}
		if seen < 3 {
			t.Errorf("only %d findings with a place", seen)
		}
		if w := value[float64](p, `document.documentElement.scrollWidth`); w > float64(width) {
			t.Errorf("the page is %g wide in a window of %d", w, width)
		}
		p.click(`.row[data-number="1"]`)
		inner.settle()
		p.shot(fmt.Sprintf("app-finding-%d", width), false)
		// The pictures do the same where nothing is turned.
		p.click(`[data-mode="pictures"]`)
		p.click(`.row[data-number="2"]`)
		p.await("the picture", `document.getElementById('shot').src.includes('finding-2.png') && document.getElementById('shot').naturalWidth > 0`)
	}
	p := openApp(t, base, 1300, false)
	p.await("both cases", `document.querySelectorAll('.case .badge').length === 2 && [...document.querySelectorAll('.thumb img')].every((i) => i.naturalWidth > 0)`)
	p.do("search", chromedp.SendKeys(chromedp.CSS("#q"), "upper retake"))
	p.await("no case", `document.querySelectorAll('.case').length === 0`)
	p.shot("app-search", true)
}

// A landmark is dragged on the scan, and the numbers that hang on it follow.
func TestAppCorrectsALandmark(t *testing.T) {
	base := serveApp(t)
	p := openApp(t, base, 1300, false)
	p.drop(scanFile(t, "upper-voids", "upper.stl"))
	before := appReport(t, base+"case/1/scan/1/report.json")
	rowsBefore := value[string](p, `document.querySelector('.measured').innerText`)
	p.click("#correct summary")
	inner := p.inner()
	inner.await("handles", `document.getElementById('stage').dataset.handles?.includes('hamular_notch_left')`)
	apart(t, inner, "landmarks to be dragged")
	px := func() (x, y float64) {
		t.Helper()
		for h := range strings.SplitSeq(value[string](inner, `document.getElementById('stage').dataset.handles`), ";") {
			if name, at, _ := strings.Cut(h, " "); name == inspect.HamularNotchLeft {
				fmt.Sscan(at, &x, &y)
				return x, y
			}
		}
		t.Fatal("the landmark is not seen")
		return 0, 0
	}
	// From above, up in the picture is the front: 20 pixels forward.
	x, y := px()
	at := value[[]float64](inner, `(() => { const e = document.getElementById('stage'), b = e.getBoundingClientRect(); return [b.x + e.clientLeft, b.y + e.clientTop]; })()`)
	p.drag("#turn", at[0]+x, at[1]+y, at[0]+x, at[1]+y-20)
	p.await("the landmark to be moved", `document.querySelector('li[data-key=hamular_notch_left] [data-said]').textContent.startsWith('placed by you')`)
	if _, moved := px(); math.Abs(y-20-moved) > 3 {
		t.Errorf("dragged by 20 pixels, the landmark moved by %.1f", y-moved)
	}
	p.shot("app-correct", false)
	p.click("#measure-again")
	p.await("new results", `document.getElementById('turn')?.src.includes('scan-1-r2') && document.getElementById('turn').dataset.ready === 'yes'`)
	after := appReport(t, base+"case/1/scan/1/report.json")
	a, b := before.Landmarks[inspect.HamularNotchLeft], after.Landmarks[inspect.HamularNotchLeft]
	forward := a.Point.Sub(b.Point).Dot(before.Frame.Posterior)
	if b.Source != "given" || forward < 0.5 {
		t.Errorf("the landmark is %s, %.2f mm farther in front", b.Source, forward)
	}
	was, is := before.Posterior.Left, after.Posterior.Left
	if was == nil || is == nil || is.ExtensionMM == nil || math.Abs(*is.ExtensionMM-*was.ExtensionMM-forward) > 0.05 {
		t.Errorf("the notch went forward by %.2f mm, and the extension from %+v to %+v", forward, was, is)
	}
	if rows := value[string](p, `document.querySelector('.measured').innerText`); rows == rowsBefore {
		t.Error("the numbers on the page are the old ones")
	}
	// One that is chosen and clicked, by keyboard alone: the cross is in the middle of the view.
	p.await("the panel", `document.getElementById('correct').open`)
	inner = p.inner()
	p.do("place", chromedp.Focus(chromedp.CSS(`li[data-key=incisive_papilla] .place`)), chromedp.KeyEvent("\r"))
	inner.await("the cross", `document.getElementById('stage') === document.activeElement && !document.getElementById('cross').hidden`)
	inner.do("enter", chromedp.KeyEvent("\r"))
	p.await("the papilla to be placed", `document.querySelector('li[data-key=incisive_papilla] [data-said]').textContent.startsWith('placed by you')`)
	p.click(`li[data-key=hamular_notch_left] .back`)
	p.click("#forget")
	p.await("all as found", `document.getElementById('turn')?.src.includes('scan-1-r3') && document.getElementById('turn').dataset.ready === 'yes'`)
	if again := appReport(t, base+"case/1/scan/1/report.json"); again.Landmarks[inspect.HamularNotchLeft] != a {
		t.Error("all as found, and the landmark is another")
	}
	placeRim(t, p, base)
}

// The order is filled in, the package downloaded, and its page opened from the disk with no network.
func TestAppFillsTheOrderAndPacks(t *testing.T) {
	base := serveApp(t)
	p := openApp(t, base, 1300, false)
	p.drop(scanFile(t, "upper-voids", "Quibbleton Zara upper.stl"), scanFile(t, "lower-canted", "lower.stl"))
	p.await("both scans", `document.querySelectorAll('.tabs a .word.correct').length === 2`)
	p.do("order", chromedp.Navigate(base+"case/1/order"))
	p.await("the gaps", `document.querySelectorAll('#gaps li').length > 10`)
	p.shot("app-order", true)
	set := func(key, text string) {
		t.Helper()
		p.do(key, chromedp.SendKeys(chromedp.CSS(fmt.Sprintf(`[id=%q]`, key)), text))
	}
	set("vertical.rest_mm", "6,5")
	p.await("the error", `document.getElementById('err-vertical.rest_mm').textContent.includes('not between 20 and 150')`)
	p.click("#save")
	p.await("the refusal", `document.getElementById('saved').textContent.startsWith('Not saved') && document.activeElement.id === 'vertical.rest_mm'`)
	p.shot("app-order-wrong", false)
	value[any](p, `document.getElementById('vertical.rest_mm').value = ''; null`)
	for key, text := range map[string]string{
		"order.number": "2024-117", "clinic.name": "Clinic", "clinic.address": "1 Street", "clinic.clinician": "N. N.", "laboratory.name": "Laboratory",
		"laboratory.address": "2 Street", "impression.material": "silicone", "impression.border_material": "compound", "impression.disinfection": "10 minutes",
		"impression.posterior_seal": "none", "signature.by": "N. N.",
	} {
		set(key, text)
	}
	value[any](p, `for (const id of ['order.date', 'order.wanted', 'signature.on']) document.getElementById(id).value = '2024-03-31'; document.getElementById('order').dispatchEvent(new Event('input')); null`)
	p.await("nothing missing", `document.getElementById('sum').textContent.startsWith('Nothing is missing')`)
	p.click("#save")
	p.await("saved", `document.getElementById('saved').textContent === 'Saved.'`)
	p.do("case", chromedp.Navigate(base+"case/1"))
	p.await("the case", `document.querySelector('h1').textContent === 'Case 2024-117' && document.getElementById('leave').textContent.includes('Nothing is missing')`)
	p.click("#sheet")
	p.await("the sheet", `document.getElementById('open-sheet') !== null`)
	p.shot("app-leave", true)

	dir := t.TempDir()
	p.do("download", chromedp.Func(func(ctx context.Context, s *chromedp.Target) error {
		_, err := cdp.Call(ctx, s, browser.SetDownloadBehavior, browser.SetDownloadBehaviorParams{Behavior: browser.SetDownloadBehaviorBehaviorAllow, DownloadPath: dir})
		return err
	}))
	value[any](p, `document.getElementById('package').click(); null`)
	file := filepath.Join(dir, "2024-117-package.zip")
	for end := time.Now().Add(time.Minute); ; time.Sleep(50 * time.Millisecond) {
		if _, err := os.Stat(file); err == nil {
			break
		}
		if time.Now().After(end) {
			t.Fatal("no package came")
		}
	}
	names := unpackTo(t, file, dir)
	for _, want := range []string{"2024-117-sheet.pdf", "2024-117-order.toml", "2024-117-upper.stl", "2024-117-lower.stl", "2024-117-upper/report.json", "2024-117-lower/report.html", "2024-117-hashes.txt"} {
		if !slices.Contains(names, want) {
			t.Errorf("the package has no %s: %q", want, names)
		}
	}
	q := openPage(t, filepath.Join(dir, "2024-117-upper", "report.html"), 390, 844, false)
	q.click("button.finding")
}

// Every page of the app, light and dark, wide and narrow, with its panels open.
func TestAppIsAccessible(t *testing.T) {
	checker := accessibility(t)
	base := serveApp(t)
	p := openApp(t, base, 1300, false)
	p.drop(scanFile(t, "lower-canted", "Quibbleton lower.stl"))
	for _, look := range []struct {
		width int64
		dark  bool
	}{{1300, false}, {390, true}} {
		for _, path := range []string{"", "case/1", "case/1/order"} {
			p := openTab(t, base+path, base, "#main", look.width, 900, look.dark)
			if path == "case/1" {
				p.await("the frame", `document.getElementById('turn').dataset.ready === 'yes'`)
				value[any](p, `document.querySelectorAll('details').forEach((d) => { d.open = true; }); null`)
			}
			if path == "case/1/order" {
				p.await("the gaps", `document.querySelectorAll('#gaps li').length > 10`)
			}
			p.settle()
			name := strings.ReplaceAll(path, "/", "-")
			p.shot(fmt.Sprintf("app-all-%s-%d", name, look.width), true)
			p.accessible(checker, fmt.Sprintf("%q, %d wide", path, look.width))
			if w := value[float64](p, `document.documentElement.scrollWidth`); w > float64(look.width) {
				t.Errorf("%q is %g wide in a window of %d", path, w, look.width)
			}
		}
	}
}

// unpackTo unpacks a package and returns the names of its files.
func unpackTo(t *testing.T, file, dir string) (names []string) {
	t.Helper()
	z, err := zip.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		to := filepath.Join(dir, filepath.FromSlash(f.Name))
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(to, text, 0o644); err != nil {
			t.Fatal(err)
		}
		names = append(names, f.Name)
		if strings.Contains(strings.ToLower(string(text)), "quibbleton") {
			t.Errorf("%s names a person", f.Name)
		}
	}
	return names
}
