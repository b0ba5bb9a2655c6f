package serve

import (
	"bytes"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"
)

// A page of another site whose name points to this machine calls by that name: DNS rebinding.
func TestOnlyItsOwnNamesAreAnswered(t *testing.T) {
	s := start(t, pretend(), Options{})
	_, port, _ := net.SplitHostPort(strings.TrimPrefix(s.base, "http://"))
	for host, want := range map[string]int{
		"127.0.0.1:" + port: 200, "localhost:" + port: 200, "LOCALHOST:" + port: 200,
		"evil.example:" + port: 421, "127.0.0.1.evil.example:" + port: 421, "localhost.evil.example:" + port: 421,
		"127.0.0.1:1": 421, "127.0.0.1": 421, "10.0.0.1:" + port: 421, "": 400, "[::1]:" + port: 421, "0.0.0.0:" + port: 421, "127.1:" + port: 421,
	} {
		var got int
		if host == "" {
			got = raw(t, s, "GET / HTTP/1.1\r\nHost:\r\n\r\n")
			if got == 421 {
				got = 400 // either way it is not answered
			}
		} else {
			w, _ := s.ask("GET", "/", nil, func(r *http.Request) { r.Host = host })
			got = w.StatusCode
		}
		if got != want {
			t.Errorf("Host %q: %d, want %d", host, got, want)
		}
	}
}

// raw sends bytes and returns the status of the answer.
func raw(t *testing.T, s *served, text string) (code int) {
	t.Helper()
	c, err := net.Dial("tcp", strings.TrimPrefix(s.base, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	io.WriteString(c, text)
	c.SetReadDeadline(time.Now().Add(5 * time.Second))
	fmt.Fscanf(c, "HTTP/1.1 %d", &code)
	return code
}

func TestHostsOfOtherListeners(t *testing.T) {
	for _, c := range []struct {
		addr, host string
		loopback   bool
		want       bool
	}{
		{"[::1]:80", "[::1]", true, true}, {"[::1]:80", "localhost", true, true}, {"[::1]:8080", "[::1]", true, false},
		{"0.0.0.0:7373", "192.0.2.7:7373", false, true}, {"0.0.0.0:7373", "clinic.example:7373", false, false},
		{"192.0.2.7:7373", "192.0.2.7:7373", false, true}, {"192.0.2.7:7373", "192.0.2.8:7373", false, false},
		{"192.0.2.7:7373", "localhost:7373", false, false}, {"[::]:7373", "[2001:db8::1]:7373", false, true}, {"[::]:7373", "192.0.2.7:7373", false, true},
	} {
		a, err := net.ResolveTCPAddr("tcp", c.addr)
		if err != nil {
			t.Fatal(err)
		}
		h, err := hostsOf(a)
		if err != nil || h.loopback != c.loopback || h.allows(c.host) != c.want {
			t.Errorf("%s called %s: %+v %v", c.addr, c.host, h, err)
		}
	}
}

func TestChangesNeedTheTokenAndTheSameOrigin(t *testing.T) {
	s := start(t, pretend(), Options{})
	send := func(change func(*http.Request)) int {
		w, _ := s.ask("POST", "/scan?name=a.stl", strings.NewReader("good"), change)
		return w.StatusCode
	}
	for name, change := range map[string]func(*http.Request){
		"no token":      func(r *http.Request) { r.Header.Del(tokenHeader) },
		"empty token":   func(r *http.Request) { r.Header.Set(tokenHeader, "") },
		"wrong token":   func(r *http.Request) { r.Header.Set(tokenHeader, s.post[1:]+"A") },
		"other origin":  func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") },
		"other port":    func(r *http.Request) { r.Header.Set("Origin", "http://127.0.0.1:1") },
		"null origin":   func(r *http.Request) { r.Header.Set("Origin", "null") },
		"cross-site":    func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "cross-site") },
		"same-site":     func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") },
		"form of a foe": func(r *http.Request) { r.Header.Del(tokenHeader); r.Header.Set("Content-Type", "text/plain") },
	} {
		if got := send(change); got != 403 {
			t.Errorf("%s: %d", name, got)
		}
	}
	for _, path := range []string{"/case/1/scan", "/case/1/photo", "/case/1/photo/photo-1.jpg/remove", "/case/1/scan/1/given", "/case/1/scan/1/remove", "/case/1/order", "/case/1/order/check", "/case/1/sheet", "/case/1/remove"} {
		if w, _ := s.ask("POST", path, strings.NewReader("{}"), func(r *http.Request) { r.Header.Del(tokenHeader) }); w.StatusCode != 403 {
			t.Errorf("%s without the token: %s", path, w.Status)
		}
	}
	// What a browser asks before another site's page may send the token's header is not granted.
	w, _ := s.ask("OPTIONS", "/scan", nil, func(r *http.Request) {
		r.Header.Set("Origin", "http://evil.example")
		r.Header.Set("Access-Control-Request-Method", "POST")
		r.Header.Set("Access-Control-Request-Headers", tokenHeader)
	})
	if w.StatusCode < 400 || w.Header.Get("Access-Control-Allow-Origin") != "" || w.Header.Get("Access-Control-Allow-Headers") != "" {
		t.Errorf("asked beforehand: %s %v", w.Status, w.Header)
	}
	if len(s.store.List()) != 0 {
		t.Error("a refused upload made a case")
	}
	if got := send(func(r *http.Request) {
		r.Header.Set("Origin", s.base)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}); got != 200 {
		t.Errorf("its own page: %d", got)
	}
	for _, method := range []string{"PUT", "DELETE", "OPTIONS", "TRACE", "PATCH", "PROPFIND"} {
		if w, _ := s.ask(method, "/case/1/remove", nil, nil); w.StatusCode != 405 {
			t.Errorf("%s: %s", method, w.Status)
		}
	}
	if w, _ := s.ask("GET", "/case/1/remove", nil, nil); w.StatusCode != 405 && w.StatusCode != 404 {
		t.Errorf("a change by GET: %s", w.Status)
	}
}

