package tree

import (
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"fornix/mesh"
)

const (
	leafSize = 4  // most faces of a leaf
	bins     = 16 // candidate planes of the surface area heuristic
	deep     = 32 // from this depth on runs are split in the middle, which bounds the depth
)

// box is an axis-parallel box in float32.
type box struct{ lo, hi [3]float32 }

// item is a run of the faces sorted along a curve, on its way into the tree.
type item struct {
	box
	from, count int32
}

var emptyBox = box{
	lo: [3]float32{math.MaxFloat32, math.MaxFloat32, math.MaxFloat32},
	hi: [3]float32{-math.MaxFloat32, -math.MaxFloat32, -math.MaxFloat32},
}

func (b *box) add(o *box) {
	// Plain comparisons: min and max also order NaN and -0, which costs half the build.
	for k := range 3 {
		if o.lo[k] < b.lo[k] {
			b.lo[k] = o.lo[k]
		}
		if o.hi[k] > b.hi[k] {
			b.hi[k] = o.hi[k]
		}
	}
}

// cost is half the area of b, 0 when empty.
func (b *box) cost() float32 {
	x, y, z := b.hi[0]-b.lo[0], b.hi[1]-b.lo[1], b.hi[2]-b.lo[2]
	if x < 0 {
		return 0
	}
	return float32(x*y) + float32(y*z) + float32(z*x)
}

// New builds the tree of m: short runs of faces that follow each other along a space-filling curve
// (Morton order, as in Lauterbach and others, Computer Graphics Forum 2009;28:375), halved along it, and
// over them nodes by the surface area heuristic over bins (Wald, IEEE Symposium on Interactive Ray
// Tracing 2007). On all processors and with the same result for any number of them. O(#F log #F).
func New(m *mesh.Mesh) *Tree {
	t := &Tree{m: m}
	if len(m.Tri) == 0 {
		return t
	}
	b := &builder{m: m, pad: padOf(m)}
	b.gather()
	t.face = make([]mesh.FaceID, len(m.Tri))

	// The top of the tree is split here, whole runs below it by workers, each into nodes of its
	// own, which are then put one after the other.
	b.grain = max(len(b.items)/16, 1<<8)
	top := &job{hi: len(b.items), node: make([]node, 1, 128), face: t.face}
	b.split(top, 0, top.lo, top.hi, 0, true)
	var wg sync.WaitGroup
	var next atomic.Int32
	at := 0
	for i := range b.jobs {
		j := &b.jobs[i]
		j.face, j.at = t.face, at
		for _, it := range b.items[j.lo:j.hi] {
			at += int(it.count)
		}
	}
	for range min(runtime.GOMAXPROCS(0), len(b.jobs)) {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(b.jobs) {
					return
				}
				j := &b.jobs[i]
				j.node = make([]node, 1, (j.hi-j.lo)*runSize/leafSize)
				b.split(j, 0, j.lo, j.hi, j.depth, false)
			}
		})
	}
	wg.Wait()
	t.node = b.join(top.node)
	return t
}

// join puts the nodes of the jobs behind those of the top and mends the references.
func (b *builder) join(top []node) []node {
	total := len(top)
	for i := range b.jobs {
		total += len(b.jobs[i].node)
	}
	out := append(make([]node, 0, total), top...)
	for i := range b.jobs {
		j := &b.jobs[i]
		base := int32(len(out))
		out[j.parent].ref[j.side] = base
		for _, n := range j.node {
			for s := range 2 {
				if n.count[s] == 0 {
					n.ref[s] += base
				}
			}
			out = append(out, n)
		}
	}
	return out
}

// job is a run that a worker splits; its root becomes a child of parent.
type job struct {
	lo, hi, depth int
	parent        int32
	side          int
	node          []node
	face          []mesh.FaceID // of the whole tree
	at            int           // where in face its next leaf begins
}

type builder struct {
	m      *mesh.Mesh
	sorted []uint64 // faces along the curve, below mask
	mask   uint64
	items  []item
	pad    float64 // mm by which boxes are grown on all sides
	grain  int
	jobs   []job
}

