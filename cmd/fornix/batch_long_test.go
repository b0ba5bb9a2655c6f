//go:build linux

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// Many small scans with bad files among them: complete, in memory that does not grow with their number,
// nearly twice as fast on two cores. FORNIX_BATCH=300 runs it with 300, of which 12 are bad; on
// two quiet cores that takes about a quarter of an hour.
func TestBatchOfMany(t *testing.T) {
	if longBatch() == 0 {
		t.Skip("FORNIX_BATCH asks for it")
	}
	scans := longBatch()
	bad := max(1, scans/25)
	dir := t.TempDir()
	in := filepath.Join(dir, "in")
	if err := os.Mkdir(in, 0o755); err != nil {
		t.Fatal(err)
	}
	batchScans(t, in, scans-bad, bad, 1.2)
	measure := func(out, memory string, more ...string) (time.Duration, int64, string) {
		c := batchProcess(dir, out, append([]string{"--memory", memory}, more...)...)
		start := time.Now()
		said, err := c.CombinedOutput()
		if err != nil {
			t.Fatalf("%v\n%s", err, said)
		}
		return time.Since(start), c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss << 10, string(said)
	}
	two, most, said := measure("two", "1024", "--workers", "2")
	if !strings.Contains(said, fmt.Sprintf("%d scans, ", scans)) || !strings.Contains(said, fmt.Sprintf(", %d could not be read", bad)) {
		t.Errorf("it says\n%s", said)
	}
	table, err := os.ReadFile(filepath.Join(dir, "two", "scans.csv"))
	if err != nil || strings.Count(string(table), ",failed,") != bad || strings.Count(string(table), ",measured,") != scans-bad {
		t.Errorf("%d rows failed, %d were measured: %v", strings.Count(string(table), ",failed,"), strings.Count(string(table), ",measured,"), err)
	}
	one, _, _ := measure("one", "1024", "--workers", "1")
	sameTables(t, "one worker", filepath.Join(dir, "one"), filepath.Join(dir, "two"))

	// A tenth of them: what it needs more for ten times as many is the list of their rows.
	few := filepath.Join(dir, "few", "in")
	if err := os.MkdirAll(few, 0o755); err != nil {
		t.Fatal(err)
	}
	for i := range scans / 10 {
		name := fmt.Sprintf("%03d.stl", i)
		if err := os.Link(filepath.Join(in, name), filepath.Join(few, name)); err != nil {
			t.Fatal(err)
		}
	}
	c := batchProcess(filepath.Join(dir, "few"), "out", "--memory", "1024", "--workers", "2")
	if out, err := c.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	little := c.ProcessState.SysUsage().(*syscall.Rusage).Maxrss << 10
	t.Logf("%d scans: %.0f s with 1 worker, %.0f s with 2, %.2f times as fast; at most %d MiB in memory, with a tenth of them %d MiB",
		scans, one.Seconds(), two.Seconds(), one.Seconds()/two.Seconds(), most>>20, little>>20)
	if ratio := one.Seconds() / two.Seconds(); ratio < 1.8 {
		t.Errorf("two workers are %.2f times as fast as one", ratio)
	}
	if most > little+64<<20 {
		t.Errorf("%d scans took %d MiB, a tenth of them %d", scans, most>>20, little>>20)
	}
}
