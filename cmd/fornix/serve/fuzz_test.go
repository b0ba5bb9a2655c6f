package serve

import (
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
)

// FuzzPaths: no path, method, query or body makes the server panic, answer with a fault of its own,
// or serve a file that is none of a case's results.
func FuzzPaths(f *testing.F) {
	for _, path := range []string{
		"/", "/case/1", "/case/1/scan/1/report.json", "/case/1/scan/1/tissue.png", "/case/0001/scan/01/..%2f..%2fstate.toml", "/static/app.js",
		"/static/..%2fpages", "/scan?name=a.ply", "/case/1/scan?name=%2e%2e", "/case/1/package", "/case/1/sheet.pdf", "/case/99999999999/", "/events",
	} {
		f.Add(byte(0), path, "")
		f.Add(byte(1), path, "{\"jaw\": \"upper\"}")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		f.Fatal(err)
	}
	defer l.Close()
	store, err := OpenStore(f.TempDir())
	if err != nil {
		f.Fatal(err)
	}
	defer store.Close()
	store.disk.loose = true
	s, err := New(store, pretend(), l, Options{MaxUpload: 1 << 16})
	if err != nil {
		f.Fatal(err)
	}
	one := func() (n int) { // one case, whatever was done before
		for _, c := range store.List() {
			if n = c.N; n > 1 && store.Remove(n) != nil {
				return 0
			}
		}
		if n != 1 {
			n, _, err = store.Receive(strings.NewReader("good"), "a.stl", ByHand, 0)
		}
		return n
	}
	one()
	f.Fuzz(func(t *testing.T, method byte, path, body string) {
		defer one()
		u, err := url.ParseRequestURI(path)
		if err != nil || u.Host != "" || strings.HasPrefix(u.Path, "/events") {
			return
		}
		r := httptest.NewRequest([]string{"GET", "POST", "HEAD", "PUT", "DELETE", "OPTIONS"}[method%6], "http://"+l.Addr().String()+"/", strings.NewReader(body))
		r.URL.Path, r.URL.RawPath, r.URL.RawQuery, r.RequestURI = u.Path, u.RawPath, u.RawQuery, path
		r.Header.Set(tokenHeader, s.post)
		w := httptest.NewRecorder()
		s.http.Handler.ServeHTTP(w, r)
		if w.Code >= 500 && w.Code != http.StatusServiceUnavailable {
			t.Errorf("%s %q: %d %s", r.Method, path, w.Code, w.Body)
		}
		if text := w.Body.String(); strings.Contains(text, stateSchema) {
			t.Errorf("%s %q serves the state", r.Method, path)
		}
	})
}
