package inspect

// Relation is all that is said of two scans, an upper and a lower impression with their occlusion
// rims closed on each other.
//
// Lengths are mm, areas mm², volumes mm³, angles degrees. Points and directions are in the common
// frame: the coordinates that both files share, those of the scan of both jaws closed, or with a
// given pose those of the upper scan; Shared holds the motions from each file's coordinates into
// it. A pointer that is nil was not measured, and Unmeasured beside it says why. A field whose
// name ends in U and a unit is the expanded uncertainty (k = 2) of the value before it.
type Relation struct {
	Schema Schema `json:"schema"`
	RelationResults
	Protocol string    `json:"protocol"` // name and version of the protocol that judged
	Findings []Finding `json:"findings"`
	Verdict  Verdict   `json:"verdict"`
	Cautions []string  `json:"cautions"`
}

// RelationSchemaName and RelationSchemaVersion name the layout of a relation.
const (
	RelationSchemaName    = "fornix relation"
	RelationSchemaVersion = "1"
)

// RelationResults is what was measured between two scans. No limit of acceptance has touched it.
type RelationResults struct {
	Upper      ScanInfo      `json:"upper"`
	Lower      ScanInfo      `json:"lower"`
	Shared     Shared        `json:"shared"`
	Frame      RelationFrame `json:"frame"`
	Planes     RimPlanes     `json:"planes"`
	Gap        RimGap        `json:"gap"`
	Horizontal Horizontal    `json:"horizontal"`
	Heights    []Height      `json:"heights"` // in the order of HeightNames
	Ridges     Ridges        `json:"ridges"`
	Space      []SpaceAt     `json:"space"`      // along the arch, from the patient's right to left
	WhatIf     []WhatIf      `json:"what_if"`    // as asked for
	References []PlaneAngle  `json:"references"` // as given
}

// RelateOutcome is what Relate makes of two scans: the relation, and what pictures need beside it.
type RelateOutcome struct {
	Relation     *Relation
	Upper, Lower *Outcome // each scan inspected by itself; points in its own coordinates

	// UpperGap and LowerGap hold the gap at each vertex of the rims' flats; NaN elsewhere and where
	// the other rim does not reach. #V of each scan.
	UpperGap, LowerGap []float64
	// UpperWax and LowerWax hold, for each WhatIf, the wax that each vertex of the rims' flats must
	// gain (positive) or lose (negative), mm along Up; NaN elsewhere. #WhatIf, each #V.
	UpperWax, LowerWax [][]float64
}

// Ways in which two scans came into one frame (Shared.How).
const (
	SharedFrame = "shared frame" // both files have the same coordinates
	ClosedScan  = "closed scan"  // each was registered onto a scan of both jaws closed
	GivenPose   = "pose"         // a motion was given
)

// Shared tells how the two scans came into the common frame.
type Shared struct {
	How       string      `json:"how"`
	Closed    *ScanInfo   `json:"closed,omitempty"` // the scan of both jaws closed
	Upper     Motion      `json:"upper_to_common"`
	Lower     Motion      `json:"lower_to_common"`
	Fits      []FitOnScan `json:"fits,omitempty"` // of each scan onto the closed one: upper, lower
	TurnUDeg  float64     `json:"turn_u_deg"`     // of one scan against the other, through the fits; 0: as exported or given
	OffsetUMM float64     `json:"offset_u_mm"`    // the same along Up, at the frame's origin
}

// Motion is a proper rigid motion p -> R p + T: rows of R, and T in mm.
type Motion struct {
	Rotation    [3]Vec `json:"rotation"`
	Translation Vec    `json:"translation"`
}

// FitOnScan is how well one impression lies on the scan of both jaws closed.
type FitOnScan struct {
	Jaw          Jaw     `json:"jaw"`
	RMSMM        float64 `json:"rms_mm"`        // of the distances that were used
	OverlapShare float64 `json:"overlap_share"` // of the impression's surface that the closed scan shows
	Pairs        int     `json:"pairs"`
	TurnUDeg     float64 `json:"turn_u_deg"`
	ShiftUMM     float64 `json:"shift_u_mm"`
}

