package render

import (
	"cmp"
	"math"
	"slices"
)

// Point is a place on the page in pixels, from the left and from the top.
type Point struct{ X, Y float64 }

// Box is a rectangle of the page in pixels, from its upper left corner.
type Box struct{ X, Y, W, H float64 }

// Overlaps reports whether two boxes share more than an edge.
func (a Box) Overlaps(b Box) bool {
	return a.X < b.X+b.W && b.X < a.X+a.W && a.Y < b.Y+b.H && b.Y < a.Y+a.H
}

// Contains reports whether p lies inside the box or on its edge.
func (a Box) Contains(p Point) bool {
	return p.X >= a.X && p.X <= a.X+a.W && p.Y >= a.Y && p.Y <= a.Y+a.H
}

// inset returns the box with d taken off every side.
func (a Box) inset(d float64) Box { return Box{a.X + d, a.Y + d, a.W - 2*d, a.H - 2*d} }

// Callout is a label that is to be placed for a marked point.
type Callout struct {
	At   Point
	W, H float64 // of the label
	Lean float64 // how far below its point the label stands best
	Rank int     // the lowest ranks give way last when there is no room
}

// Placed is where a label went and the line that leads from it to its point.
type Placed struct {
	Box  Box
	From Point // on the side of the box that faces the picture
	OK   bool  // false: there was no room
}

// Place puts labels into a column at the left and one at the right of the picture, in which the
// marked points lie. No two boxes overlap and none leaves its column, so none covers a point;
// in each column the leader lines do not cross as long as the labels are of equal height.
//
// A label goes to the nearer column while that has room. The order in a column starts as that
// of the points from top to bottom; two leaders that cross then change places, which always
// shortens both together, so it ends. For a given order the heights that move the labels least
// (in squares) are found by pooling neighbours that would overlap (Ayer and others, "An
// empirical distribution function for sampling with incomplete information", 1955).
// The result depends on the order of cs only for equal ranks. O(n³) at worst.
func Place(cs []Callout, left, right Box, gap float64) []Placed {
	out := make([]Placed, len(cs))
	order := make([]int, len(cs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(cs[a].Rank, cs[b].Rank) })
	columns := [2]Box{left, right}
	var free [2]float64
	var in [2][]int
	for k, c := range columns {
		free[k] = c.H + gap
	}
	for _, i := range order {
		near := 0
		if cs[i].At.X-(left.X+left.W) > right.X-cs[i].At.X {
			near = 1
		}
		for _, k := range [2]int{near, 1 - near} {
			if cs[i].H+gap <= free[k] && cs[i].W <= columns[k].W {
				free[k] -= cs[i].H + gap
				in[k] = append(in[k], i)
				break
			}
		}
	}
	for k, c := range columns {
		stack(cs, in[k], c, k == 0, gap, out)
	}
	return out
}

// stack places the labels ids in one column.
func stack(cs []Callout, ids []int, col Box, leftSide bool, gap float64, out []Placed) {
	slices.SortFunc(ids, func(a, b int) int {
		return cmp.Or(cmp.Compare(cs[a].At.Y+cs[a].Lean, cs[b].At.Y+cs[b].Lean), cmp.Compare(cs[a].At.X, cs[b].At.X), cmp.Compare(a, b))
	})
	put := func() {
		tops := settle(cs, ids, col, gap)
		for n, i := range ids {
			c := cs[i]
			p := Placed{Box: Box{col.X, tops[n], c.W, c.H}, OK: true}
			p.From = Point{col.X, tops[n] + c.H/2}
			if leftSide {
				p.Box.X = col.X + col.W - c.W
				p.From.X = col.X + col.W
			}
			out[i] = p
		}
	}
	put()
	for range len(ids) * len(ids) {
		if !uncross(cs, ids, out) {
			return
		}
		put()
	}
}

// uncross changes the places of the first two leaders that cross.
func uncross(cs []Callout, ids []int, out []Placed) bool {
	for m := range ids {
		for n := range m {
			a, b := ids[n], ids[m]
			if crosses(out[a].From, cs[a].At, out[b].From, cs[b].At) {
				ids[n], ids[m] = b, a
				return true
			}
		}
	}
	return false
}

// settle returns the top of each label, in order: the least moves from where each would best
// stand that leave gap between them and keep all in the column.
func settle(cs []Callout, ids []int, col Box, gap float64) []float64 {
	type pool struct{ sum, n float64 }
	var pools []pool
	offset := make([]float64, len(ids)) // of a label's top when all stand without slack
	at := 0.0
	for k, i := range ids {
		offset[k] = at
		at += cs[i].H + gap
		pools = append(pools, pool{cs[i].At.Y + cs[i].Lean - cs[i].H/2 - offset[k], 1})
		for len(pools) > 1 {
			p, q := pools[len(pools)-2], pools[len(pools)-1]
			if p.sum/p.n <= q.sum/q.n {
				break
			}
			pools = append(pools[:len(pools)-2], pool{p.sum + q.sum, p.n + q.n})
		}
	}
	tops := make([]float64, 0, len(ids))
	slack := col.H - (at - gap)
	for _, p := range pools {
		base := col.Y + max(0, min(slack, p.sum/p.n-col.Y))
		for range int(p.n) {
			tops = append(tops, base+offset[len(tops)])
		}
	}
	return tops
}

// crosses reports whether the segments ab and cd cross in their insides.
func crosses(a, b, c, d Point) bool {
	side := func(p, q, r Point) float64 { return (q.X-p.X)*(r.Y-p.Y) - (q.Y-p.Y)*(r.X-p.X) }
	s, t := side(a, b, c)*side(a, b, d), side(c, d, a)*side(c, d, b)
	return s < 0 && t < 0 && !math.IsNaN(s+t)
}
