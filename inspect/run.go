package inspect

import (
	"math"

	"fornix/mesh"
	"fornix/mesh/tree"
)

// Options are what the user knows about a scan and fornix need not find.
type Options struct {
	Jaw   Jaw // empty: found
	Given Given
	Step  func(name string) // told of each step as it begins, in plain words; nil: nobody is told

	// Surface is told of the surface of the object before it is measured, for what needs nothing else and may
	// go on meanwhile; it must not change it. nil: nobody is told.
	Surface func(*mesh.Mesh)
}

func (o Options) step(name string) {
	if o.Step != nil {
		o.Step(name)
	}
}

// Outcome is what Run makes of a scan.
type Outcome struct {
	Report  *Report
	Anatomy *Anatomy   // nil where no jaw was found
	Mesh    *mesh.Mesh // of the object: what was measured
}

// SchemaName and SchemaVersion name the layout of a report; the version changes when a key
// changes its meaning or goes.
const (
	SchemaName    = "fornix report"
	SchemaVersion = "1"
)

// Run measures a scan and judges it: the one road that every command takes.
//
// The same scan, protocol and options give the same report, to the bit, whatever the number of
// processors. The scan is not changed.
func Run(s *Scan, p Protocol, opt Options) *Outcome {
	s = s.object(p.Method.Object)
	if opt.Surface != nil {
		opt.Surface(s.Mesh)
	}
	res, an := Measure(s, p.Method, opt)
	rep := &Report{Schema: Schema{Name: SchemaName, Version: SchemaVersion}, Results: res, Protocol: p.ID(), Cautions: Cautions()}
	rep.Findings, rep.Verdict = Judge(&rep.Results, p)
	return &Outcome{Report: rep, Anatomy: an, Mesh: s.Mesh}
}

// object is the scan without what was scanned beside the object.
func (s *Scan) object(method ObjectMethod) *Scan {
	out := *s
	out.Mesh, out.leftOut, out.several = FindObject(s.Mesh, s.Stats, method)
	return &out
}

