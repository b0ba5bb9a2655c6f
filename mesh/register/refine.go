package register

import (
	"math"
	"slices"

	"fornix/mesh"
	"fornix/mesh/tree"
)

const (
	sameSide   = 0.6     // cosine of the normals of points that may belong together
	cutoff     = 4.685   // sigmas beyond which a pair counts nothing (Tukey's biweight, 95 % as good as least squares on normal noise)
	toSigma    = 1.4826  // from the median of absolute values, for normal noise
	leastSigma = 1e-4    // mm; coordinates in files hold no more
	steady     = 0.01    // change of the spread from which on it is kept, so that steps can end
	settled    = 1e-7    // mm: a step this short ends them
	counted    = 1 << 13 // pairs that are enough to tell the spread
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
	hit    mesh.FaceID // of the other surface, met last; -1: none yet
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
		for i := lo; i < hi; i++ {
			p, n := pose.Apply(ms[i].at), pose.Turn(ms[i].normal)
			if q, m, onBoundary, ok := c.fixed.nearest(p, reach, &out[i]); ok {
				out[i].join(p, q, n, m, onBoundary)
			}
		}
	})
	inPieces(len(fs), 512, c.workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			o := &out[len(ms)+i]
			if p, n, onBoundary, ok := c.moving.nearest(back.Apply(fs[i].at), reach, o); ok {
				o.join(pose.Apply(p), fs[i].at, pose.Turn(n.Scale(c.sign)), fs[i].normal, onBoundary)
			}
		}
	})
}

// nearest returns the point of b nearest to p, the unit normal there and whether it lies on a
// boundary. The face that o met last bounds the search: the motion since was small.
func (b *Body) nearest(p mesh.Vec, reach float64, o *pair) (q, n mesh.Vec, onBoundary, ok bool) {
	o.kind = apart
	limit := reach
	if o.hit >= 0 {
		x, y, z := b.Mesh.Corners(o.hit)
		limit = min(reach, tree.ClosestOnFace(x, y, z, p).Dist(p)*(1+1e-9)+math.SmallestNonzeroFloat64)
	}
	hit, ok := b.Tree.Nearest(p, limit, nil)
	if !ok {
		return q, n, false, false
	}
	o.hit = hit.Face
	n, onBoundary = b.facing(hit.Face, hit.Point)
	return hit.Point, n.Unit(), onBoundary, true
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
func sigma(pairs []pair) float64 {
	x := make([]float64, 0, 2*counted)
	stride := max(1, len(pairs)/counted)
	for i := 0; i < len(pairs); i += stride {
		if pairs[i].kind == met {
			x = append(x, math.Abs(pairs[i].r))
		}
	}
	if len(x) == 0 {
		return 0
	}
	return toSigma * median(x)
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
// It ends where it moves no more, or after most steps.
func (c *couple) refine(ms, fs []sample, pose Pose, reach float64, most int) trial {
	t := trial{pose: pose, pairs: newPairs(len(ms) + len(fs)), moving: len(ms), reach: reach}
	c.further(&t, ms, fs, most)
	return t
}

// further takes up to most steps more.
func (c *couple) further(t *trial, ms, fs []sample, most int) {
	kept := false
	for range most {
		t.steps++
		c.meet(ms, fs, t.pose, t.reach, t.pairs)
		if s := max(sigma(t.pairs), c.noise, leastSigma); !kept {
			kept = math.Abs(s-t.spread) < steady*s
			t.spread = s
		}
		f, x, ok := step(t.pairs, t.spread)
		if !ok {
			return
		}
		t.pose = t.pose.Then(f.pose(x))
		// Points farther off than those that count need not be looked for.
		t.reach = min(t.reach, max(2*cutoff*t.spread, 0.05))
		if math.Sqrt(x.norm2()) < settled {
			return
		}
	}
}

func (x *twist) norm2() float64 {
	sum := 0.0
	for _, v := range x {
		sum += float64(v * v)
	}
	return sum
}

func newPairs(n int) []pair {
	p := make([]pair, n)
	for i := range p {
		p[i].hit = -1
	}
	return p
}
