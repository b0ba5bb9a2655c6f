// Package share gives the work of a batch to many machines, by a queue (NATS JetStream) that runs inside
// the program which holds the batch.
//
// The host takes work from a batch.Board, lays the scan into an object store and a message into a
// work queue; a worker takes the message, measures, lays the result beside it and says so; the host
// puts it onto the board. Each step may happen twice and none is lost: a message is gone only when
// the result of its work is there, and a result is known by its key. A scan that ends its
// worker three times is set aside with its reason.
package share

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/errgroup"

	"fornix/cmd/fornix/batch"
)

// Names in the queue's server.
const (
	workStream   = "WORK"
	doneStream   = "DONE"
	workSubject  = "fornix.work"
	doneSubject  = "fornix.done"
	scanBucket   = "scans"
	resultBucket = "results"
	aboutBucket  = "about"
	aboutKey     = "batch"
	workersName  = "workers"
	hostName     = "host"
)

// mostTries is how often a scan may end its worker.
const mostTries = 3

// patience is how long a worker may be silent before its scan is given to another, where About does
// not say.
const patience = 30 * time.Second

// About says what a worker must be to take part.
type About struct {
	Version  string `json:"version"`  // of the program
	Protocol string `json:"protocol"` // as TOML
	Images   bool   `json:"images"`

	// Patience is how long a worker may be silent before its scan is given to another; one that
	// measures says so every third of it.
	Patience time.Duration `json:"patience"`
}

// order is a message of the work queue. The scan lies in the object store under its key.
type order struct {
	Key  string `json:"key"`
	Name string `json:"name"`
	Jaw  string `json:"jaw,omitempty"`
	Unit string `json:"unit,omitempty"`
}

// done says that the result of a key is there, or why there is none.
type done struct {
	Key     string `json:"key"`
	Version string `json:"version"`
}

// Host holds the queue of one batch.
type Host struct {
	server *server.Server
	nc     *nats.Conn
	js     jetstream.JetStream
	dir    string
	about  About
	link   Link
}

// Listen starts a queue at the address, its files in dir, which is its own: what an earlier one left
// there is removed, since the batch's results say what is done. Off this machine's loopback
// everything goes through TLS. Whoever has the link may work.
func Listen(address, dir string, about About) (*Host, error) {
	host, port, err := splitAddress(address)
	if err != nil {
		return nil, err
	}
	if err := os.RemoveAll(dir); err != nil {
		return nil, err
	}
	if about.Patience <= 0 {
		about.Patience = patience
	}
	link := newLink()
	opt := &server.Options{
		ServerName: "fornix", Host: host, Port: port, JetStream: true, StoreDir: dir, NoSigs: true, NoLog: true,
		Authorization: link.Token, MaxPayload: 1 << 20, DisableJetStreamBanner: true,
	}
	if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
		if opt.TLSConfig, link.Certificate, err = certificate(); err != nil {
			return nil, err
		}
		opt.TLS, opt.TLSTimeout = true, 10
	}
	s, err := server.NewServer(opt)
	if err != nil {
		return nil, err
	}
	s.Start()
	h := &Host{server: s, dir: dir, about: about, link: link}
	if !s.ReadyForConnections(10 * time.Second) {
		h.Close()
		return nil, fmt.Errorf("the queue does not start at %s", address)
	}
	h.link.Address = s.Addr().String()
	if err := h.begin(); err != nil {
		h.Close()
		return nil, err
	}
	return h, nil
}

// begin makes the streams and stores.
func (h *Host) begin() (err error) {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	if h.nc, err = nats.Connect("", nats.InProcessServer(h.server), nats.Token(h.link.Token)); err != nil {
		return err
	}
	if h.js, err = jetstream.New(h.nc); err != nil {
		return err
	}
	for name, subject := range map[string]string{workStream: workSubject, doneStream: doneSubject} {
		_, err := h.js.CreateStream(ctx, jetstream.StreamConfig{Name: name, Subjects: []string{subject}, Retention: jetstream.WorkQueuePolicy, Storage: jetstream.FileStorage})
		if err != nil {
			return err
		}
	}
	for _, bucket := range []string{scanBucket, resultBucket} {
		if _, err := h.js.CreateObjectStore(ctx, jetstream.ObjectStoreConfig{Bucket: bucket, Storage: jetstream.FileStorage}); err != nil {
			return err
		}
	}
	if _, err := h.js.CreateConsumer(ctx, workStream, jetstream.ConsumerConfig{Durable: workersName, AckPolicy: jetstream.AckExplicitPolicy, AckWait: h.about.Patience, MaxAckPending: -1}); err != nil {
		return err
	}
	kv, err := h.js.CreateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: aboutBucket})
	if err != nil {
		return err
	}
	text, err := json.Marshal(h.about)
	if err != nil {
		return err
	}
	_, err = kv.Put(ctx, aboutKey, text)
	return err
}

// Link is what a worker needs to join.
func (h *Host) Link() Link { return h.link }

// Join lets workers of this program join without the network.
func (h *Host) Join(ctx context.Context) (*Queue, error) {
	nc, err := nats.Connect("", nats.InProcessServer(h.server), nats.Token(h.link.Token))
	if err != nil {
		return nil, err
	}
	return enter(ctx, nc, h.about.Version)
}

// Close ends the queue and removes its files.
func (h *Host) Close() error {
	if h.nc != nil {
		h.nc.Close()
	}
	h.server.Shutdown()
	h.server.WaitForShutdown()
	return os.RemoveAll(h.dir)
}