// No answer allows another site to read it, and browsers are told what pages may do.
func TestHeadersOfEveryAnswer(t *testing.T) {
	s := start(t, pretend(), Options{})
	s.drop("/scan", "a.stl", "good")
	s.settled(1)
	for _, path := range []string{"/", "/case/1", "/case/9", "/case/1/scan/1/tissue.png", "/case/1/scan/1/report.json", "/static/app.js", "/nothing", "/static/none"} {
		w, body := s.ask("GET", path, nil, func(r *http.Request) { r.Header.Set("Origin", "http://evil.example") })
		for name := range w.Header {
			if strings.HasPrefix(name, "Access-Control-") {
				t.Errorf("%s: %s", path, name)
			}
		}
		csp := w.Header.Get("Content-Security-Policy")
		said := map[string]bool{}
		for part := range strings.SplitSeq(csp, ";") {
			name, to, _ := strings.Cut(strings.TrimSpace(part), " ")
			said[name] = true
			if to != "'self'" && to != "'none'" {
				t.Errorf("%s: its policy says %s", path, part)
			}
		}
		for _, name := range []string{"default-src", "base-uri", "frame-ancestors", "form-action"} { // default-src is no default of the last three
			if !said[name] || name != "form-action" && !strings.Contains(csp, name+" 'none'") {
				t.Errorf("%s: its policy leaves %s open", path, name)
			}
		}
		if strings.Contains(csp, "unsafe") || strings.Contains(csp, "*") || strings.Contains(csp, "http") || strings.Contains(csp, "data:") {
			t.Errorf("%s: policy %s", path, csp)
		}
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "X-Frame-Options": "DENY", "Referrer-Policy": "no-referrer", "Cache-Control": "no-store", "Cross-Origin-Resource-Policy": "same-origin"} {
			if w.Header.Get(name) != want {
				t.Errorf("%s: %s is %q", path, name, w.Header.Get(name))
			}
		}
		if w.Header.Get("Content-Type") == "" {
			t.Errorf("%s has no type", path)
		}
		if strings.HasPrefix(w.Header.Get("Content-Type"), "text/html") {
			low := strings.ToLower(body)
			for _, bad := range []string{"<style", " style=", "onclick", "onload", "javascript:", "http://", "https://", "src=\"//"} {
				if strings.Contains(low, bad) {
					t.Errorf("%s holds %s", path, bad)
				}
			}
			for _, tag := range strings.Split(low, "<script")[1:] {
				if !strings.Contains(tag[:strings.IndexByte(tag, '>')], `src="/static/`) {
					t.Errorf("%s has a script inside", path)
				}
			}
		}
	}
}

