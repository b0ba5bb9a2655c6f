package main

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// sharing starts a batch that is shared, and returns it with what it goes on to say and the link that it
// prints. It is killed at the test's end.
func sharing(t *testing.T, host *exec.Cmd) (_ *exec.Cmd, said *bufio.Scanner, link string) {
	t.Helper()
	pipe, err := host.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := host.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { host.Process.Kill() })
	said = bufio.NewScanner(pipe)
	for link == "" && said.Scan() {
		_, link, _ = strings.Cut(said.Text(), "fornix worker --join ")
	}
	return host, said, link
}

// workerProcess is fornix worker in a process of its own.
func workerProcess(link string) *exec.Cmd {
	c := exec.Command(os.Args[0])
	c.Env = append(os.Environ(), "FORNIX_ARGS="+strings.Join([]string{"worker", "--join", link, "--workers", "1"}, "\n"))
	return c
}

// working starts a worker and waits until it has joined the host at address.
func working(t *testing.T, c *exec.Cmd, address string) *exec.Cmd {
	t.Helper()
	errs, err := c.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(errs)
	if !lines.Scan() || !strings.HasPrefix(lines.Text(), "working for "+address) {
		t.Errorf("the worker says %q", lines.Text())
	}
	return c
}

// A batch that is shared makes the same files as one that is not, also when a worker is killed in the
// middle of its scan.
func TestWorkersElsewhereGiveSameBytes(t *testing.T) {
	dir := t.TempDir()
	in := filepath.Join(dir, "in")
	if err := os.Mkdir(in, 0o755); err != nil {
		t.Fatal(err)
	}
	batchScans(t, in, 4, 1, 1.5)
	batchDone(t, dir, "alone", "--workers", "1")

	host, said, link := sharing(t, batchProcess(dir, "shared", "--workers", "1", "--share", "127.0.0.1:0"))
	worker := func() *exec.Cmd { return working(t, workerProcess(link), "127.0.0.1:") }
	first := worker()
	first.Process.Kill() // with a scan in hand, or about to have one
	first.Wait()
	second := worker()
	defer second.Wait()
	defer second.Process.Kill()
	for said.Scan() { // to the end
	}
	if err := host.Wait(); err != nil {
		t.Fatal(err)
	}
	sameTables(t, "shared", filepath.Join(dir, "shared"), filepath.Join(dir, "alone"))
	if _, err := os.Stat(filepath.Join(dir, "shared", queueName)); err == nil {
		t.Error("the queue's files are still there")
	}
}
