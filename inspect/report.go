package inspect

import "fornix/mesh"

// Vec is a point or direction in the scan's own coordinates, mm for points.
type Vec = mesh.Vec

// Jaw tells which jaw an impression was taken of.
type Jaw string

// The two jaws.
const (
	Upper Jaw = "upper"
	Lower Jaw = "lower"
)

// Kinds of surface and how much of it was scanned (Report.Surface, Report.Coverage).
const (
	Impression = "impression" // the ridge shows as a trough
	Cast       = "cast"       // the ridge shows as a ridge: a cast, or a scan of the mouth
	TwoSided   = "two-sided"
	TissueSide = "tissue-side"
)

// Surfaces on which a place of the scan lies (Hole.Surface, Defect.Surface).
const (
	OnTissue = "tissue"
	OnBorder = "border"
	OnOuter  = "outer"
	OnRim    = "rim"
	OnHandle = "handle"
)

// Report is all that is said of one scan: what was measured, how it was judged, one word.
//
// Lengths are mm, areas mm², volumes mm³, angles degrees; points and directions are in the
// scan's own coordinates. A pointer that is nil was not measured, and Unmeasured beside it
// says why. A field whose name ends in U and a unit is the expanded uncertainty (k = 2) of the
// value before it.
type Report struct {
	Schema Schema `json:"schema"`
	Results
	Protocol string    `json:"protocol"` // name and version of the protocol that judged
	Findings []Finding `json:"findings"`
	Verdict  Verdict   `json:"verdict"`
	Cautions []string  `json:"cautions"`
}

// Schema names the layout of a report.
type Schema struct {
	Name    string `json:"name"`
	Version string `json:"version"`
}

// Results is what was measured on one scan. No limit of acceptance has touched it.
type Results struct {
	Scan      ScanInfo            `json:"scan"`
	Jaw       Jaw                 `json:"jaw,omitempty"`
	Surface   string              `json:"surface,omitempty"`
	Coverage  string              `json:"coverage,omitempty"`
	InsideOut bool                `json:"inside_out"`
	Decisions []Decision          `json:"decisions"` // what was decided about the scan, and why
	Frame     *Frame              `json:"frame"`
	Landmarks map[string]Landmark `json:"landmarks"`
	Crest     []Vec               `json:"crest"` // the ridge crest, from the patient's right to left
	Quality   Quality             `json:"quality"`
	LeftOut   []LeftOut           `json:"left_out,omitempty"` // of the file: not measured
	Holes     []Hole              `json:"holes"`              // longest first
	Defects   []Defect            `json:"defects"`            // widest first
	Border    Border              `json:"border"`
	Posterior Posterior           `json:"posterior"`
	Occlusal  *Occlusal           `json:"occlusal"`

	// TissueAreaMM2 is the area of the tissue surface between the borders.
	TissueAreaMM2 float64 `json:"tissue_area_mm2"`

	// OcclusalUnmeasured says why there is no occlusal plane.
	OcclusalUnmeasured string `json:"occlusal_unmeasured,omitempty"`
}

// ScanInfo tells what was read.
type ScanInfo struct {
	File     string  `json:"file"`
	SHA256   string  `json:"sha256"`
	Format   string  `json:"format"`
	Packed   string  `json:"packed,omitempty"` // gzip, zip; empty: it was not
	Bytes    int64   `json:"bytes"`
	Faces    int     `json:"faces"`
	Vertices int     `json:"vertices"`
	Unit     string  `json:"unit"`           // unit of the file: mm, inch, m, µm
	UnitHow  string  `json:"unit_how"`       // how it was decided
	UnitToMM float64 `json:"unit_to_mm"`     // what the coordinates were multiplied by: 1 unless --unit was given
	Note     string  `json:"note,omitempty"` // what was odd in the file and yet read
}

// Decision is one thing that was decided about the scan.
type Decision struct {
	About  string  `json:"about"`  // "jaw", "surface", "coverage", "winding", "left", "rim"
	Value  string  `json:"value"`  //
	Why    string  `json:"why"`    // one sentence
	Margin float64 `json:"margin"` // 0 undecided … 1 plain; 1 when given by the user
}

