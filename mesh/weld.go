package mesh

import "math"

// welder gives equal points one VertexID, in the order in which they were first seen.
//
// An open-addressing table of ids with linear probing; the points themselves are the keys.
type welder struct {
	pos  []Vec
	slot []int32 // id + 1, 0 where free
	mask uint64
}

// newWelder makes room for about n different points.
func newWelder(n int) *welder {
	size := 1 << 10
	for size < 2*n {
		size *= 2
	}
	return &welder{pos: make([]Vec, 0, n), slot: make([]int32, size), mask: uint64(size - 1)}
}

// id returns the vertex of p, which is finite. -0 equals +0.
func (w *welder) id(p Vec) VertexID {
	p = unsigned(p)
	return w.idOf(p, hashPoint(p))
}

// unsigned makes -0 to +0.
func unsigned(p Vec) Vec { return Vec{p.X + 0, p.Y + 0, p.Z + 0} }

// foresee has what is known of points by their hashes fetched from memory, all at once, where asking for
// one after the other would wait for each. What it returns means nothing.
func (w *welder) foresee(hashes []uint64) (any float64) {
	var slots [3 * together]int32
	for i, h := range hashes {
		slots[i] = w.slot[h&w.mask]
	}
	for _, s := range slots[:len(hashes)] {
		if s > 0 {
			any += w.pos[s-1].X
		}
	}
	return any
}

// idOf does so of a point without -0 by its hash.
func (w *welder) idOf(p Vec, h uint64) VertexID {
	h &= w.mask
	for {
		s := w.slot[h]
		if s == 0 {
			break
		}
		if w.pos[s-1] == p {
			return VertexID(s - 1)
		}
		h = (h + 1) & w.mask
	}
	w.pos = append(w.pos, p)
	w.slot[h] = int32(len(w.pos))
	if uint64(len(w.pos)) > w.mask/8*5 {
		w.grow()
	}
	return VertexID(len(w.pos) - 1)
}

func (w *welder) grow() {
	w.slot = make([]int32, 2*len(w.slot))
	w.mask = uint64(len(w.slot) - 1)
	for i, p := range w.pos {
		h := hashPoint(p) & w.mask
		for w.slot[h] != 0 {
			h = (h + 1) & w.mask
		}
		w.slot[h] = int32(i + 1)
	}
}

// hashPoint mixes the bits of the three coordinates. Coordinates read as float32 have 29 low
// zero bits, so each product is folded before the next is mixed in.
func hashPoint(p Vec) uint64 {
	h := math.Float64bits(p.X) * 0x9E3779B97F4A7C15
	h = (h ^ h>>32 ^ math.Float64bits(p.Y)) * 0xC2B2AE3D27D4EB4F
	h = (h ^ h>>29 ^ math.Float64bits(p.Z)) * 0x165667B19E3779F9
	return h ^ h>>32
}
