package inspect

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"
)

// workersFor is how many workers inBlocks starts for n pieces of work in blocks.
func workersFor(n, block int) int { return max(1, min(runtime.GOMAXPROCS(0), (n+block-1)/block)) }

// inBlocks calls a worker's function for 0..n-1, on all processors. worker makes the k-th worker's, with
// scratch memory of its own; it may write only to what belongs to its index. A panic in a worker
// becomes one of the caller's, who can catch it.
func inBlocks(n, block int, worker func(k int) func(i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	var fault atomic.Value
	for k := range workersFor(n, block) {
		wg.Go(func() {
			defer keepPanic(&fault)
			do := worker(k)
			for {
				hi := int(next.Add(int64(block)))
				if hi-block >= n {
					return
				}
				for i := hi - block; i < min(hi, n); i++ {
					do(i)
				}
			}
		})
	}
	wg.Wait()
	raise(&fault)
}

// aside begins work beside the caller's own and returns what waits for it; a panic in it comes out there.
func aside(do func()) (wait func()) {
	var fault atomic.Value
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer keepPanic(&fault)
		do()
	}()
	return func() {
		<-done
		raise(&fault)
	}
}

func keepPanic(fault *atomic.Value) {
	if p := recover(); p != nil {
		fault.Store(fmt.Sprintf("%v\n%s", p, debug.Stack()))
	}
}

func raise(fault *atomic.Value) {
	if p := fault.Load(); p != nil {
		panic(p)
	}
}
