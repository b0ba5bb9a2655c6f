package inspect

import "fornix/mesh"

// Purpose says why two scans are compared. It sets the part of the surface that aligns them and the
// words of the findings.
type Purpose string

// Purposes of a comparison. A is always the earlier, original or accepted one.
const (
	AsRetake    Purpose = "retake"    // A: first impression, B: another one of the same jaw
	AsLayer     Purpose = "layer"     // A: before, B: after a wash or a trim of the same impression
	AsCast      Purpose = "cast"      // A: impression, B: the cast poured from it
	AsRepeat    Purpose = "repeat"    // A, B: one object scanned twice (precision, ISO 5725-1)
	AsReference Purpose = "reference" // A: reference scan, B: scan under test (trueness, ISO 5725-1)
)

// Zones of A that may be used to align.
const (
	ZoneAll    = "all"    // the whole surface
	ZoneStable = "stable" // palate and ridge crest: tissue that does not move
	ZoneTissue = "tissue" // the fitting surface without the border
	ZoneOuter  = "outer"  // outer and oral surface of tray and material, rim and handle
)

// Parts into which a comparison is divided (BothWays.Region). Each place belongs to one of them.
const (
	PlaceCrest  = "crest"
	PlacePalate = "palate"
	PlaceSeal   = "posterior seal"
	PlacePad    = "pad"
	PlaceSlope  = "slopes"
	PlaceBorder = "border"
	PlaceRim    = "rim"
	PlaceOuter  = "outer surface"
)

// Ways in which B came into A's coordinates (Alignment.Method).
const (
	ByGlobal    = "global"
	ByLandmarks = "landmarks"
	ByPose      = "pose"
)

// Comparison is all that is said of one scan against another.
//
// Every point and direction is in the coordinates of A's file. Distances are signed: positive
// where B lies on the outer side of A, away from A's material; for a cast, where there is a gap
// between it and the impression. That holds at the places of A and at those of B alike.
type Comparison struct {
	Schema   Schema   `json:"schema"`
	Purpose  Purpose  `json:"purpose"`
	A        ScanInfo `json:"a"`
	B        ScanInfo `json:"b"`
	Jaw      Jaw      `json:"jaw,omitempty"`
	SurfaceA string   `json:"surface_a,omitempty"`
	SurfaceB string   `json:"surface_b,omitempty"`
	Frame    *Frame   `json:"frame"` // of the patient, in A's coordinates; nil where no jaw was found in A

	Alignment Alignment  `json:"alignment"`
	Overall   BothWays   `json:"overall"`
	Zone      BothWays   `json:"zone"`    // of the part that was used to align
	Regions   []BothWays `json:"regions"` // divide the whole surface; none where no jaw was found in A
	Histogram Histogram  `json:"histogram"`

	Layer           *Layer `json:"layer"` // purpose layer only
	LayerUnmeasured string `json:"layer_unmeasured,omitempty"`

	Protocol string    `json:"protocol"`
	Findings []Finding `json:"findings"`
	Verdict  Verdict   `json:"verdict"`
	Cautions []string  `json:"cautions"`
}

// ComparisonSchemaName and ComparisonSchemaVersion name the layout of a comparison.
const (
	ComparisonSchemaName    = "fornix comparison"
	ComparisonSchemaVersion = "1"
)

// Alignment tells how B was brought into A's coordinates and how well that is determined.
type Alignment struct {
	Method string `json:"method"` // ByGlobal, ByLandmarks, ByPose
	Zone   string `json:"zone"`   // the part of A that was used
	// Pose is the rigid motion from B's file coordinates into A's, the four rows of a matrix that is
	// multiplied with columns (x, y, z, 1).
	Pose         [][]float64 `json:"pose"`
	TurnDeg      float64     `json:"turn_deg"` // how far Pose turns
	FitRMSMM     *float64    `json:"fit_rms_mm"`
	OverlapShare *float64    `json:"overlap_share"` // of the zone that found its like, 0 to 1
	TurnUDeg     *float64    `json:"turn_u_deg"`    // k = 2
	ShiftUMM     *float64    `json:"shift_u_mm"`    // k = 2, of the middle of the zone
	PlaceUMM     *float64    `json:"place_u_mm"`    // k = 2, both together at a usual place of the surface
	Freedoms     []Freedom   `json:"freedoms"`      // how well each of the six is held
	Landmarks    []string    `json:"landmarks,omitempty"`
	Unmeasured   string      `json:"unmeasured,omitempty"` // why the fit is not stated
}

