package inspect

// Part names the part of the impression a vertex belongs to.
type Part uint8

// Parts of an impression.
const (
	PartUnknown Part = iota
	PartTissue       // the fitting surface, up to the border roll
	PartBorder       // the roll, 2 mm to both sides of the border's apex
	PartOuter        // the polished side: outer and oral surface of tray and material
	PartRim          // flat and walls of the occlusion rim or bite plate
	PartHandle
)

// Anatomy is where things are on one scan: what every measurement starts from.
type Anatomy struct {
	Jaw       Jaw
	Surface   string // Impression or Cast
	Coverage  string // TwoSided or TissueSide
	InsideOut bool
	Frame     Frame
	Part      []Part // #V

	region func(Vec) string
}

// Region names the anatomical region of a point on the scan, such as "buccal left",
// "ridge crest anterior", "palate", "retromolar pad right".
func (a *Anatomy) Region(p Vec) string {
	if a.region == nil {
		return ""
	}
	return a.region(p)
}