// Frame is where the patient is in the scan's coordinates. Left and posterior are the
// patient's; TowardTissue points out of the impression into the tissue (superior in the upper
// jaw, inferior in the lower). Unit vectors at right angles.
type Frame struct {
	Origin       Vec `json:"origin"`
	Left         Vec `json:"left"`
	Posterior    Vec `json:"posterior"`
	TowardTissue Vec `json:"toward_tissue"`
}

// Local returns p in the frame: x left, y posterior, z toward the tissue.
func (f *Frame) Local(p Vec) Vec {
	d := p.Sub(f.Origin)
	return Vec{X: d.Dot(f.Left), Y: d.Dot(f.Posterior), Z: d.Dot(f.TowardTissue)}
}

// World returns the scan's coordinates of a local point.
func (f *Frame) World(q Vec) Vec {
	return f.Origin.Along(q.X, f.Left).Along(q.Y, f.Posterior).Along(q.Z, f.TowardTissue)
}

// Landmark is one anatomical point.
type Landmark struct {
	Point         Vec     `json:"point"`
	Source        string  `json:"source"` // "found" or "given"
	UncertaintyMM float64 `json:"uncertainty_mm"`
	WidthMM       float64 `json:"width_mm,omitempty"` // frenal notches: width at half depth
	WidthUMM      float64 `json:"width_u_mm,omitempty"`
	DepthMM       float64 `json:"depth_mm,omitempty"` // frenal notches: below the neighbouring border
	DepthUMM      float64 `json:"depth_u_mm,omitempty"`
}

// Quality is how good the scan is as a scan.
type Quality struct {
	EdgeMedianMM      float64  `json:"edge_median_mm"`
	EdgeP95MM         float64  `json:"edge_p95_mm"`
	FacesPerMM2       float64  `json:"faces_per_mm2"`
	VerticesPerMM2    float64  `json:"vertices_per_mm2"`
	AreaMM2           float64  `json:"area_mm2"`
	AreaUMM2          float64  `json:"area_u_mm2"`
	VolumeMM3         *float64 `json:"volume_mm3"` // closed surfaces only
	VolumeUMM3        *float64 `json:"volume_u_mm3,omitempty"`
	NoiseMM           *float64 `json:"noise_mm"` // SD along the normal, from local fits
	NoiseUnmeasured   string   `json:"noise_unmeasured,omitempty"`
	Components        int      `json:"components"`
	SmallComponents   int      `json:"small_components"` // pieces under 1 % of the largest one's area
	BoundaryLoops     int      `json:"boundary_loops"`
	BoundaryEdges     int      `json:"boundary_edges"`
	NonManifoldEdges  int      `json:"non_manifold_edges"`
	NonManifoldVerts  int      `json:"non_manifold_vertices"`
	DegenerateFaces   int      `json:"degenerate_faces"`
	DuplicateFaces    int      `json:"duplicate_faces"`
	NonFiniteFaces    int      `json:"non_finite_faces"`
	WindingConflicts  int      `json:"winding_conflicts"` // edges whose two faces disagree
	SelfIntersections int      `json:"self_intersections"`
	Extent            Vec      `json:"extent_mm"` // sides of the bounding box along the scan's axes
}

// Hole is an opening in the scanned surface that is not the scan's own outer edge.
type Hole struct {
	ID           int     `json:"id"`
	Centre       Vec     `json:"centre"`
	Normal       Vec     `json:"normal"`
	SpanMM       float64 `json:"span_mm"`
	SpanUMM      float64 `json:"span_u_mm"`
	PerimeterMM  float64 `json:"perimeter_mm"`
	PerimeterUMM float64 `json:"perimeter_u_mm"`
	AreaMM2      float64 `json:"area_mm2"`
	AreaUMM2     float64 `json:"area_u_mm2"`
	Surface      string  `json:"surface"`
	Region       string  `json:"region"`
	Rim          []Vec   `json:"rim"` // the boundary loop, closed
}

// Kinds of Defect.
const (
	Void = "void" // a pit
	Bleb = "bleb" // raised
	Fold = "fold" // a long groove
)

