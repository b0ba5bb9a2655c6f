package phantom

// Params describes one synthetic scan. Lengths are mm, angles degrees; left and right are the
// patient's. Places are given in the patient's frame: x left, y posterior, z toward the tissue,
// the origin under the middle of the front ridge crest.
type Params struct {
	Name string // of the case, copied into the truth
	Jaw  string // "upper" or "lower"
	Seed int64  // of the anatomy's asymmetry, of the noise and of the decimation

	Size      float64 // of the arch in plan, 1: as published
	Height    float64 // of flanges and palate, 1: as published
	Asymmetry float64 // mm, half width of the slow variation of arch and flanges
	Mirror    bool    // swap the asymmetry's left and right

	HalfWidth    float64 // of the arch: upper, midline to the crest at the hamular notches; lower, at the pads
	Length       float64 // upper: front crest to hamular notch; lower: front crest to pad front; along posterior
	LabialHeight float64 // border apex over the ridge crest, at the front
	BuccalHeight float64 // the same at the first molar
	PalateHeight float64 // vault over the crest (upper)
	LingualFront float64 // lingual border apex over the crest at the midline (lower)
	LingualBack  float64 // the same before the pad (lower)
	Rugae        float64 // depth of the folds behind the papilla (upper)
	Raphe        float64 // height of the median raphe (upper)
	PadLength    float64 // retromolar pad, along the crest (lower)
	PadHeight    float64 // bulge of the pad over the ramus' slope (lower)

	Body    float64 // thickness of the material away from the border
	Border  float64 // thickness of the border
	Lingual float64 // thickness of the lingual border (lower)
	Stretch []Stretch

	LabialFrenum  Notch
	BuccalFrenum  Notch
	LingualFrenum Notch

	ExtensionLeft, ExtensionRight float64 // upper: hamular notch to the rearmost material, along posterior; negative: short
	PadCoverLeft, PadCoverRight   float64 // lower: part of the pad's length that the tissue surface covers, 0 to 1.3

	Rim    Rim
	Handle bool

	Voids []Cap
	Blebs []Cap
	Folds []Fold
	Holes []Hole

	Layers []Layer // on the tissue surface of an impression that is else the same

	Noise      float64 // SD along the normals
	Spacing    float64 // mean distance of neighbouring vertices; at most half of the least thickness, or holes are torn
	Decimate   float64 // part of the vertices that are taken out again, 0 to 0.7
	Frame      Frame
	InsideOut  bool    // faces turned
	TissueSide bool    // only faces that are seen from the tissue side
	Cast       bool    // the jaw itself: the tissue surface, seen and turned from the other side
	Base       bool    // a cast stands on a foot, and is closed
	Scale      float64 // of the file's unit: 1 mm, 1/25.4 inch, 0.001 m
}

// Stretch changes a part of the border. Deg runs from -100 (right end) to 100 (left end) and is
// proportional to the length along the arch.
type Stretch struct {
	Side      string // "buccal" or "lingual"
	From, To  float64
	Thickness float64 // mm, instead of the border's own; 0: unchanged
	Lower     float64 // mm by which the border falls short in height
}

// Notch is a frenum's: depth below the neighbouring border, width at half the depth.
type Notch struct {
	Depth, Width float64
}

// Rim is the wax on the oral side. Its flat is the plane with the stated tilts.
type Rim struct {
	Kind   string  // "rim", "plate" (a flat bite plate between the limbs) or "none"
	Height float64 // labial border apex to the plane, along its normal
	Roll   float64 // atan(nx/nz) of the plane's normal (toward the tissue)
	Pitch  float64 // -atan(ny/nz)
	Wave   float64 // peak to valley of a waviness across the flat
	Front  float64 // width at the midline
	Back   float64 // width at the molars
	Chips  []Chip
}

// Chip is a ball taken out of the rim's edge on the plane.
type Chip struct {
	Deg    float64 // along the rim, -100 right end to 100 left end
	Radius float64
}

// Cap is a void or bleb: a spherical cap, sunk into or raised from the surface, opening Diameter
// wide and Depth deep. It lies where the axis through (X, Y) along z meets the tissue surface, or
// the outer surface.
type Cap struct {
	X, Y     float64
	Diameter float64
	Depth    float64
	Outer    bool
}

// Fold is a groove of circular section along a path over the tissue surface.
type Fold struct {
	X, Y   float64 // middle
	Deg    float64 // direction in plan, 0 along x
	Length float64 // of the opening
	Width  float64
	Depth  float64
}

// Hole is a round patch of missing faces.
type Hole struct {
	X, Y    float64 // place, as for Cap; for a border hole the nearest border apex
	Radius  float64
	Surface string // "tissue", "outer" or "border"
}

// Frame turns the patient's frame into the scanner's: a quaternion and a shift in mm. The zero
// value leaves it (for the lower jaw z is turned over, as tissue is below).
type Frame struct {
	Quat  [4]float64 // w, x, y, z; zero: no turn
	Shift vec
}

// Default returns a sound impression with a rim.
//
// Sizes: inter-hamular distance 44 (42.38 SD 3.47, Guldag et al., J Prosthodont 2010; 44.28 SD
// 3.29, n 100); papilla to vibrating line 45 to 55 (teaching); palatal height 11.5 (12.47 men,
// 10.78 women, 51 edentulous, J Bagh Coll Dent 2025; 11.54 SD 2.4, Sarilita & Soames); labial
// flange 8 to 12 (teaching); pad length 9.6 (8.9 SD 1.8, n 150, Naeem et al. 2021; 11.20 SD 2.51,
// Lopez et al. 2008); pads 48 to 60 apart, lower arch 40 to 50 long (teaching); rims 22 and 18
// high (prosthodontic laboratory text 2015), 5 to 6 wide in front and 8 to 10 at the molars
// (teaching).
func Default(jaw string) Params {
	p := Params{
		Name: jaw, Jaw: jaw, Seed: 1, Size: 1, Height: 1, Asymmetry: 0.5,
		Body: 2.3, Border: 2.8, Lingual: 2.7, Noise: 0.01, Spacing: 0.35, Scale: 1,
		ExtensionLeft: 2.6, ExtensionRight: 2.6, PadCoverLeft: 0.7, PadCoverRight: 0.7,
		BuccalFrenum: Notch{2.6, 5.5},
	}
	if jaw == "lower" {
		p.HalfWidth, p.Length = 26, 42
		p.LabialHeight, p.BuccalHeight, p.LingualFront, p.LingualBack = 7.5, 6.5, 7, 10.5
		p.PadLength, p.PadHeight = 9.6, 1.2
		p.LabialFrenum, p.LingualFrenum = Notch{2.2, 4}, Notch{2.4, 7}
		p.Rim = Rim{Kind: "rim", Height: 18, Front: 5.5, Back: 8.5}
		return p
	}
	p.HalfWidth, p.Length = 22, 50
	p.LabialHeight, p.BuccalHeight, p.PalateHeight = 11, 10, 11.5
	p.Rugae, p.Raphe = 0.35, 0.25
	p.LabialFrenum = Notch{4, 3}
	p.Rim = Rim{Kind: "rim", Height: 22, Front: 6, Back: 9}
	return p
}
