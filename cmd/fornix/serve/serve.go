// Package serve is the local app: cases in folders on this machine (Store), the inspections that
// wait (queue), and the pages that show and change all that in a browser (Server). It inspects
// nothing itself: the engine that every command of fornix goes through is handed to it.
package serve

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"sync"
	"time"

	"fornix/inspect"
	"fornix/inspect/casefile"
	"fornix/render"
)

// Engine is the one road of scans, handed in by the command, so that the app says of a scan what every
// other command says. Each function gives an error where it would panic.
type Engine struct {
	Protocol inspect.Protocol
	// Inspect reads, measures and judges a scan.
	Inspect func(r io.Reader, name string, read inspect.ReadOptions, opt inspect.Options) (*inspect.Outcome, error)
	// Pictures draws a scan.
	Pictures func(scan *render.Scan) ([]render.Image, error)
	// Page writes the page of an outcome, with some of its pictures.
	Page func(scan *render.Scan, pictures []render.Image) ([]byte, error)
	// Relate tells how an upper and a lower scan close on each other.
	Relate func(upper, lower *inspect.Scan, opt inspect.RelateOptions) (*inspect.RelateOutcome, error)
	// PairPage draws a relation and writes its page.
	PairPage func(o *inspect.RelateOutcome) ([]render.Image, []byte, error)
	// Sheet writes the laboratory sheet of one scan or two, with how they close, if that is known.
	Sheet func(scans []*render.Scan, relation *inspect.RelateOutcome, order *casefile.Case, paper string) ([]byte, error)
}

// Options say how the app is served. The zero value is served to this machine only.
type Options struct {
	Key       string      // asked for before anything is shown; empty: only where nobody else can connect
	MaxUpload int64       // bytes of one scan; 0: 1 GiB
	Watch     string      // folder whose scans are inspected as they come; empty: none
	Log       *log.Logger // faults of the program; nil: thrown away
	patience  time.Duration
}

// defaultUpload holds a binary scan of twenty million faces, and a text one of four million.
const defaultUpload = 1 << 30

// Server serves the cases of a store. Its pages run in a browser on the same machine unless the
// listener says otherwise.
type Server struct {
	store  *Store
	engine Engine
	opt    Options
	queue  *queue
	inbox  *inbox // nil: none is watched
	post   string // what every change must carry, so that no other page can ask for it
	boot   string // names this run of the program
	hosts  hosts
	http   *http.Server
}

// New makes a server for the listener. A listener that others can reach without a key is refused.
func New(store *Store, engine Engine, l net.Listener, opt Options) (*Server, error) {
	at, err := hostsOf(l.Addr())
	if err != nil {
		return nil, err
	}
	if !at.loopback && opt.Key == "" {
		return nil, errors.New("serve: a key is needed where other machines can connect")
	}
	if opt.MaxUpload <= 0 {
		opt.MaxUpload = defaultUpload
	}
	if opt.Log == nil {
		opt.Log = log.New(io.Discard, "", 0)
	}
	if opt.patience <= 0 {
		opt.patience = 30 * time.Second
	}
	s := &Server{store: store, engine: engine, opt: opt, post: rand.Text(), boot: rand.Text(), hosts: at}
	s.queue = newQueue(store, engine, opt.Log)
	if opt.Watch != "" {
		if s.inbox, err = openInbox(store, opt.Watch, opt.MaxUpload); err != nil {
			return nil, err
		}
	}
	s.http = &http.Server{
		Handler: s.guard(s.routes()), ErrorLog: opt.Log, MaxHeaderBytes: 1 << 14,
		ReadHeaderTimeout: opt.patience, ReadTimeout: opt.patience, WriteTimeout: 2 * opt.patience, IdleTimeout: 4 * opt.patience,
	}
	return s, nil
}

// Serve serves until ctx is done; it then waits for requests that are being answered, and gives the
// inspection that runs up: it is begun anew next time.
func (s *Server) Serve(ctx context.Context, l net.Listener) error {
	working, stop := context.WithCancel(ctx)
	defer stop()
	var work sync.WaitGroup
	work.Go(func() { s.queue.run(working) })
	if s.inbox != nil {
		work.Go(func() { s.inbox.run(working) })
	}
	worked := make(chan struct{})
	go func() {
		defer close(worked)
		work.Wait()
	}()
	ended := make(chan error, 1)
	go func() { ended <- s.http.Serve(l) }()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	last, cancel := context.WithTimeout(context.WithoutCancel(ctx), 2*time.Second)
	defer cancel()
	if s.http.Shutdown(last) != nil {
		s.http.Close() // streams of events stay open by themselves
	}
	select {
	case <-worked:
	case <-last.Done():
	}
	return nil
}

// Address is where a browser finds the app on this machine; with the key, where one is asked for.
func (s *Server) Address() string {
	url := "http://" + s.hosts.own + "/"
	if s.opt.Key != "" {
		url += "enter?key=" + s.opt.Key
	}
	return url
}

// fault answers with an error in plain words.
func fault(w http.ResponseWriter, code int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.WriteHeader(code)
	fmt.Fprintln(w, text)
}