// run makes the sorted faces from lo to below hi a child of node at of j, and returns its box.
func (b *builder) run(j *job, at int32, side int, lo, hi int32) box {
	run := b.sorted[lo:hi]
	if len(run) <= leafSize {
		j.node[at].ref[side], j.node[at].count[side] = int32(j.at), int32(len(run))
		for _, k := range run {
			j.face[j.at] = mesh.FaceID(k & b.mask)
			j.at++
		}
		return b.boxOf(run)
	}
	child := int32(len(j.node))
	j.node = append(j.node, node{})
	j.node[at].ref[side], j.node[at].count[side] = child, 0
	return b.fork(j, child, lo, hi)
}

// fork makes node at of j over the sorted faces from lo to below hi, and returns their box.
func (b *builder) fork(j *job, at, lo, hi int32) box {
	mid := lo + int32(mortonHalf(b.sorted[lo:hi]))
	left, right := b.run(j, at, 0, lo, mid), b.run(j, at, 1, mid, hi)
	j.node[at].set(0, &left, b.pad)
	j.node[at].set(1, &right, b.pad)
	left.add(&right)
	return left
}

// boxOf is the box of sorted faces, rounded outward.
func (b *builder) boxOf(run []uint64) box {
	p, _, _ := b.m.Corners(mesh.FaceID(run[0] & b.mask))
	lo, hi := p, p
	for _, k := range run {
		p, q, r := b.m.Corners(mesh.FaceID(k & b.mask))
		lo = mesh.Vec{X: min(lo.X, p.X, q.X, r.X), Y: min(lo.Y, p.Y, q.Y, r.Y), Z: min(lo.Z, p.Z, q.Z, r.Z)}
		hi = mesh.Vec{X: max(hi.X, p.X, q.X, r.X), Y: max(hi.Y, p.Y, q.Y, r.Y), Z: max(hi.Z, p.Z, q.Z, r.Z)}
	}
	return box{[3]float32{below(lo.X), below(lo.Y), below(lo.Z)}, [3]float32{above(hi.X), above(hi.Y), above(hi.Z)}}
}

// gather fills items with the runs and their boxes.
func (b *builder) gather() {
	var low int
	b.sorted, low = mortonOrder(b.m)
	b.mask = 1<<low - 1
	start := mortonRuns(b.sorted)
	b.items = make([]item, len(start)-1)
	mesh.InPieces(len(b.items), 1<<10, func(from, to int) {
		for i := from; i < to; i++ {
			b.items[i] = item{b.boxOf(b.sorted[start[i]:start[i+1]]), start[i], start[i+1] - start[i]}
		}
	})
}

// below and above round to a float32 not above or below x.
func below(x float64) float32 {
	f := float32(x)
	if float64(f) > x {
		f = math.Nextafter32(f, float32(math.Inf(-1)))
	}
	return f
}

func above(x float64) float32 {
	f := float32(x)
	if float64(f) < x {
		f = math.Nextafter32(f, float32(math.Inf(1)))
	}
	return f
}

// padOf is a billionth of the largest coordinate. Distances of points and rays to boxes are
// then never rounded to more than what the faces inside would give, for queries up to a million
// times farther away than the mesh is large.
func padOf(m *mesh.Mesh) float64 {
	lo, hi := m.Bounds()
	return 1e-9 * max(-lo.X, -lo.Y, -lo.Z, hi.X, hi.Y, hi.Z, 0)
}

// set stores a box as centre and half size that cover it, and the pad, in spite of rounding.
func (n *node) set(side int, b *box, pad float64) {
	for k := range 3 {
		lo, hi := float64(b.lo[k]), float64(b.hi[k])
		c := float32((lo + hi) / 2)
		n.centre[side][k] = c
		n.half[side][k] = above(max(hi-float64(c), float64(c)-lo) + pad)
	}
}