// Defect is a fault in the material.
type Defect struct {
	ID          int      `json:"id"`
	Kind        string   `json:"kind"`
	Centre      Vec      `json:"centre"` // on the sound surface over the middle
	Normal      Vec      `json:"normal"`
	DiameterMM  *float64 `json:"diameter_mm,omitempty"` // void, bleb: of the opening
	DiameterUMM *float64 `json:"diameter_u_mm,omitempty"`
	LengthMM    *float64 `json:"length_mm,omitempty"` // fold
	LengthUMM   *float64 `json:"length_u_mm,omitempty"`
	WidthMM     *float64 `json:"width_mm,omitempty"` // fold
	WidthUMM    *float64 `json:"width_u_mm,omitempty"`
	DepthMM     float64  `json:"depth_mm"` // below the sound surface; above it for a bleb
	DepthUMM    float64  `json:"depth_u_mm"`
	VolumeMM3   float64  `json:"volume_mm3"`
	VolumeUMM3  float64  `json:"volume_u_mm3"`
	Surface     string   `json:"surface"`
	Region      string   `json:"region"`
	Path        []Vec    `json:"path,omitempty"` // fold: its middle line
}

// Border is the periphery of the impression.
type Border struct {
	Stations            []Station      `json:"stations"`
	Regions             []BorderRegion `json:"regions"`
	LengthMM            float64        `json:"length_mm"`
	Unmeasured          string         `json:"unmeasured,omitempty"`           // why there are no stations
	ThicknessUnmeasured string         `json:"thickness_unmeasured,omitempty"` // why no station has a thickness
}

// Station is one place on the border. Stations stand in order around the periphery; SMM starts
// anew on each Side.
type Station struct {
	SMM          float64  `json:"s_mm"`
	Side         string   `json:"side"` // "outer" (labial and buccal), "lingual", "posterior"
	Apex         Vec      `json:"apex"`
	ThicknessMM  *float64 `json:"thickness_mm"`
	ThicknessUMM *float64 `json:"thickness_u_mm,omitempty"`
	Unmeasured   string   `json:"unmeasured,omitempty"`
	HeightMM     *float64 `json:"height_mm"`
	HeightUMM    *float64 `json:"height_u_mm,omitempty"`
	Region       string   `json:"region"`
}

// BorderRegion sums up the stations of one region of the border.
type BorderRegion struct {
	Region       string   `json:"region"`
	LengthMM     float64  `json:"length_mm"`
	Stations     int      `json:"stations"`
	Measured     int      `json:"measured"` // stations with a thickness
	MinMM        *float64 `json:"min_mm"`
	MedianMM     *float64 `json:"median_mm"`
	MaxMM        *float64 `json:"max_mm"`
	ThicknessUMM *float64 `json:"thickness_u_mm"` // of one station, at the median
	OutsideMM    *float64 `json:"outside_mm"`     // length outside the protocol's review limits; set by Judge
	HeightMM     *float64 `json:"height_median_mm"`
	Unmeasured   string   `json:"unmeasured,omitempty"`
}

// Posterior is how far back the material goes. Upper: ReachesNotch and ExtensionMM; lower:
// PastPadFrontMM, SummitReached.
type Posterior struct {
	Left       *PosteriorSide `json:"left"`
	Right      *PosteriorSide `json:"right"`
	MidlineMM  *float64       `json:"midline_mm"` // upper: papilla (or crest at the midline) to the rear edge at the midline
	MidlineUMM *float64       `json:"midline_u_mm,omitempty"`
	Path       []Vec          `json:"path"` // upper: the posterior border across the palate, right to left
	Unmeasured string         `json:"unmeasured,omitempty"`
}

// PosteriorSide is one side of Posterior.
type PosteriorSide struct {
	ReachesNotch    *bool    `json:"reaches_notch,omitempty"`
	ExtensionMM     *float64 `json:"extension_mm,omitempty"`
	ExtensionUMM    *float64 `json:"extension_u_mm,omitempty"`
	PastPadFrontMM  *float64 `json:"past_pad_front_mm,omitempty"`
	PastPadFrontUMM *float64 `json:"past_pad_front_u_mm,omitempty"`
	SummitReached   *bool    `json:"summit_reached,omitempty"`
	Rearmost        *Vec     `json:"rearmost,omitempty"`
	Unmeasured      string   `json:"unmeasured,omitempty"`
}