// Measure takes every measurement of the method on a scan. The anatomy is nil where no jaw
// could be found; the reason then stands in the results' decisions and unmeasured fields.
func Measure(s *Scan, method Method, opt Options) (Results, *Anatomy) {
	m := s.Mesh
	res := Results{Scan: s.Info, Landmarks: map[string]Landmark{}, Crest: []Vec{}, Holes: []Hole{}, Defects: []Defect{}, Decisions: []Decision{}}
	res.Border = Border{Stations: []Station{}, Regions: []BorderRegion{}}
	res.Posterior.Path = []Vec{}
	opt.step("the surface as a scan")
	// What goes on by one processor leaves the others free, which meanwhile make the tree and count
	// what is wrong with the mesh.
	var t *tree.Tree
	treeMade := aside(func() { t = tree.New(m) })
	normals := m.Normals()
	res.Quality = measureGrain(m, normals, method.Quality)
	g := res.Quality.Grain()
	counted := aside(func() {
		res.Quality.count(m, s, method.Quality)
		treeMade()
		res.Quality.SelfIntersections, _ = t.SelfIntersections(method.Quality.Crossings)
	})
	res.Quality.AreaUMM2 = g.area(res.Quality.AreaMM2)
	res.LeftOut = s.leftOut

	opt.step("jaw, sides and landmarks")
	var an *Anatomy
	var rim *Rim // looked for as soon as the frame stands
	why, noRim, rimLookedFor := s.several, "", func() {}
	if why == "" {
		an, why = locate(m, g, method.Frame, opt.Jaw, opt.Given.Landmarks, func(an *Anatomy) {
			if an.InsideOut {
				for i := range normals {
					normals[i] = normals[i].Scale(-1)
				}
			}
			if an.Surface == Impression {
				rimLookedFor = aside(func() { rim, noRim = an.findRim(m, normals, opt.Given.Rim, method.Occlusal) })
			}
		})
	}
	if an == nil {
		counted()
		res.Decisions = append(res.Decisions, Decision{About: "jaw", Value: "not found", Why: why})
		res.Border.Unmeasured, res.Posterior.Unmeasured, res.OcclusalUnmeasured = why, why, why
		res.Holes = FindHoles(m, normals, &Anatomy{Part: make([]Part, len(m.Pos))}, method.Hole)
		return res, nil
	}
	res.Jaw, res.Surface, res.Coverage, res.InsideOut = an.Jaw, an.Surface, an.Coverage, an.InsideOut
	res.Decisions, res.Frame, res.Landmarks, res.Crest = an.Decisions, &an.Frame, an.Landmarks, an.Crest()

	res.TissueAreaMM2 = an.tissueArea(m)
	res.OcclusalUnmeasured = "the surface shows the jaw itself; it carries no rim"
	if an.Surface == Impression {
		opt.step("the occlusion rim")
		if len(opt.Given.Rim) == 3 {
			res.Decisions = append(res.Decisions, Decision{About: "rim", Value: "given", Why: "it is looked for about the three points that were given on its flat", Margin: 1})
		}
		rimLookedFor()
		if res.OcclusalUnmeasured = noRim; rim != nil {
			an.rim = rim
			an.markRim(m, normals, rim)
		}
	}
	opt.step("openings in the scan")
	res.Holes = FindHoles(m, normals, an, method.Hole)
	if an.Surface == Impression {
		opt.step("voids, blebs and folds")
		noise := 0.0
		if res.Quality.NoiseMM != nil {
			noise = *res.Quality.NoiseMM
		}
		res.Defects = FindDefects(m, normals, an, method.Defect, noise)
		an.settleFaults(res.Defects)
	}
	planeFitted := func() {}
	if an.rim != nil {
		opt.step("the occlusal plane")
		planeFitted = aside(func() { res.Occlusal = an.measureOcclusal(m, opt.Given, method.Occlusal, g) })
	}
	opt.step("the border all round")
	treeMade()
	res.Border = MeasureBorder(m, t, normals, an, g, an.crestTurn(method.Occlusal.ClusterMM), method.Border)
	opt.step("the posterior end")
	res.Posterior = MeasurePosterior(an)
	planeFitted()
	counted()
	return res, an
}

// count tells of the mesh what no other measurement hangs on, but for crossings. Islands that were left
// out of the mesh count as pieces of the scan.
func (q *Quality) count(m *mesh.Mesh, s *Scan, method QualityMethod) {
	q.countFlaws(m, s.Stats, method)
	for _, l := range s.leftOut {
		if l.What == LeftIsland {
			q.Components += l.Pieces
			q.SmallComponents += l.Pieces
		}
	}
	if q.VolumeMM3 != nil {
		q.VolumeUMM3 = ptr(q.Grain().volume(q.AreaMM2, len(m.Pos)))
	}
}

// findRim finds the rim, about the points that are given on its flat if there are any, or says why there is none.
func (an *Anatomy) findRim(m *mesh.Mesh, normals, on []Vec, om OcclusalMethod) (rim *Rim, why string) {
	if an.Coverage != TwoSided {
		return nil, "the scan lacks its oral side"
	}
	if len(on) == 3 {
		rim, why = FindRimAt(m, normals, [3]Vec(on), an.Frame.TowardTissue, om)
	} else {
		rim, why = FindRim(m, normals, an.Frame.TowardTissue, om)
	}
	if rim == nil {
		why = NoRim + ": " + why
	}
	return rim, why
}

