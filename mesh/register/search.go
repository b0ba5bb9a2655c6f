package register

import (
	"math"

	"fornix/mesh"
)

const (
	searchSamples = 1000 // of the smaller surface: 2.5 mm apart on an impression
	searchMost    = 3000 // of the larger one, should it be larger by far
	searchRefs    = 120  // references that vote
	gridSamples   = 10000
	gridSide      = 1.0 // mm, a cell
	gridMargin    = 6.0 // mm around the surface
	screened      = 20  // candidates of each sense that are worked on
	coarseSteps   = 12
	coarseFrom    = 5.0 // mm within which points count at first
	coarseTo      = 1.5 // mm, at last
)

// search proposes poses of moving on fixed, and of its mirror image, with no start given, best
// first, those that come to the same left out. Scores are shares of moving's samples.
func search(moving, fixed *sampler, workers int) (proper, mirror []candidate) {
	small, large := moving, fixed
	if fixed.area() < moving.area() {
		small, large = fixed, moving
	}
	spacing := math.Sqrt(small.area() / searchSamples)
	count := int(min(large.area()/(spacing*spacing), searchMost))
	of, other := small.patches(searchSamples, 0.7*spacing, workers), large.patches(count, 0.7*spacing, workers)
	if len(of) < 4 || len(other) < 4 {
		return nil, nil
	}
	t := newPairTable(of, spacing, workers)
	step := max(1, len(other)/searchRefs)
	votes := make([][2][]candidate, (len(other)+step-1)/step)
	inPieces(len(votes), 4, workers, func(lo, hi int) {
		ballot := make([]float32, 2*turnBins*len(of))
		for i := lo; i < hi; i++ {
			votes[i][0], votes[i][1] = t.vote(other, i*step, ballot)
		}
	})
	grid := newNearGrid(fixed.points(gridSamples), gridSide, gridMargin)
	from := of
	if small != moving {
		from = other
	}
	for side, out := range [2]*[]candidate{&proper, &mirror} {
		var all []candidate
		for _, v := range votes {
			all = append(all, v[side]...)
		}
		if small != moving {
			for i := range all {
				all[i].pose = all[i].pose.Inverse()
			}
		}
		*out = work(all, from, grid, workers)
	}
	return proper, mirror
}

// work settles the more promising of the candidates on the grid.
func work(all []candidate, from []sample, grid *nearGrid, workers int) []candidate {
	some := from[:0:0]
	for i := 0; i < len(from); i += 3 {
		some = append(some, from[i])
	}
	inPieces(len(all), 16, workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			all[i].score = grid.score(some, all[i].pose, coarseFrom)
		}
	})
	byScore(all)
	all = all[:min(len(all), screened)]
	inPieces(len(all), 2, workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			all[i].pose = grid.settle(from, all[i].pose)
			all[i].score = grid.score(from, all[i].pose, coarseTo)
		}
	})
	byScore(all)
	return distinct(all, from)
}

// distinct leaves out candidates that bring the points to about where a better one does.
func distinct(all []candidate, points []sample) []candidate {
	f := frameOf(func(i int) mesh.Vec { return points[i].at }, len(points))
	var out []candidate
next:
	for _, c := range all {
		for _, o := range out {
			if f.apart(c.pose, o.pose) < 2*coarseTo {
				continue next
			}
		}
		out = append(out, c)
	}
	return out
}

// apart returns the root mean square distance between where two poses bring points about f, in
// mm, as if they lay alike in all directions.
func (f *frame) apart(a, b Pose) float64 {
	sum := 0.0
	for i := range 3 {
		for j := range 3 {
			d := a.R[i][j] - b.R[i][j]
			sum += d * d
		}
	}
	shift := a.Apply(f.centre).Sub(b.Apply(f.centre))
	return math.Sqrt(shift.Norm2() + sum*f.reach*f.reach/3)
}

// meet returns the sample of the grid that belongs to s at the pose, how far s lies from its
// plane, and where s is; nil where none is near that faces the same way.
func (g *nearGrid) meet(s *sample, pose *Pose, reach float64) (q *sample, r float64, p mesh.Vec) {
	p = pose.Apply(s.at)
	q = g.nearest(p)
	if q == nil || q.normal.Dot(pose.Turn(s.normal)) < 0.6 {
		return nil, 0, p
	}
	d := q.at.Sub(p)
	r = q.normal.Dot(d)
	// Along the surface the next sample may be a spacing away.
	if math.Abs(r) > reach || d.Norm2()-r*r > 4*gridSide*gridSide {
		return nil, 0, p
	}
	return q, r, p
}

// score returns the share of samples that meet the surface, those at the limit counted none and
// those on it whole.
func (g *nearGrid) score(of []sample, pose Pose, reach float64) float64 {
	sum := 0.0
	for i := range of {
		if q, r, _ := g.meet(&of[i], &pose, reach); q != nil {
			sum += 1 - r*r/(reach*reach)
		}
	}
	return sum / float64(len(of))
}

// settle moves the samples onto the surface, point to plane, counting less and less of what lies
// far from it.
func (g *nearGrid) settle(of []sample, pose Pose) Pose {
	for step := range coarseSteps {
		reach := coarseFrom * math.Pow(coarseTo/coarseFrom, float64(step)/(coarseSteps-1))
		f := frameOf(func(i int) mesh.Vec { return pose.Apply(of[i].at) }, len(of))
		var sum normalSum
		for i := range of {
			q, r, p := g.meet(&of[i], &pose, reach)
			if q == nil {
				continue
			}
			w := 1 - r*r/(reach*reach)
			j := f.along(p, q.normal)
			sum.add(&j, r, w*w)
		}
		x, ok := sum.damped(1e-3)
		if !ok {
			return pose
		}
		pose = pose.Then(f.pose(x))
	}
	return pose
}
