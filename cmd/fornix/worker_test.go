package main

import (
	"bufio"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

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

	host := batchProcess(dir, "shared", "--workers", "1", "--share", "127.0.0.1:0")
	pipe, err := host.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := host.Start(); err != nil {
		t.Fatal(err)
	}
	defer host.Process.Kill()
	said := bufio.NewScanner(pipe)
	link := ""
	for link == "" && said.Scan() {
		_, link, _ = strings.Cut(said.Text(), "fornix worker --join ")
	}
	worker := func() (*exec.Cmd, *bufio.Scanner) {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), "FORNIX_ARGS="+strings.Join([]string{"worker", "--join", link, "--workers", "1"}, "\n"))
		out, err := c.StderrPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		if !lines.Scan() || !strings.HasPrefix(lines.Text(), "working for 127.0.0.1:") {
			t.Errorf("the worker says %q", lines.Text())
		}
		return c, lines
	}
	first, _ := worker()
	first.Process.Kill() // with a scan in hand, or about to have one
	first.Wait()
	second, _ := worker()
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
