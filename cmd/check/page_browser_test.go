package main

import (
	"context"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// shots is where pictures of the pages go that tests open, to be looked at.
var shots = flag.String("shots", "", "directory for screenshots of the page")

// tab is a page in a real browser. Whatever goes wrong in it, and every request for what does not
// begin with from, fails the test.
type tab struct {
	t    *testing.T
	ctx  context.Context
	from string

	mu   sync.Mutex
	said []string // errors on the console, and requests for anything but the page itself
}

// openPage opens a file in headless Chromium, with no network, and waits until the scan is drawn.
func openPage(t *testing.T, file string, width, height int64, dark bool) *tab {
	t.Helper()
	return openTab(t, "file://"+file, "file://", "html.drawn", width, height, dark)
}

// openTab opens an address in headless Chromium and waits until something is there. It skips the test
// where there is no Chromium.
func openTab(t *testing.T, address, from, ready string, width, height int64, dark bool) *tab {
	t.Helper()
	path, found := chromium()
	if !found {
		t.Skip("no Chromium: go run ./cmd/check installs it on Debian")
	}
	ctx, cancel := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.Flag("enable-unsafe-swiftshader", true))...)
	t.Cleanup(cancel)
	p := &tab{t: t, from: from}
	ctx, cancel = chromedp.NewContext(ctx, chromedp.WithListener(p.hear))
	t.Cleanup(cancel)
	ctx, cancel = context.WithTimeout(ctx, 5*time.Minute)
	t.Cleanup(cancel)
	p.ctx = ctx
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	p.do("open", chromedp.Func(func(ctx context.Context, s *chromedp.Target) error {
		if _, err := cdp.Call(ctx, s, network.Enable, network.EnableParams{}); err != nil {
			return err
		}
		if from == "file://" {
			if err := offline(ctx, s); err != nil {
				return err
			}
		}
		_, err := cdp.Call(ctx, s, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
			{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}})
		return err
	}), chromedp.EmulateViewport(width, height), chromedp.Navigate(address), chromedp.WaitReady(chromedp.CSS(ready)))
	p.watch()
	return p
}

// offline switches the browser's network off. The parameters are those of the Chrome
// DevTools Protocol (Network.emulateNetworkConditions); throughputs of -1 bound nothing.
func offline(ctx context.Context, s *chromedp.Target) error {
	type conditions struct {
		Offline  bool    `json:"offline"`
		Latency  float64 `json:"latency"`
		Download float64 `json:"downloadThroughput"`
		Upload   float64 `json:"uploadThroughput"`
	}
	_, err := cdp.Call(ctx, s, cdp.Command[conditions, cdp.Empty]{Method: "Network.emulateNetworkConditions"}, conditions{Offline: true, Download: -1, Upload: -1})
	return err
}

// watch fails the test at its end where something went wrong.
func (p *tab) watch() {
	t := p.t
	t.Cleanup(func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		for _, s := range p.said {
			t.Error(s)
		}
	})
}

// hear notes what must not happen.
func (p *tab) hear(ev any) {
	said := ""
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		said = "exception: " + e.ExceptionDetails.Text
		if e.ExceptionDetails.Exception != nil {
			said += " " + e.ExceptionDetails.Exception.Description
		}
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError {
			said = fmt.Sprintf("console: %v", e.Args)
		}
	case *log.EventEntryAdded:
		// The tools that drive the browser read each frame's source again, which a sandbox refuses them.
		ours := strings.HasPrefix(e.Entry.Text, "Unsafe attempt to load URL "+p.from) && e.Entry.Source == log.EntrySourceSecurity
		if e.Entry.Level == log.EntryLevelError && !ours {
			said = "log: " + e.Entry.Text
		}
	case *network.EventRequestWillBeSent:
		if u := e.Request.URL; !strings.HasPrefix(u, p.from) && !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, "blob:") {
			said = "request: " + u
		}
	}
	if said != "" {
		p.mu.Lock()
		p.said = append(p.said, said)
		p.mu.Unlock()
	}
}

func (p *tab) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.ctx, steps...); err != nil {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.t.Fatalf("%s: %v\n%s", what, err, strings.Join(p.said, "\n"))
	}
}

