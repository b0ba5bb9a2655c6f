package inspect

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"fornix/mesh"
	"fornix/mesh/register"
)

// CompareOptions tell what to compare two scans for, and what the user knows about them.
type CompareOptions struct {
	Purpose        Purpose
	Zone           string         // part of A that aligns; empty: the usual one of the purpose
	Jaw            Jaw            // empty: found
	GivenA, GivenB Given          // landmarks; three or more by the same names replace the search for a start
	Pose           *register.Pose // takes B's file coordinates into A's; used as it is
}

// Unlike is the error of two scans that cannot be compared for the purpose; Hint says what helps.
type Unlike struct{ Text, Hint string }

func (u *Unlike) Error() string { return u.Text }

// compared is one of two scans, made ready.
type compared struct {
	scan    *Scan
	anatomy *Anatomy // nil: no jaw found
	why     string   // why not
	grain   Grain
	body    *register.Body // wound outward; of B in A's coordinates
	area    []float64      // #V
}

// readied finds quality and anatomy of a scan, and winds it outward.
func readied(s *Scan, p Method, jaw Jaw, given map[string]Vec) *compared {
	m := s.Mesh
	c := &compared{scan: s, area: vertexAreas(m)}
	normals := m.Normals()
	c.grain.EdgeMM, _ = edgeLengths(m)
	if noise, why := measureNoise(m, normals, c.grain.EdgeMM, p.Quality); why == "" {
		c.grain.NoiseMM = noise
	}
	c.anatomy, c.why = Locate(m, c.grain, p.Frame, jaw, given)
	inward := false
	if c.anatomy == nil {
		inward = m.Topology().BoundaryEdges == 0 && m.Volume() < 0
	} else if inward = c.anatomy.InsideOut; inward {
		for i := range normals {
			normals[i] = normals[i].Scale(-1)
		}
	}
	if an := c.anatomy; an != nil && an.Surface == Impression && an.Coverage == TwoSided {
		if rim, _ := FindRim(m, normals, an.Frame.TowardTissue, p.Occlusal); rim != nil {
			an.markRim(m, normals, rim)
		}
	}
	if inward {
		m = turnedOver(m)
	}
	c.body = register.NewBody(m)
	return c
}

// turnedOver returns m with its faces wound the other way.
func turnedOver(m *mesh.Mesh) *mesh.Mesh {
	tri := make([][3]mesh.VertexID, len(m.Tri))
	for i, t := range m.Tri {
		tri[i] = [3]mesh.VertexID{t[0], t[2], t[1]}
	}
	return mesh.New(m.Pos, tri)
}

// Compare measures scan b against scan a and judges the difference.
//
// The same scans, protocol and options give the same comparison, to the bit, whatever the number of
// processors. The scans are not changed. The error is *Unlike where the two cannot be compared: other
// jaws, other kinds of surface than the purpose needs, another unit, or no pose that fits.
func Compare(a, b *Scan, p Protocol, opt CompareOptions) (*CompareOutcome, error) {
	if err := opt.check(); err != nil {
		return nil, err
	}
	var ca, cb *compared
	var wg sync.WaitGroup
	wg.Go(func() { ca = readied(a, p.Method, opt.Jaw, opt.GivenA.Landmarks) })
	wg.Go(func() { cb = readied(b, p.Method, opt.Jaw, opt.GivenB.Landmarks) })
	wg.Wait()
	if err := alike(ca, cb, opt); err != nil {
		return nil, err
	}
	zone := opt.Zone
	if zone == "" {
		zone = usualZone(opt.Purpose, ca.anatomy, cb.anatomy)
	}
	if zone != ZoneAll && ca.anatomy == nil {
		return nil, &Unlike{fmt.Sprintf("the zone %q of %s is not known: %s", zone, a.Info.File, ca.why), "--zone all aligns on the whole surface"}
	}
	if opt.Purpose == AsCast {
		cb.body = register.NewBody(turnedOver(cb.body.Mesh))
	}
	c := &Comparison{
		Schema: Schema{ComparisonSchemaName, ComparisonSchemaVersion}, Purpose: opt.Purpose, A: a.Info, B: b.Info,
		Regions: []BothWays{}, Protocol: p.ID(), Cautions: Cautions(),
	}
	r := &comparer{Comparison: c, a: ca, b: cb, method: p.Method.Compare}
	if an := ca.anatomy; an != nil {
		c.Jaw, c.SurfaceA, c.Frame = an.Jaw, an.Surface, &an.Frame
		r.place = an.placeOf()
		r.zone = zoneOf(zone, an, r.place)
	}
	if cb.anatomy != nil {
		c.SurfaceB = cb.anatomy.Surface
	}
	pose, err := r.align(zone, opt)
	if err != nil {
		return nil, err
	}
	r.move(pose)
	r.measure()
	out := &CompareOutcome{Comparison: c, AnatomyA: ca.anatomy, A: a.Mesh, B: cb.body.Mesh, ADist: r.aDist, BDist: r.bDist}
	if opt.Purpose == AsLayer {
		out.Thickness = r.layer()
	}
	c.Findings, c.Verdict = JudgeComparison(c, p)
	return out, nil
}

