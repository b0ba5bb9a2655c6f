package main

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"time"
)

// batchProgress tells how a batch goes on: a bar on a terminal, elsewhere a line now and then, and a
// line for each scan that could not be read.
type batchProgress struct {
	mu    sync.Mutex
	line  *progress
	w     io.Writer
	quiet bool
	clock func() time.Time

	rows, before, done int // before: of an earlier run
	began, told        time.Time
}

// How often the bar is drawn anew, and a line is written.
const (
	barEvery  = 200 * time.Millisecond
	lineEvery = 10 * time.Second
)

func newBatchProgress(w io.Writer, quiet bool) *batchProgress {
	p := &batchProgress{line: newProgress(w), w: w, quiet: quiet, clock: time.Now}
	if quiet {
		p.line = &progress{}
	}
	p.line.say("reading")
	return p
}

// Counted is told before the first scan.
func (p *batchProgress) Counted(rows, done int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.rows, p.before, p.done = rows, done, done
	p.began = p.clock()
	p.told = p.began
	if p.line.w == nil && !p.quiet && done > 0 && done < rows {
		fmt.Fprintf(p.w, "%d of %d need no measuring\n", done, rows)
	}
}

// Measured is told of each scan.
func (p *batchProgress) Measured(path, failed string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done++
	if failed != "" {
		p.line.clear()
		fmt.Fprintf(p.w, "fornix: %s: %s\n", path, failed)
	}
	now := p.clock()
	switch {
	case p.quiet:
	case p.line.w != nil:
		if now.Sub(p.told) >= barEvery || failed != "" {
			p.told = now
			p.line.say("%s", bar(p.done, p.rows)+" "+p.text(now))
		}
	case now.Sub(p.told) >= lineEvery:
		p.told = now
		fmt.Fprintln(p.w, p.text(now))
	}
}

// bar is 20 signs wide.
func bar(done, all int) string {
	n := 20 * done / max(all, 1)
	return "[" + strings.Repeat("#", n) + strings.Repeat(".", 20-n) + "]"
}

// text says how many are done, how fast it goes and how long it may still take: by the rate so far.
func (p *batchProgress) text(now time.Time) string {
	out := fmt.Sprintf("%d of %d", p.done, p.rows)
	spent, n := now.Sub(p.began), p.done-p.before
	if n <= 0 || spent <= 0 {
		return out
	}
	left := time.Duration(float64(spent) / float64(n) * float64(p.rows-p.done))
	return out + fmt.Sprintf(", %.3g a minute, %s left", float64(n)/spent.Minutes(), left.Round(time.Second))
}

// stopping is told when the user wants to stop.
func (p *batchProgress) stopping() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.line.clear()
	fmt.Fprintln(p.w, "fornix: finishing the scans in hand; Ctrl-C again ends at once")
}

func (p *batchProgress) end() { p.line.clear() }

// state says how far it came.
func (p *batchProgress) state() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return fmt.Sprintf("%d of %d scans are done", p.done, p.rows)
}
