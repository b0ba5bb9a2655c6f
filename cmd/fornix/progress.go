package main

import (
	"fmt"
	"io"
	"os"

	"golang.org/x/term"
)

// progress is one line on a terminal that says what is going on. Into a file or pipe it writes
// nothing.
type progress struct {
	w     io.Writer
	width int
}

func newProgress(w io.Writer) *progress {
	if f, ok := w.(*os.File); ok && term.IsTerminal(int(f.Fd())) {
		return &progress{w: w}
	}
	return &progress{}
}

func (p *progress) say(format string, args ...any) {
	if p.w == nil {
		return
	}
	p.clear()
	text := fmt.Sprintf(format, args...)
	p.width = len(text)
	fmt.Fprint(p.w, text)
}

func (p *progress) clear() {
	if p.w != nil && p.width > 0 {
		fmt.Fprintf(p.w, "\r%*s\r", p.width, "")
		p.width = 0
	}
}