func (o *CompareOptions) check() error {
	switch o.Purpose {
	case AsRetake, AsLayer, AsCast, AsRepeat, AsReference:
	default:
		return &Unlike{fmt.Sprintf("%q is no purpose of a comparison", o.Purpose), "say one of retake, layer, cast, repeat, reference"}
	}
	switch o.Zone {
	case "", ZoneAll, ZoneStable, ZoneTissue, ZoneOuter:
		return nil
	}
	return &Unlike{fmt.Sprintf("%q is no zone", o.Zone), "say one of all, stable, tissue, outer"}
}

// alike refuses scans that cannot show the same thing.
func alike(a, b *compared, opt CompareOptions) error {
	for _, c := range []*compared{a, b} {
		if c.scan.Info.Unit != "mm" && c.scan.Info.UnitToMM == 1 {
			return &Unlike{fmt.Sprintf("%s seems to be in %s, not in mm", c.scan.Info.File, c.scan.Info.Unit), "--unit " + c.scan.Info.Unit + " reads both in that unit; else export in millimetres"}
		}
	}
	if a.anatomy == nil || b.anatomy == nil {
		if opt.Purpose != AsCast {
			return nil
		}
		bad := a
		if a.anatomy != nil {
			bad = b
		}
		return &Unlike{fmt.Sprintf("which surface %s shows is not known: %s", bad.scan.Info.File, bad.why), "--jaw says which jaw it is"}
	}
	an, bn := a.anatomy, b.anatomy
	if an.Jaw != bn.Jaw {
		return &Unlike{fmt.Sprintf("%s shows the %s jaw, %s the %s", a.scan.Info.File, an.Jaw, b.scan.Info.File, bn.Jaw),
			"compare scans of one jaw; --jaw says which it is where that was told wrongly"}
	}
	if opt.Purpose == AsCast {
		if an.Surface != Impression || bn.Surface != Cast {
			return &Unlike{fmt.Sprintf("--as cast compares an impression with its cast; these are %s and %s", article(an.Surface), article(bn.Surface)),
				"give the impression first and its cast second"}
		}
		return nil
	}
	if an.Surface != bn.Surface {
		return &Unlike{fmt.Sprintf("%s is %s, %s %s", a.scan.Info.File, article(an.Surface), b.scan.Info.File, article(bn.Surface)),
			"--as cast compares an impression with its cast"}
	}
	return nil
}

func article(surface string) string {
	if surface == Impression {
		return "an impression"
	}
	return "a " + surface
}

// comparer carries one comparison.
type comparer struct {
	*Comparison
	a, b         *compared
	method       CompareMethod
	place        []uint8 // #V of a: index of comparePlaces; nil where no jaw was found
	zone         []bool  // #V of a; nil: all
	aDist, bDist []float64
	placeB       []uint8 // #V of b, as place
	zoneB        []bool  // #V of b, as zone
	doubt        compareDoubt
}

// move puts b into a's coordinates.
func (r *comparer) move(pose register.Pose) {
	m := r.b.body.Mesh
	pos := make([]Vec, len(m.Pos))
	for i, p := range m.Pos {
		pos[i] = pose.Apply(p)
	}
	r.b.body = register.NewBody(mesh.New(pos, m.Tri))
	r.Alignment.TurnDeg = pose.AngleDeg()
	for i := range 3 {
		t := [3]float64{pose.T.X, pose.T.Y, pose.T.Z}
		r.Alignment.Pose = append(r.Alignment.Pose, []float64{pose.R[i][0], pose.R[i][1], pose.R[i][2], t[i]})
	}
	r.Alignment.Pose = append(r.Alignment.Pose, []float64{0, 0, 0, 1})
}

// measure takes the distances both ways and sums them up.
func (r *comparer) measure() {
	toB := register.Distances(r.a.body.Mesh.Pos, r.b.body, r.method.ReachMM, 0)
	toA := register.Distances(r.b.body.Mesh.Pos, r.a.body, r.method.ReachMM, 0)
	r.aDist = r.distances(r.a.body, r.b.body, toB, -1)
	r.bDist = r.distances(r.b.body, r.a.body, toA, 1)
	r.carryOver(toA)
	if r.Purpose == AsCast {
		r.counterparts(toB, toA)
	}
	r.doubt = newCompareDoubt(r.a.grain, r.b.grain, known(r.Alignment.PlaceUMM)/2)
	fa := &distances{pos: r.a.body.Mesh.Pos, dist: r.aDist, area: r.a.area}
	fb := &distances{pos: r.b.body.Mesh.Pos, dist: r.bDist, area: r.b.area}
	both := func(region string, inA, inB func(v int) bool) BothWays {
		w := BothWays{Region: region, AtA: fa.deviation(inA, r.doubt), AtB: fb.deviation(inB, r.doubt)}
		if w.AtA == nil || w.AtB == nil {
			w.Unmeasured = "the two scans have nothing there in common"
		}
		r.doubt.bothWays(&w)
		return w
	}
	of := func(part []uint8, k int) func(v int) bool { return func(v int) bool { return int(part[v]) == k } }
	in := func(zone []bool) func(v int) bool {
		if zone == nil {
			return nil
		}
		return func(v int) bool { return zone[v] }
	}
	r.Overall = both("all", nil, nil)
	r.Zone = both(r.Alignment.Zone, in(r.zone), in(r.zoneB))
	if r.place != nil {
		for k, name := range comparePlaces {
			if w := both(name, of(r.place, k), of(r.placeB, k)); w.AtA != nil || w.AtB != nil {
				r.Regions = append(r.Regions, w)
			}
		}
	}
	r.Histogram = histogram(fa, fb)
}

