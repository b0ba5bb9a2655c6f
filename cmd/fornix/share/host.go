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
	"crypto/rand"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Names in the queue's server. Those of streams and stores end with the batch's own.
const (
	workStream   = "fornix-work-"
	doneStream   = "fornix-done-"
	workSubject  = "fornix.work."
	doneSubject  = "fornix.done."
	scanBucket   = "fornix-scans-"
	resultBucket = "fornix-results-"
	aboutBucket  = "fornix-about-"
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
	server *server.Server // nil: another's
	nc     *nats.Conn
	js     jetstream.JetStream
	dir    string
	about  About
	link   Link

	replicas int           // of each stream and store; 0: one
	keep     time.Duration // how long what lies there may; 0: for ever
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
	if h.nc, err = h.own(); err == nil {
		err = h.begin()
	}
	if err != nil {
		h.Close()
		return nil, err
	}
	return h, nil
}

// keep is how long a server of others keeps what a host left there that did not end by itself.
const keep = 14 * 24 * time.Hour

// Use puts the queue of a batch into a server that runs already, or into a cluster of them, named by a
// link without a batch. Each stream and store is kept by so many of its servers. Close removes them.
func Use(l Link, replicas int, about About) (*Host, error) {
	if about.Patience <= 0 {
		about.Patience = patience
	}
	l.Batch = rand.Text()
	h := &Host{about: about, link: l, replicas: replicas, keep: keep}
	var err error
	if h.nc, err = l.connect(); err != nil {
		return nil, err
	}
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
	if h.js, err = jetstream.New(h.nc); err != nil {
		return err
	}
	id := h.link.Batch
	for name, subject := range map[string]string{workStream: workSubject, doneStream: doneSubject} {
		_, err := h.js.CreateStream(ctx, jetstream.StreamConfig{Name: name + id, Subjects: []string{subject + id}, Retention: jetstream.WorkQueuePolicy, Storage: jetstream.FileStorage, Replicas: h.replicas, MaxAge: h.keep})
		if err != nil {
			return err
		}
	}
	for _, bucket := range []string{scanBucket, resultBucket} {
		if _, err := h.js.CreateObjectStore(ctx, jetstream.ObjectStoreConfig{Bucket: bucket + id, Storage: jetstream.FileStorage, Replicas: h.replicas, TTL: h.keep}); err != nil {
			return err
		}
	}
	if _, err := h.js.CreateConsumer(ctx, workStream+id, jetstream.ConsumerConfig{Durable: workersName, AckPolicy: jetstream.AckExplicitPolicy, AckWait: h.about.Patience, MaxAckPending: -1}); err != nil {
		return err
	}
	kv, err := h.js.CreateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: aboutBucket + id, Storage: jetstream.FileStorage, Replicas: h.replicas, TTL: h.keep})
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

// remove takes what begin made out of a server of others.
func (h *Host) remove() {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	id := h.link.Batch
	for _, name := range []string{workStream, doneStream} {
		h.js.DeleteStream(ctx, name+id)
	}
	for _, bucket := range []string{scanBucket, resultBucket} {
		h.js.DeleteObjectStore(ctx, bucket+id)
	}
	h.js.DeleteKeyValue(ctx, aboutBucket+id)
}

// Link is what a worker needs to join.
func (h *Host) Link() Link { return h.link }

// Join lets workers of this program join without the network.
func (h *Host) Join(ctx context.Context) (*Queue, error) {
	if h.server == nil {
		return Join(ctx, h.link, h.about.Version)
	}
	nc, err := h.own()
	if err != nil {
		return nil, err
	}
	return enter(ctx, nc, h.link.Batch, h.about.Version)
}

// own is a connection to the host's own server, which where all processors are busy may take its time.
func (h *Host) own() (*nats.Conn, error) {
	return nats.Connect("", nats.InProcessServer(h.server), nats.Token(h.link.Token), nats.Timeout(firstTry), silent)
}

// Close ends the queue and removes its files.
func (h *Host) Close() error {
	if h.nc != nil {
		if h.server == nil && h.js != nil {
			h.remove()
		}
		h.nc.Close()
	}
	if h.server == nil {
		return nil
	}
	h.server.Shutdown()
	h.server.WaitForShutdown()
	return os.RemoveAll(h.dir)
}