// bridge carries work from a board to the queue, and results back.
type bridge struct {
	h       *Host
	b       batch.Board
	scans   jetstream.ObjectStore
	results jetstream.ObjectStore
	workers jetstream.Consumer

	mu     sync.Mutex
	out    map[string]batch.Work // by key, without content
	taking map[string]bool       // keys of out whose result is being put onto the board
}

// pause is between two looks at the queue.
const pause = 10 * time.Millisecond

// Serve gives all work of the board to workers, so many scans ahead of those that they have in hand, and
// ends when every result is back. When ctx ends it gives out no more and waits for what is out.
func (h *Host) Serve(ctx context.Context, b batch.Board, ahead int) error {
	always := context.WithoutCancel(ctx)
	br := &bridge{h: h, b: b, out: map[string]batch.Work{}, taking: map[string]bool{}}
	var err error
	if br.workers, err = h.js.Consumer(always, workStream, workersName); err != nil {
		return err
	}
	if br.scans, err = h.js.ObjectStore(always, scanBucket); err != nil {
		return err
	}
	if br.results, err = h.js.ObjectStore(always, resultBucket); err != nil {
		return err
	}
	back, stop := context.WithCancelCause(always)
	defer stop(nil)
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		if err := br.collect(back); err != nil {
			stop(err)
		}
	}()
	err = br.give(ctx, back, ahead)
	for back.Err() == nil && br.waits() {
		time.Sleep(pause)
	}
	failed := back.Err() != nil
	if failed && err == nil {
		err = context.Cause(back)
	}
	stop(nil)
	<-ended
	return err
}

// waits tells whether results are still to come.
func (br *bridge) waits() bool {
	br.mu.Lock()
	defer br.mu.Unlock()
	return len(br.out) > 0
}

// room waits until fewer than ahead scans lie in the queue that no worker has in hand, and returns how many
// more may lie there; 0 when ctx ended.
func (br *bridge) room(ctx, back context.Context, ahead int) (int, error) {
	for ctx.Err() == nil && back.Err() == nil {
		info, err := br.workers.Info(back)
		if err != nil {
			return 0, err
		}
		if n := int(info.NumPending); n < ahead {
			return ahead - n, nil
		}
		time.Sleep(pause)
	}
	return 0, context.Cause(back)
}

// hands is how many scans are laid into the queue, or taken from it, at once: each takes some answers of
// the server one after the other.
const hands = 16

// give lays work into the queue.
func (br *bridge) give(ctx, back context.Context, ahead int) error {
	for {
		room, err := br.room(ctx, back, ahead)
		if err != nil {
			return err
		}
		var g errgroup.Group
		g.SetLimit(hands)
		var left atomic.Bool
		left.Store(room > 0)
		for range room {
			g.Go(func() error {
				ok, err := br.lay(ctx, back)
				if !ok {
					left.Store(false)
				}
				return err
			})
		}
		if err := g.Wait(); err != nil || !left.Load() {
			return err
		}
	}
}

// lay takes one scan from the board and lays it into the queue; ok is false where none is left.
func (br *bridge) lay(ctx, back context.Context) (ok bool, err error) {
	w, ok, err := br.b.Take(ctx)
	if err != nil || !ok {
		return false, err
	}
	if _, err := br.scans.PutBytes(back, w.Key, w.Content); err != nil {
		return false, err
	}
	w.Content = nil
	br.mu.Lock()
	br.out[w.Key] = w
	br.mu.Unlock()
	text, err := json.Marshal(order{w.Key, w.Name, w.Jaw, w.Unit})
	if err != nil {
		return false, err
	}
	_, err = br.h.js.Publish(back, workSubject, text, jetstream.WithMsgID(w.Key))
	return err == nil, err
}

// collect puts results onto the board.
func (br *bridge) collect(ctx context.Context) error {
	c, err := br.h.js.CreateOrUpdateConsumer(ctx, doneStream, jetstream.ConsumerConfig{Durable: hostName, AckPolicy: jetstream.AckExplicitPolicy, AckWait: patience})
	if err != nil {
		return err
	}
	for ctx.Err() == nil {
		msgs, err := c.Fetch(4*hands, jetstream.FetchMaxWait(time.Second))
		if err != nil {
			return err
		}
		var g errgroup.Group
		g.SetLimit(hands)
		for m := range msgs.Messages() {
			g.Go(func() error {
				if err := br.take(ctx, m.Data()); err != nil {
					return err
				}
				return m.Ack()
			})
		}
		if err := g.Wait(); err != nil {
			return err
		}
	}
	return nil
}

// take puts one result onto the board. One that came before, or of another program, is passed over.
func (br *bridge) take(ctx context.Context, text []byte) error {
	var d done
	if json.Unmarshal(text, &d) != nil || d.Version != br.h.about.Version {
		return nil
	}
	br.mu.Lock()
	w, waiting := br.out[d.Key]
	waiting = waiting && !br.taking[d.Key] // told twice at once, it is taken once
	if waiting {
		br.taking[d.Key] = true
	}
	br.mu.Unlock()
	if !waiting {
		return nil
	}
	data, err := br.results.GetBytes(ctx, d.Key)
	if err != nil {
		return err
	}
	var r batch.Result
	if err := json.Unmarshal(data, &r); err != nil {
		r = batch.Result{Reason: "the worker's answer is damaged"}
	}
	if err := br.b.Put(w, r); err != nil {
		return err
	}
	br.mu.Lock()
	delete(br.out, d.Key)
	delete(br.taking, d.Key)
	br.mu.Unlock()
	return errors.Join(br.scans.Delete(ctx, d.Key), br.results.Delete(ctx, d.Key))
}
