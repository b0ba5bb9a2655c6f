package main

import (
	"bufio"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
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

// So does one whose queue lies on a server of others, in a process of its own, which is killed and started
// again; with FORNIX_CUT also a worker is killed with a scan in hand.
func TestServerElsewhereGivesSameBytes(t *testing.T) {
	dir := t.TempDir()
	in := filepath.Join(dir, "in")
	if err := os.Mkdir(in, 0o755); err != nil {
		t.Fatal(err)
	}
	batchScans(t, in, 8, 1, 1.2)
	batchDone(t, dir, "alone", "--workers", "2")

	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := free.Addr().String()
	free.Close()
	_, port, _ := net.SplitHostPort(address)
	serve := func() *exec.Cmd {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), "FORNIX_TEST_SERVER="+filepath.Join(dir, "server"), "FORNIX_TEST_PORT="+port)
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { c.Process.Kill(); c.Wait() })
		for range 200 {
			if line, err := net.Dial("tcp", address); err == nil {
				line.Close()
				return c
			}
			time.Sleep(50 * time.Millisecond)
		}
		t.Fatal("the server does not start")
		return nil
	}
	server := serve()
	host, said, link := sharing(t, batchProcess(dir, "shared", "--workers", "1", "--share", "nats://lab:word@"+address))
	kept := working(t, workerProcess(link), address)
	defer kept.Wait()
	defer kept.Process.Kill()
	if os.Getenv("FORNIX_CUT") != "" { // its scan is given out again when it has been silent for 30 s
		killed := working(t, workerProcess(link), address)
		time.Sleep(300 * time.Millisecond)
		killed.Process.Kill()
		killed.Wait()
	}
	time.Sleep(300 * time.Millisecond) // into a scan
	server.Process.Kill()
	server.Wait()
	time.Sleep(time.Second)
	serve()
	for said.Scan() { // to the end
	}
	if err := host.Wait(); err != nil {
		t.Fatal(err)
	}
	sameTables(t, "a server elsewhere", filepath.Join(dir, "shared"), filepath.Join(dir, "alone"))
}