// split makes node at of j over items lo..hi: it partitions them in two and goes on with both.
func (b *builder) split(j *job, at int32, lo, hi, depth int, top bool) {
	if hi-lo == 1 { // all that the worker has is one run
		it := &b.items[lo]
		if it.count > leafSize {
			b.fork(j, at, it.from, it.from+it.count)
			return
		}
		// One leaf and an empty child.
		b.run(j, at, 0, it.from, it.from+it.count)
		n := &j.node[at]
		n.set(0, &it.box, b.pad)
		n.half[1] = [3]float32{float32(math.Inf(-1)), float32(math.Inf(-1)), float32(math.Inf(-1))}
		n.count[1], n.ref[1] = 1, n.ref[0]
		return
	}
	mid, left, right := b.partition(lo, hi, depth)
	runs := [2][2]int{{lo, mid}, {mid, hi}}
	j.node[at].set(0, &left, b.pad)
	j.node[at].set(1, &right, b.pad)
	for side, run := range runs {
		n := run[1] - run[0]
		switch {
		case top && n <= b.grain:
			b.jobs = append(b.jobs, job{lo: run[0], hi: run[1], depth: depth + 1, parent: at, side: side})
		case n == 1:
			it := b.items[run[0]]
			b.run(j, at, side, it.from, it.from+it.count)
		default:
			child := int32(len(j.node))
			j.node = append(j.node, node{})
			j.node[at].ref[side], j.node[at].count[side] = child, 0
			b.split(j, child, run[0], run[1], depth+1, top)
		}
	}
}

// partition reorders items lo..hi so that those up to mid go left, and returns both boxes.
func (b *builder) partition(lo, hi, depth int) (mid int, left, right box) {
	items := b.items[lo:hi]
	cen := emptyBox // of twice the centres
	for i := range items {
		it := &items[i]
		for k := range 3 {
			c := it.lo[k] + it.hi[k]
			if c < cen.lo[k] {
				cen.lo[k] = c
			}
			if c > cen.hi[k] {
				cen.hi[k] = c
			}
		}
	}
	axis := 0
	for k := 1; k < 3; k++ {
		if cen.hi[k]-cen.lo[k] > cen.hi[axis]-cen.lo[axis] {
			axis = k
		}
	}
	width := cen.hi[axis] - cen.lo[axis]
	n := bins // as many planes as pay
	if len(items) <= 64 {
		n = bins / 2
	}
	scale := float32(n) * (1 - 1e-6) / width
	if depth >= deep || !(width > 0) || math.IsInf(float64(scale), 0) || math.IsInf(float64(width), 0) {
		return b.halve(lo, hi)
	}
	start := cen.lo[axis]
	var count [bins]int
	var bound [bins]box
	for i := range bound[:n] {
		bound[i] = emptyBox
	}
	for i := range items {
		it := &items[i]
		k := int((it.lo[axis]+it.hi[axis]-start)*scale) & (bins - 1)
		count[k]++
		bound[k].add(&it.box)
	}
	// The cheapest plane, by areas times counts.
	var behind [bins]box
	acc := emptyBox
	for i := n - 1; i > 0; i-- {
		acc.add(&bound[i])
		behind[i] = acc
	}
	acc = emptyBox
	before, bestCost, best := 0, float32(math.Inf(1)), 0
	for i := range n - 1 {
		acc.add(&bound[i])
		before += count[i]
		if before == 0 || before == len(items) {
			continue
		}
		c := float32(acc.cost()*float32(before)) + float32(behind[i+1].cost()*float32(len(items)-before))
		if c < bestCost {
			bestCost, best, left, right = c, i+1, acc, behind[i+1]
		}
	}
	if best == 0 {
		return b.halve(lo, hi)
	}
	i, j := 0, len(items)-1
	for {
		for i <= j && int((items[i].lo[axis]+items[i].hi[axis]-start)*scale)&(bins-1) < best {
			i++
		}
		for i <= j && int((items[j].lo[axis]+items[j].hi[axis]-start)*scale)&(bins-1) >= best {
			j--
		}
		if i >= j {
			break
		}
		items[i], items[j] = items[j], items[i]
	}
	return lo + i, left, right
}

// halve splits where the items lie, for faces that no plane tells apart.
func (b *builder) halve(lo, hi int) (mid int, left, right box) {
	mid = (lo + hi) / 2
	left, right = emptyBox, emptyBox
	for i := lo; i < mid; i++ {
		left.add(&b.items[i].box)
	}
	for i := mid; i < hi; i++ {
		right.add(&b.items[i].box)
	}
	return mid, left, right
}
