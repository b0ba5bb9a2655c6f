package share

import (
	"context"
	"encoding/json"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/errgroup"

	"fornix/cmd/fornix/batch"
)

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
	if br.workers, err = h.js.Consumer(always, workStream+h.link.Batch, workersName); err != nil {
		return err
	}
	if br.scans, err = h.js.ObjectStore(always, scanBucket+h.link.Batch); err != nil {
		return err
	}
	if br.results, err = h.js.ObjectStore(always, resultBucket+h.link.Batch); err != nil {
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
	if back.Err() != nil { // why it is so tells more than that it is
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
		var info *jetstream.ConsumerInfo
		if err := again(back, asking, func(ctx context.Context) (err error) { info, err = br.workers.Info(ctx); return err }); err != nil {
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
	if err := again(back, moving, func(ctx context.Context) error { _, err := br.scans.PutBytes(ctx, w.Key, w.Content); return err }); err != nil {
		return false, err
	}
	text, err := json.Marshal(order{w.Key, w.Name, w.Jaw, w.Unit})
	if err != nil {
		return false, err
	}
	w.Content = nil
	br.mu.Lock()
	br.out[w.Key] = w // before its result can come
	br.mu.Unlock()
	err = again(back, asking, func(ctx context.Context) error {
		_, err := br.h.js.Publish(ctx, workSubject+br.h.link.Batch, text, jetstream.WithMsgID(w.Key))
		return err
	})
	if err != nil { // nobody will answer
		br.mu.Lock()
		delete(br.out, w.Key)
		br.mu.Unlock()
		return false, err
	}
	return true, nil
}

// collect puts results onto the board.
func (br *bridge) collect(ctx context.Context) error {
	var c jetstream.Consumer
	err := again(ctx, asking, func(ctx context.Context) (err error) {
		c, err = br.h.js.CreateOrUpdateConsumer(ctx, doneStream+br.h.link.Batch, jetstream.ConsumerConfig{Durable: hostName, AckPolicy: jetstream.AckExplicitPolicy, AckWait: patience})
		return err
	})
	if err != nil {
		return err
	}
	for ctx.Err() == nil {
		var msgs jetstream.MessageBatch
		err := again(ctx, asking, func(context.Context) (err error) {
			msgs, err = c.Fetch(4*hands, jetstream.FetchMaxWait(time.Second))
			return err
		})
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
				m.Ack() // what is not heard comes again, and is passed over then
				return nil
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
	data, err := fetch(ctx, br.results, d.Key)
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
	// What cannot be removed now goes with the queue.
	br.scans.Delete(ctx, d.Key)
	br.results.Delete(ctx, d.Key)
	return nil
}
