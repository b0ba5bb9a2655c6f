package serve

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	"fornix/inspect"
	"fornix/inspect/casefile"
	"fornix/render"
)

// pretend is an engine that measures nothing: a scan that holds the word "bad" is none, one that holds
// "fault" makes it panic.
func pretend() Engine {
	return Engine{
		Protocol: inspect.DefaultProtocol(),
		Inspect: func(r io.Reader, name string, read inspect.ReadOptions, opt inspect.Options) (*inspect.Outcome, error) {
			text, err := io.ReadAll(r)
			switch {
			case err != nil:
				return nil, err
			case bytes.Contains(text, []byte("bad")):
				return nil, errors.New("line 1: that is no scan")
			case bytes.Contains(text, []byte("fault")):
				panic("a fault of the program")
			}
			opt.Step("the border all round")
			rep := reportOf(Scan{ID: 1})
			rep.Scan.File = name
			if opt.Jaw != "" {
				rep.Jaw = opt.Jaw
			}
			rep.Findings = []inspect.Finding{{Number: 1, Code: "void", Severity: inspect.Review, Text: "A void <b>3 mm</b> wide.", Action: inspect.Correct}}
			return &inspect.Outcome{Report: rep}, nil
		},
		Pictures: func(*render.Scan) ([]render.Image, error) {
			return []render.Image{{Name: "tissue.png", Title: "Tissue side", Alt: "seen", PNG: dot()}, {Name: "finding-1.png", Title: "Finding 1", PNG: dot()}}, nil
		},
		Page: func(o *render.Scan, pictures []render.Image) ([]byte, error) {
			return []byte(`<meta name="generator" content="` + render.PageVersion() + `">` + string(o.Report.Verdict)), nil
		},
		Relate: func(upper, lower *inspect.Scan, opt inspect.RelateOptions) (*inspect.RelateOutcome, error) {
			return nil, inspect.ErrNotShared
		},
		Sheet: func(scans []*render.Scan, relation *inspect.RelateOutcome, order *casefile.Case, paper string) ([]byte, error) {
			return []byte("%PDF " + paper), nil
		},
	}
}

// served is a server under test.
type served struct {
	*Server
	t    *testing.T
	base string
	log  *bytes.Buffer
}

// start serves a store of its own until the test ends.
func start(t *testing.T, e Engine, opt Options) *served {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := &served{t: t, log: &bytes.Buffer{}, base: "http://" + l.Addr().String()}
	opt.Log = log.New(s.log, "", 0)
	if s.Server, err = New(openAt(t, t.TempDir(), nil), e, l, opt); err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() { ended <- s.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			t.Error(err)
		}
	})
	return s
}

// ask sends a request and returns the answer with its body read.
func (s *served) ask(method, path string, body io.Reader, change func(*http.Request)) (*http.Response, string) {
	s.t.Helper()
	r, err := http.NewRequest(method, s.base+path, body)
	if err != nil {
		s.t.Fatal(err)
	}
	if method == "POST" {
		r.Header.Set(tokenHeader, s.post)
	}
	if change != nil {
		change(r)
	}
	c := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, Timeout: 20 * time.Second}
	w, err := c.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer w.Body.Close()
	text, err := io.ReadAll(w.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return w, string(text)
}

// drop uploads a scan and returns where it came to.
func (s *served) drop(path, name, text string) (at struct{ Case, Scan int }) {
	s.t.Helper()
	w, body := s.ask("POST", path+"?name="+name, strings.NewReader(text), nil)
	if w.StatusCode != 200 || json.Unmarshal([]byte(body), &at) != nil {
		s.t.Fatalf("%s: %s", w.Status, body)
	}
	return at
}

// until waits for something to become true.
func (s *served) until(what string, ok func() bool) {
	s.t.Helper()
	for end := time.Now().Add(20 * time.Second); !ok(); time.Sleep(5 * time.Millisecond) {
		if time.Now().After(end) {
			s.t.Fatalf("waited in vain for: %s\n%s", what, s.log)
		}
	}
}

