package batch

import (
	"bufio"
	"os"
	"strconv"
	"strings"
	"sync"

	"fornix/mesh"
)

// What measuring takes for each byte of the file, at most: a run takes 350 bytes a face and as much
// again is left to the collector; binary STL has 50 bytes a face, others down to 15, and packing
// shrinks them to a third.
const (
	timesSTL    = 14
	timesOthers = 48
	timesPacked = 3
	needAlways  = 64 << 20 // pictures, tables and the program's own
)

// Need is how many bytes measuring a file takes, at most.
func Need(path string, size int64) int64 {
	ending := mesh.Ending(path)
	times := int64(timesOthers)
	if strings.HasPrefix(ending, ".stl") {
		times = timesSTL
	}
	if strings.HasSuffix(ending, ".gz") || ending == ".zip" {
		times *= timesPacked
	}
	return needAlways + times*size
}

// budget is memory that is shared out. Whoever asks for more than all of it waits until it is alone.
type budget struct {
	mu         sync.Mutex
	free       *sync.Cond
	all, taken int64
}

func newBudget(all int64) *budget {
	b := &budget{all: all}
	b.free = sync.NewCond(&b.mu)
	return b
}

func (b *budget) take(n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for b.taken > 0 && b.taken+n > b.all {
		b.free.Wait()
	}
	b.taken += n
}

func (b *budget) give(n int64) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.taken -= n
	b.free.Broadcast()
}

// memoryUnknown is taken where the system does not say what is free.
const memoryUnknown = 4 << 30

// FreeMemory is half of what the system says is free, so that others keep the rest.
func FreeMemory() int64 {
	f, err := os.Open("/proc/meminfo") // Linux
	if err != nil {
		return memoryUnknown
	}
	defer f.Close()
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		if rest, found := strings.CutPrefix(lines.Text(), "MemAvailable:"); found {
			if n, err := strconv.ParseInt(strings.Fields(rest)[0], 10, 64); err == nil {
				return n << 10 / 2
			}
		}
	}
	return memoryUnknown
}
