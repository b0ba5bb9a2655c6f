package register

import (
	"math"

	"fornix/mesh"
)

// nearGrid answers, roughly and in one step, which sample of a surface is nearest to a place.
type nearGrid struct {
	of   []sample
	lo   mesh.Vec
	side float64
	n    [3]int
	near []int32 // of the cells, x fastest: a sample; -1: none
}

// newNearGrid fills cells of side mm in the box of the samples, grown by margin, each with the
// sample nearest to its middle among the middles of cells that hold one: an exact transform, one
// axis after the other (Felzenszwalb and Huttenlocher, Theory of Computing 2012;8:415).
func newNearGrid(of []sample, side, margin float64) *nearGrid {
	lo, hi := of[0].at, of[0].at
	for _, s := range of {
		lo, hi = lo.Min(s.at), hi.Max(s.at)
	}
	grow := mesh.Vec{X: margin, Y: margin, Z: margin}
	lo, hi = lo.Sub(grow), hi.Add(grow)
	g := &nearGrid{of: of, lo: lo, side: side}
	d := hi.Sub(lo)
	for k, l := range [3]float64{d.X, d.Y, d.Z} {
		g.n[k] = int(l/side) + 1
	}
	total := g.n[0] * g.n[1] * g.n[2]
	g.near = make([]int32, total)
	d2 := make([]float32, total)
	for i := range g.near {
		g.near[i], d2[i] = -1, float32(math.Inf(1))
	}
	for i, s := range of {
		c, _ := g.cell(s.at)
		g.near[c], d2[c] = int32(i), 0
	}
	e := newEnvelope(max(g.n[0], g.n[1], g.n[2]))
	step := 1
	for k := range 3 {
		for c := range total {
			if c/step%g.n[k] == 0 {
				e.sweep(d2, g.near, c, step, g.n[k])
			}
		}
		step *= g.n[k]
	}
	return g
}

// cell returns the cell that p lies in.
func (g *nearGrid) cell(p mesh.Vec) (int, bool) {
	q := p.Sub(g.lo).Scale(1 / g.side)
	if !(q.X >= 0 && q.Y >= 0 && q.Z >= 0 && q.X < float64(g.n[0]) && q.Y < float64(g.n[1]) && q.Z < float64(g.n[2])) {
		return 0, false
	}
	return (int(q.Z)*g.n[1]+int(q.Y))*g.n[0] + int(q.X), true
}

// nearest returns the sample near p, nil outside the grid.
func (g *nearGrid) nearest(p mesh.Vec) *sample {
	c, in := g.cell(p)
	if !in || g.near[c] < 0 {
		return nil
	}
	return &g.of[g.near[c]]
}

// envelope is the scratch memory of one line: the lower envelope of parabolas.
type envelope struct {
	at    []int     // their cells
	from  []float32 // where each begins to be lowest
	d2    []float32
	label []int32
}

func newEnvelope(n int) *envelope {
	return &envelope{make([]int, n), make([]float32, n), make([]float32, n), make([]int32, n)}
}

// sweep lowers d2 along the line of n cells from first at the given step.
func (e *envelope) sweep(d2 []float32, label []int32, first, step, n int) {
	k := -1
	for q := range n {
		c := first + q*step
		e.d2[q], e.label[q] = d2[c], label[c]
		if label[c] < 0 {
			continue
		}
		start := float32(math.Inf(-1))
		for k >= 0 {
			p := e.at[k]
			start = ((e.d2[q] + float32(q*q)) - (e.d2[p] + float32(p*p))) / float32(2*(q-p))
			if start > e.from[k] {
				break
			}
			k--
			start = float32(math.Inf(-1))
		}
		k++
		e.at[k], e.from[k] = q, start
	}
	if k < 0 {
		return
	}
	i := 0
	for q := range n {
		for i < k && e.from[i+1] <= float32(q) {
			i++
		}
		p := e.at[i]
		c := first + q*step
		d2[c], label[c] = e.d2[p]+float32((q-p)*(q-p)), e.label[p]
	}
}
