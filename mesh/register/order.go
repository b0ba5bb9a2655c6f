package register

import (
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"fornix/mesh"
)

// inPieces calls do for pieces of 0..n on workers goroutines (0: one for each processor). The
// pieces are the same for any number of them; do must write only what belongs to its piece.
func inPieces(n, piece, workers int, do func(lo, hi int)) {
	if workers < 1 {
		workers = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	run := func() {
		for {
			hi := int(next.Add(int64(piece)))
			lo := hi - piece
			if lo >= n {
				return
			}
			do(lo, min(hi, n))
		}
	}
	if workers = min(workers, (n+piece-1)/piece); workers <= 1 {
		run()
		return
	}
	var wg sync.WaitGroup
	for range workers {
		wg.Go(run)
	}
	wg.Wait()
}

// curveBits is how often the curve halves each axis: 0.1 mm for a jaw.
const curveBits = 10

// alongCurve returns the indices of points in the order of a space-filling curve (Morton, 1966)
// through their box, so that neighbours in the order are neighbours in space; points at the same
// place of the curve, and those that are no numbers, keep their order.
func alongCurve(points []mesh.Vec) []int32 { return byKey(curveKeys(points, nil)) }

// curveKeys returns where each point lies on the curve. With normals, the octant of the normal
// comes first and the curve is half as fine.
func curveKeys(points, normals []mesh.Vec) []uint32 {
	lo := mesh.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}
	hi := lo.Scale(-1)
	for _, p := range points {
		if p.Finite() {
			lo, hi = lo.Min(p), hi.Max(p)
		}
	}
	side := max(hi.X-lo.X, hi.Y-lo.Y, hi.Z-lo.Z)
	scale := 0.0
	if side > 0 {
		scale = (1<<curveBits - 1) / side
	}
	keys := make([]uint32, len(points))
	for i, p := range points {
		if !p.Finite() {
			continue
		}
		q := p.Sub(lo).Scale(scale)
		keys[i] = spread(uint32(q.X)) | spread(uint32(q.Y))<<1 | spread(uint32(q.Z))<<2
		if normals != nil {
			keys[i] = keys[i]>>3 | octant(normals[i])<<(3*curveBits-3)
		}
	}
	return keys
}

func octant(n mesh.Vec) uint32 {
	var k uint32
	if n.X < 0 {
		k = 1
	}
	if n.Y < 0 {
		k |= 2
	}
	if n.Z < 0 {
		k |= 4
	}
	return k
}

// spread puts two zeros behind each of the lowest ten bits.
func spread(x uint32) uint32 {
	x = (x | x<<16) & 0x030000ff
	x = (x | x<<8) & 0x0300f00f
	x = (x | x<<4) & 0x030c30c3
	return (x | x<<2) & 0x09249249
}

// byKey returns the indices of keys in ascending order of keys, equal ones in their own order:
// three passes of counting over ten bits each.
func byKey(keys []uint32) []int32 {
	from, to := make([]int32, len(keys)), make([]int32, len(keys))
	for i := range from {
		from[i] = int32(i)
	}
	for shift := 0; shift < 3*curveBits; shift += curveBits {
		var start [1 << curveBits]int32
		for _, k := range keys {
			start[k>>shift&(1<<curveBits-1)]++
		}
		sum := int32(0)
		for d := range start {
			start[d], sum = sum, sum+start[d]
		}
		for _, i := range from {
			d := keys[i] >> shift & (1<<curveBits - 1)
			to[start[d]] = i
			start[d]++
		}
		from, to = to, from
	}
	return from
}