// RelationFrame is where the patient is in the common frame: Up is superior, along the mean of
// both rims' normals; Left and Posterior are the patient's. Unit vectors at right angles; Origin
// lies midway between the rims over the middle of the surface that they share.
type RelationFrame struct {
	Origin    Vec `json:"origin"`
	Left      Vec `json:"left"`
	Posterior Vec `json:"posterior"`
	Up        Vec `json:"up"`
}

// RimPlanes is how the two occlusal planes stand to each other.
type RimPlanes struct {
	Upper        OcclusalPlane `json:"upper"`
	Lower        OcclusalPlane `json:"lower"`
	AngleDeg     float64       `json:"angle_deg"`
	AngleUDeg    float64       `json:"angle_u_deg"`
	ForeAftDeg   float64       `json:"fore_aft_deg"` // positive: farther apart in front
	ForeAftUDeg  float64       `json:"fore_aft_u_deg"`
	SidewaysDeg  float64       `json:"sideways_deg"` // positive: farther apart on the patient's left
	SidewaysUDeg float64       `json:"sideways_u_deg"`
}

// OcclusalPlane is the plane fitted to one rim, in the common frame; the normal points up.
type OcclusalPlane struct {
	Point      Vec     `json:"point"`
	Normal     Vec     `json:"normal"`
	NormalUDeg float64 `json:"normal_u_deg"`
	OffsetUMM  float64 `json:"offset_u_mm"`
	FlatnessMM float64 `json:"flatness_mm"`
	Kind       string  `json:"kind"` // "rim" or "plate"
}

// RimGap is how far the rims are apart, along Up, where one lies over the other: negative where
// they run into each other. Values are means over MeanMM around each place, so that none is an
// extreme of the noise.
type RimGap struct {
	MeanMM    float64   `json:"mean_over_mm"` // radius of the neighbourhood of one value
	UMM       float64   `json:"u_mm"`         // of the gap at one place
	All       GapPart   `json:"all"`
	Parts     []GapPart `json:"parts"`       // in the order of GapPartNames
	SpreadMM  float64   `json:"spread_mm"`   // 95th less 5th percentile of the gap
	SpreadUMM float64   `json:"spread_u_mm"` //
	SidesMM   *float64  `json:"sides_mm"`    // median left less median right
	SidesUMM  *float64  `json:"sides_u_mm,omitempty"`
	FrontMM   *float64  `json:"front_mm"` // median anterior less median of both molar parts
	FrontUMM  *float64  `json:"front_u_mm,omitempty"`
	Closest   Vec       `json:"closest"` // midway between the rims where the gap is least
	Widest    Vec       `json:"widest"`

	// Run into each other: greatest depth and volume, 0 where nowhere.
	SunkMM   float64 `json:"sunk_mm"`
	SunkUMM  float64 `json:"sunk_u_mm"`
	SunkMM3  float64 `json:"sunk_mm3"`
	SunkUMM3 float64 `json:"sunk_u_mm3"`
}

// GapPartNames are the parts into which the gap is split, in the order of RimGap.Parts. The sides
// hold all that lies on them; the other parts follow each other along the arch.
var GapPartNames = []string{"right", "left", "molar right", "premolar right", "anterior", "premolar left", "molar left"}

// ContactsMM are the gaps up to which surface counts as in contact, in the order of GapPart.ContactMM2.
var ContactsMM = [3]float64{0.05, 0.1, 0.2}