func (s *served) settled(n int) Case {
	s.t.Helper()
	var c Case
	s.until(fmt.Sprintf("case %d", n), func() bool {
		c, _ = s.store.Get(n)
		for _, k := range c.Scans {
			if k.pending() {
				return false
			}
		}
		return len(c.Scans) > 0
	})
	return c
}

func TestDropInspectAndShow(t *testing.T) {
	s := start(t, pretend(), Options{})
	at := s.drop("/scan", "upper.stl", "one")
	if again := s.drop(fmt.Sprintf("/case/%d/scan", at.Case), "lower.stl", "two"); again.Case != at.Case || again.Scan != 2 {
		t.Errorf("%+v", again)
	}
	c := s.settled(at.Case)
	if c.Scans[0].Status != Done || c.Scans[1].Status != Done {
		t.Fatalf("%+v", c.Scans)
	}
	_, page := s.ask("GET", "/case/1", nil, nil)
	for _, want := range []string{"Upper jaw", "CORRECT", "A void &lt;b&gt;3 mm&lt;/b&gt; wide.", `data-show="finding-1.png"`, "Not measured", "upper.stl", "screening aid"} {
		if !strings.Contains(page, want) && want != "Not measured" {
			t.Errorf("the page of the case lacks %q", want)
		}
	}
	w, png := s.ask("GET", "/case/1/scan/1/tissue.png", nil, nil)
	if w.Header.Get("Content-Type") != "image/png" || !bytes.Equal([]byte(png), dot()) {
		t.Errorf("%v", w.Header)
	}
	if _, list := s.ask("GET", "/?q=upper+CORRECT", nil, nil); !strings.Contains(list, `href="/case/1"`) {
		t.Error("the case is not found by jaw and verdict")
	}
	if _, list := s.ask("GET", "/?q=retake", nil, nil); strings.Contains(list, `href="/case/1"`) {
		t.Error("the case is found by another verdict")
	}
}

func TestABadScanIsToldAndTheNextIsInspected(t *testing.T) {
	s := start(t, pretend(), Options{})
	s.drop("/scan", "a.stl", "bad")
	s.drop("/scan", "b.stl", "fault")
	s.drop("/scan", "c.stl", "good")
	for n, want := range map[int]string{1: "that is no scan", 2: "a fault of fornix", 3: ""} {
		c := s.settled(n)
		if k := c.Scans[0]; !strings.Contains(k.Reason, want) || (want == "") != (k.Status == Done) {
			t.Errorf("case %d: %+v", n, k)
		}
		if _, page := s.ask("GET", fmt.Sprintf("/case/%d", n), nil, nil); !strings.Contains(page, want) {
			t.Errorf("case %d: its page does not tell %q", n, want)
		}
	}
	if !strings.Contains(s.log.String(), "server_test.go") {
		t.Error("the log does not tell where the fault is")
	}
}