// measureOcclusal fits the plane of the rim that was found.
func (an *Anatomy) measureOcclusal(m *mesh.Mesh, given Given, om OcclusalMethod, g Grain) *Occlusal {
	refs := OcclusalRefs{Left: an.Frame.Left, Posterior: an.Frame.Posterior, Toward: an.Frame.TowardTissue, References: map[string]Vec{"crest": an.Frame.TowardTissue}, Grain: g}
	var beside float64
	refs.Apex, beside = an.rimApexes()
	refs.ReferenceU = map[string]float64{"crest": an.crestTurn(om.ClusterMM)}
	refs.ApexU = g.apexU(beside)
	if n, ok := an.notchPapillaPlane(); ok {
		refs.References["hamular-papilla"] = n
		l := an.Landmarks
		refs.ReferenceU["hamular-papilla"] = an.planeTurn(m, n, l[HamularNotchLeft], l[HamularNotchRight], l[IncisivePapilla])
	}
	if given.Reference != nil {
		n := *given.Reference
		if n.Dot(an.Frame.TowardTissue) < 0 {
			n = n.Scale(-1)
		}
		refs.References["given"] = n
	}
	return FitOcclusal(m, an.rim, refs, om)
}

// notchPapillaPlane returns the normal, toward the tissue, of the plane through both hamular
// notches and the incisive papilla.
func (an *Anatomy) notchPapillaPlane() (Vec, bool) {
	l, ok1 := an.Landmarks[HamularNotchLeft]
	r, ok2 := an.Landmarks[HamularNotchRight]
	p, ok3 := an.Landmarks[IncisivePapilla]
	if !ok1 || !ok2 || !ok3 {
		return Vec{}, false
	}
	n := l.Point.Sub(p.Point).Cross(r.Point.Sub(p.Point)).Unit()
	if n.Dot(an.Frame.TowardTissue) < 0 {
		n = n.Scale(-1)
	}
	return n, n.Norm2() > 0
}

// markRim labels the rim: its flat, and the walls that stand up from it.
func (an *Anatomy) markRim(m *mesh.Mesh, normals []Vec, rim *Rim) {
	const wallMM = 12.0
	var queue []mesh.VertexID
	mark := func(v mesh.VertexID) {
		if an.Part[v] != PartRim {
			an.Part[v] = PartRim
			queue = append(queue, v)
		}
	}
	for _, f := range rim.Faces {
		for _, v := range m.Tri[f] {
			mark(v)
		}
	}
	wall := func(v mesh.VertexID) bool {
		return an.Part[v] == PartOuter && math.Abs(normals[v].Dot(rim.Plane.Normal)) < 0.5 && math.Abs(rim.Plane.Height(m.Pos[v])) < wallMM
	}
	for len(queue) > 0 {
		v := queue[0]
		queue = queue[1:]
		for _, c := range m.CornersAt(v) {
			for _, w := range [2]mesh.VertexID{m.Vertex(c.Next()), m.Vertex(c.Prev())} {
				if wall(w) {
					mark(w)
				}
			}
		}
	}
	// What stands out in front of the border, below it, is a handle.
	front := math.Inf(1)
	for i := range an.slices {
		if a := an.slices[i].outer; a != nil {
			front = min(front, a.p.Y)
		}
	}
	for v, q := range an.loc {
		if an.Part[v] != PartTissue && an.Part[v] != PartBorder && q.Y < front-handleMM {
			an.Part[v] = PartHandle
		}
	}
}

// handleMM is how far in front of the border's apexes the outer surface may bulge and be no
// handle: a border is seldom thicker than 5 mm, of which half lies in front of its apex.
const handleMM = 4.0

// tissueArea is the area of the faces that lie on the tissue surface with all three vertices.
func (an *Anatomy) tissueArea(m *mesh.Mesh) float64 {
	var sum float64
	for f, t := range m.Tri {
		if an.Part[t[0]] == PartTissue && an.Part[t[1]] == PartTissue && an.Part[t[2]] == PartTissue {
			sum += m.FaceArea(mesh.FaceID(f))
		}
	}
	return sum
}

// Crest returns the ridge crest in the scan's coordinates, from the patient's right to left.
func (an *Anatomy) Crest() []Vec {
	out := []Vec{}
	for i := range an.slices {
		if an.slices[i].basin > 0 {
			out = append(out, an.Frame.World(an.slices[i].crest))
		}
	}
	return out
}