// GapPart is the gap over one part of the surface that the rims share.
type GapPart struct {
	Name        string     `json:"name"`
	AreaMM2     float64    `json:"area_mm2"` // of that surface, seen along Up
	AreaUMM2    float64    `json:"area_u_mm2"`
	MinMM       *float64   `json:"min_mm"`
	MinUMM      *float64   `json:"min_u_mm,omitempty"`
	MedianMM    *float64   `json:"median_mm"`
	UMM         *float64   `json:"u_mm,omitempty"` // of the median, with what is open at the surface's edge
	P95MM       *float64   `json:"p95_mm"`
	Middle      *Vec       `json:"middle"`      // midway between the rims at its middle
	ContactMM2  [3]float64 `json:"contact_mm2"` // area with a gap up to ContactsMM
	ContactUMM2 [3]float64 `json:"contact_u_mm2"`
	Unmeasured  string     `json:"unmeasured,omitempty"` // the rims do not lie over each other there
}

// Horizontal is how the rims stand over each other, seen along Up. Overlaps are how far the outer
// edge of the upper rim's flat stands outside that of the lower: negative where the lower stands
// out.
type Horizontal struct {
	LeftMM     *float64 `json:"left_mm"` // along Left, over the rims' sides
	RightMM    *float64 `json:"right_mm"`
	ForwardMM  *float64 `json:"forward_mm"`        // along the midline
	UMM        float64  `json:"u_mm"`              // of each
	LeftAt     []Vec    `json:"left_at,omitempty"` // upper edge, lower edge, where the median is
	RightAt    []Vec    `json:"right_at,omitempty"`
	ForwardAt  []Vec    `json:"forward_at,omitempty"`
	MidlineMM  *float64 `json:"midline_mm"` // lower labial frenum from the upper one, positive to the patient's left
	MidlineUMM *float64 `json:"midline_u_mm,omitempty"`
	MidlineAt  []Vec    `json:"midline_at,omitempty"` // upper, lower
	Unmeasured string   `json:"unmeasured,omitempty"`
}

// Names of heights.
const (
	SulcusAnterior  = "sulcus anterior"
	CrestAnterior   = "crest anterior"
	CrestMolarRight = "crest molar right"
	CrestMolarLeft  = "crest molar left"
)

// HeightNames are the heights in the order of RelationResults.Heights.
var HeightNames = []string{SulcusAnterior, CrestAnterior, CrestMolarRight, CrestMolarLeft}

// Height is a distance along Up from the lower jaw to the upper: between the sulci beside the
// labial frena, or between the crests of the ridges.
type Height struct {
	Name       string   `json:"name"`
	MM         *float64 `json:"mm"`
	UMM        *float64 `json:"u_mm,omitempty"`
	UpperMM    *float64 `json:"upper_mm"` // of it: above the plane midway between the rims
	LowerMM    *float64 `json:"lower_mm"` // below it
	Upper      *Vec     `json:"upper"`    // the places between which it is measured
	Lower      *Vec     `json:"lower"`
	Line       []Vec    `json:"line,omitempty"` // two points, one straight over the other, level with the places
	Unmeasured string   `json:"unmeasured,omitempty"`
}

// Ridges is how the crests of the two ridges stand to each other.
type Ridges struct {
	LeftDeg      *float64 `json:"left_deg"` // fore and aft; positive: farther apart in front
	LeftUDeg     *float64 `json:"left_u_deg,omitempty"`
	RightDeg     *float64 `json:"right_deg"`
	RightUDeg    *float64 `json:"right_u_deg,omitempty"`
	SidewaysDeg  *float64 `json:"sideways_deg"` // positive: farther apart on the patient's left
	SidewaysUDeg *float64 `json:"sideways_u_deg,omitempty"`
	Unmeasured   string   `json:"unmeasured,omitempty"`
}

// SpaceAt is the room between the crests at one place of the arch, along Up.
type SpaceAt struct {
	Part    string  `json:"part"` // of GapPartNames, along the arch
	MM      float64 `json:"mm"`
	UMM     float64 `json:"u_mm"`
	UpperMM float64 `json:"upper_mm"` // of it: above the plane midway between the rims
	LowerMM float64 `json:"lower_mm"`
	Upper   Vec     `json:"upper"`
	Lower   Vec     `json:"lower"`
}
