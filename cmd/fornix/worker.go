package main

import (
	"context"
	"errors"
	"fmt"
	"os/signal"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"syscall"

	"os"

	"fornix/cmd/fornix/batch"
	"fornix/cmd/fornix/share"
	"fornix/inspect"
)

// The queue of a batch that is shared: its folder beside the results, and how many scans lie in it ahead of
// those that workers have in hand.
const (
	queueName = ".queue"
	inQueue   = 32
)

// startShare opens the queue and tells how to join it.
func startShare(s streams, address, out string, replicas int, about share.About) (*share.Host, error) {
	var host *share.Host
	server, others, err := share.ParseServer(address)
	switch {
	case err != nil:
	case others:
		host, err = share.Use(server, replicas, about)
	default:
		host, err = share.Listen(address, filepath.Join(out, queueName), about)
	}
	if err != nil {
		return nil, err
	}
	fmt.Fprintf(s.err, "Other machines join with:\n  fornix worker --join %s\n", host.Link())
	return host, nil
}

// shareWork gives the board's work to all who join, this program among them.
func shareWork(ctx context.Context, host *share.Host, b batch.Board, o batch.Options) error {
	own, stop := context.WithCancel(context.WithoutCancel(ctx))
	q, err := host.Join(own)
	if err != nil {
		stop()
		return err
	}
	defer q.Close()
	ended := make(chan error, 1)
	go func() { ended <- batch.ServeAll(own, q, o.Workers, o.Measure) }()
	err = host.Serve(ctx, b, inQueue)
	stop()
	return errors.Join(err, <-ended)
}

// protocolText is all of a protocol, for workers.
func protocolText(p inspect.Protocol) string {
	var b strings.Builder
	if err := inspect.WriteProtocol(&b, p); err != nil {
		panic("fornix: a checked protocol does not write: " + err.Error())
	}
	return b.String()
}

type workerCmd struct {
	Join    string `help:"What fornix batch --share printed." env:"FORNIX_JOIN" required:"" placeholder:"LINK"`
	Workers int    `help:"Processor cores to use, one for each scan in hand (default: all)." placeholder:"N"`
}

// Help stands under the flags of fornix worker --help.
func (workerCmd) Help() string {
	return `Takes scans from the machine that shares them, measures them by its protocol and sends the results back; nothing is kept
here. It must be the same fornix, since another one's numbers may differ. Ctrl-C finishes the scans in hand. It
ends by itself a minute after the other machine has gone.

Example:

  fornix worker --join fornix://TOKEN@192.0.2.7:7374#CERTIFICATE

Exit code: 0 done, 1 could not, 2 wrong use.`
}

// Run works until the host has gone or the user stops it.
func (c workerCmd) Run(s streams) error {
	link, err := share.ParseLink(c.Join)
	if err != nil {
		return &failure{exitUsage, "--join " + err.Error(), "copy all of the line that fornix batch --share prints"}
	}
	if c.Workers < 0 {
		return &failure{exitUsage, "--workers is at least 1", "leave it out"}
	}
	workers := c.Workers
	if workers == 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(workers))
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	context.AfterFunc(ctx, stop) // the next Ctrl-C ends at once
	q, err := share.Join(ctx, link, programHash())
	if err != nil {
		return &failure{exitFailed, err.Error(), "run the same fornix on both machines, and look whether the batch still runs"}
	}
	defer q.Close()
	p, err := inspect.ReadProtocol(strings.NewReader(q.About().Protocol), "the batch's protocol")
	if err != nil {
		return &failure{exitFailed, err.Error(), "run the same fornix on both machines"}
	}
	fmt.Fprintf(s.err, "working for %s, %d at a time\n", link.Address, workers)
	var n atomic.Int64
	err = batch.ServeAll(ctx, q, workers, func(w batch.Work) batch.Result {
		r := measureWork(w, p, q.About().Images)
		n.Add(1)
		return r
	})
	if err != nil {
		return &failure{exitFailed, err.Error(), "look whether the batch still runs; what was in hand is measured elsewhere"}
	}
	fmt.Fprintf(s.out, "%d scans measured\n", n.Load())
	return nil
}
