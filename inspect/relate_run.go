package inspect

import (
	"errors"
	"fmt"
	"sync"

	"fornix/mesh"
	"fornix/mesh/register"
)

// Why two scans cannot be related; see errors.Is.
var (
	ErrReference = errors.New("the references of the face do not fit the scans")
	ErrNotPair   = errors.New("these are not an upper and a lower impression with occlusion rims")
	ErrNotShared = errors.New("the two scans do not share a frame")
)

// Relate tells how an upper and a lower impression stand to each other when their rims are closed.
// Each scan is inspected by itself first, as by Run; then RelateInspected.
func Relate(upper, lower *Scan, p Protocol, o RelateOptions) (*RelateOutcome, error) {
	var u, l *Outcome
	if o.Workers == 1 {
		u, l = Run(upper, p, o.Upper), Run(lower, p, o.Lower)
	} else {
		var both sync.WaitGroup
		both.Go(func() { u = Run(upper, p, o.Upper) })
		l = Run(lower, p, o.Lower)
		both.Wait()
	}
	return RelateInspected(u, l, p, o)
}

// RelateInspected tells how two inspected impressions stand to each other when their rims are closed.
//
// What: the angle between the occlusal planes; the gap between the rims; how they stand over each
// other; heights and room between the jaws; what another height would do.
// How: Up is the mean of both rims' normals. The gap is the distance along Up from the flat of the
// lower rim to that of the upper, wherever one lies over the other. Each flat counts as its plane,
// its wave and, of what these leave, straight-line fits within MeanMM, so that no single noisy vertex
// makes an extreme and a lean makes no error at the edge.
//
// Both scans must be in one frame: as exported, by the pose in o, or each registered onto a scan of both
// closed; where that fails the error wraps the one of package register and ErrNotShared. Where the rims do not face each
// other, lie over each other and agree on the patient's left, the error is ErrNotShared with what
// contradicts; nothing is guessed. ErrNotPair: jaw, surface or rim is not as it must be.
// The same scans, protocol and options give the same relation, to the bit, for any number of workers.
func RelateInspected(upper, lower *Outcome, p Protocol, o RelateOptions) (*RelateOutcome, error) {
	r := &Relation{Schema: Schema{Name: RelationSchemaName, Version: RelationSchemaVersion}, Protocol: p.ID(), Cautions: Cautions()}
	out := &RelateOutcome{Relation: r, Upper: upper, Lower: lower}
	r.Upper, r.Lower = upper.Report.Scan, lower.Report.Scan
	r.Shared = Shared{How: SharedFrame, Upper: MotionOf(register.Identity()), Lower: MotionOf(register.Identity())}
	switch {
	case o.Closed != nil:
		if err := throughClosed(out, o.Closed, o.Workers); err != nil {
			return nil, err
		}
	case o.Pose != nil:
		r.Shared.How, r.Shared.Lower = GivenPose, *o.Pose
	}
	s, err := seatPair(out, p.Method.Relate)
	if err != nil {
		return nil, err
	}
	if err := s.measure(out, o); err != nil {
		return nil, err
	}
	r.Findings, r.Verdict = JudgeRelation(r, p)
	return out, nil
}

// seat is one jaw in the pair's frame: local coordinates are x to the patient's left, y posterior,
// z up, from the frame's origin.
type seat struct {
	jaw     Jaw
	m       *mesh.Mesh
	an      *Anatomy
	rim     *Rim
	o       *Occlusal
	grain   Grain
	inside  bool // faces wound inside out
	pose    register.Pose
	origin  Vec // of the pair's frame, in the scan's coordinates
	x, y, z Vec
	plane   Plane // of the rim, in local coordinates; normal up
}

// local returns a point of the scan in the pair's frame.
func (s *seat) local(p Vec) Vec {
	d := p.Sub(s.origin)
	return Vec{X: d.Dot(s.x), Y: d.Dot(s.y), Z: d.Dot(s.z)}
}

// turned returns a direction of the scan in the pair's frame.
func (s *seat) turned(d Vec) Vec { return Vec{X: d.Dot(s.x), Y: d.Dot(s.y), Z: d.Dot(s.z)} }

// planeAt is the height of the rim's plane over (x, y).
func (s *seat) planeAt(x, y float64) float64 {
	n, p := s.plane.Normal, s.plane.Point
	return p.Z - (float64(n.X*(x-p.X))+float64(n.Y*(y-p.Y)))/n.Z
}

// midline is the x of the jaw's own midline at y.
func (s *seat) midline(y float64) float64 {
	o, back := s.local(s.an.Frame.Origin), s.turned(s.an.Frame.Posterior)
	return o.X + (y-o.Y)*back.X/back.Y
}

// pair is both jaws in one frame.
type pair struct {
	method RelateMethod
	frame  RelationFrame
	upper  seat
	lower  seat
	poseU  planeSpread // standard uncertainty of one jaw against the other, of a registration
}

// world returns the common frame's coordinates of a local point.
func (p *pair) world(q Vec) Vec {
	return p.frame.Origin.Along(q.X, p.frame.Left).Along(q.Y, p.frame.Posterior).Along(q.Z, p.frame.Up)
}

