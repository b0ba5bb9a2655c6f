package inspect

import (
	"math"
	"runtime"
	"slices"

	"fornix/mesh"
)

// DefectMethod holds the lengths and angles with which FindDefects looks. They change what is
// found and how it is measured; what is acceptable stands elsewhere.
type DefectMethod struct {
	FineMM           float64 `toml:"fine_mm"`            // 0.4 mm: radius over which the surface's curvature is taken for small faults
	CoarseMM         float64 `toml:"coarse_mm"`          // 1.0 mm: the same for wide, shallow ones
	CupPerMM         float64 `toml:"cup_per_mm"`         // 0.5 /mm: least curvature, both ways, that makes a place worth a look over FineMM; half of it over CoarseMM
	GroovePerMM      float64 `toml:"groove_per_mm"`      // 0.7 /mm: least curvature across a groove, over FineMM, that makes it worth a look
	MinWidthMM       float64 `toml:"min_width_mm"`       // 0.7 mm: narrower ones are not told from the scan's grain
	MaxWidthMM       float64 `toml:"max_width_mm"`       // 7 mm: wider ones are form, not a fault
	MinDepthMM       float64 `toml:"min_depth_mm"`       // 0.22 mm: shallower ones are not reported
	RimDeg           float64 `toml:"rim_deg"`            // 15 °: least turn of the surface at the rim; anatomy meets its surroundings smoothly
	RimSharp         float64 `toml:"rim_sharp"`          // 0.5: least turn at the rim as a share of what a perfect edge would have
	RimShare         float64 `toml:"rim_share"`          // 0.7: share of the rim all round that must be sharp
	EdgeDeg          float64 `toml:"edge_deg"`           // 30 °: least angle at which pit and sound surface, as fitted, meet
	PitMisfit        float64 `toml:"pit_misfit"`         // 0.06: largest RMS distance of the pit from its sphere, as a share of the depth
	SoundMisfit      float64 `toml:"sound_misfit"`       // 0.14: largest spread of the surroundings about the sound surface, as a share of the depth
	CloseEdgeDeg     float64 `toml:"close_edge_deg"`     // 45 °: with at least this angle and fits as close as the next two, the rim counts as sharp; also the least angle of a fold
	ClosePitMisfit   float64 `toml:"close_pit_misfit"`   // 0.03: as PitMisfit
	CloseSoundMisfit float64 `toml:"close_sound_misfit"` // 0.08: as SoundMisfit
	Bias             float64 `toml:"bias"`               // 0.03: largest systematic distance of pit and rim from sphere and sound surface, the scan's noise taken off, as a share of the depth; twice as much where the faces turn sharply at the rim
	FalseShare       float64 `toml:"false_share"`        // 0.01: share of sound scans in which noise alone may be told as a fault of few vertices
	FoldBias         float64 `toml:"fold_bias"`          // 0.03: the same for the sections of a fold taken together
	DepthShare       float64 `toml:"depth_share"`        // 0.5: largest expanded uncertainty of the depth as a share of it; what is known less is not told
	FoldMM           float64 `toml:"fold_mm"`            // 3 mm: shortest fold
	FoldRatio        float64 `toml:"fold_ratio"`         // 2.5: least length of a fold, in widths
	TurnShare        float64 `toml:"turn_share"`         // 0.3: least depth of a groove, as a share of its width, whose direction is looked for anew
	ShownShare       float64 `toml:"shown_share"`        // 0.5: least share of its opening that a void or bleb must show
}

