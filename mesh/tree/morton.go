package tree

import (
	"math/bits"

	"fornix/mesh"
)

// mortonDigit is how many bits one pass of the sort takes, and the most for one axis of the curve:
// cells of a jaw's scan are then 0.02 mm.
const mortonDigit = 12

// runSize is the most faces of a run that is halved along the curve. Above it the surface area heuristic
// splits, for which it does not matter what lies below.
const runSize = 32

// mortonOrder returns the faces along a Morton curve through their centroids, the lower face first
// within a cell; above the lowest low bits of each stands its place on the curve.
func mortonOrder(m *mesh.Mesh) (sorted []uint64, low int) {
	low = bits.Len(uint(len(m.Tri)))
	axis := min(mortonDigit, (64-low)/3)
	lo, hi := m.Bounds()
	size := hi.Sub(lo)
	scale := (float64(uint(1)<<axis) - 1) / max(size.X, size.Y, size.Z)
	if !(scale > 0 && scale < 1e300) { // all in one point, or beyond all measure
		scale = 0
	}
	sorted = make([]uint64, len(m.Tri))
	mesh.InPieces(len(sorted), 1<<14, func(from, to int) {
		for f := from; f < to; f++ {
			p, q, r := m.Corners(mesh.FaceID(f))
			c := p.Add(q).Add(r).Scale(1. / 3).Sub(lo).Scale(scale)
			key := spread(uint64(c.X))<<2 | spread(uint64(c.Y))<<1 | spread(uint64(c.Z))
			sorted[f] = key<<low | uint64(f)
		}
	})
	other := make([]uint64, len(sorted))
	for shift := low; shift < low+3*axis; shift += mortonDigit {
		var at [1 << mortonDigit]int32
		for _, k := range sorted {
			at[k>>shift&(1<<mortonDigit-1)]++
		}
		sum := int32(0)
		for i, n := range at {
			at[i], sum = sum, sum+n
		}
		for _, k := range sorted {
			d := k >> shift & (1<<mortonDigit - 1)
			other[at[d]] = k
			at[d]++
		}
		sorted, other = other, sorted
	}
	return sorted, low
}

// spread puts two zeros between the bits of a number of at most 21 bits.
func spread(x uint64) uint64 {
	x &= 1<<21 - 1
	x = (x | x<<32) & 0x1f00000000ffff
	x = (x | x<<16) & 0x1f0000ff0000ff
	x = (x | x<<8) & 0x100f00f00f00f00f
	x = (x | x<<4) & 0x10c30c30c30c30c3
	return (x | x<<2) & 0x1249249249249249
}

// mortonRuns returns where runs of the sorted faces begin, and their number behind: the cells of the curve
// that are halved until they hold no more than runSize faces.
func mortonRuns(sorted []uint64) []int32 {
	start := make([]int32, 0, len(sorted)/(runSize/2)+2)
	var cut func(lo, hi int)
	cut = func(lo, hi int) {
		if hi-lo <= runSize {
			start = append(start, int32(lo))
			return
		}
		// Of sorted numbers the highest bit that differs is that in which the first and last do.
		bit := bits.Len64(sorted[lo]^sorted[hi-1]) - 1
		a, b := lo+1, hi-1 // the first that has it lies in a..b
		for a < b {
			if mid := (a + b) / 2; sorted[mid]>>bit&1 == 0 {
				a = mid + 1
			} else {
				b = mid
			}
		}
		cut(lo, a)
		cut(a, hi)
	}
	cut(0, len(sorted))
	return append(start, int32(len(sorted)))
}

// mortonHalf returns where to halve a run: where the curve goes farthest, in the middle half of it, so
// that the depth is bounded.
func mortonHalf(run []uint64) int {
	n := len(run)
	best, far := n/2, uint64(0)
	for i := max(1, n/4); i <= n-max(1, n/4); i++ {
		// The higher the highest bit that differs, the larger are the cells.
		if d := run[i] ^ run[i-1]; d > far && bits.Len64(d) > bits.Len64(far) {
			best, far = i, d
		}
	}
	return best
}
