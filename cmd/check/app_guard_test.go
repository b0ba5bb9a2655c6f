package main

import (
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// A page of another site, in a real browser that has the app open too, reads nothing of it, embeds
// nothing of it and changes nothing in it.
func TestAppRefusesAForeignPage(t *testing.T) {
	base := serveApp(t)
	file := scanFile(t, "lower-canted", "lower.stl")
	p := openApp(t, base, 1300, false)
	p.drop(file)
	foe := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprintf(w, `<!doctype html><title>foe</title><link rel="icon" href="data:,"><img id="img" src="%[1]scase/1/scan/1/tissue.png"><iframe id="frame" src="%[1]s"></iframe><iframe id="page" src="%[1]scase/1/scan/1/report.html"></iframe>`, base)
	}))
	defer foe.Close()
	q := openTab(t, foe.URL, "http", "#img", 800, 600, false)
	q.await("what the page embeds", `document.readyState === 'complete' && document.getElementById('img').complete`)
	for what, script := range map[string]string{
		"a page":         `fetch(B).then((r) => r.text())`,
		"a report":       `fetch(B + 'case/1/scan/1/report.json', {credentials: 'include'}).then((r) => r.text())`,
		"a page unread":  `fetch(B, {mode: 'no-cors'}).then((r) => { throw r.type; })`,
		"with the token": `fetch(B + 'case/1/remove', {method: 'POST', headers: {'X-Fornix-Token': 'x'}, body: '{}'}).then((r) => r.text())`,
		"events":         `new Promise((done, fail) => { const e = new EventSource(B + 'events'); e.addEventListener('hello', done); e.onerror = fail; })`,
	} {
		got := value[string](q, `(() => { const B = '`+base+`'; return `+script+`.then(() => 'came', () => 'refused'); })()`)
		if got != "refused" {
			t.Errorf("%s: %s", what, got)
		}
	}
	// A form needs no leave to be sent; it is refused there.
	value[any](q, `fetch('`+base+`case/1/remove', {method: 'POST', mode: 'no-cors', body: '{}'}).catch(() => null).then(() => null)`)
	value[any](q, `fetch('`+base+`scan?name=foe.stl', {method: 'POST', mode: 'no-cors', body: 'solid x'}).catch(() => null).then(() => null)`)
	if w := value[float64](q, `document.getElementById('img').naturalWidth`); w != 0 {
		t.Errorf("a picture of the app shows on another site, %g wide", w)
	}
	w, err := http.Get(base)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	text, err := io.ReadAll(w.Body)
	if err != nil || strings.Count(string(text), `href="/case/`) != 1 || !strings.Contains(string(text), `href="/case/1"`) {
		t.Errorf("after the visit the cases are others: %v", err)
	}
	q.mu.Lock()
	refused := len(q.said)
	q.said = nil // the browser tells of each refusal, as it should
	q.mu.Unlock()
	if refused < 5 {
		t.Errorf("the browser tells of %d refusals only", refused)
	}
	// The app itself is as it was, in its own tab.
	p.click(`.row[data-number="1"]`)
}