// Freedom is one of the six of a rigid motion, about the middle of the zone.
type Freedom struct {
	Name string  `json:"name"` // "shift left", "shift posterior", "shift toward tissue", "turn about left", …
	Kind string  `json:"kind"` // "shift" or "turn"
	Axis Vec     `json:"axis"`
	U    float64 `json:"u"`    // k = 2
	Unit string  `json:"unit"` // mm or deg
	Held bool    `json:"held"` // the shape determines it
}

// BothWays holds the distances of one part, taken at the places of A to B's surface and at those of
// B to A's.
type BothWays struct {
	Region     string     `json:"region"`
	AtA        *Deviation `json:"at_a"`
	AtB        *Deviation `json:"at_b"`
	Unmeasured string     `json:"unmeasured,omitempty"` // why one of them is missing
}

// Deviation sums up signed distances over an area. Each vertex counts with the third of the area of
// its faces, so that the numbers do not depend on how densely the surface is cut into faces.
type Deviation struct {
	Places       int         `json:"places"`        // vertices with a distance
	AreaMM2      float64     `json:"area_mm2"`      // their area
	UncoveredMM2 float64     `json:"uncovered_mm2"` // the area where the other scan has no surface to compare with
	MeanMM       float64     `json:"mean_mm"`
	MeanUMM      float64     `json:"mean_u_mm"`
	SDMM         float64     `json:"sd_mm"` // about the mean
	RMSMM        float64     `json:"rms_mm"`
	RMSUMM       float64     `json:"rms_u_mm"`
	MADMM        float64     `json:"mad_mm"`     // median distance from the median
	AbsP50MM     float64     `json:"abs_p50_mm"` // median distance from the other surface
	AbsP95MM     float64     `json:"abs_p95_mm"` // 95 % of the area lie within ± this
	Percentiles  Percentiles `json:"percentiles_mm"`
	Within       []Within    `json:"within"`
	Lowest       Extreme     `json:"lowest"`
	Highest      Extreme     `json:"highest"`
	PlaceUMM     float64     `json:"place_u_mm"` // expanded uncertainty of the distance at one place
}

// Percentiles of a distance by area.
type Percentiles struct {
	P1  float64 `json:"p1"`
	P5  float64 `json:"p5"`
	P25 float64 `json:"p25"`
	P50 float64 `json:"p50"`
	P75 float64 `json:"p75"`
	P95 float64 `json:"p95"`
	P99 float64 `json:"p99"`
}

// Within is the share of an area, 0 to 1, whose distance is not beyond ± MM.
type Within struct {
	MM    float64 `json:"mm"`
	Share float64 `json:"share"`
}

// Extreme is the largest or smallest distance and its place.
type Extreme struct {
	MM float64 `json:"mm"`
	At Vec     `json:"at"`
}

// Histogram holds areas by distance. Bin i goes from FromMM + i BinMM up to, not including, the next;
// the last one includes its end. What lies below the first or above the last bin stands apart, so
// that all of it adds up to the area compared.
type Histogram struct {
	FromMM    float64   `json:"from_mm"`
	BinMM     float64   `json:"bin_mm"`
	AtAMM2    []float64 `json:"at_a_mm2"`
	AtBMM2    []float64 `json:"at_b_mm2"`
	BelowAMM2 float64   `json:"below_a_mm2"`
	BelowBMM2 float64   `json:"below_b_mm2"`
	AboveAMM2 float64   `json:"above_a_mm2"`
	AboveBMM2 float64   `json:"above_b_mm2"`
}

