package phantom

import "math"

// Truth is what a phantom is known to be. Points and directions are in the scan's own
// coordinates, lengths in mm whatever the file's unit is: with Params.Scale other than 1 points
// are scaled like the scan and lengths are not.
type Truth struct {
	Name      string         `json:"name"`
	Jaw       string         `json:"jaw"`
	Seed      int64          `json:"seed"`
	OneSided  bool           `json:"one_sided"`
	Surface   string         `json:"surface"` // "impression" or "cast"
	InsideOut bool           `json:"inside_out"`
	Scale     float64        `json:"scale"`
	Axes      Axes           `json:"axes"`
	Landmarks map[string]vec `json:"landmarks"` // beyond the material where it ends short of them

	// Border holds the stations of each side.
	Border []BorderTruth `json:"border"`
	// Posterior holds the apices of the rear edge, which is no free flange.
	Posterior []vec `json:"posterior_edge"`

	Crest []vec `json:"crest"` // on the tissue surface, right to left, over the material only

	Voids []CapTruth  `json:"voids"`
	Blebs []CapTruth  `json:"blebs"`
	Folds []FoldTruth `json:"folds"`
	Holes []HoleTruth `json:"holes"`

	Layers []LayerTruth `json:"layers,omitempty"`

	Noise float64 `json:"noise_mm"`

	// Extension is the distance along posterior from the hamular notch to the rearmost material
	// behind it, less 1.4 mm (a roll's usual radius), as evaluations of this format expect.
	Extension     *Sides   `json:"extension_mm,omitempty"`
	PadCover      *float64 `json:"pad_cover,omitempty"` // the lesser side
	PadCoverLeft  *float64 `json:"pad_cover_left,omitempty"`
	PadCoverRight *float64 `json:"pad_cover_right,omitempty"`

	Plane     *PlaneTruth `json:"plane"` // nil without wax, and where only the tissue side is scanned
	Thin      []Stretch   `json:"thin"`  // nil unless stretches were asked for
	Mesh      MeshTruth   `json:"mesh"`
	Deviation float64     `json:"deviation_mm"` // greatest distance of a vertex from the solid before noise
}

// Axes are unit vectors of the patient in the scan's coordinates.
type Axes struct {
	Left         vec `json:"left"`
	Posterior    vec `json:"posterior"`
	TowardTissue vec `json:"toward_tissue"`
}

// Sides is a pair of lengths.
type Sides struct {
	Left  float64 `json:"left"`
	Right float64 `json:"right"`
}

// BorderTruth is one side of the border, from the patient's right to left. Thickness is the diameter of
// the largest ball inside the material that touches the tissue surface 2 mm from the apex along the section
// across the crest. Where the border is low that ball may go on into the wax: Joint tells the
// stations where it ends at the sharp corner between tray and wax, or so near that it is larger where edges
// of the scan cut that corner, as they do. Edge is the diameter of the balls at the edge of the sheet.
type BorderTruth struct {
	Side      string    `json:"side"` // "buccal" or "lingual"
	Deg       []float64 `json:"deg"`  // -100 right end … 100 left end, by length along the arch
	Apex      []vec     `json:"apex"`
	Thickness []float64 `json:"thickness"`
	Edge      []float64 `json:"edge"`
	Joint     []bool    `json:"joint"`
}

// CapTruth is a void or bleb. Diameter and volume are those of the cap that the tangent plane
// cuts off; on a curved surface the opening is not quite plane.
type CapTruth struct {
	Point    vec     `json:"point"`
	Diameter float64 `json:"diameter"`
	Depth    float64 `json:"depth,omitempty"`
	Height   float64 `json:"height,omitempty"`
	Volume   float64 `json:"volume"`
	Surface  string  `json:"surface"`
}

// FoldTruth is a groove. Turn is the greatest angle, degrees, by which the sound surface turns across it, from rim
// to rim: 0 on a plane; along a roll hardly wider than the groove it nears 180, and the groove takes the roll away.
type FoldTruth struct {
	Middle vec     `json:"middle"`
	Length float64 `json:"length"`
	Width  float64 `json:"width"`
	Depth  float64 `json:"depth"`
	Turn   float64 `json:"turn_deg"`
	Path   []vec   `json:"path"`
}

// HoleTruth is a patch of missing faces: those whose middle lies within the radius. Area and
// length of the rim are those of the solid's surface inside that ball; where it is flat, πr² and
// 2πr.
type HoleTruth struct {
	Point   vec     `json:"point"`
	Radius  float64 `json:"radius"`
	Surface string  `json:"surface"`
	Area    float64 `json:"area"` // mm²
	Rim     float64 `json:"rim"`  // mm
}

// PlaneTruth is the plane of the rim. RimHeight runs from the border's apex beside the labial
// frenum (mean of both sides) to the plane along its normal.
type PlaneTruth struct {
	Point     vec     `json:"point"`
	Normal    vec     `json:"normal"` // toward the tissue
	Pitch     float64 `json:"pitch_deg"`
	Roll      float64 `json:"roll_deg"`
	Wave      float64 `json:"wave_mm"`
	RimHeight float64 `json:"rim_height_mm"`
	Kind      string  `json:"kind"`
	Chips     []vec   `json:"chips,omitempty"`
}

// MeshTruth counts the scan's parts.
type MeshTruth struct {
	Vertices      int     `json:"vertices"`
	Triangles     int     `json:"triangles"`
	BoundaryEdges int     `json:"boundary_edges"`
	NonManifold   int     `json:"non_manifold_edges"`
	Area          float64 `json:"area_mm2"`
}

// station is a place on the loop.
type station struct {
	t, deg, r float64
	side      uint8
	apex      vec
}

// station returns the border at the loop's t: of the circle along which the border's canal
// surface touches the ball there, the point farthest toward the tissue.
func (an *anatomy) station(t float64) station {
	l := an.sheet.trim
	var j jet
	x, y, dx, dy, _, _ := l.at(t)
	an.sheet.at(x, y, &j)
	var d [4]float64
	for k := range d {
		d[k] = j.a[k]*dx + j.b[k]*dy
	}
	c := xyz(&d)
	w := c.Norm()
	tan, k := c.Scale(1/w), d[3]/w
	n := vec{Z: 1}.Along(-tan.Z, tan).Unit()
	r := j.v[3]
	i := int(l.wrap(math.Floor(t + 0.5)))
	return station{t, an.deg[i], r, an.side[i],
		j.pos().Along(-r*k, tan).Along(r*math.Sqrt(1-k*k), n)}
}

// lowest returns the station of a side whose apex is farthest from the tissue, within reach
// degrees of deg; where that lies at the end of what is looked at, as the border grows thicker beside a
// notch, within twice the reach.
func (an *anatomy) lowest(side uint8, deg, reach float64) station {
	const pace = 1
	for wide := reach; ; wide += pace {
		var best station
		best.apex.Z = math.Inf(1)
		for i := range an.deg {
			if an.side[i] != side || math.Abs(an.deg[i]-deg) > wide {
				continue
			}
			for u := -0.5; u < 0.5; u += 0.02 {
				if st := an.station(float64(i) + u); st.apex.Z < best.apex.Z {
					best = st
				}
			}
		}
		if wide >= 2*reach || math.Abs(best.deg-deg) < wide-pace {
			return best
		}
	}
}
