package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// batchScans writes n coarse phantoms, no two alike, and bad files among them into dir.
func batchScans(t *testing.T, dir string, n, bad int, spacing float64) {
	t.Helper()
	for i := range n {
		p := phantom.Default([]string{"upper", "lower"}[i%2])
		p.Seed = int64(i + 1)
		p.Spacing = spacing
		made, err := phantom.Make(p)
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := mesh.WriteSTL(&b, made.Mesh, "batch"); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%03d.stl", i)), b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for i := range bad {
		text := []string{"", "solid x\nfacet", strings.Repeat("\x00", 84), "no scan at all"}[i%4] + strings.Repeat(" ", i/4)
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("%03d-bad-%d.stl", i*n/bad, i)), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// batchProcess is fornix batch in a process of its own.
func batchProcess(dir, out string, more ...string) *exec.Cmd {
	c := exec.Command(os.Args[0])
	c.Dir = dir
	c.Env = append(os.Environ(), "FORNIX_ARGS="+strings.Join(append([]string{"batch", "in", "--out", out}, more...), "\n"))
	return c
}

func batchDone(t *testing.T, dir, out string, more ...string) string {
	t.Helper()
	c := batchProcess(dir, out, more...)
	text, err := c.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return string(text)
}

// sameTables compares all that a batch makes with what another made.
func sameTables(t *testing.T, what, got, want string) {
	t.Helper()
	n := 0
	err := filepath.WalkDir(want, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == ".measuring" {
			return err
		}
		n++
		rel, _ := filepath.Rel(want, path)
		a, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if b, err := os.ReadFile(filepath.Join(got, rel)); err != nil || !bytes.Equal(a, b) {
			t.Errorf("%s: %s is not the same (%v)", what, rel, err)
		}
		return nil
	})
	if err != nil || n < 6 {
		t.Errorf("%d files: %v", n, err)
	}
}

// longBatch is how many scans FORNIX_BATCH asks for in the long tests, one of which kills 50 times; 0: none.
func longBatch() int {
	n, _ := strconv.Atoi(os.Getenv("FORNIX_BATCH"))
	return n
}

// A batch that is killed at random moments and started again makes the tables of one that ran through,
// whatever the number of its workers.
func TestBatchSurvivesKills(t *testing.T) {
	dir := t.TempDir()
	in := filepath.Join(dir, "in")
	if err := os.Mkdir(in, 0o755); err != nil {
		t.Fatal(err)
	}
	scans, kills := 3, 5
	if longBatch() > 0 {
		scans, kills = 20, 50
	}
	batchScans(t, in, scans, 4, 1.5)
	start := time.Now()
	said := batchDone(t, dir, "through", "--workers", "1")
	whole := time.Since(start)
	if want := fmt.Sprintf("%d scans", scans+4); !strings.Contains(said, want) || !strings.Contains(said, "4 could not be read") {
		t.Errorf("it says\n%s", said)
	}
	seed := uint64(time.Now().UnixNano())
	rng := rand.New(rand.NewPCG(seed, 0))
	killed, done := 0, 0
	for killed < kills && done < 10*kills {
		c := batchProcess(dir, "killed", "--workers", strconv.Itoa(1+rng.IntN(3)))
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		// One run in twenty parts, so that kills fall into beginning, middle and end of the whole.
		timer := time.AfterFunc(time.Duration(rng.Float64()*float64(whole)*2/float64(kills)), func() { c.Process.Kill() })
		if c.Wait() == nil {
			done++ // before the kill; begin anew
			os.RemoveAll(filepath.Join(dir, "killed"))
		} else {
			killed++
		}
		timer.Stop()
	}
	batchDone(t, dir, "killed")
	sameTables(t, fmt.Sprintf("seed %d", seed), filepath.Join(dir, "killed"), filepath.Join(dir, "through"))
	t.Logf("seed %d: %d kills, %d runs ended before", seed, killed, done)
	if killed < kills {
		t.Errorf("killed %d times of %d", killed, kills)
	}
}

// Ctrl-C keeps what was in hand and says how far it came.
func TestBatchStops(t *testing.T) {
	if os.PathSeparator != '/' {
		t.Skip("no such signal here")
	}
	dir := t.TempDir()
	in := filepath.Join(dir, "in")
	if err := os.Mkdir(in, 0o755); err != nil {
		t.Fatal(err)
	}
	batchScans(t, in, 2, 1, 1.5)
	c := batchProcess(dir, "out", "--workers", "1")
	var said bytes.Buffer
	c.Stderr = &said
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	for range 3000 { // until the first result is there
		if found, _ := filepath.Glob(filepath.Join(dir, "out", "reports", "??", "*", "*.json")); len(found) > 0 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	c.Process.Signal(syscall.SIGINT)
	c.Wait()
	if c.ProcessState.ExitCode() != exitFailed || !strings.Contains(said.String(), "stopped: ") || !strings.Contains(said.String(), "of 3 scans are done\nhint: the same command does the rest") {
		t.Errorf("exit code %d\n%s", c.ProcessState.ExitCode(), said.String())
	}
	if _, err := os.Stat(filepath.Join(dir, "out", "scans.csv")); err == nil {
		t.Error("there are tables of half a batch")
	}
	if said := batchDone(t, dir, "out"); !strings.Contains(said, "3 scans, ") {
		t.Errorf("%s", said)
	}
}

func TestBatchProgress(t *testing.T) {
	var b bytes.Buffer
	p := newBatchProgress(&b, false)
	now := time.Unix(0, 0)
	p.clock = func() time.Time { return now }
	p.Counted(100, 40)
	for range 15 {
		now = now.Add(2 * time.Second)
		p.Measured("a.stl", "")
	}
	p.Measured("b.stl", "byte 3: no scan")
	const want = "40 of 100 need no measuring\n45 of 100, 30 a minute, 1m50s left\n50 of 100, 30 a minute, 1m40s left\n" +
		"55 of 100, 30 a minute, 1m30s left\nfornix: b.stl: byte 3: no scan\n"
	if b.String() != want {
		t.Errorf("it says\n%s", b.String())
	}
	if got := bar(13, 40); got != "[######..............]" {
		t.Error(got)
	}
}
