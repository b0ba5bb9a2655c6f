package inspect

import (
	"cmp"
	"math"
	"slices"
)

// horizontal tells how the rims stand over each other.
//
// The outer edge of a flat is where its row of pixels ends; on each row, within the side's reach,
// the upper's edge less the lower's, and of these the median. In front the same by columns.
func (p *pair) horizontal(f *common, u *Outcome, l *Outcome) Horizontal {
	h := Horizontal{UMM: expanded(rectangle(p.upper.grain.EdgeMM/2), rectangle(p.lower.grain.EdgeMM/2), p.poseU.offset)}
	m := &p.method
	row := int((f.front + m.SideMM - f.y0) / f.pixel)
	half := int(m.SideHalfMM / f.pixel)
	side := func(step int) (*float64, []Vec) {
		return p.overlap(f, row-half, row+half, func(j, i int) int {
			if step > 0 { // from the left edge of the grid inward
				i = f.w - 1 - i
			}
			if i < 0 || i >= f.w || j < 0 || j >= f.h || (f.x0+f.pixel*float64(i))*float64(step) < 0 {
				return -1
			}
			return j*f.w + i
		})
	}
	h.LeftMM, h.LeftAt = side(1)
	h.RightMM, h.RightAt = side(-1)
	column, half := int(-f.x0/f.pixel), int(m.FrontHalfMM/f.pixel)
	h.ForwardMM, h.ForwardAt = p.overlap(f, column-half, column+half, func(i, j int) int {
		if i < 0 || i >= f.w || j >= f.h {
			return -1
		}
		return j*f.w + i
	})
	if h.LeftMM == nil || h.RightMM == nil || h.ForwardMM == nil {
		h.Unmeasured = "one rim does not reach there"
	}
	fu, ok1 := u.Report.Landmarks[LabialFrenum]
	fl, ok2 := l.Report.Landmarks[LabialFrenum]
	if ok1 && ok2 {
		a, b := p.upper.local(fu.Point), p.lower.local(fl.Point)
		h.MidlineMM, h.MidlineUMM = ptr(b.X-a.X), ptr(math.Hypot(fu.UncertaintyMM, math.Hypot(fl.UncertaintyMM, 2*p.poseU.offset)))
		h.MidlineAt = []Vec{p.world(a), p.world(b)}
	}
	return h
}

// overlap looks along lines first to last of the grid, from outside inward, for where each flat
// begins; at gives the pixel k places in on a line, -1 where the line ends. It returns the median
// of by how much the upper begins farther out, and its two places.
func (p *pair) overlap(f *common, first, last int, at func(line, k int) int) (*float64, []Vec) {
	type edge struct {
		mm     float64
		pixels [2]int
	}
	var edges []edge
	for line := first; line <= last; line++ {
		e := edge{pixels: [2]int{-1, -1}}
		var in [2]int
		for k := 0; e.pixels[0] < 0 || e.pixels[1] < 0; k++ {
			q := at(line, k)
			if q < 0 {
				break
			}
			for i := range e.pixels {
				if e.pixels[i] < 0 && f.reach[i][q] {
					e.pixels[i], in[i] = q, k
				}
			}
		}
		if e.pixels[0] >= 0 && e.pixels[1] >= 0 {
			e.mm = f.pixel * float64(in[1]-in[0])
			edges = append(edges, e)
		}
	}
	if len(edges) == 0 {
		return nil, nil
	}
	slices.SortStableFunc(edges, func(a, b edge) int { return cmp.Compare(a.mm, b.mm) })
	// The mean of the middle half: a median that whole pixels do not step.
	lo, hi := len(edges)/4, (3*len(edges)+3)/4
	sum := 0.0
	for _, e := range edges[lo:hi] {
		sum += e.mm
	}
	mid := edges[len(edges)/2]
	var places []Vec
	for i, s := range []*seat{&p.upper, &p.lower} {
		x, y := f.xy(mid.pixels[i])
		places = append(places, p.world(Vec{X: x, Y: y, Z: s.planeAt(x, y)}))
	}
	return ptr(sum / float64(hi-lo)), places
}
