package main

import (
	"fmt"
	"math"
	"slices"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
)

type vec = mesh.Vec

// ratio counts how often something came out right.
type ratio struct{ Hit, All int }

// tally gathers what the comparison of measured scans with their truths gave: counts of right
// and wrong, errors in mm, degrees or as a share, and each failure in words.
type tally struct {
	right   map[string]*ratio
	errors  map[string][]float64
	fails   []failure
	scans   int
	numbers int // single values compared
}

type failure struct {
	Case string `json:"case"`
	What string `json:"what"`
}

func newTally() *tally { return &tally{right: map[string]*ratio{}, errors: map[string][]float64{}} }

// ask counts one question and whether the answer was right.
func (t *tally) ask(key string, right bool) {
	r := t.right[key]
	if r == nil {
		r = &ratio{}
		t.right[key] = r
	}
	r.All++
	if right {
		r.Hit++
	}
	t.numbers++
}

// err notes one error.
func (t *tally) err(key string, v float64) {
	t.errors[key] = append(t.errors[key], v)
	t.numbers++
}

func (t *tally) add(o *tally) {
	for k, r := range o.right {
		if t.right[k] == nil {
			t.right[k] = &ratio{}
		}
		t.right[k].Hit += r.Hit
		t.right[k].All += r.All
	}
	for k, v := range o.errors {
		t.errors[k] = append(t.errors[k], v...)
	}
	t.fails = append(t.fails, o.fails...)
	t.scans += o.scans
	t.numbers += o.numbers
}

// quantile of the errors of a key, NaN without any.
func (t *tally) quantile(key string, q float64) float64 {
	v := slices.Clone(t.errors[key])
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[int(q*float64(len(v)-1)+0.5)]
}

// within is the share of the errors of a key that are no greater than limit, NaN without any.
func (t *tally) within(key string, limit float64) float64 {
	n := 0
	for _, v := range t.errors[key] {
		if v <= limit {
			n++
		}
	}
	return float64(n) / float64(len(t.errors[key]))
}

func (t *tally) share(key string) float64 {
	r := t.right[key]
	if r == nil {
		return math.NaN()
	}
	return float64(r.Hit) / float64(r.All)
}

// comparison holds one scan's results against its truth.
type comparison struct {
	*tally
	name  string
	p     phantom.Params
	truth *phantom.Truth
	mesh  *mesh.Mesh
	rep   *inspect.Report
	lim   *inspect.Limits
}

func (c *comparison) fail(format string, args ...any) {
	c.fails = append(c.fails, failure{c.name, fmt.Sprintf(format, args...)})
}

// certain notes whether an error lies within the expanded uncertainty that was stated with the
// value. Values without one are counted apart.
func (c *comparison) certain(kind string, err, u float64) {
	if !(u > 0) {
		c.ask("u-none:"+kind, false)
		return
	}
	c.ask("u:"+kind, math.Abs(err) <= u)
	c.err("u-size:"+kind, u)
}

// compare holds a report against what its scan is known to be.
func compare(name string, p phantom.Params, ph *phantom.Phantom, rep *inspect.Report, lim *inspect.Limits) *tally {
	c := &comparison{newTally(), name, p, &ph.Truth, ph.Mesh, rep, lim}
	c.scans = 1
	if !c.frame() {
		return c.tally
	}
	c.holes()
	c.defects()
	c.border()
	c.stretches()
	c.landmarks()
	c.posterior()
	c.plane()
	c.verdict()
	return c.tally
}

// local returns the patient's coordinates by the truth, about the scan's origin.
func (c *comparison) local(p vec) vec {
	a := &c.truth.Axes
	return vec{X: p.Dot(a.Left), Y: p.Dot(a.Posterior), Z: p.Dot(a.TowardTissue)}
}

func degrees(a, b vec) float64 {
	return math.Atan2(a.Cross(b).Norm(), a.Dot(b)) * 180 / math.Pi
}

func (c *comparison) frame() bool {
	r, t := c.rep, c.truth
	ok := r.Frame != nil
	c.ask("jaw", string(r.Jaw) == t.Jaw)
	// The tissue side alone of an impression, wound inside out, is the surface that a scan of the jaw itself
	// shows, face for face: told as that it is told right, and is no impression to be measured.
	if t.OneSided && t.InsideOut && r.Surface == inspect.Cast && !r.InsideOut {
		c.ask("surface", true)
		c.ask("told as the jaw itself", true)
		return false
	}
	coverage := inspect.TwoSided
	if t.OneSided {
		coverage = inspect.TissueSide
	}
	c.ask("surface", r.Surface == t.Surface && r.Coverage == coverage)
	c.ask("inside-out", ok && r.InsideOut == t.InsideOut)
	if string(r.Jaw) != t.Jaw || r.Surface != t.Surface || r.Coverage != coverage || r.InsideOut != t.InsideOut {
		c.fail("told %q %q %q inside-out %v", r.Jaw, r.Surface, r.Coverage, r.InsideOut)
	}
	if !ok {
		c.ask("left", false)
		return false
	}
	left := degrees(r.Frame.Left, t.Axes.Left)
	c.err("left", left)
	c.err("toward", degrees(r.Frame.TowardTissue, t.Axes.TowardTissue))
	c.ask("left", left <= 3)
	if left > 3 {
		c.fail("left is off by %.1f degrees", left)
	}
	return string(r.Jaw) == t.Jaw && r.Surface == t.Surface && left < 30
}
