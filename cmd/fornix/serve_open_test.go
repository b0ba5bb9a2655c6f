package main

import (
	"bytes"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

// The commands are those of the systems: xdg-open of the Portland project's xdg-utils (freedesktop.org),
// open(1) of macOS, and the protocol handler of Windows' url.dll. Each is given the address as one word
// and goes through no shell, which would take & and ? apart.
func TestBrowserCommand(t *testing.T) {
	const address = "http://127.0.0.1:7373/enter?key=A&b"
	for system, want := range map[string][]string{
		"linux": {"xdg-open", address}, "freebsd": {"xdg-open", address}, "darwin": {"open", address},
		"windows": {"rundll32", "url.dll,FileProtocolHandler", address},
	} {
		if got := browserCommand(system, address); !slices.Equal(got, want) {
			t.Errorf("%s: %q", system, got)
		}
	}
}

// fakeBrowser is an environment in which the system's command for opening an address is a script of these
// lines, or is not there. The command's word is noted in a file.
func fakeBrowser(t *testing.T, lines string) (env []string, noted string) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("rundll32 is found whatever PATH says")
	}
	dir := t.TempDir()
	noted = filepath.Join(dir, "noted")
	if lines != "" {
		name := filepath.Join(dir, browserCommand(runtime.GOOS, "")[0])
		if err := os.WriteFile(name, []byte("#!/bin/sh\n"+lines+"\n"), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	return []string{"PATH=" + dir, "NOTED=" + noted}, noted
}

const noteAddress = `printf '%s' "$*" >"$NOTED.part" && /bin/mv "$NOTED.part" "$NOTED"`

// awaitFile waits until a file is there, takes it away, and returns what stood in it.
func awaitFile(t *testing.T, name string) string {
	t.Helper()
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if text, err := os.ReadFile(name); err == nil {
			os.Remove(name)
			return string(text)
		}
	}
	t.Fatalf("nothing was opened")
	return ""
}

// lockedBuffer is what a process says, read while it goes on saying.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// startedAgain starts the program for a folder that another one serves, and returns what it says.
func startedAgain(t *testing.T, env []string, dir string, args ...string) string {
	t.Helper()
	c := exec.Command(os.Args[0])
	c.Env = append(append(os.Environ(), "FORNIX_ARGS="+strings.Join(append([]string{"serve", "--dir", dir}, args...), "\n")), env...)
	out, err := c.Output()
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

// The browser is given the address that is printed, with its key if it has one; by a second start, the
// address of the program that runs; and with --no-browser, nothing.
func TestServeOpensTheBrowser(t *testing.T) {
	env, noted := fakeBrowser(t, noteAddress)
	for _, listen := range []string{"127.0.0.1:0", "0.0.0.0:0"} {
		dir := t.TempDir()
		var said lockedBuffer
		_, address := startIn(t, env, &said, dir, "--listen", listen)
		if got := awaitFile(t, noted); got != address {
			t.Errorf("%q is printed and %q opened", address, got)
		}
		if strings.Contains(said.String(), "browser") {
			t.Errorf("opened, and said: %s", said.String())
		}
		again := startedAgain(t, env, dir)
		if got := awaitFile(t, noted); got != address || !strings.Contains(again, address) {
			t.Errorf("a second start opened %q and not %q, and said %s", got, address, again)
		}
		startedAgain(t, env, dir, "--no-browser")
		time.Sleep(200 * time.Millisecond) // the script takes a few
		if text, err := os.ReadFile(noted); err == nil {
			t.Errorf("told to open none, it opened %q", text)
		}
	}
}

// Without a command that opens a browser, or with one that cannot, the address is printed, why is told,
// and the page is there.
func TestServeWithoutABrowser(t *testing.T) {
	for lines, why := range map[string]string{"": "executable file not found", "exit 3": "exit status 3"} {
		env, _ := fakeBrowser(t, lines)
		var said lockedBuffer
		_, address := startIn(t, env, &said, t.TempDir(), "--listen", "127.0.0.1:0")
		for end := time.Now().Add(20 * time.Second); !strings.Contains(said.String(), "no browser was opened"); time.Sleep(10 * time.Millisecond) {
			if time.Now().After(end) {
				t.Fatalf("%q: nothing is told: %s", lines, said.String())
			}
		}
		if text := said.String(); !strings.Contains(text, why) || strings.Count(text, "\n") != 1 {
			t.Errorf("%q: %s", lines, text)
		}
		w, err := http.Get(address)
		if err != nil {
			t.Fatal(err)
		}
		w.Body.Close()
		if w.StatusCode != http.StatusOK {
			t.Errorf("%q: the page answers %s", lines, w.Status)
		}
	}
}