// seatPair checks that the two scans are a pair in one frame and lays the frame.
func seatPair(out *RelateOutcome, method RelateMethod) (*pair, error) {
	sh := &out.Relation.Shared
	p := &pair{method: method}
	p.poseU = planeSpread{offset: sh.OffsetUMM / 2, turn: radians(sh.TurnUDeg) / 2}
	for _, j := range []struct {
		s    *seat
		o    *Outcome
		jaw  Jaw
		pose Motion
	}{{&p.upper, out.Upper, Upper, sh.Upper}, {&p.lower, out.Lower, Lower, sh.Lower}} {
		if err := j.s.take(j.o, j.jaw); err != nil {
			return nil, err
		}
		j.s.pose = j.pose.pose()
	}
	u, l := &p.upper, &p.lower
	nu, nl := u.pose.Turn(u.o.Normal), l.pose.Turn(l.o.Normal).Scale(-1) // both up
	if a := angleBetween(nu, nl); !(a <= method.FacingDeg) {
		return nil, fmt.Errorf("%w: the flats of the rims do not face each other but stand at %.0f degrees", ErrNotShared, a)
	}
	lu, ll := u.pose.Turn(u.an.Frame.Left), l.pose.Turn(l.an.Frame.Left)
	if a := angleBetween(lu, ll); !(a <= method.FacingDeg) {
		return nil, fmt.Errorf("%w: the patient's left of one stands at %.0f degrees to that of the other", ErrNotShared, a)
	}
	f := &p.frame
	f.Up = nu.Add(nl).Unit()
	left := lu.Unit().Add(ll.Unit())
	f.Left = left.Along(-left.Dot(f.Up), f.Up).Unit()
	f.Posterior = f.Up.Cross(f.Left)
	mid := u.pose.Apply(u.o.Point).Add(l.pose.Apply(l.o.Point)).Scale(0.5)
	for range 2 { // first for a place on the midline, then halfway between the planes over it
		f.Origin = mid
		p.lay()
		mid = p.world(Vec{X: (u.midline(0) + l.midline(0)) / 2, Z: (u.planeAt(0, 0) + l.planeAt(0, 0)) / 2})
	}
	f.Origin = mid
	p.lay()
	return p, nil
}

// lay sets both seats' axes to the frame.
func (p *pair) lay() {
	for _, s := range []*seat{&p.upper, &p.lower} {
		back := s.pose.Inverse()
		s.origin = back.Apply(p.frame.Origin)
		s.x, s.y, s.z = back.Turn(p.frame.Left), back.Turn(p.frame.Posterior), back.Turn(p.frame.Up)
		s.plane = Plane{Point: s.local(s.o.Point), Normal: s.turned(s.o.Normal)}.Facing(Vec{Z: 1})
	}
}

// take checks one scan and keeps what is needed of it.
func (s *seat) take(o *Outcome, jaw Jaw) error {
	r := o.Report
	name := func(what string) error { return fmt.Errorf("%w: the %s scan %s", ErrNotPair, jaw, what) }
	switch {
	case o.Anatomy == nil:
		return name("shows no jaw" + because(r.Border.Unmeasured))
	case o.Anatomy.Surface != Impression:
		return name("shows a jaw itself and no impression")
	case o.Anatomy.Jaw != jaw:
		return name(fmt.Sprintf("is of the %s jaw", o.Anatomy.Jaw))
	case r.Occlusal == nil:
		return name("has no rim" + because(r.OcclusalUnmeasured))
	}
	*s = seat{jaw: jaw, m: o.Mesh, an: o.Anatomy, rim: o.Anatomy.rim, o: r.Occlusal, grain: r.Quality.Grain(), inside: r.InsideOut}
	return nil
}

// measure takes every measurement.
func (p *pair) measure(out *RelateOutcome, o RelateOptions) error {
	r := &out.Relation.RelationResults
	f := p.shared(o.Workers)
	if err := p.faces(f); err != nil {
		return err
	}
	r.Frame, r.Planes = p.frame, p.planes()
	r.Gap = p.gapOf(f, p.turn())
	r.Horizontal = p.horizontal(f, out.Upper, out.Lower)
	upper, lower := p.upper.crest(p.method.CrestMM, p.method.CrestStepMM), p.lower.crest(p.method.CrestMM, p.method.CrestStepMM)
	r.Heights = p.heights(f, upper, lower)
	r.Ridges = p.ridges(f, upper, lower, r.Heights)
	r.Space = p.space(f, upper, lower)
	face, err := p.face(o.References)
	if err != nil {
		return err
	}
	r.References = face.angles(p)
	r.WhatIf = []WhatIf{}
	for _, c := range o.Changes {
		w, wax, err := p.change(f, c, face, upper, lower, o.Workers)
		if err != nil {
			return err
		}
		r.WhatIf = append(r.WhatIf, w)
		out.UpperWax, out.LowerWax = append(out.UpperWax, wax[0]), append(out.LowerWax, wax[1])
	}
	out.UpperGap, out.LowerGap = p.atVertices(f, &p.upper, f.both, f.gap), p.atVertices(f, &p.lower, f.both, f.gap)
	return nil
}

// faces checks that the rims lie over each other as closed rims can.
func (p *pair) faces(f *common) error {
	if share := max(f.shares[0], f.shares[1]); len(f.both) == 0 || share < p.method.OverlapShare {
		return fmt.Errorf("%w: only %.0f %% of one rim lies over the other", ErrNotShared, 100*share)
	}
	all := make([]int, len(f.both))
	for i := range all {
		all[i] = i
	}
	switch gap := quantileOf(f.sortedGaps(all), 0.5); {
	case gap > p.method.ApartMM:
		return fmt.Errorf("%w: the rims are %.0f mm apart", ErrNotShared, gap)
	case gap < -p.method.SunkMM:
		return fmt.Errorf("%w: the rims run %.1f mm into each other", ErrNotShared, -gap)
	}
	return nil
}
