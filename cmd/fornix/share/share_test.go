package share

import (
	"context"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"fornix/cmd/fornix/batch"
)

// list is a board of numbered scans.
type list struct {
	mu   sync.Mutex
	next int
	n    int
	more []byte              // behind each scan
	got  map[string][]string // what came of each key
}

func (l *list) Take(ctx context.Context) (batch.Work, bool, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.next == l.n || ctx.Err() != nil {
		return batch.Work{}, false, nil
	}
	l.next++
	return batch.Work{Key: fmt.Sprintf("key%d", l.next), Name: "a.stl", Jaw: "upper", Content: append(fmt.Append(nil, "scan ", l.next), l.more...)}, true, nil
}

func (l *list) Put(w batch.Work, r batch.Result) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	what := r.Reason
	if len(r.Files) > 0 {
		what = string(r.Files[0].Data)
	}
	l.got[w.Key] = append(l.got[w.Key], what)
	return nil
}

// onceEach holds that the answer to each scan came once.
func (l *list) onceEach(t *testing.T) {
	t.Helper()
	for i := range l.n {
		key, want := fmt.Sprintf("key%d", i+1), fmt.Sprintf("a.stl upper scan %d", i+1)
		if got := l.got[key]; len(got) != 1 || got[0] != want {
			t.Errorf("%s: %q, not once %q", key, got, want)
		}
	}
}

func answer(w batch.Work) batch.Result {
	return batch.Result{Files: []batch.File{{Name: "report.json", Data: append([]byte(w.Name+" "+w.Jaw+" "), w.Content...)}}}
}

func listen(t *testing.T, address string, about About) *Host {
	t.Helper()
	h, err := Listen(address, t.TempDir()+"/queue", about)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { h.Close() })
	return h
}

func join(t *testing.T, l Link) *Queue {
	t.Helper()
	q, err := Join(context.Background(), l, "v1")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(q.Close)
	return q
}

// Nothing is lost and nothing comes twice where a worker goes in the middle of a scan; a scan that ends
// every worker is set aside after three; the rest go on meanwhile.
func TestWorkersComeAndGo(t *testing.T) {
	h := listen(t, "127.0.0.1:0", About{Version: "v1", Protocol: "p", Patience: time.Second})
	ctx, end := context.WithTimeout(context.Background(), 2*time.Minute)
	defer end()
	l := &list{n: 30, got: map[string][]string{}}
	served := make(chan error, 1)
	go func() { served <- h.Serve(ctx, l, 8) }()

	link, err := ParseLink(h.Link().String())
	if err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup
	work, stop := context.WithCancel(ctx)
	deaths := 0
	var mu sync.Mutex
	for range 3 {
		all.Go(func() {
			for work.Err() == nil { // a worker that ends comes again, as a new process
				q := join(t, link)
				batch.Serve(work, q, func(w batch.Work) batch.Result {
					mu.Lock()
					died := w.Key == "key7" || w.Key == "key9" && deaths == 0
					if died && w.Key == "key9" {
						deaths++
					}
					mu.Unlock()
					if died {
						q.Close() // in the middle of a scan
					}
					return answer(w)
				})
				q.Close()
			}
		})
	}
	if err := <-served; err != nil {
		t.Error(err)
	}
	stop()
	all.Wait()
	for i := range l.n {
		key := fmt.Sprintf("key%d", i+1)
		want := fmt.Sprintf("a.stl upper scan %d", i+1)
		if key == "key7" {
			want = "it ended its worker 3 times and was set aside"
		}
		if got := l.got[key]; len(got) != 1 || got[0] != want {
			t.Errorf("%s: %q, not once %q", key, got, want)
		}
	}
	if deaths != 1 {
		t.Error("no worker went in the middle of key9")
	}
}

// A batch that is stopped waits for what is out and gives out no more.
func TestStopWaitsForWhatIsOut(t *testing.T) {
	h := listen(t, "127.0.0.1:0", About{Version: "v1"})
	ctx, stop := context.WithCancel(context.Background())
	l := &list{n: 100, got: map[string][]string{}}
	q := join(t, h.Link())
	work, end := context.WithCancel(context.Background())
	defer end()
	go batch.Serve(work, q, func(w batch.Work) batch.Result { stop(); return answer(w) })
	if err := h.Serve(ctx, l, 4); err != nil {
		t.Error(err)
	}
	if len(l.got) != l.next || l.next == 0 || l.next == l.n {
		t.Errorf("%d were given out, %d came back", l.next, len(l.got))
	}
}

func TestWhoMayJoin(t *testing.T) {
	here := listen(t, "localhost:0", About{Version: "v1"})
	if l := here.Link(); l.Certificate != "" || !strings.HasPrefix(l.Address, "127.0.0.1:") {
		t.Errorf("%+v", l)
	}
	wide := listen(t, "0.0.0.0:0", About{Version: "v1"})
	l := wide.Link()
	_, port, err := net.SplitHostPort(l.Address)
	if err != nil || len(l.Certificate) != 64 {
		t.Fatalf("%+v: %v", l, err)
	}
	l.Address = net.JoinHostPort("127.0.0.1", port)
	join(t, l)
	wrong := l
	wrong.Token = "guess"
	other := l
	other.Certificate = strings.Repeat("0", 64)
	open := l
	open.Certificate = ""
	for what, bad := range map[string]Link{"a wrong token": wrong, "another certificate": other, "no TLS": open} {
		if q, err := Join(context.Background(), bad, "v1"); err == nil {
			q.Close()
			t.Errorf("%s let in", what)
		}
	}
	if q, err := Join(context.Background(), l, "v2"); err == nil || !strings.Contains(err.Error(), "measured by v1, and this is v2") {
		if q != nil {
			q.Close()
		}
		t.Errorf("another version: %v", err)
	}
}

func TestLinks(t *testing.T) {
	for _, l := range []Link{
		{Address: "127.0.0.1:4222", Token: "T", Batch: ownBatch}, {Address: "[2001:db8::1]:1", Token: "T", Certificate: strings.Repeat("ab", 32), Batch: ownBatch},
		{Address: "127.0.0.1:4222", Token: "T", Batch: "B"}, {Address: "queue.example:4222", User: "u", Token: "p@ss/word", TLS: true, Batch: "B"},
	} {
		if got, err := ParseLink(l.String()); err != nil || got != l {
			t.Errorf("%s: %+v, %v", l, got, err)
		}
	}
	for _, bad := range []string{"", "127.0.0.1:1", "http://T@127.0.0.1:1", "fornix://127.0.0.1:1", "fornix://T@127.0.0.1", "fornix://T@192.0.2.1:1",
		"fornix://T@192.0.2.1:1#abcd", "fornix://T@host.example:1", "nats://u:p@127.0.0.1:1", "nats://u:p@192.0.2.1:1#B", "tls://queue.example:1#B"} {
		if l, err := ParseLink(bad); err == nil {
			t.Errorf("%q: %+v", bad, l)
		}
	}
}