// Another site can link to a page and embed nothing of it.
func TestOtherSitesEmbedNothing(t *testing.T) {
	s := start(t, pretend(), Options{})
	for _, c := range []struct {
		site, mode, dest string
		want             int
	}{
		{"cross-site", "no-cors", "image", 403}, {"cross-site", "no-cors", "script", 403}, {"cross-site", "cors", "empty", 403},
		{"cross-site", "navigate", "iframe", 403}, {"cross-site", "navigate", "document", 200}, {"same-site", "no-cors", "image", 403},
		{"same-origin", "no-cors", "image", 200}, {"none", "navigate", "document", 200},
	} {
		w, _ := s.ask("GET", "/", nil, func(r *http.Request) {
			r.Header.Set("Sec-Fetch-Site", c.site)
			r.Header.Set("Sec-Fetch-Mode", c.mode)
			r.Header.Set("Sec-Fetch-Dest", c.dest)
		})
		if w.StatusCode != c.want {
			t.Errorf("%+v: %s", c, w.Status)
		}
	}
}

func TestOnANetworkAKeyIsNeeded(t *testing.T) {
	l, err := net.Listen("tcp", "0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if _, err := New(openAt(t, t.TempDir(), nil), pretend(), l, Options{}); err == nil {
		t.Error("served to all without a key")
	}
	s := start(t, pretend(), Options{Key: "the-key"})
	for _, path := range []string{"/", "/events", "/static/app.js", "/case/1"} {
		if w, body := s.ask("GET", path, nil, nil); w.StatusCode != 403 || strings.Contains(body, s.post) {
			t.Errorf("%s without the key: %s", path, w.Status)
		}
	}
	if w, _ := s.ask("POST", "/scan?name=a.stl", strings.NewReader("good"), nil); w.StatusCode != 403 {
		t.Errorf("upload without the key: %s", w.Status)
	}
	if w, _ := s.ask("GET", "/enter?key=the-kex", nil, nil); w.StatusCode != 403 || len(w.Cookies()) > 0 {
		t.Errorf("a wrong key: %s", w.Status)
	}
	w, _ := s.ask("GET", "/enter?key=the-key", nil, nil)
	if w.StatusCode != 303 || w.Header.Get("Location") != "/" || len(w.Cookies()) != 1 {
		t.Fatalf("the key: %s %v", w.Status, w.Header)
	}
	c := w.Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode {
		t.Errorf("the cookie is %v", c)
	}
	if w, _ := s.ask("GET", "/", nil, func(r *http.Request) { r.AddCookie(c) }); w.StatusCode != 200 {
		t.Errorf("with the cookie: %s", w.Status)
	}
	if !strings.Contains(s.Address(), "/enter?key=the-key") {
		t.Errorf("address %s", s.Address())
	}
}

func TestUploadsAreBounded(t *testing.T) {
	s := start(t, pretend(), Options{MaxUpload: 1 << 20})
	big := strings.Repeat("x", 1<<20)
	if w, body := s.ask("POST", "/scan?name=a.stl", strings.NewReader(big+"y"), nil); w.StatusCode != 413 || !strings.Contains(body, "1 MiB") {
		t.Errorf("told beforehand: %s %s", w.Status, body)
	}
	if w, _ := s.ask("POST", "/scan?name=a.stl", io.MultiReader(strings.NewReader(big), strings.NewReader("y")), nil); w.StatusCode != 413 { // no length told
		t.Errorf("not told: %s", w.Status)
	}
	if w, _ := s.ask("POST", "/case/1/scan/1/given", strings.NewReader(big+"y"), nil); w.StatusCode != 413 {
		t.Errorf("a change: %s", w.Status)
	}
	if left, _ := s.store.disk.list("."); len(left) != 0 {
		t.Errorf("left: %v", left)
	}
	s.drop("/scan", "a.stl", big)
}