func (p *tab) click(css string) {
	p.t.Helper()
	p.do("click "+css, chromedp.Click(chromedp.CSS(css)))
	p.settle()
}

// settle waits for the next picture.
func (p *tab) settle() {
	p.t.Helper()
	value[bool](p, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => requestAnimationFrame(() => done(true)))))`)
}

// value returns the value of an expression.
func value[T any](p *tab, expression string) T {
	p.t.Helper()
	v, err := chromedp.Run(p.ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	if err != nil {
		p.t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// stage returns where the middle of the view is, mm, and half its smaller side.
func (p *tab) stage() (centre [3]float64, half float64) {
	p.t.Helper()
	s := value[string](p, `document.getElementById('stage').dataset.centre + ' ' + document.getElementById('stage').dataset.half`)
	if _, err := fmt.Sscan(s, &centre[0], &centre[1], &centre[2], &half); err != nil {
		p.t.Fatalf("%q: %v", s, err)
	}
	return centre, half
}

// box brings an element into the window and returns where it is. A press that follows at once would go to where
// a frame with a process of its own was before.
func (p *tab) box(css string) (x, y, w, h float64) {
	p.t.Helper()
	defer p.settle()
	b := value[[]float64](p, `(() => { const e = document.querySelector('`+css+`'); e.scrollIntoView({block: 'center'}); const b = e.getBoundingClientRect(); return [b.x + e.clientLeft, b.y + e.clientTop, e.clientWidth, e.clientHeight]; })()`)
	return b[0], b[1], b[2], b[3]
}

// drag presses at one place of an element, moves in steps to another, and lets go.
func (p *tab) drag(css string, x0, y0, x1, y1 float64) {
	p.t.Helper()
	bx, by, _, _ := p.box(css)
	left := chromedp.ButtonType(input.MouseButtonLeft)
	held := func(q *input.DispatchMouseEventParams) { q.Buttons = 1 }
	steps := []chromedp.Action[chromedp.Void]{chromedp.MouseEvent(input.DispatchMouseEventTypeMousePressed, bx+x0, by+y0, left, chromedp.ClickCount(1))}
	for k := 1.0; k <= 8; k++ {
		steps = append(steps, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseMoved, bx+x0+k/8*(x1-x0), by+y0+k/8*(y1-y0), left, held))
	}
	p.do("drag "+css, append(steps, chromedp.MouseEvent(input.DispatchMouseEventTypeMouseReleased, bx+x1, by+y1, left, chromedp.ClickCount(1)))...)
	p.settle()
}

// enter gives an element the focus and presses Enter. It is found and focused in one, since what is told anew
// takes the place of what was there.
func (p *tab) enter(css string) {
	p.t.Helper()
	value[any](p, "document.querySelector('"+css+"').focus()")
	p.do("enter", chromedp.KeyEvent("\r"))
}

// press clicks at a place of an element.
func (p *tab) press(css string, x, y float64) {
	p.t.Helper()
	bx, by, _, _ := p.box(css)
	p.do("press "+css, chromedp.MouseClickXY(bx+x, by+y))
	p.settle()
}

// shot keeps a picture of the page where -shots asks for it: the window, or all of the page.
func (p *tab) shot(name string, whole bool) {
	p.t.Helper()
	if *shots == "" {
		return
	}
	take := chromedp.CaptureScreenshot()
	if whole {
		take = chromedp.FullScreenshot(100)
	}
	png, err := chromedp.Run(p.ctx, take)
	if err == nil {
		err = os.WriteFile(filepath.Join(*shots, name+".png"), png, 0o644)
	}
	if err != nil {
		p.t.Error(err)
	}
}

// paper returns the page as it prints.
func (p *tab) paper() []byte {
	p.t.Helper()
	out, err := chromedp.Run(p.ctx, func(ctx context.Context, s *chromedp.Target) ([]byte, error) {
		r, err := cdp.Call(ctx, s, page.PrintToPDF, page.PrintToPDFParams{})
		return r.Data, err
	})
	if err != nil {
		p.t.Fatal(err)
	}
	return out
}