// distances turns nearest points into signed distances, NaN where they say nothing: nothing is within
// reach, the nearest place is the edge of the other scan or of a hole in it, or it faces away, so that
// it is another wall.
func (r *comparer) distances(of, to *register.Body, near []register.Signed, sign float64) []float64 {
	out := make([]float64, len(near))
	for v, d := range near {
		out[v] = sign * d.MM
		if !d.Found || d.OnBoundary || r.away(of.Normals[v], to, d.Face) {
			out[v] = math.NaN()
		}
	}
	return out
}

// away reports whether a face of a body faces away from a place with the normal n.
func (r *comparer) away(n Vec, to *register.Body, f mesh.FaceID) bool {
	return n.Dot(to.Mesh.FaceNormal(f)) < math.Cos(r.method.AwayDeg*math.Pi/180)
}

// carryOver gives each vertex of b the part and zone of the vertex of a that is nearest to its nearest
// place there. What has no such place, or one that faces away, belongs to the outer surface and to no
// zone.
func (r *comparer) carryOver(toA []register.Signed) {
	if r.place == nil {
		return
	}
	m := r.a.body.Mesh
	r.placeB = make([]uint8, len(toA))
	if r.zone != nil {
		r.zoneB = make([]bool, len(toA))
	}
	for v, d := range toA {
		r.placeB[v] = uint8(len(comparePlaces) - 1)
		if !d.Found || r.away(r.b.body.Normals[v], r.a.body, d.Face) {
			continue
		}
		t := m.Tri[d.Face]
		at := t[0]
		for _, u := range t[1:] {
			if m.Pos[u].Sub(d.Hit).Norm2() < m.Pos[at].Sub(d.Hit).Norm2() {
				at = u
			}
		}
		r.placeB[v] = r.place[at]
		if r.zone != nil {
			r.zoneB[v] = r.zone[at]
		}
	}
}

// counterparts leaves of an impression and its cast what was in touch: of the impression the fitting
// surface and the border, of the cast what is nearest to those, and of both what is the other's
// counterpart: from its nearest place it is found about as near again. A cast's land and foot are
// nearest to a border that has its counterpart elsewhere, and so is the impression in an undercut that
// was blocked out. What is left out at the border and beyond has no area; on the fitting surface it
// counts as not compared.
func (r *comparer) counterparts(toB, toA []register.Signed) {
	slack := 2 * math.Max(r.a.grain.EdgeMM, r.b.grain.EdgeMM)
	lostA := lost(toB, r.bDist, r.b.body.Mesh, slack)
	lostB := lost(toA, r.aDist, r.a.body.Mesh, slack)
	leave := func(dist, area []float64, v int) { dist[v], area[v] = math.NaN(), 0 }
	border := uint8(slices.Index(comparePlaces, PlaceBorder))
	for v, place := range r.place {
		switch {
		case place > border, lostA[v] && place == border:
			leave(r.aDist, r.a.area, v)
		case lostA[v]:
			r.aDist[v] = math.NaN()
		}
	}
	for v, place := range r.placeB {
		switch {
		case place > border, lostB[v] && place == border:
			leave(r.bDist, r.b.area, v)
		case lostB[v]:
			r.bDist[v] = math.NaN()
		}
	}
}

// lost tells which places are farther from their nearest place than that is, within slack, from its own;
// back are the distances at the vertices of the surface m on which the nearest places lie.
func lost(near []register.Signed, back []float64, m *mesh.Mesh, slack float64) []bool {
	out := make([]bool, len(near))
	for v, d := range near {
		if !d.Found {
			continue
		}
		far := math.Inf(-1)
		for _, u := range m.Tri[d.Face] {
			if !math.IsNaN(back[u]) {
				far = math.Max(far, math.Abs(back[u]))
			}
		}
		out[v] = !(math.Abs(d.MM) <= far+slack)
	}
	return out
}

// layer finds what lies between the two surfaces.
func (r *comparer) layer() []float64 {
	l := &layerFinder{a: r.a.body, b: r.b.body, an: r.a.anatomy, aDist: r.aDist, bDist: r.bDist, areaA: r.a.area, areaB: r.b.area,
		doubt: r.doubt, method: r.method, spacing: r.a.grain.EdgeMM, coarser: r.b.grain.EdgeMM / r.a.grain.EdgeMM}
	found, t := l.find()
	if !(found.AddedMM2+found.RemovedMM2+found.SameMM2 > 0) {
		r.LayerUnmeasured = "no place of the first scan has its like on the second"
		return t
	}
	r.Layer = found
	return t
}