func TestWhoeverStopsTalkingIsLeft(t *testing.T) {
	s := start(t, pretend(), Options{patience: 200 * time.Millisecond})
	for name, text := range map[string]string{
		"half a header": "GET / HTTP/1.1\r\nHost: x",
		"half a body":   "POST /scan?name=a HTTP/1.1\r\nHost: " + strings.TrimPrefix(s.base, "http://") + "\r\n" + tokenHeader + ": " + s.post + "\r\nContent-Length: 100\r\n\r\nhalf",
		"nothing":       "",
	} {
		c, err := net.Dial("tcp", strings.TrimPrefix(s.base, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		io.WriteString(c, text)
		c.SetReadDeadline(time.Now().Add(10 * time.Second))
		if _, err := io.Copy(io.Discard, c); err != nil {
			t.Errorf("%s: the connection stays open: %v", name, err)
		}
		c.Close()
	}
	// One that talks slowly is heard to the end.
	r, w := io.Pipe()
	go func() {
		for range 8 {
			time.Sleep(100 * time.Millisecond)
			io.WriteString(w, "good")
		}
		w.Close()
	}()
	if got, body := s.ask("POST", "/scan?name=slow.stl", r, nil); got.StatusCode != 200 {
		t.Errorf("slow: %s %s", got.Status, body)
	}
	s.until("only the slow scan", func() bool { l, _ := s.store.disk.list("."); return len(l) == 1 })
}

// Names in addresses and of files lead nowhere.
func TestNamesLeadNowhere(t *testing.T) {
	s := start(t, pretend(), Options{})
	at := s.drop("/scan", url.QueryEscape("../../../tmp/zott<script>.stl"), "good")
	c := s.settled(at.Case)
	if c.Scans[0].CameAs != "zott<script>.stl" {
		t.Errorf("kept as %q", c.Scans[0].CameAs)
	}
	if _, page := s.ask("GET", "/case/1", nil, nil); strings.Contains(page, "zott<script>") || !strings.Contains(page, "zott&lt;script&gt;") {
		t.Error("the name is not escaped")
	}
	for _, path := range []string{
		"/case/1/scan/1/state.toml", "/case/1/scan/1/..%2fstate.toml", "/case/1/scan/1/%2e%2e%2f%2e%2e%2fetc%2fpasswd", "/case/..%2f/scan/1/tissue.png",
		"/static/..%2fpages%2flist.html", "/static/%2e%2e", "/case/1/scan/1/.tmp-x", "/case/1/scan/1/scan-1.stl", "/case/1/scan/1/tissue.png%00.html", "/static/",
		"/case/1/scan/1/TISSUE.PNG", "/case/99999999999999999999", "/case/0", "/case/1e0",
	} {
		if w, body := s.ask("GET", path, nil, nil); w.StatusCode != 404 {
			t.Errorf("%s: %s %.80s", path, w.Status, body)
		}
	}
	if got := raw(t, s, "GET /static/../pages/list.html HTTP/1.1\r\nHost: "+strings.TrimPrefix(s.base, "http://")+"\r\nConnection: close\r\n\r\n"); got == 200 {
		t.Errorf("a raw path: %d", got)
	}
}

func TestAFaultOfAPageEndsNothing(t *testing.T) {
	s := start(t, pretend(), Options{})
	h := s.guard(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic("a fault") }))
	w := &answerTo{head: http.Header{}}
	r, _ := http.NewRequest("GET", s.base+"/", nil)
	h.ServeHTTP(w, r)
	if w.code != 500 || !strings.Contains(w.String(), "a fault of fornix") || strings.Contains(w.String(), "guard_test") {
		t.Errorf("%d %s", w.code, w.String())
	}
	if !strings.Contains(s.log.String(), "guard_test") {
		t.Error("the log does not tell where")
	}
}

type answerTo struct {
	bytes.Buffer
	head http.Header
	code int
}

func (a *answerTo) Header() http.Header  { return a.head }
func (a *answerTo) WriteHeader(code int) { a.code = code }