// Occlusal is the plane fitted to the occlusion rims.
type Occlusal struct {
	Point         Vec                  `json:"point"`
	Normal        Vec                  `json:"normal"` // toward the tissue
	NormalUDeg    float64              `json:"normal_u_deg"`
	OffsetUMM     float64              `json:"offset_u_mm"` // of Point along Normal
	FlatnessMM    float64              `json:"flatness_mm"`
	FlatnessUMM   float64              `json:"flatness_u_mm"`
	MinimumZoneMM float64              `json:"minimum_zone_mm"`
	RMSMM         float64              `json:"rms_mm"`
	AreaMM2       float64              `json:"area_mm2"`
	Kind          string               `json:"kind"`  // "rim" or "plate"
	Tilts         map[string]Tilt      `json:"tilts"` // by reference: "hamular-papilla", "crest", "given"
	RimHeight     RimHeight            `json:"rim_height_mm"`
	RimWidth      map[string]*RimWidth `json:"rim_width_mm"` // "anterior", "left", "right"
	Outline       [][]Vec              `json:"outline"`      // closed paths round the flat of the rim
	Chips         []Chip               `json:"chips,omitempty"`
}

// Tilt is the angle of the occlusal plane against a reference plane.
type Tilt struct {
	TotalDeg float64 `json:"total_deg"`
	UDeg     float64 `json:"u_deg"`     // of each of the three angles
	CantDeg  float64 `json:"cant_deg"`  // about the front-to-back axis; positive: plane nearer the tissue on the patient's left
	PitchDeg float64 `json:"pitch_deg"` // about the left-right axis; positive: plane nearer the tissue at the back
	Normal   Vec     `json:"reference_normal"`
}

// RimHeight is measured from the border's apex to the occlusal plane along its normal.
type RimHeight struct {
	Anterior *float64 `json:"anterior"`
	Left     *float64 `json:"left"`
	Right    *float64 `json:"right"`
	UMM      float64  `json:"u_mm"` // of each
}

// RimWidth is the width of the rim's flat across the arch.
type RimWidth struct {
	MedianMM float64 `json:"median"`
	MinMM    float64 `json:"min"`
	MaxMM    float64 `json:"max"`
}

// Chip is a place where the rim's flat is broken out.
type Chip struct {
	Centre  Vec     `json:"centre"`
	AreaMM2 float64 `json:"area_mm2"`
	DepthMM float64 `json:"depth_mm"`
}

// Severity of a finding.
type Severity string

// Severities, from light to grave.
const (
	Info       Severity = "info"
	Unmeasured Severity = "unmeasured"
	Review     Severity = "review"
	Fail       Severity = "fail"
)

// Verdict is the one word at the end.
type Verdict string

// Verdicts, from light to grave.
const (
	Send    Verdict = "send"
	Correct Verdict = "correct"
	Rescan  Verdict = "rescan"
	Retake  Verdict = "retake"
)

// Finding is one judged thing.
type Finding struct {
	Number   int      `json:"number"` // as on the images; 0: not drawn
	Code     string   `json:"code"`
	Severity Severity `json:"severity"`
	Value    *float64 `json:"value"`
	ValueU   *float64 `json:"value_u,omitempty"` // expanded uncertainty (k = 2); none: not stated
	Limit    *float64 `json:"limit"`
	Unit     string   `json:"unit"`
	Region   string   `json:"region,omitempty"`
	Text     string   `json:"text"`
	Action   Verdict  `json:"action"` // the verdict that this finding alone asks for
	Where    Where    `json:"where"`
}

// Where tells the places of a finding.
type Where struct {
	Points   []Vec   `json:"points,omitempty"`
	Path     []Vec   `json:"path,omitempty"`
	RadiusMM float64 `json:"radius_mm,omitempty"`
}
