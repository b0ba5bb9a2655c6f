package inspect

// RelateMethod holds what changes the numbers of a relation. Lengths mm, angles degrees.
type RelateMethod struct {
	FacingDeg    float64 `toml:"facing_deg"`     // scans whose rims' planes, or left directions, differ by more do not share a frame
	ApartMM      float64 `toml:"apart_mm"`       // nor do those whose rims are farther apart than this
	SunkMM       float64 `toml:"sunk_mm"`        // or run deeper into each other
	OverlapShare float64 `toml:"overlap_share"`  // or lie over each other with less of the smaller flat
	MeanMM       float64 `toml:"mean_mm"`        // one value of the gap is a mean over this radius
	PixelMM      float64 `toml:"pixel_mm"`       // the gap is taken on a grid of this size
	AnteriorDeg  float64 `toml:"anterior_deg"`   // anterior part: to both sides of straight ahead, from the middle of the shared surface's rear
	PremolarDeg  float64 `toml:"premolar_deg"`   // premolar parts: from there to here
	SideMM       float64 `toml:"side_mm"`        // overlap of the sides: taken this far behind the shared surface's front
	SideHalfMM   float64 `toml:"side_half_mm"`   // and over this to both sides of it
	FrontHalfMM  float64 `toml:"front_half_mm"`  // overlap in front: over this to both sides of the midline
	MolarMM      float64 `toml:"molar_mm"`       // crests at the molars: taken this far behind the shared surface's front
	RidgeFromMM  float64 `toml:"ridge_from_mm"`  // ridges fore and aft: lines from here
	RidgeToMM    float64 `toml:"ridge_to_mm"`    // to here, behind the same front
	CrestMM      float64 `toml:"crest_mm"`       // the height of a crest is that of a smooth fit within this radius
	CrestStepMM  float64 `toml:"crest_step_mm"`  // places along the crest at which room is measured
	CrestApartMM float64 `toml:"crest_apart_mm"` // crests farther apart than this, seen along Up, do not stand over each other
	HingeSideMM  float64 `toml:"hinge_side_mm"`  // average hinge axis: side of the triangle of condyles and lower front (Bonwill)
	HingeDeg     float64 `toml:"hinge_deg"`      // and its angle to the occlusal plane (Balkwill)
	PointUMM     float64 `toml:"point_u_mm"`     // expanded uncertainty of a point of the face, where none is given
	RecordUDeg   float64 `toml:"record_u_deg"`   // and of an angle of a transfer record
}