// Kinds of LayerPart.
const (
	LayerAdded   = "added"
	LayerRemoved = "removed"
)

// Layer is what lies between the surfaces before (A) and after (B).
//
// The thickness of material that came on is measured along the normal of the surface before, that of
// material that was taken off along the normal of the surface after: each time from the surface that
// is still there. Where the other scan ends or has a hole, nothing is compared.
type Layer struct {
	AddedMM2     float64 `json:"added_mm2"` // areas of the surface before
	RemovedMM2   float64 `json:"removed_mm2"`
	SameMM2      float64 `json:"same_mm2"`      // the two surfaces agree
	UncoveredMM2 float64 `json:"uncovered_mm2"` // not compared
	// CoveredShare is the part of the fitting surface, border included, that got a layer, 0 to 1.
	CoveredShare *float64 `json:"covered_share"`

	AddedMM3    float64 `json:"added_mm3"`
	AddedUMM3   float64 `json:"added_u_mm3"`
	RemovedMM3  float64 `json:"removed_mm3"`
	RemovedUMM3 float64 `json:"removed_u_mm3"`

	LeastMM float64     `json:"least_mm"` // thinner than this is no layer: what noise and alignment leave open
	Parts   []LayerPart `json:"parts"`    // largest area first
	Thin    []ThinSpot  `json:"thin"`     // where a layer over the fitting surface is thin or missing; thinnest first
}

// LayerPart is one connected piece of a layer. Thicknesses are positive for both kinds.
type LayerPart struct {
	ID         int      `json:"id"`
	Kind       string   `json:"kind"`     // LayerAdded, LayerRemoved
	AreaMM2    float64  `json:"area_mm2"` // of the surface before
	MeanMM     *float64 `json:"mean_mm"`
	MeanUMM    *float64 `json:"mean_u_mm"`
	MedianMM   *float64 `json:"median_mm"`
	Thickest   *Extreme `json:"thickest"`  // mean over a small disc
	Thinnest   *Extreme `json:"thinnest"`  // of an added part, away from its edge; none where it is too narrow
	DiscUMM    *float64 `json:"disc_u_mm"` // expanded uncertainty of the thickest
	VolumeMM3  *float64 `json:"volume_mm3"`
	VolumeUMM3 *float64 `json:"volume_u_mm3"`
	// CutBackMM is, of a removed part, how far its farthest place lies from the surface after.
	CutBackMM  *float64 `json:"cut_back_mm,omitempty"`
	CutBackUMM *float64 `json:"cut_back_u_mm,omitempty"`
	Centre     Vec      `json:"centre"`
	Region     string   `json:"region"`
	Surface    string   `json:"surface"`
	Unmeasured string   `json:"unmeasured,omitempty"` // why there is no thickness
}

// ThinSpot is a connected place of the fitting surface over which a layer is thin or missing.
type ThinSpot struct {
	ID         int     `json:"id"`
	AreaMM2    float64 `json:"area_mm2"`
	DiameterMM float64 `json:"diameter_mm"` // of the circle with that area
	ThinnestMM float64 `json:"thinnest_mm"` // mean over a small disc
	UMM        float64 `json:"u_mm"`
	Centre     Vec     `json:"centre"`
	Region     string  `json:"region"`
}

// CompareOutcome is a comparison with what pictures are drawn from.
type CompareOutcome struct {
	Comparison *Comparison
	AnatomyA   *Anatomy   // nil where no jaw was found in A
	A          *mesh.Mesh // in its own coordinates
	B          *mesh.Mesh // moved into A's coordinates
	// ADist, BDist are the signed distances at the vertices of A and B, NaN where there is nothing to
	// compare with.
	ADist, BDist []float64
	// Thickness is the layer's at the vertices of A along their normals, negative where material was
	// taken off, NaN where not compared or gone as a whole; nil for other purposes.
	Thickness []float64
}
