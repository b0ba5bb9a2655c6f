package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// twoHosts makes two network namespaces with a cable between them, for a test that is skipped where that
// is not allowed. The first has the address 192.0.2.1, the second 192.0.2.2 (RFC 5737: for examples).
func twoHosts(t *testing.T) (names [2]string) {
	t.Helper()
	ip := func(args ...string) {
		t.Helper()
		if text, err := exec.Command("ip", args...).CombinedOutput(); err != nil {
			t.Skipf("no network namespaces here: ip %s: %v %s", strings.Join(args, " "), err, text)
		}
	}
	for i := range names {
		names[i] = fmt.Sprintf("fornix%d-%d", os.Getpid(), i)
		ip("netns", "add", names[i])
		t.Cleanup(func() { exec.Command("ip", "netns", "delete", names[i]).Run() })
	}
	ip("link", "add", "cable", "netns", names[0], "type", "veth", "peer", "name", "cable", "netns", names[1])
	for i, name := range names {
		ip("-n", name, "address", "add", fmt.Sprintf("192.0.2.%d/24", i+1), "dev", "cable")
		ip("-n", name, "link", "set", "cable", "up")
		ip("-n", name, "link", "set", "lo", "up")
	}
	return names
}

// onHost makes a process of the test's program one of a host of its own.
func onHost(name string, c *exec.Cmd) *exec.Cmd {
	on := exec.Command("ip", append([]string{"netns", "exec", name}, c.Args...)...)
	on.Dir, on.Env = c.Dir, c.Env
	return on
}

// A batch on two hosts makes the same files as on one, though the cable between them is pulled for a while.
// Who has no credential, or a wrong one, is refused. With FORNIX_CUT=10s the cable is out for so long, the
// scans are larger, and a worker is killed in the middle of one.
func TestTwoHostsGiveSameBytes(t *testing.T) {
	cut, spacing, n := 2*time.Second, 1.5, 6
	long, err := time.ParseDuration(os.Getenv("FORNIX_CUT"))
	if err == nil {
		cut, spacing, n = long, 0.6, 24
	}
	names := twoHosts(t)
	dir := t.TempDir()
	in := filepath.Join(dir, "in")
	if err := os.Mkdir(in, 0o755); err != nil {
		t.Fatal(err)
	}
	batchScans(t, in, n, 2, spacing)
	batchDone(t, dir, "alone")

	host, said, link := sharing(t, onHost(names[0], batchProcess(dir, "shared", "--workers", "1", "--share", "192.0.2.1:0")))
	start := func() (*exec.Cmd, *strings.Builder) {
		c, out := onHost(names[1], workerProcess(link)), &strings.Builder{}
		c.Stdout = out
		return working(t, c, "192.0.2.1:"), out
	}
	if long > 0 {
		killed, _ := start()
		time.Sleep(700 * time.Millisecond) // into its first scan
		killed.Process.Kill()
		killed.Wait()
	}
	w, out := start()
	defer w.Process.Kill()
	time.Sleep(300 * time.Millisecond) // until it has a scan in hand
	for _, state := range []string{"down", "up"} {
		if text, err := exec.Command("ip", "-n", names[0], "link", "set", "cable", state).CombinedOutput(); err != nil {
			t.Fatalf("%v %s", err, text)
		}
		if state == "down" {
			time.Sleep(cut)
		}
	}

	bare, certificate, _ := strings.Cut(link, "#")
	_, address, _ := strings.Cut(bare, "@")
	for what, bad := range map[string]string{
		"no certificate": bare,
		"a wrong token":  "fornix://guess@" + address + "#" + certificate,
		"another server": bare + "#" + strings.Repeat("0", len(certificate)),
	} {
		text, err := onHost(names[1], workerProcess(bad)).CombinedOutput()
		if err == nil || strings.Contains(string(text), "working for") {
			t.Errorf("%s let in: %s", what, text)
		}
	}

	for said.Scan() { // to the end
	}
	if err := host.Wait(); err != nil {
		t.Fatal(err)
	}
	w.Process.Signal(syscall.SIGTERM)
	if err := w.Wait(); err != nil {
		t.Error(err)
	}
	if out.String() == "" || strings.HasPrefix(out.String(), "0 ") {
		t.Errorf("the other host says %q: it measured nothing", out)
	}
	t.Logf("%d scans, the cable out for %v; the other host: %s", n, cut, strings.TrimSpace(out.String()))
	sameTables(t, "two hosts", filepath.Join(dir, "shared"), filepath.Join(dir, "alone"))
}
