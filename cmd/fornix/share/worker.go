package share

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"fornix/cmd/fornix/batch"
)

// Queue is a batch.Board whose work comes from a host.
type Queue struct {
	nc      *nats.Conn
	id      string // the batch's
	js      jetstream.JetStream
	work    jetstream.Consumer
	scans   jetstream.ObjectStore
	results jetstream.ObjectStore
	about   About

	mu   sync.Mutex
	hand map[string]held
}

// held is work in hand: the message, and what ends saying that it is being worked on.
type held struct {
	msg  jetstream.Msg
	stop context.CancelFunc
}

// away is how long a server may be away before it is given up.
const away = time.Minute

// Join joins a host. A worker of another version is turned away, since its numbers may differ. A host
// that is away for longer than a minute is given up.
func Join(ctx context.Context, l Link, version string) (*Queue, error) {
	nc, err := l.connect()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", l.Address, err)
	}
	q, err := enter(ctx, nc, l.Batch, version)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", l.Address, err)
	}
	return q, nil
}

// silent keeps a connection from writing its troubles to the terminal: what they end tells its own error.
var silent = nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {})

// connect goes to the server of a link. It comes back by itself where the line is cut.
func (l Link) connect() (*nats.Conn, error) {
	opts := []nats.Option{nats.MaxReconnects(int(away / time.Second)), nats.ReconnectWait(time.Second), nats.Timeout(firstTry), silent}
	if l.User != "" {
		opts = append(opts, nats.UserInfo(l.User, l.Token))
	} else {
		opts = append(opts, nats.Token(l.Token))
	}
	scheme := "nats://"
	switch {
	case l.Certificate != "":
		opts = append(opts, nats.Secure(l.tls()))
		scheme = "tls://"
	case l.TLS:
		scheme = "tls://"
	}
	return nats.Connect(scheme+l.Address, opts...)
}

// How long one try may take: to ask the server something, and to move a scan or a result, of tens of MB over a
// slow line. What the server does not answer is tried again for tries times as long.
// The first tries are shorter, since what was under way when a server went is never heard of again.
const (
	asking   = 5 * time.Second
	moving   = 2 * time.Minute
	tries    = int(away / asking)
	firstTry = 10 * time.Second
)

// again does what asks the server, each try within a time, and does it again where the server does not
// answer.
func again(ctx context.Context, each time.Duration, do func(context.Context) error) error {
	within := min(each, firstTry)
	for begin := time.Now(); ; within = min(each, 2*within) {
		try, end := context.WithTimeout(ctx, within)
		err := do(try)
		end()
		if err == nil || !passes(err) || ctx.Err() != nil || time.Since(begin) > time.Duration(tries)*each {
			return err
		}
		select {
		case <-ctx.Done():
		case <-time.After(time.Second):
		}
	}
}

// errBehind is what a server of a cluster says of a thing that it has not heard of yet.
var errBehind = errors.New("the server has nothing of that name")

// passes tells of an error that the server is away, or a cluster without one to lead it, and will be back.
func passes(err error) bool {
	for _, away := range []error{nats.ErrTimeout, nats.ErrNoResponders, nats.ErrDisconnected, nats.ErrConnectionReconnecting,
		jetstream.ErrNoStreamResponse, jetstream.ErrJetStreamNotEnabled, context.DeadlineExceeded, os.ErrDeadlineExceeded, nats.ErrStaleConnection, errBehind} {
		if errors.Is(err, away) {
			return true
		}
	}
	var api *jetstream.APIError
	return errors.As(err, &api) && api.Code == 503 // not available
}

// fetch gets what was put there. ErrObjectNotFound means that it was removed: a server that has not heard of
// it, or has only a part, may lag behind the others, of whom any may answer the next question, and is asked
// again.
func fetch(ctx context.Context, store jetstream.ObjectStore, key string) (data []byte, err error) {
	err = again(ctx, moving, func(ctx context.Context) (err error) {
		switch data, err = store.GetBytes(ctx, key); {
		case errors.Is(err, jetstream.ErrDigestMismatch):
			return errBehind
		case errors.Is(err, jetstream.ErrObjectNotFound):
			if now, unknown := store.GetInfo(ctx, key, jetstream.GetObjectInfoShowDeleted()); unknown != nil || !now.Deleted {
				return errBehind
			}
		}
		return err
	})
	return data, err
}

