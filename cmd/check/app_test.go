package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

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
		if width == 390 {
			p.click(`[data-mode="turn"]`)
			dragNotch(t, p, fmt.Sprintf("%scase/%d/", base, n+1))
		}
	}
	p := openApp(t, base, 1300, false)
	p.await("both cases", `document.querySelectorAll('.case .badge').length === 2 && [...document.querySelectorAll('.thumb img')].every((i) => i.naturalWidth > 0)`)
	p.do("search", chromedp.SendKeys(chromedp.CSS("#q"), "upper retake"))
	p.await("no case", `document.querySelectorAll('.case').length === 0`)
	p.shot("app-search", true)
}
