package mesh

import (
	"errors"
	"io"
)

// ahead reads on while what came before is taken in. It is for readers that tell their size: of one that may
// wait, such as a pipe, stop would wait too.
type ahead struct {
	size int64
	full chan block
	free chan []byte
	now  block
	rest []byte // of now, not given yet
}

// block is what was read at once, and why no more comes after it.
type block struct {
	b   []byte
	err error
}

const (
	aheadFrom   = 4 << 20 // bytes; fewer are read in no time
	aheadBlocks = 4
)

func readAhead(r io.Reader, size int64) *ahead {
	a := &ahead{size: size, full: make(chan block, aheadBlocks), free: make(chan []byte, aheadBlocks)}
	for range aheadBlocks {
		a.free <- make([]byte, blockBytes)
	}
	go func() {
		defer close(a.full)
		for b := range a.free {
			n, err := io.ReadFull(r, b)
			if errors.Is(err, io.ErrUnexpectedEOF) {
				err = io.EOF
			}
			a.full <- block{b[:n], err}
			if err != nil {
				return
			}
		}
	}()
	return a
}

// Len tells the size that it was made with.
func (a *ahead) Len() int { return int(a.size) }

func (a *ahead) Read(p []byte) (int, error) {
	for len(a.rest) == 0 {
		if a.now.err != nil {
			return 0, a.now.err
		}
		if a.now.b != nil {
			a.free <- a.now.b
		}
		a.now = <-a.full
		a.rest = a.now.b
	}
	n := copy(p, a.rest)
	a.rest = a.rest[n:]
	return n, nil
}

// stop returns when nothing is read any more.
func (a *ahead) stop() {
	close(a.free)
	for range a.full {
	}
}