// enter makes a queue of a connection, which is closed where that fails.
func enter(ctx context.Context, nc *nats.Conn, id, version string) (*Queue, error) {
	q := &Queue{nc: nc, id: id, hand: map[string]held{}}
	if err := q.begin(ctx, version); err != nil {
		nc.Close()
		return nil, err
	}
	return q, nil
}

func (q *Queue) begin(ctx context.Context, version string) (err error) {
	ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
	defer cancel()
	if q.js, err = jetstream.New(q.nc); err != nil {
		return err
	}
	kv, err := q.js.KeyValue(ctx, aboutBucket+q.id)
	if err != nil {
		return err
	}
	entry, err := kv.Get(ctx, aboutKey)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(entry.Value(), &q.about); err != nil {
		return err
	}
	if q.about.Version != version {
		return fmt.Errorf("the batch is measured by %s, and this is %s", q.about.Version, version)
	}
	if q.scans, err = q.js.ObjectStore(ctx, scanBucket+q.id); err != nil {
		return err
	}
	if q.results, err = q.js.ObjectStore(ctx, resultBucket+q.id); err != nil {
		return err
	}
	q.work, err = q.js.Consumer(ctx, workStream+q.id, workersName)
	return err
}

// About is what the host asks for.
func (q *Queue) About() About { return q.about }

// Close leaves the host. What is in hand is given to another.
func (q *Queue) Close() { q.nc.Close() }

// Take waits for work. ok is false when ctx is done or the host has gone.
func (q *Queue) Take(ctx context.Context) (batch.Work, bool, error) {
	for ctx.Err() == nil && !q.nc.IsClosed() {
		msgs, err := q.work.Fetch(1, jetstream.FetchMaxWait(time.Second))
		if err != nil {
			if q.nc.IsClosed() {
				break
			}
			time.Sleep(time.Second) // the host is away: ask again
			continue
		}
		for m := range msgs.Messages() {
			if w, ok := q.open(ctx, m); ok {
				return w, true, nil
			}
		}
	}
	return batch.Work{}, false, nil
}

// open gets the scan of a message. ok is false where there is nothing to measure.
func (q *Queue) open(ctx context.Context, m jetstream.Msg) (w batch.Work, ok bool) {
	var o order
	meta, err := m.Metadata()
	if err != nil || json.Unmarshal(m.Data(), &o) != nil {
		m.Term()
		return w, false
	}
	w = batch.Work{Key: o.Key, Name: o.Name, Jaw: o.Jaw, Unit: o.Unit}
	busy, stop := context.WithCancel(context.WithoutCancel(ctx))
	go func() {
		tick := time.NewTicker(q.about.Patience / 3)
		defer tick.Stop()
		for {
			select {
			case <-busy.Done():
				return
			case <-tick.C:
				m.InProgress()
			}
		}
	}()
	q.mu.Lock()
	q.hand[w.Key] = held{m, stop}
	q.mu.Unlock()
	if meta.NumDelivered > mostTries {
		q.Put(w, batch.Result{Reason: fmt.Sprintf("it ended its worker %d times and was set aside", mostTries)})
		return w, false
	}
	if w.Content, err = fetch(ctx, q.scans, o.Key); err != nil {
		q.mu.Lock()
		delete(q.hand, w.Key)
		q.mu.Unlock()
		stop()
		if errors.Is(err, jetstream.ErrObjectNotFound) {
			m.Term() // its result is there already
		} else {
			m.Nak()
		}
		return w, false
	}
	return w, true
}

// Put sends the result to the host; only then is the work done.
func (q *Queue) Put(w batch.Work, r batch.Result) error {
	q.mu.Lock()
	h, inHand := q.hand[w.Key]
	delete(q.hand, w.Key)
	q.mu.Unlock()
	if !inHand {
		return nil
	}
	defer h.stop()
	data, err := json.Marshal(r)
	if err != nil {
		return err
	}
	text, err := json.Marshal(done{w.Key, q.about.Version})
	if err != nil {
		return err
	}
	ctx := context.Background()
	if err := again(ctx, moving, func(ctx context.Context) error { _, err := q.results.PutBytes(ctx, w.Key, data); return err }); err != nil {
		return err
	}
	if err := again(ctx, asking, func(ctx context.Context) error { _, err := q.js.Publish(ctx, doneSubject+q.id, text); return err }); err != nil {
		return err
	}
	h.msg.Ack() // what is not heard is given out again, and its scan is gone then
	return nil
}
