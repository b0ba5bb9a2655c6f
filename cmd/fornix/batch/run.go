// Package batch measures many scans: it lists them, takes what is not yet done, keeps each result
// whole, and makes tables of all.
//
// A result is kept by the hash of all that it depends on: the scan's bytes, what the user says of
// it, the protocol and the program. So a batch that was stopped or killed goes on where it was, and
// one with more scans measures only the new ones. Tables are made from the kept results in the
// order of the rows: they have the same bytes for any number of workers, any order of inputs and
// any number of ends in between.
package batch

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"golang.org/x/sync/errgroup"
)

// Work is one scan to measure: all that a worker needs, wherever it is.
type Work struct {
	Key     string
	Name    string // the file's, for the report
	Jaw     string
	Unit    string
	Content []byte
}

// Board is where work is taken from and results are put: a folder here, a queue that many machines
// share elsewhere. It is safe for concurrent use.
type Board interface {
	// Take gives the next scan; ok is false where none is left or ctx is done.
	Take(ctx context.Context) (w Work, ok bool, err error)
	// Put keeps the result of work that was taken. Twice the same is once.
	Put(w Work, r Result) error
}

// Measure makes a result of a scan. It depends on nothing but the work.
type Measure func(Work) Result

// Serve takes work until none is left. What is in hand when ctx ends is finished.
func Serve(ctx context.Context, b Board, measure Measure) error {
	for {
		w, ok, err := b.Take(ctx)
		if err != nil || !ok {
			return err
		}
		if err := b.Put(w, measure(w)); err != nil {
			return err
		}
	}
}

// ServeAll does so with a number of workers.
func ServeAll(ctx context.Context, b Board, workers int, measure Measure) error {
	var g errgroup.Group
	for range workers {
		g.Go(func() error { return Serve(ctx, b, measure) })
	}
	return g.Wait()
}

// Options say how a batch is run.
type Options struct {
	Dir      string
	Workers  int   // scans measured at once, at least 1
	Memory   int64 // bytes that all of them may need together
	Page     bool  // results are done only with their page
	Protocol [sha256.Size]byte
	Version  string // of the program; another one measures anew
	Measure  Measure
	Say      Listener

	// Share has a board's work done elsewhere, until none is left or ctx ends; nil: Workers do it here.
	Share func(ctx context.Context, b Board) error
}

// Listener is told how a batch goes on. Calls come one at a time.
type Listener interface {
	Counted(rows, done int)       // before the first scan is measured
	Measured(path, failed string) // one more; failed: why it could not be read
}

// Run measures what is not yet done and sets key or reason of each row. It gives the error of ctx
// where it ended early: what was in hand is finished and kept, and the rows are not whole.
func Run(ctx context.Context, s *Store, rows []Row, o Options) error {
	if err := identify(ctx, rows, o); err != nil {
		return err
	}
	b := newFolder(s, rows, o)
	unread := 0
	for _, r := range rows {
		if r.Reason != "" {
			unread++
		}
	}
	o.Say.Counted(len(rows), len(rows)-len(b.todo)-unread)
	for _, r := range rows {
		if r.Reason != "" {
			o.Say.Measured(r.Path, r.Reason)
		}
	}
	share := o.Share
	if share == nil {
		share = func(ctx context.Context, b Board) error { return ServeAll(ctx, b, o.Workers, o.Measure) }
	}
	if err := share(ctx, b); err != nil {
		return err
	}
	if b.next < len(b.todo) {
		return ctx.Err()
	}
	return nil
}

// identify reads every file once and sets hash and key, or the reason why it could not be read.
func identify(ctx context.Context, rows []Row, o Options) error {
	var g errgroup.Group
	g.SetLimit(o.Workers)
	for i := range rows {
		if ctx.Err() != nil {
			break
		}
		g.Go(func() error {
			rows[i].identify()
			if rows[i].Reason == "" {
				rows[i].Key = Key(rows[i], o.Protocol, o.Version)
			}
			return nil
		})
	}
	g.Wait()
	return ctx.Err()
}

func (r *Row) identify() {
	f, err := open(r.Path)
	if err != nil {
		r.Reason = err.Error()
		return
	}
	defer f.Close()
	h := sha256.New()
	if r.bytes, err = io.Copy(h, f); err != nil {
		r.Reason = plain(err).Error()
		return
	}
	r.SHA256 = hex.EncodeToString(h.Sum(nil))
}

// open opens a file that is to be read as a scan.
func open(path string) (*os.File, error) {
	f, err := os.Open(filepath.FromSlash(path))
	if err != nil {
		return nil, plain(err)
	}
	if info, err := f.Stat(); err == nil && !info.Mode().IsRegular() {
		f.Close()
		return nil, errors.New("is no file")
	}
	return f, nil
}

// plain is an error of the file system without the operation and the path.
func plain(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// folder is the Board of one machine.
type folder struct {
	store *Store
	rows  []Row
	say   Listener
	mem   *budget

	mu   sync.Mutex
	todo []int // rows to measure, one for each key
	next int
	at   map[string]int // row by key of what was taken
}

func newFolder(s *Store, rows []Row, o Options) *folder {
	b := &folder{store: s, rows: rows, say: o.Say, mem: newBudget(o.Memory), at: map[string]int{}}
	seen := map[string]bool{}
	for i, r := range rows {
		if r.Key == "" || seen[r.Key] || s.Has(r.Key, o.Page) {
			continue
		}
		seen[r.Key] = true
		b.todo = append(b.todo, i)
	}
	return b
}

// Take reads the next scan when there is memory for it.
func (b *folder) Take(ctx context.Context) (w Work, ok bool, err error) {
	for {
		b.mu.Lock()
		if ctx.Err() != nil || b.next == len(b.todo) {
			b.mu.Unlock()
			return w, false, nil
		}
		i := b.todo[b.next]
		b.next++
		r := &b.rows[i]
		b.at[r.Key] = i
		b.mu.Unlock()

		b.mem.take(Need(r.Path, r.bytes))
		content, err := read(r)
		if err == nil {
			return Work{Key: r.Key, Name: filepath.Base(filepath.FromSlash(r.Path)), Jaw: r.Jaw, Unit: r.Unit, Content: content}, true, nil
		}
		b.mem.give(Need(r.Path, r.bytes))
		b.mu.Lock()
		r.Key, r.Reason = "", err.Error()
		b.say.Measured(r.Path, r.Reason)
		b.mu.Unlock()
	}
}

// read reads a scan again, whose hash is known.
func read(r *Row) ([]byte, error) {
	f, err := open(r.Path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	content := make([]byte, r.bytes)
	if _, err := io.ReadFull(f, content); err != nil && !errors.Is(err, io.EOF) {
		return nil, plain(err)
	}
	if sum := sha256.Sum256(content); hex.EncodeToString(sum[:]) != r.SHA256 {
		return nil, errors.New("the file changed while the batch ran")
	}
	return content, nil
}

// Put keeps the result.
func (b *folder) Put(w Work, r Result) error {
	err := b.store.Put(w.Key, r)
	b.mu.Lock()
	defer b.mu.Unlock()
	row := &b.rows[b.at[w.Key]]
	b.mem.give(Need(row.Path, row.bytes))
	if err == nil {
		b.say.Measured(row.Path, r.Reason)
	}
	return err
}