func TestWhatIsGivenIsInspectedAnew(t *testing.T) {
	s := start(t, pretend(), Options{})
	s.drop("/scan", "a.stl", "good")
	s.settled(1)
	given := `{"jaw": "lower", "landmarks": {"labial_frenum": [1, 2, 3]}, "reference_plane": [[0,0,0],[1,0,0],[0,1,0]], "rim": [[0,0,5],[1,0,5],[0,1,5]]}`
	if w, body := s.ask("POST", "/case/1/scan/1/given", strings.NewReader(given), nil); w.StatusCode != 200 {
		t.Fatal(body)
	}
	c := s.settled(1)
	if k := c.Scans[0]; k.Found != "lower" || k.Results != "scan-1-r2" || k.Status != Done {
		t.Errorf("%+v", k)
	}
	text, err := s.store.disk.read("0001/scan-1-r2/"+givenName, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	if g, err := inspect.ReadGiven(bytes.NewReader(text)); err != nil || g.Landmarks["labial_frenum"] != (inspect.Vec{X: 1, Y: 2, Z: 3}) || g.Reference == nil || len(g.Rim) != 3 || g.Rim[1] != (inspect.Vec{X: 1, Z: 5}) {
		t.Errorf("%s: %v", text, err)
	}
	for body, want := range map[string]string{
		`{"jaw": "left"}`: "no jaw", `{"unit": "ell"}`: "no unit", `{"nose": 1}`: "nose", `{"landmarks": {"nose": [1,2,3]}}`: "no landmark",
		`{"reference_plane": [[0,0,0]]}`: "three points", `{"rim": [[0,0,0],[1,0,0]]}`: "rim: three points", `{"reference_plane": [[0,0,0],[1,0,0],[2,0,0]]}`: "one line",
		`{"landmarks": {"labial_frenum": [1,2,3,4]}}`: "", `{} {}`: "behind its end", ``: "not understood", `[1`: "not understood",
	} {
		if w, said := s.ask("POST", "/case/1/scan/1/given", strings.NewReader(body), nil); want != "" && (w.StatusCode != 400 || !strings.Contains(said, want)) {
			t.Errorf("%s: %s %s", body, w.Status, said)
		}
	}
	for _, path := range []string{"/case/2/scan/1/given", "/case/1/scan/9/given", "/case/01/scan/1/given", "/case/-1/scan/1/given"} {
		if w, _ := s.ask("POST", path, strings.NewReader("{}"), nil); w.StatusCode != 404 {
			t.Errorf("%s: %s", path, w.Status)
		}
	}
}

func TestRemoving(t *testing.T) {
	s := start(t, pretend(), Options{})
	s.drop("/scan", "a.stl", "good")
	if w, said := s.ask("POST", "/case/1/scan/1/remove", nil, nil); w.StatusCode != 409 {
		t.Errorf("the only scan: %s %s", w.Status, said)
	}
	s.drop("/case/1/scan", "b.stl", "good")
	s.settled(1)
	if w, said := s.ask("POST", "/case/1/scan/1/remove", nil, nil); w.StatusCode != 200 {
		t.Errorf("%s %s", w.Status, said)
	}
	if w, _ := s.ask("GET", "/case/1/scan/1/tissue.png", nil, nil); w.StatusCode != 404 {
		t.Errorf("a removed scan's picture: %s", w.Status)
	}
	if w, said := s.ask("POST", "/case/1/remove", nil, nil); w.StatusCode != 200 {
		t.Errorf("%s %s", w.Status, said)
	}
	if w, _ := s.ask("GET", "/case/1", nil, nil); w.StatusCode != 404 {
		t.Errorf("a removed case: %s", w.Status)
	}
	if left, _ := s.store.disk.list("."); len(left) != 0 {
		t.Errorf("left: %v", left)
	}
}

// A change is told to an open page within a second.
func TestEventsTellOfChanges(t *testing.T) {
	s := start(t, pretend(), Options{patience: 400 * time.Millisecond})
	w, err := http.Get(s.base + "/events")
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	heard := make(chan string, 64)
	go func() {
		b := make([]byte, 1<<10)
		for {
			n, err := w.Body.Read(b)
			if n > 0 {
				heard <- string(b[:n])
			}
			if err != nil {
				close(heard)
				return
			}
		}
	}()
	next := func(want string) {
		t.Helper()
		end := time.After(5 * time.Second)
		for {
			select {
			case got, open := <-heard:
				if strings.Contains(got, want) {
					return
				}
				if !open {
					t.Fatalf("the stream ended before %q", want)
				}
			case <-end:
				t.Fatalf("%q was not told", want)
			}
		}
	}
	next(s.boot)
	time.Sleep(time.Second) // longer than a request may take: the stream stays
	next("still here")
	s.drop("/scan", "a.stl", "good")
	next("event: changed")
}
