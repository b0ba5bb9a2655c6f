package mesh

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
)

// plyValues gives the numbers of a PLY file one after the other.
type plyValues interface {
	value(kind plyKind) (float64, error)
	fail(format string, args ...any) error
	end() (read, trailing int64, err error) // reads to the end of the file
}

// plyText is the body of an ASCII file: words between white space.
type plyText struct{ *scanner }

func (t *plyText) value(plyKind) (float64, error) {
	w := t.word()
	if v, ok := number(w); ok {
		return v, nil
	}
	if len(w) == 0 {
		return 0, t.fail("the file ends early: the header promised more")
	}
	return 0, t.fail("expected a number, found %s", found(w))
}

func (t *plyText) end() (read, trailing int64, err error) {
	for {
		w := t.word()
		if len(w) == 0 {
			break
		}
		trailing += int64(len(w))
	}
	if !errors.Is(t.err, io.EOF) {
		return 0, 0, t.err
	}
	return t.base + int64(t.n), trailing, nil
}

// plyBinary is the body of a binary file.
type plyBinary struct {
	r    io.Reader
	buf  []byte
	i, n int
	base int64 // offset of buf[0]
	big  bool
	err  error
}

func (b *plyBinary) value(kind plyKind) (float64, error) {
	if b.n-b.i < kind.bytes {
		b.fill(kind.bytes)
		if b.n-b.i < kind.bytes {
			return 0, b.fail("the file ends early: the header promised more")
		}
	}
	var u uint64
	at := b.buf[b.i:b.n]
	b.i += kind.bytes
	order := binary.ByteOrder(binary.LittleEndian)
	if b.big {
		order = binary.BigEndian
	}
	switch kind.bytes {
	case 1:
		u = uint64(at[0])
	case 2:
		u = uint64(order.Uint16(at))
	case 4:
		u = uint64(order.Uint32(at))
	default:
		u = order.Uint64(at)
	}
	switch {
	case kind.form == 'f' && kind.bytes == 4:
		return float64(math.Float32frombits(uint32(u))), nil
	case kind.form == 'f':
		return math.Float64frombits(u), nil
	case kind.form == 'i':
		shift := 64 - 8*kind.bytes
		return float64(int64(u<<shift) >> shift), nil
	}
	return float64(u), nil
}

// fill makes at least n bytes available unless the file ends before.
func (b *plyBinary) fill(n int) {
	b.base += int64(b.i)
	b.n = copy(b.buf, b.buf[b.i:b.n])
	b.i = 0
	for b.n < n && b.err == nil {
		var m int
		m, b.err = b.r.Read(b.buf[b.n:])
		b.n += m
	}
}

func (b *plyBinary) fail(format string, args ...any) error {
	if b.err != nil && !errors.Is(b.err, io.EOF) {
		return b.err
	}
	return &FormatError{Offset: b.base + int64(b.i), Early: b.err != nil, Reason: fmt.Sprintf(format, args...)}
}

func (b *plyBinary) end() (read, trailing int64, err error) {
	trailing = int64(b.n - b.i)
	read = b.base + int64(b.n)
	for b.err == nil {
		var m int
		m, b.err = b.r.Read(b.buf)
		read += int64(m)
		trailing += int64(m)
	}
	if !errors.Is(b.err, io.EOF) {
		return 0, 0, b.err
	}
	return read, trailing, nil
}
