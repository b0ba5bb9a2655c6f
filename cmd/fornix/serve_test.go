package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
)

// app is a process that serves a folder.
type app struct {
	t    *testing.T
	c    *exec.Cmd
	base string
}

func startApp(t *testing.T, dir string) *app {
	t.Helper()
	a, address := startAt(t, dir, "--listen", "127.0.0.1:0")
	if !strings.HasPrefix(address, "http://127.0.0.1:") {
		t.Fatal(address)
	}
	a.base = strings.TrimSuffix(address, "/")
	return a
}

// startAt starts the program, which is to open no browser, and returns it with the first address that
// it prints.
func startAt(t *testing.T, dir string, args ...string) (a *app, address string) {
	t.Helper()
	return startIn(t, nil, os.Stderr, dir, append(args, "--no-browser")...)
}

// startIn starts it with more in its environment.
func startIn(t *testing.T, env []string, stderr io.Writer, dir string, args ...string) (a *app, address string) {
	t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(append(os.Environ(), "FORNIX_ARGS="+strings.Join(append([]string{"serve", "--dir", dir}, args...), "\n")), env...)
	c.Stderr = stderr
	out, err := c.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	a = &app{t: t, c: c}
	t.Cleanup(a.kill)
	line, err := bufio.NewReader(out).ReadString('\n')
	address, found := strings.CutPrefix(strings.TrimSpace(line), "Open ")
	if err != nil || !found {
		t.Fatalf("%q: %v", line, err)
	}
	return a, address
}

// Unless told otherwise the app listens where only this machine can connect; told to listen to all, it
// prints a key and shows nothing without it.
func TestServeIsForThisMachineUnlessTold(t *testing.T) {
	_, address := startAt(t, t.TempDir())
	u, err := url.Parse(address)
	if ip := net.ParseIP(u.Hostname()); err != nil || ip == nil || !ip.IsLoopback() {
		t.Fatalf("%s: %v", address, err)
	}
	for _, ip := range ownAddresses() { // those that others reach this machine by
		if c, err := net.DialTimeout("tcp", net.JoinHostPort(ip, u.Port()), 2*time.Second); err == nil {
			c.Close()
			t.Errorf("the app answers at %s", ip)
		}
	}
	_, address = startAt(t, t.TempDir(), "--listen", "0.0.0.0:0")
	bare, key, found := strings.Cut(address, "enter?key=")
	if !found || len(key) < 20 {
		t.Fatalf("no key is printed: %s", address)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		who    http.Client
		at     string
		status int
	}{{http.Client{}, bare, 403}, {http.Client{}, bare + "enter?key=" + key[1:], 403}, {http.Client{Jar: jar}, address, 200}, {http.Client{Jar: jar}, bare, 200}} {
		w, err := c.who.Get(c.at)
		if err != nil {
			t.Fatal(err)
		}
		w.Body.Close()
		if w.StatusCode != c.status {
			t.Errorf("%s: %s, not %d", c.at, w.Status, c.status)
		}
	}
}

// kill ends the process at once, in whatever it is doing.
func (a *app) kill() {
	a.c.Process.Kill()
	a.c.Wait()
}

func (a *app) get(path string) string {
	a.t.Helper()
	w, err := http.Get(a.base + path)
	if err != nil {
		a.t.Fatal(err)
	}
	defer w.Body.Close()
	text, err := io.ReadAll(w.Body)
	if err != nil {
		a.t.Fatal(err)
	}
	return string(text)
}

func (a *app) post(path string, body []byte) string {
	a.t.Helper()
	token := regexp.MustCompile(`fornix-token" content="([A-Z2-7]+)"`).FindStringSubmatch(a.get("/"))
	r, err := http.NewRequest("POST", a.base+path, bytes.NewReader(body))
	if err != nil || token == nil {
		a.t.Fatal(err, token)
	}
	r.Header.Set("X-Fornix-Token", token[1])
	w, err := http.DefaultClient.Do(r)
	if err != nil {
		a.t.Fatal(err)
	}
	defer w.Body.Close()
	text, err := io.ReadAll(w.Body)
	if err != nil || w.StatusCode != 200 {
		a.t.Fatalf("%s %s %v", w.Status, text, err)
	}
	return string(text)
}

