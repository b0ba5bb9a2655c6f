package share

import (
	"context"
	"os"
	"runtime"
	"strconv"
	"sync"
	"testing"
	"time"

	"fornix/cmd/fornix/batch"
)

// Many jobs whose measuring is a wait: what the queue itself can give out, and in how much memory.
// FORNIX_JOBS=100000 runs it with so many, on 20 machines of 32 cores that measure for FORNIX_WAIT (4.8s, more than
// a scan of 300,000 faces takes one core), over the loopback.
func TestManyJobs(t *testing.T) {
	jobs, wait := 400, 10*time.Millisecond
	if n, err := strconv.Atoi(os.Getenv("FORNIX_JOBS")); err == nil {
		jobs, wait = n, 4800*time.Millisecond
	}
	if d, err := time.ParseDuration(os.Getenv("FORNIX_WAIT")); err == nil {
		wait = d
	}
	const machines, cores = 20, 32
	h := listen(t, "127.0.0.1:0", About{Version: "v1"})
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	l := &list{n: jobs, got: map[string][]string{}}
	var all sync.WaitGroup
	for range machines {
		q := join(t, h.Link())
		all.Go(func() {
			batch.ServeAll(ctx, q, cores, func(w batch.Work) batch.Result {
				time.Sleep(wait)
				return answer(w)
			})
		})
	}
	start := time.Now()
	if err := h.Serve(ctx, l, 32); err != nil {
		t.Error(err)
	}
	took := time.Since(start)
	stop()
	all.Wait()
	twice := 0
	for _, got := range l.got {
		if len(got) != 1 {
			twice++
		}
	}
	if len(l.got) != jobs || twice > 0 {
		t.Fatalf("%d of %d jobs are done, %d more than once", len(l.got), jobs, twice)
	}
	var mem runtime.MemStats
	runtime.ReadMemStats(&mem)
	t.Logf("%d jobs of %v on %d cores: %.1f s, %.0f a second (no queue could give more than %.0f); %d MiB from the system for host and workers",
		jobs, wait, machines*cores, took.Seconds(), float64(jobs)/took.Seconds(), machines*cores/wait.Seconds(), mem.Sys>>20)
}
