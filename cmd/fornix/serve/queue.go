package serve

import (
	"context"
	"errors"
	"fmt"
	"log"
	"path"
	"runtime/debug"
	"sync"
	"time"

	"fornix/render"
)

// queue inspects what waits, one scan after the other: one inspection uses the processors well enough,
// and two would need the memory of two. A fault in one scan is told of that scan, and the next is begun.
type queue struct {
	store  *Store
	engine Engine
	log    *log.Logger

	mu    sync.Mutex
	n, id int // what is being inspected
	step  string
	since time.Time
}

func newQueue(s *Store, e Engine, l *log.Logger) *queue { return &queue{store: s, engine: e, log: l} }

// run inspects until ctx is done.
func (q *queue) run(ctx context.Context) {
	changed, done := q.store.Listen()
	defer done()
	for ctx.Err() == nil {
		if n, id, found := q.next(); found {
			if err := q.one(n, id); err != nil && !errors.Is(err, ErrNoCase) { // it was removed meanwhile
				// The disk refuses: trying again at once would not help.
				q.log.Printf("serve: case %s, scan %d: %v", folder(n), id, err)
				wait(ctx, 5*time.Second)
			}
			continue
		}
		if n, found := q.nextPair(); found {
			if err := q.pair(n); err != nil {
				q.log.Printf("serve: case %s, pair: %v", folder(n), err)
				wait(ctx, 5*time.Second)
			}
			continue
		}
		select {
		case <-ctx.Done():
		case <-changed:
		}
	}
}

func wait(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// next is the scan that has waited longest; what people dropped goes before what an inbox brought.
func (q *queue) next() (n, id int, found bool) {
	s := q.store
	s.mu.Lock()
	defer s.mu.Unlock()
	var best *Scan
	hand := false
	for m, st := range s.cases {
		for i := range st.Scans {
			k := &st.Scans[i]
			if k.Status != Waiting {
				continue
			}
			byHand := st.By == ByHand || k.Revision > 1
			if best == nil || byHand && !hand || byHand == hand && (k.Came.Before(best.Came) || k.Came.Equal(best.Came) && (m < n || m == n && k.ID < id)) {
				best, hand, n, id, found = k, byHand, m, k.ID, true
			}
		}
	}
	return n, id, found
}

// one inspects one scan. An error is one of the disk, which does not even take the reason why the scan
// failed.
func (q *queue) one(n, id int) error {
	k, ok, err := q.store.begin(n, id)
	if err != nil || !ok {
		return err
	}
	q.say(n, id, "reading the file")
	defer q.say(0, 0, "")
	if err := q.inspect(n, k); err != nil {
		return q.store.fail(n, k, err)
	}
	return nil
}

// inspect measures, judges and draws a scan.
func (q *queue) inspect(n int, k Scan) (err error) {
	defer func() {
		if p := recover(); p != nil {
			q.log.Printf("serve: case %s, scan %d: %v\n%s", folder(n), k.ID, p, debug.Stack())
			err = fmt.Errorf("fornix failed on this scan, which is a fault of fornix: %v", p)
		}
	}()
	opt, read, err := k.Ask.options()
	if err != nil {
		return err
	}
	opt.Step = func(name string) { q.say(n, k.ID, name) }
	f, err := q.store.disk.open(path.Join(folder(n), k.file()))
	if err != nil {
		return err
	}
	defer f.Close()
	o, err := q.engine.Inspect(f, k.file(), read, opt)
	if err != nil {
		return err
	}
	ok, err := q.store.measured(n, k, o.Report)
	if err != nil || !ok {
		return err
	}
	q.say(n, k.ID, "pictures")
	scan := render.NewScan(o.Mesh, o.Report)
	pictures, err := q.engine.Pictures(scan)
	if err != nil {
		return err
	}
	if err := q.store.drawn(n, k, pictures); err != nil {
		return err
	}
	q.say(n, k.ID, "the view in three dimensions")
	html, err := q.engine.Page(scan, pictures)
	if err != nil {
		return err
	}
	return q.store.finished(n, k, html)
}

func (q *queue) say(n, id int, step string) {
	q.mu.Lock()
	q.n, q.id, q.step, q.since = n, id, step, time.Now()
	q.mu.Unlock()
	q.store.mu.Lock()
	q.store.tell()
	q.store.mu.Unlock()
}

// stepOf is what is being done with a scan now; empty: nothing.
func (q *queue) stepOf(n, id int) string {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.n == n && q.id == id {
		return q.step
	}
	return ""
}
