package inspect

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
)

// OcclusalMethod holds what changes the numbers of the occlusal plane. Lengths mm, angles
// degrees.
type OcclusalMethod struct {
	SearchDeg       float64 `toml:"search_deg"`        // how far the rim's plane may lean from the direction given
	SlopeDeg        float64 `toml:"slope_deg"`         // surface steeper than this against the plane is no part of the flat
	CellMM          float64 `toml:"cell_mm"`           // surface is averaged over cells of this size to guess planes
	Guesses         int     `toml:"guesses"`           // planes guessed through three cells
	BandMM          float64 `toml:"band_mm"`           // the flat is looked for this far to both sides of a guess; above any waviness
	CutMM           float64 `toml:"cut_mm"`            // least half width of the band that remains after the fit
	SkirtMM         float64 `toml:"skirt_mm"`          // how far beyond the flat's outline its walls are looked for
	WallDeg         float64 `toml:"wall_deg"`          // surface steeper than this is wall
	WallShare       float64 `toml:"wall_share"`        // least share of wall among the sloping surface in the skirt
	WaveMM          float64 `toml:"wave_mm"`           // shortest wave looked for
	WaveShare       float64 `toml:"wave_share"`        // least share of the unevenness that a wave must explain to be taken out of the fit
	AreaMM2         float64 `toml:"area_mm2"`          // least area of a flat
	LengthMM        float64 `toml:"length_mm"`         // least extent of a flat, along its longer side
	BreadthMM       float64 `toml:"breadth_mm"`        // and across it
	WidthMM         float64 `toml:"width_mm"`          // least diameter of the widest disc in the flat
	LevelShare      float64 `toml:"level_share"`       // least share of the flat that slopes less than half of SlopeDeg
	TrimShare       float64 `toml:"trim_share"`        // share of the flat's area, farthest from the plane, left out of the flatness
	PixelMM         float64 `toml:"pixel_mm"`          // grid on which widths and chips are found
	PlateMM         float64 `toml:"plate_mm"`          // a flat that holds a disc wider than this is a plate
	ChipMM          float64 `toml:"chip_mm"`           // chips up to this width are closed over
	ChipDepthMM     float64 `toml:"chip_depth_mm"`     // and listed when this deep
	ChipAreaMM2     float64 `toml:"chip_area_mm2"`     // and this large
	AnteriorHalfDeg float64 `toml:"anterior_half_deg"` // front of the rim: to both sides of straight ahead, from the middle of its rear
	SideFromDeg     float64 `toml:"side_from_deg"`     // sides of the rim: from here
	SideToDeg       float64 `toml:"side_to_deg"`       // to here
	ClusterMM       float64 `toml:"cluster_mm"`        // the flat's unevenness is taken as alike over cells of this size, for the uncertainty
}

// OcclusalRefs is what the occlusal plane is compared with. Directions are the patient's.
type OcclusalRefs struct {
	Left, Posterior, Toward Vec
	References              map[string]Vec // plane normals toward the tissue, by name: "hamular-papilla", "crest", "given"
	Apex                    map[string]Vec // border apexes: "anterior", "left", "right"

	ReferenceU map[string]float64 // standard uncertainty of the references' normals, radians
	ApexU      float64            // and of an apex along the plane's normal, mm
	Grain      Grain              // of the scan
}

