package mesh

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"runtime"
	"slices"
	"testing"
	"testing/iotest"
	"time"
)

// What is read ahead comes in order and whole, with the reader's own error at its end, whatever the sizes.
func TestReadAhead(t *testing.T) {
	content := make([]byte, 7*blockBytes+11)
	for i := range content {
		content[i] = byte(i * i >> 7)
	}
	broken := errors.New("the stick was pulled out")
	for _, size := range []int{0, 1, blockBytes - 1, blockBytes, blockBytes + 1, 2 * blockBytes, len(content)} {
		for name, r := range map[string]io.Reader{
			"whole":  bytes.NewReader(content[:size]),
			"halves": iotest.HalfReader(bytes.NewReader(content[:size])),
			"broken": io.MultiReader(bytes.NewReader(content[:size]), iotest.ErrReader(broken)),
		} {
			want := error(nil)
			if name == "broken" {
				want = broken
			}
			a := readAhead(r, int64(size))
			if a.Len() != size {
				t.Errorf("%d bytes, %s: told as %d", size, name, a.Len())
			}
			var got bytes.Buffer
			p := make([]byte, 70001)
			_, err := io.CopyBuffer(struct{ io.Writer }{&got}, struct{ io.Reader }{a}, p)
			a.stop()
			if !errors.Is(err, want) || !slices.Equal(got.Bytes(), content[:size]) {
				t.Errorf("%d bytes, %s: %d came, %v", size, name, got.Len(), err)
			}
		}
	}
}

// counting is slow and counts what is asked of it.
type counting struct {
	r     *bytes.Reader
	asked int
}

func (c *counting) Read(p []byte) (int, error) {
	time.Sleep(time.Millisecond)
	c.asked++
	return c.r.Read(p)
}

func (c *counting) Len() int { return c.r.Len() }

// A large file that is refused for its first faces is not read to its end, and not at all after Read has returned.
func TestReadAheadStops(t *testing.T) {
	bad := make([]byte, 8*aheadFrom)
	binary.LittleEndian.PutUint32(bad[80:], 1<<19)
	before := runtime.NumGoroutine()
	c := &counting{r: bytes.NewReader(bad)}
	if _, _, err := Read(c, ReadOptions{MostFaces: 100}); err == nil {
		t.Fatal("no error")
	}
	asked, left := c.asked, c.r.Len()
	time.Sleep(20 * time.Millisecond)
	if c.asked != asked || left < 6*aheadFrom {
		t.Errorf("asked %d times, then %d; %d bytes left", asked, c.asked, left)
	}
	if n := runtime.NumGoroutine(); n > before {
		t.Errorf("%d goroutines, %d before", n, before)
	}
}
