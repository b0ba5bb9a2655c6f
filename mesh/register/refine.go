package register

import (
	"math"
	"slices"

	"fornix/mesh"
)

const (
	sameSide   = 0.6    // cosine of the normals of points that may belong together
	cutoff     = 4.685  // sigmas beyond which a pair counts nothing (Tukey's biweight, 95 % as good as least squares on normal noise)
	toSigma    = 1.4826 // from the median of absolute values, for normal noise
	leastSigma = 1e-4   // mm; coordinates in files hold no more
	refineMost = 60     // iterations
	settled    = 1e-8   // mm: a step this short ends them
)

// couple brings two bodies together from a start, as far as their surfaces tell.
type couple struct {
	moving, fixed *Body
	sign          float64 // -1: moving's normals are turned round
	workers       int
	noise         float64 // mm, the least sigma that counts
}

// pair is a point of one surface and the nearest of the other, in fixed's frame.
type pair struct {
	at     mesh.Vec // of moving
	normal mesh.Vec // mean of both
	r      float64  // mm that moving must go along normal to meet fixed; at an edge: how far it is
	weight float64
	kind   kind
}

type kind int8

const (
	apart kind = iota // nothing within reach that faces the same way
	edge              // the nearest is on a boundary: the surface goes on there unseen
	met
)

// meet pairs the samples of both surfaces at the pose, as far as reach mm; out has one for each,
// those of moving first.
//
// Both ways, because one way alone is pulled by what only the other surface shows; along the mean
// of both normals, for which the error of a step falls with the square of the distance (the
// symmetric objective of Rusinkiewicz, ACM Trans Graph 2019;38(4):85).
func (c *couple) meet(ms, fs []sample, pose Pose, reach float64, out []pair) {
	back := pose.Inverse()
	inPieces(len(ms), 512, c.workers, func(lo, hi int) {
		cursor := c.fixed.Tree.Cursor()
		for i := lo; i < hi; i++ {
			out[i].kind = apart
			p, n := pose.Apply(ms[i].at), pose.Turn(ms[i].normal)
			hit, ok := cursor.Nearest(p, reach, nil)
			if !ok {
				continue
			}
			m, onBoundary := c.fixed.facing(hit.Face, hit.Point)
			out[i].join(p, hit.Point, n, m.Unit(), onBoundary)
		}
	})
	inPieces(len(fs), 512, c.workers, func(lo, hi int) {
		cursor := c.moving.Tree.Cursor()
		for i := lo; i < hi; i++ {
			o := &out[len(ms)+i]
			o.kind = apart
			hit, ok := cursor.Nearest(back.Apply(fs[i].at), reach, nil)
			if !ok {
				continue
			}
			m, onBoundary := c.moving.facing(hit.Face, hit.Point)
			o.join(pose.Apply(hit.Point), fs[i].at, pose.Turn(m.Unit().Scale(c.sign)), fs[i].normal, onBoundary)
		}
	})
}

// join makes the pair of the point p of moving and q of fixed, if they face the same way.
func (o *pair) join(p, q, n, m mesh.Vec, onBoundary bool) {
	if n.Dot(m) < sameSide {
		return
	}
	if onBoundary {
		o.kind, o.r = edge, p.Dist(q)
		return
	}
	o.kind, o.at, o.normal = met, p, n.Add(m).Unit()
	o.r = o.normal.Dot(q.Sub(p))
}

// sigma returns the spread of the pairs about the surface: robust, from the median.
func sigma(pairs []pair, scratch []float64) (float64, []float64) {
	scratch = scratch[:0]
	for i := range pairs {
		if pairs[i].kind == met {
			scratch = append(scratch, math.Abs(pairs[i].r))
		}
	}
	if len(scratch) == 0 {
		return 0, scratch
	}
	return toSigma * median(scratch), scratch
}

// median reorders x.
func median(x []float64) float64 {
	slices.Sort(x)
	return x[len(x)/2]
}

// step weighs the pairs and solves for the motion that brings moving nearer.
func step(pairs []pair, spread float64) (frame, twist, bool) {
	kept := 0
	limit := cutoff * spread
	var mid mesh.Vec
	for i := range pairs {
		o := &pairs[i]
		o.weight = 0
		if o.kind != met || math.Abs(o.r) >= limit {
			continue
		}
		k := o.r / limit
		o.weight = (1 - k*k) * (1 - k*k)
		mid = mid.Add(o.at)
		kept++
	}
	if kept < 6 {
		return frame{}, twist{}, false
	}
	f := frame{centre: mid.Scale(1 / float64(kept))}
	sum := 0.0
	for i := range pairs {
		if pairs[i].weight > 0 {
			sum += pairs[i].at.Sub(f.centre).Norm2()
		}
	}
	if f.reach = math.Sqrt(sum / float64(kept)); !(f.reach > 0) {
		return frame{}, twist{}, false
	}
	var s normalSum
	for i := range pairs {
		if o := &pairs[i]; o.weight > 0 {
			j := f.along(o.at, o.normal)
			s.add(&j, o.r, o.weight)
		}
	}
	x, ok := s.damped(1e-9)
	return f, x, ok
}

// refine moves from the pose to where the surfaces fit best, at first as far apart as reach mm.
// It ends where it moves no more, and says after how many steps and with what spread.
func (c *couple) refine(ms, fs []sample, pose Pose, reach float64, most int) (Pose, []pair, float64, int) {
	pairs := make([]pair, len(ms)+len(fs))
	var scratch []float64
	spread := 0.0
	at := 0
	for at < most {
		at++
		c.meet(ms, fs, pose, reach, pairs)
		spread, scratch = sigma(pairs, scratch)
		spread = max(spread, c.noise, leastSigma)
		f, x, ok := step(pairs, spread)
		if !ok {
			return pose, pairs, spread, at
		}
		pose = pose.Then(f.pose(x))
		// Points farther off than counted ones need not be looked for.
		reach = min(reach, max(2*cutoff*spread, 0.05))
		if move := math.Sqrt(x.norm2()); move < settled {
			break
		}
	}
	return pose, pairs, spread, at
}

func (x *twist) norm2() float64 {
	sum := 0.0
	for _, v := range x {
		sum += float64(v * v)
	}
	return sum
}