// FindDefects lists the faults of the material on the tissue surface and the border: voids
// (pits with a sharp rim), blebs (raised) and folds (long grooves with sharp edges).
//
// What: a fault is a piece of surface that leaves its surroundings at a sharp rim, as trapped
// air, a drop or two fronts of material leave it. Anatomy (papilla, rugae, raphe, fovea,
// frenal notches, crest) meets its surroundings smoothly and is not listed.
// How: the curvature of the surface over FineMM and CoarseMM marks places that are cup-shaped,
// dome-shaped or grooved. At each, a sphere (fold: a circle in cross-sections) is grown over
// the vertices that lie on it, the sound surface is fitted robustly over the surroundings, and
// the rim is where the two meet. DiameterMM is that of the circle in which the sphere cuts the
// tangent plane of the sound surface over the middle, so it does not change with the bend of
// the surroundings; DepthMM is from the sound surface over the middle to the bottom; VolumeMM3
// is that of the spherical cap; what few vertices show is found by sound surface and cap together
// (small). For what is found the sound surface over the middle is that of a spline through its
// surroundings, stretched along the crest or groove that they are of (spline). A fold's LengthMM is that of its middle line between the points
// where the bottom comes back to the sound surface. An end is taken to be round, as a
// ball drawn along the groove leaves it, and lies where that fits closest (end). What it cannot see: faults under MinWidthMM,
// voids and blebs that only one vertex shows or of which more than half is missing, folds under about two and a half edge lengths, and
// shallow ones without a rim.
//
// normals are #V outward unit vectors; noiseMM is the scan's noise along them (SD).
// Vertices whose sound surroundings are neither tissue nor border are left out. Widest first.
// O(#V) and some 1000 vertex visits per candidate. The result does not depend on the number of
// processors.
//
// Based on: Taubin, Estimating the tensor of curvature of a surface, ICCV 1995 (curvature from
// normals over a ball); Beaton & Tukey, Technometrics 1974;16:147 (biweight); Wasserman, Ramdas &
// Balakrishnan, Universal inference, PNAS 2020;117:16880 (Markov's bound on
// likelihood ratios; cited from memory).
func FindDefects(m *mesh.Mesh, normals []Vec, an *Anatomy, method DefectMethod, noiseMM float64) []Defect {
	if len(normals) != len(m.Pos) || len(an.Part) != len(m.Pos) {
		panic("inspect: FindDefects: normals and parts must be one per vertex")
	}
	s := newSurvey(m, normals, an.Part, method, noiseMM)
	s.screen()
	folds := s.findFolds()
	pits := s.findPits(folds)
	var out []Defect
	for _, p := range pits {
		kind := Void
		if p.sign < 0 {
			kind = Bleb
		}
		d := 2 * p.a
		u := s.doubt(&p)
		out = append(out, Defect{Kind: kind, Centre: p.foot, Normal: p.axis, DiameterMM: &d, DiameterUMM: &u.width, DepthMM: p.depth, DepthUMM: u.depth,
			VolumeMM3: capVolume(p.a, p.depth), VolumeUMM3: u.volume, Surface: p.surface, Region: an.Region(p.foot)})
	}
	for _, f := range folds {
		length, width := f.length, f.width
		mid := f.path[len(f.path)/2]
		u := f.doubt
		out = append(out, Defect{Kind: Fold, Centre: f.centre, Normal: f.normal, LengthMM: &length, LengthUMM: &f.lengthU, WidthMM: &width, WidthUMM: &u.width,
			DepthMM: f.depth, DepthUMM: u.depth, VolumeMM3: f.volume, VolumeUMM3: u.volume, Surface: f.surface, Region: an.Region(mid), Path: f.path})
	}
	size := func(d Defect) float64 {
		if d.LengthMM != nil {
			return *d.LengthMM
		}
		return *d.DiameterMM
	}
	slices.SortStableFunc(out, func(a, b Defect) int {
		switch x, y := size(a), size(b); {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	for i := range out {
		out[i].ID = i + 1
	}
	return out
}

// capVolume is the volume of a spherical cap of base radius a and height h.
func capVolume(a, h float64) float64 { return math.Pi * h * (float64(3*a*a) + float64(h*h)) / 6 }

// survey is one run of FindDefects: what it reads, and what the screening left.
type survey struct {
	m     *mesh.Mesh
	nor   []Vec
	part  []Part
	by    DefectMethod
	noise float64

	links   *mesh.Links
	walkers []*walker       // one for each processor
	look    []mesh.VertexID // vertices on or near tissue and border, in order
	looked  []bool          // #V
	edge    []float32       // #V mean length of the edges at the vertex
	pitch   []float32       // #V the same of the vertices two edges round
	weak    []float32       // #V of look: the smaller of the two curvatures of a cup (positive) or dome (negative), 1/mm
	groove  []float32       // #V the strongest concave curvature, 1/mm, positive
	seeds   []seed
	grooves []mesh.VertexID // strongest first
}

// seed is a place worth a look: sign +1 for a cup, -1 for a dome.
type seed struct {
	v    mesh.VertexID
	sign float64
}

func newSurvey(m *mesh.Mesh, nor []Vec, part []Part, by DefectMethod, noise float64) *survey {
	if math.IsNaN(noise) || noise < 0 {
		noise = 0
	}
	s := &survey{m: m, nor: nor, part: part, by: by, noise: noise, links: m.Links()}
	s.looked = make([]bool, len(m.Pos))
	s.edge = make([]float32, len(m.Pos))
	s.each(len(m.Pos), func(_ *walker, v int) {
		l, at := 0.0, m.CornersAt(mesh.VertexID(v))
		for _, c := range at {
			l += m.Pos[v].Dist(m.Pos[m.Vertex(c.Next())])
		}
		if len(at) > 0 {
			s.edge[v] = float32(l / float64(len(at)))
		}
	})
	var front []mesh.VertexID
	sum, count := 0.0, 0
	for v, l := range s.edge {
		if n := len(m.CornersAt(mesh.VertexID(v))); n > 0 {
			sum += float64(l) * float64(n)
			count += n
			if part[v] == PartTissue || part[v] == PartBorder {
				s.looked[v] = true
				front = append(front, mesh.VertexID(v))
			}
		}
	}
	// The inside of a pit may have been given to another part: look one and a half mm farther.
	if count > 0 {
		for rings := int(math.Ceil(1.5 / (sum / float64(count)))); rings > 0 && len(front) > 0; rings-- {
			var next []mesh.VertexID
			for _, v := range front {
				for _, w := range s.links.At(v) {
					if !s.looked[w] {
						s.looked[w] = true
						next = append(next, w)
					}
				}
			}
			front = next
		}
	}
	for v, ok := range s.looked {
		if ok {
			s.look = append(s.look, mesh.VertexID(v))
		}
	}
	// Where faces are cut to fit a rim, some edges are far shorter than what tells them.
	s.pitch = make([]float32, len(m.Pos))
	s.each(len(s.look), func(w *walker, i int) {
		v := s.look[i]
		var sum float32
		ring := w.ball(v, 2.2*float64(s.edge[v]))
		for _, x := range ring {
			sum += s.edge[x]
		}
		s.pitch[v] = sum / float32(len(ring))
	})
	return s
}

// each calls f for 0..n-1 on all processors; f gets a walker of its own and may write only to
// what belongs to its index.
func (s *survey) each(n int, f func(w *walker, i int)) {
	block := max(1, min(256, n/(8*runtime.GOMAXPROCS(0))))
	for len(s.walkers) < workersFor(n, block) {
		s.walkers = append(s.walkers, newWalker(s.m, s.links))
	}
	inBlocks(n, block, func(k int) func(int) {
		w := s.walkers[k]
		return func(i int) { f(w, i) }
	})
}

// tangents returns two unit vectors that make a right-handed frame with the unit vector n.
func tangents(n Vec) (Vec, Vec) {
	e := Vec{X: 1}
	if math.Abs(n.X) > 0.6 {
		e = Vec{Y: 1}
	}
	u := n.Cross(e).Unit()
	return u, n.Cross(u)
}
