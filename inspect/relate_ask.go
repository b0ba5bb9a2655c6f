package inspect

// RelateOptions are what the user knows of two scans and what else is asked.
type RelateOptions struct {
	Upper, Lower Options
	Pose         *Motion    // takes the lower scan's coordinates into the upper's
	Closed       *Scan      // of both jaws closed, onto which each scan is registered; not with Pose
	References   References // of the face
	Changes      []Change   // of the height, to be worked out
	Workers      int        // 0: one for each processor
}

// Change is a height to be tried: the lower jaw moves so that the middle of its rim's front goes
// down by FrontMM.
type Change struct {
	FrontMM float64 // positive raises the bite
	Turn    bool    // about the hinge axis; else straight along Up
	Keep    Jaw     // the rim that stays as it is; empty: both meet midway
}

// References are lines and planes of the face.
type References struct {
	// In says whose coordinates the points have, Upper or Lower; empty: those of the common frame.
	In Jaw
	// Camper and Pupils are points: of the ala-tragus plane three or more, of the pupil line two,
	// right and left.
	Camper []Vec
	Pupils []Vec
	Hinge  []Vec // two points of the hinge axis, right and left
	// UMM is the expanded uncertainty of each point; 0: that of the method.
	UMM float64

	// Angles from a transfer record, of the upper rim's plane as scanned: against the ala-tragus
	// plane fore and aft (positive: the rim falls away from it in front), and against the pupil line
	// (positive: the rim is higher on the patient's left).
	CamperDeg, PupilsDeg *float64
	UDeg                 float64 // of both; 0: that of the method
}

// Names of references of the face (PlaneAngle.Reference).
const (
	Camper = "camper" // the ala-tragus plane
	Pupils = "pupils" // the pupil line
)

// PlaneAngle is how one occlusal plane stands to a reference of the face.
type PlaneAngle struct {
	Reference   string   `json:"reference"`
	Jaw         Jaw      `json:"jaw"`          // whose rim's plane
	How         string   `json:"how"`          // "points" or "transfer record"
	ForeAftDeg  *float64 `json:"fore_aft_deg"` // positive: the rim falls away from the reference in front; nil for a line
	ForeAftUDeg *float64 `json:"fore_aft_u_deg,omitempty"`
	CantDeg     *float64 `json:"cant_deg"` // positive: the rim is higher on the patient's left; nil where only one angle is known
	CantUDeg    *float64 `json:"cant_u_deg,omitempty"`
	Points      []Vec    `json:"points,omitempty"` // as given
}

// WhatIf is a changed height: where everything would be.
type WhatIf struct {
	FrontMM     float64  `json:"front_mm"` // as asked: the middle of the lower rim's front goes down by it
	How         string   `json:"how"`      // "translation" or "turn"
	Axis        *Hinge   `json:"axis,omitempty"`
	TurnDeg     *float64 `json:"turn_deg,omitempty"`
	Motion      Motion   `json:"motion"` // of the lower jaw, in the common frame
	Gap         RimGap   `json:"gap"`
	Heights     []Height `json:"heights"`
	Keep        Jaw      `json:"keep,omitempty"` // the rim that stays; empty: both meet midway
	Upper       Wedge    `json:"upper"`
	Lower       Wedge    `json:"lower"`
	ForeAftDeg  float64  `json:"fore_aft_deg"` // of the planes then, as in RimPlanes
	SidewaysDeg float64  `json:"sideways_deg"`
}

// Hinge is the axis about which the lower jaw turns.
type Hinge struct {
	Right  Vec    `json:"right"`
	Left   Vec    `json:"left"`
	How    string `json:"how"`    // "given" or "average"
	Source string `json:"source"` // of an average one
}

// Wedge is the wax that one rim must gain or lose so that the rims close flat.
type Wedge struct {
	LeastMM   float64  `json:"least_mm"` // negative: to be taken off there
	MostMM    float64  `json:"most_mm"`  // positive: to be added there
	UMM       float64  `json:"u_mm"`
	AddMM3    float64  `json:"add_mm3"`
	RemoveMM3 float64  `json:"remove_mm3"`
	FrontMM   *float64 `json:"front_mm"` // median of the anterior part
	RightMM   *float64 `json:"right_mm"` // of the right molar part
	LeftMM    *float64 `json:"left_mm"`
}