// FitOcclusal measures the flat of an occlusion rim or bite plate.
//
// What: the plane of the flat, how even the flat is, how it leans against reference planes,
// how far it is from the border, how wide it is, where it is chipped.
// How: the plane is that of FindRim (least squares with Tukey's weights over the flat's area; a
// regular wave is fitted along, so that part of a period does not tilt the plane). Point is the
// centroid of the flat, laid on the plane. Flatness is peak to valley about the least-squares
// plane of the flat's vertices without the TrimShare of area that is farthest from it; minimum
// zone and RMS are of the same vertices. Noise is part of them: a perfect flat with
// noise s reads about 5 s. Rim heights run along the normal from the plane to the apexes
// given. Width at a ray from the middle of the rim's rear is that of the widest disc in the
// flat whose centre is on the ray, so a slanted ray reads no wider; a plate has no width.
// Uncertainties (k = 2): of the plane from how what the fit leaves differs between cells of
// ClusterMM, and from noise; of the flatness from noise, which it holds; of a tilt from plane
// and reference; of a rim height from plane and apex.
// What it cannot see: a rim worn or cut wholly to another level; a chip wider than ChipMM
// reads as outline.
// Source: ISO 12781-1 for flatness; Beaton and Tukey, Technometrics 1974;16:147 for weights.
func FitOcclusal(m *mesh.Mesh, rim *Rim, refs OcclusalRefs, method OcclusalMethod) *Occlusal {
	p := rim.Plane.Facing(refs.Toward)
	o := &Occlusal{Point: p.Point, Normal: p.Normal, AreaMM2: rim.AreaMM2, Kind: "rim", Tilts: map[string]Tilt{}, RimWidth: map[string]*RimWidth{}}

	kept := trimmed(m, rim, method.TrimShare)
	ls, ok := FitPlane(kept, nil)
	if !ok {
		ls = p
	}
	fl := MeasureFlatness(kept, ls)
	o.FlatnessMM, o.RMSMM = fl.PeakToValley, fl.RMS
	o.MinimumZoneMM, _, _ = MinimumZone(kept)

	u := rim.spread(m, refs, method)
	o.NormalUDeg, o.OffsetUMM = degrees(expanded(u.turn)), expanded(u.offset)
	o.FlatnessUMM = expanded(noiseReach*refs.Grain.NoiseMM, rectangle(refs.Grain.sag(flatRadiusMM)))
	for name, n := range refs.References {
		tilt := TiltAgainst(p.Normal, n, refs.Left, refs.Posterior)
		tilt.UDeg = degrees(expanded(u.turn, refs.ReferenceU[name]))
		o.Tilts[name] = tilt
	}
	for _, apex := range refs.Apex {
		o.RimHeight.UMM = max(o.RimHeight.UMM, expanded(u.at(apex.Dist(p.Point)), refs.ApexU))
	}
	height := func(name string) *float64 {
		apex, ok := refs.Apex[name]
		if !ok {
			return nil
		}
		h := p.Height(apex)
		return &h
	}
	o.RimHeight.Anterior, o.RimHeight.Left, o.RimHeight.Right = height("anterior"), height("left"), height("right")

	g := newFlatMask(m, rim, p, refs.Left, refs.Posterior, method.PixelMM)
	if inside := g.inside(); 2*slices.Max(inside) > method.PlateMM {
		o.Kind = "plate"
	} else {
		g.widths(inside, method, o.RimWidth)
	}
	o.Chips = g.chips(m, rim, p, method)
	o.Outline = rim.outline(m)
	return o
}

// noiseReach is how many standard deviations of noise the farthest of the points kept stand
// out to each side: the 99.5 % point of the normal distribution for a TrimShare of 1 %.
const noiseReach = 2.6

// flatRadiusMM is the least radius of a wave on a rim, for what flat faces cut off it: one of
// 8 mm and 0.3 mm from middle to crest.
const flatRadiusMM = 5.4

// trimmed returns the flat's points without the share of its area farthest from its
// least-squares plane.
func trimmed(m *mesh.Mesh, rim *Rim, share float64) []Vec {
	points := make([]Vec, len(rim.Flat))
	order := make([]int, len(rim.Flat))
	total := 0.0
	for i, v := range rim.Flat {
		points[i], order[i] = m.Pos[v], i
		total += rim.Weight[i]
	}
	p, ok := FitPlane(points, rim.Weight)
	if !ok {
		return points
	}
	far := func(i int) float64 { return math.Abs(p.Height(points[i])) }
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(far(b), far(a)), a-b) })
	for left := share * total; len(order) > 3 && rim.Weight[order[0]] <= left; order = order[1:] {
		left -= rim.Weight[order[0]]
	}
	kept := make([]Vec, len(order))
	for i, k := range order {
		kept[i] = points[k]
	}
	return kept
}