func (a *app) until(what string, ok func() bool) {
	a.t.Helper()
	for end := time.Now().Add(90 * time.Second); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			a.t.Fatalf("waited in vain for: %s", what)
		}
	}
}

func smallScan(t *testing.T, name string) []byte {
	t.Helper()
	p, found := phantom.Named(name)
	if !found {
		t.Fatalf("no phantom %s", name)
	}
	p.Spacing, p.Noise = 0.8, 0
	made, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, made.Mesh, "scan"); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The app is killed three times while it works; each time it goes on where it was, and at the end its
// report is, byte for byte, the one that fornix inspect writes. Meanwhile a second start finds the
// first one.
func TestServeSurvivesKillsAndSaysWhatInspectSays(t *testing.T) {
	scan := smallScan(t, "upper-voids")
	dir := filepath.Join(t.TempDir(), "cases")
	a := startApp(t, dir)
	if said := a.post("/scan?name=drop.stl", scan); said != `{"case":1,"scan":1}` {
		t.Fatal(said)
	}
	for range 2 { // fewer than the times after which a scan is given up
		time.Sleep(300 * time.Millisecond)
		a.kill()
		a = startApp(t, dir)
	}
	if said := startedAgain(t, nil, dir, "--no-browser"); !strings.Contains(said, a.base) {
		t.Errorf("started twice: %s", said)
	}
	a.until("the pictures", func() bool { return strings.Contains(a.get("/case/1"), `data-status="done"`) })
	time.Sleep(50 * time.Millisecond)
	a.kill()
	a = startApp(t, dir)
	if page := a.get("/case/1"); !strings.Contains(page, `data-status="done"`) {
		t.Error("what was done is not done after a kill")
	}
	o, err := inspectScan(bytes.NewReader(scan), "scan-1.stl", job{protocol: inspect.DefaultProtocol()})
	if err != nil {
		t.Fatal(err)
	}
	var want bytes.Buffer
	if err := inspect.WriteJSON(&want, o.Report); err != nil {
		t.Fatal(err)
	}
	if got := a.get("/case/1/scan/1/report.json"); got != want.String() {
		t.Error("the app's report is not the one that fornix inspect writes")
	}
	// A landmark that is given moves the numbers that hang on it.
	var before, after inspect.Report
	json.Unmarshal(want.Bytes(), &before)
	p := before.Landmarks[inspect.HamularNotchLeft].Point
	back := before.Frame.Posterior
	given, _ := json.Marshal(map[string]any{"landmarks": map[string]inspect.Vec{inspect.HamularNotchLeft: p.Along(-2, back)}})
	a.post("/case/1/scan/1/given", given)
	a.until("the new report", func() bool {
		json.Unmarshal([]byte(a.get("/case/1/scan/1/report.json")), &after)
		return after.Landmarks[inspect.HamularNotchLeft].Source == "given"
	})
	if b, n := before.Posterior.Left, after.Posterior.Left; b == nil || n == nil || n.ExtensionMM == nil || *n.ExtensionMM-*b.ExtensionMM < 1.9 || *n.ExtensionMM-*b.ExtensionMM > 2.1 {
		t.Errorf("the notch was moved 2 mm forward, and the extension from %+v to %+v", b, n)
	}
	// The steps that are told while a scan is inspected are those of the engine.
	var steps []string
	if _, err := inspectScan(bytes.NewReader(scan), "x", job{protocol: inspect.DefaultProtocol(), options: inspect.Options{Step: func(s string) { steps = append(steps, s) }}}); err != nil || len(steps) < 7 {
		t.Errorf("steps %q: %v", steps, err)
	}
}
