package register

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
)

// A pair of samples with normals has four measures that no motion changes: its length, the angle
// of each normal to the line between them and the angle of the normals. Equal measures in two
// surfaces propose a motion, and the pairs of one sample, its reference, vote together for the
// place and turn of that sample (Drost, Ulrich, Navab, Ilic, CVPR 2010). A mirror image changes
// only the sense of the turn, so both are voted on in one go.

const (
	angleBins = 12  // of 0 to 180 degrees
	turnBins  = 30  // of the turn about the reference's normal, 12 degrees each
	bestTurns = 2   // candidates taken from a reference, for each sense
	heard     = 256 // entries of one bin that vote, evenly taken: on a ball all pairs are alike
)

// reference is the frame of a sample: its normal and two directions across it.
type reference struct{ n, u, v mesh.Vec }

func referenceOf(n mesh.Vec) reference {
	a := mesh.Vec{X: 1}
	if math.Abs(n.X) > 0.6 {
		a = mesh.Vec{Y: 1}
	}
	u := n.Cross(a).Unit()
	return reference{n, u, n.Cross(u)}
}

// pairTable holds the pairs of a surface, sorted by their measures.
type pairTable struct {
	of    []sample
	frame []reference
	step  float64 // mm, a bin of length
	least float64 // mm, shorter pairs tell little
	bins  int     // of length
	start []int32 // of each bin of measures in entry
	entry []pairEntry
}

type pairEntry struct {
	ref  int32
	turn float32 // of the second sample about the reference's normal, radians
}

// measures returns the bin of the pair and the turn of its second sample; false where it is of
// no use.
func (t *pairTable) measures(f *reference, p, q *sample) (bin int, turn float64, ok bool) {
	d := q.at.Sub(p.at)
	l := d.Norm()
	k := int(l / t.step)
	if l < t.least || k >= t.bins {
		return 0, 0, false
	}
	d = d.Scale(1 / l)
	a := angleBin(f.n.Dot(d))
	b := angleBin(q.normal.Dot(d))
	c := angleBin(f.n.Dot(q.normal))
	return ((k*angleBins+a)*angleBins+b)*angleBins + c, math.Atan2(f.v.Dot(d), f.u.Dot(d)), true
}

func angleBin(cos float64) int {
	return min(int(math.Acos(max(-1, min(1, cos)))*(angleBins/math.Pi)), angleBins-1)
}

// newPairTable measures all pairs of the samples, spaced by spacing mm.
func newPairTable(of []sample, spacing float64, workers int) *pairTable {
	t := &pairTable{of: of, step: spacing, least: 2 * spacing, frame: make([]reference, len(of))}
	for i, s := range of {
		t.frame[i] = referenceOf(s.normal)
	}
	lo, hi := of[0].at, of[0].at
	for _, s := range of {
		lo, hi = lo.Min(s.at), hi.Max(s.at)
	}
	t.bins = int(hi.Dist(lo)/t.step) + 1
	n := len(of)
	all := make([]pairEntry, n*n)
	key := make([]int32, n*n) // -1: none
	inPieces(n, n/16+1, workers, func(from, to int) {
		for i := from; i < to; i++ {
			for j := range of {
				at := i*n + j
				bin, turn, ok := t.measures(&t.frame[i], &of[i], &of[j])
				if !ok {
					key[at] = -1
					continue
				}
				key[at], all[at] = int32(bin), pairEntry{int32(i), float32(turn)}
			}
		}
	})
	t.start = make([]int32, t.bins*angleBins*angleBins*angleBins+2)
	for _, k := range key {
		if k >= 0 {
			t.start[k+2]++
		}
	}
	for i := 2; i < len(t.start); i++ {
		t.start[i] += t.start[i-1]
	}
	t.entry = make([]pairEntry, t.start[len(t.start)-1])
	for at, k := range key {
		if k >= 0 {
			t.entry[t.start[k+1]] = all[at]
			t.start[k+1]++
		}
	}
	return t
}

// candidate is a proposed pose of the surface of the table, and how much speaks for it.
type candidate struct {
	pose  Pose // with determinant -1 where mirror
	score float64
}

// vote returns the poses of the table's surface, and of its mirror image, that bring samples of
// it to the sample r of another surface, for which most pairs of r speak.
func (t *pairTable) vote(of []sample, r int, ballot []float32) (proper, mirror []candidate) {
	clear(ballot)
	n := len(t.of)
	f := referenceOf(of[r].normal)
	for j := range of {
		bin, turn, ok := t.measures(&f, &of[r], &of[j])
		if !ok {
			continue
		}
		run := t.entry[t.start[bin]:t.start[bin+1]]
		if len(run) == 0 {
			continue
		}
		w := float32(1 / math.Sqrt(float64(len(run))))
		stride := (len(run) + heard - 1) / heard
		at := float32(turn*(turnBins/(2*math.Pi)) + 2*turnBins)
		for k := j % stride; k < len(run); k += stride {
			e := run[k]
			b := e.turn * (turnBins / (2 * math.Pi))
			cell := 2 * turnBins * int(e.ref)
			ballot[cell+int(at-b)%turnBins] += w
			ballot[cell+turnBins+int(at+b)%turnBins] += w
		}
	}
	for side := range 2 {
		for range bestTurns {
			best, most := -1, float32(0)
			for i := range n {
				for k, v := range ballot[(2*i+side)*turnBins : (2*i+side+1)*turnBins] {
					if v > most {
						best, most = (2*i+side)*turnBins+k, v
					}
				}
			}
			if best < 0 {
				break
			}
			i, k := best/(2*turnBins), best%turnBins
			turn := (float64(k) + 0.5) * 2 * math.Pi / turnBins
			c := candidate{t.poseOf(i, &f, of[r].at, turn, side == 1), float64(most)}
			if side == 0 {
				proper = append(proper, c)
			} else {
				mirror = append(mirror, c)
			}
			for d := -1; d <= 1; d++ { // a peak is wider than a bin
				ballot[best-k+(k+d+turnBins)%turnBins] = 0
			}
		}
	}
	return proper, mirror
}

// poseOf returns the motion that brings sample i of the table to the point at with the frame f,
// turned about the normal.
func (t *pairTable) poseOf(i int, f *reference, at mesh.Vec, turn float64, mirrored bool) Pose {
	g := t.frame[i]
	if mirrored {
		g.v = g.v.Scale(-1)
	}
	s, c := math.Sincos(turn)
	// g.u goes to c f.u + s f.v, g.v to -s f.u + c f.v, g.n to f.n.
	u := f.u.Scale(c).Along(s, f.v)
	v := f.v.Scale(c).Along(-s, f.u)
	var p Pose
	for a, k := range [3][3]float64{{f.n.X, u.X, v.X}, {f.n.Y, u.Y, v.Y}, {f.n.Z, u.Z, v.Z}} {
		r := g.n.Scale(k[0]).Along(k[1], g.u).Along(k[2], g.v)
		p.R[a] = [3]float64{r.X, r.Y, r.Z}
	}
	p.T = at.Sub(p.Turn(t.of[i].at))
	return p
}

// byScore sorts candidates, best first; equal ones keep their order.
func byScore(c []candidate) {
	slices.SortStableFunc(c, func(a, b candidate) int { return cmp.Compare(b.score, a.score) })
}
