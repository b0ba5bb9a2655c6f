package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// BenchmarkFirstResult drops a scan of half a million faces on the app and waits until the case's page
// shows its verdict and its numbers; the pictures come after them. It is to take 10 s at most on two
// processors that do nothing else.
func BenchmarkFirstResult(b *testing.B) {
	p, _ := phantom.Named("upper-voids")
	p.Spacing = 0.215
	made, err := phantom.Make(p)
	if err != nil {
		b.Fatal(err)
	}
	var scan bytes.Buffer
	if err := mesh.WriteSTL(&scan, made.Mesh, "scan"); err != nil {
		b.Fatal(err)
	}
	bin := filepath.Join(b.TempDir(), "fornix")
	if out, err := exec.Command("go", "build", "-o", bin, "fornix/cmd/fornix").CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	c := exec.Command(bin, "serve", "--dir", filepath.Join(b.TempDir(), "cases"), "--no-browser", "--listen", "127.0.0.1:0")
	out, err := c.StdoutPipe()
	if err == nil {
		err = c.Start()
	}
	if err != nil {
		b.Fatal(err)
	}
	defer func() {
		c.Process.Signal(os.Interrupt)
		c.Wait()
	}()
	head := make([]byte, 200)
	n, err := out.Read(head)
	base := regexp.MustCompile(`http://[^/ ]+/`).FindString(string(head[:n]))
	if err != nil || base == "" {
		b.Fatalf("%q: %v", head[:n], err)
	}
	get := func(path string) string {
		r, err := http.Get(base + path)
		if err != nil {
			b.Fatal(err)
		}
		defer r.Body.Close()
		text, err := io.ReadAll(r.Body)
		if err != nil {
			b.Fatal(err)
		}
		return string(text)
	}
	token := regexp.MustCompile(`name="fornix-token" content="([^"]+)"`).FindStringSubmatch(get(""))
	if token == nil {
		b.Fatal("no token on the page")
	}
	most := time.Duration(0)
	b.ReportMetric(float64(len(made.Mesh.Tri)), "faces")
	for b.Loop() {
		start := time.Now()
		r, err := http.NewRequest("POST", base+"scan?name=upper.stl", bytes.NewReader(scan.Bytes()))
		if err != nil {
			b.Fatal(err)
		}
		r.Header.Set("X-Fornix-Token", token[1])
		w, err := http.DefaultClient.Do(r)
		if err != nil {
			b.Fatal(err)
		}
		var at struct{ Case int }
		err = json.NewDecoder(w.Body).Decode(&at)
		w.Body.Close()
		if err != nil || w.StatusCode != http.StatusOK {
			b.Fatalf("%s: %v", w.Status, err)
		}
		page := fmt.Sprintf("case/%d", at.Case)
		for !strings.Contains(get(page), `class="measured"`) {
			if time.Since(start) > 2*time.Minute {
				b.Fatal("no result in two minutes")
			}
			time.Sleep(50 * time.Millisecond)
		}
		most = max(most, time.Since(start))
		for strings.Contains(get(page), `id="step"`) { // the next one is dropped on an app that is at rest
			time.Sleep(200 * time.Millisecond)
		}
	}
	b.ReportMetric(most.Seconds(), "s/first-result")
}
