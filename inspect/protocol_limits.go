package inspect

import (
	"slices"
	"strings"
)

// Limit is one limit of acceptance. A value past Review is for a person to look at, past Fail a
// fault, past Retake one that cannot be mended; past Note it is worth saying and nothing more.
// Whether past means above or below is the nature of the limit, not of the protocol.
type Limit struct {
	Note   *float64 `toml:"note,omitempty"`
	Review float64  `toml:"review"`
	Fail   float64  `toml:"fail"`
	Retake *float64 `toml:"retake,omitempty"`
	Unit   string   `toml:"unit"`
	Action Verdict  `toml:"action"` // what a value past Review or Fail asks for
	Source string   `toml:"source"` // "paper: …", "standard: …", "common practice: …", "project choice: …"
}

// BorderLimit is a limit along the border: a default, and what differs by region.
type BorderLimit struct {
	Limit
	// OverMM is the length of border (mm) over which the limit must be passed at a stretch.
	OverMM float64 `toml:"over_mm"`
	// Region holds the limits of single regions. A key such as "upper labial" is an optional jaw
	// and words that the name of a region holds; the key with most words that fits is used.
	Region map[string]Limit `toml:"region"`
}

// Rule says how something that is no number is judged.
type Rule struct {
	Severity Severity `toml:"severity"`
	Action   Verdict  `toml:"action"`
	Source   string   `toml:"source"`
}

// Limits are all limits of a protocol. Each field's tag is its name in the file.
type Limits struct {
	ScanCoarse   Limit `toml:"scan-coarse"`
	ScanNoisy    Limit `toml:"scan-noisy"`
	ScanFlawed   Limit `toml:"scan-flawed"`
	ScanCrossing Limit `toml:"scan-crossing"`
	ScanPieces   Limit `toml:"scan-pieces"`

	Hole       Limit `toml:"hole"`
	HoleBorder Limit `toml:"hole-border"`
	HoleOuter  Limit `toml:"hole-outer"`

	Void         Limit  `toml:"void"`
	VoidCritical Limit  `toml:"void-critical"`
	Bleb         Limit  `toml:"bleb"`
	BlebCritical Limit  `toml:"bleb-critical"`
	Fold         Limit  `toml:"fold"`
	FoldCritical Limit  `toml:"fold-critical"`
	VoidShare    Limit  `toml:"void-share"`
	Defect       NearBy `toml:"defect"`

	BorderThin      BorderLimit `toml:"border-thin"`
	BorderThick     BorderLimit `toml:"border-thick"`
	BorderShort     BorderLimit `toml:"border-short"`
	BorderShortSide BorderLimit `toml:"border-short-side"`
	BorderUneven    Limit       `toml:"border-uneven"`
	BorderMeasured  Limit       `toml:"border-measured"`

	PosteriorShort Limit `toml:"posterior-short"`
	PosteriorLong  Limit `toml:"posterior-long"`
	PadShort       Limit `toml:"pad-short"`
	PadLong        Limit `toml:"pad-long"`

	RimCanted  Limit     `toml:"rim-canted"`
	RimPitched Limit     `toml:"rim-pitched"`
	RimUneven  Limit     `toml:"rim-uneven"`
	RimChipped Limit     `toml:"rim-chipped"`
	RimHeight  RimTarget `toml:"rim-height"`

	AlignmentLoose     Limit `toml:"alignment-loose"`
	CompareUncovered   Limit `toml:"compare-uncovered"`
	RetakeDeviation    Limit `toml:"retake-deviation"`
	RetakeBorder       Limit `toml:"retake-border"`
	CastDeviation      Limit `toml:"cast-deviation"`
	CastSpread         Limit `toml:"cast-spread"`
	RepeatDeviation    Limit `toml:"repeat-deviation"`
	ReferenceDeviation Limit `toml:"reference-deviation"`
	ReferenceBias      Limit `toml:"reference-bias"`
	LayerThin          Limit `toml:"layer-thin"`
	LayerThick         Limit `toml:"layer-thick"`
	CutBack            Limit `toml:"cut-back"`

	RimsUnparallel Limit `toml:"rims-unparallel"`
	RimsApart      Limit `toml:"rims-apart"`
	GapUneven      Limit `toml:"gap-uneven"`
	GapSides       Limit `toml:"gap-sides"`
	GapFront       Limit `toml:"gap-front"`
	RimsSunk       Limit `toml:"rims-sunk"`
	MidlinesApart  Limit `toml:"midlines-apart"`
	SpaceShort     Limit `toml:"space-short"`
	HeightUnusual  Limit `toml:"height-unusual"`
	FaceCanted     Limit `toml:"face-canted"`
	FacePitched    Limit `toml:"face-pitched"`

	ScanUnit       Rule `toml:"scan-unit"`
	ScanTissueSide Rule `toml:"scan-tissue-side-only"`
	ScanInsideOut  Rule `toml:"scan-inside-out"`
	ScanFile       Rule `toml:"scan-file"`
	NotImpression  Rule `toml:"not-impression"`
	NotchMissed    Rule `toml:"notch-missed"`
	NotchesMissed  Rule `toml:"notches-missed"`
	PadMissed      Rule `toml:"pad-missed"`
	PadsMissed     Rule `toml:"pads-missed"`
	SummitMissed   Rule `toml:"summit-missed"`
	RimMissing     Rule `toml:"rim-missing"`
	NoJaw          Rule `toml:"unmeasured-jaw"`
	NoNoise        Rule `toml:"unmeasured-noise"`
	NoBorder       Rule `toml:"unmeasured-border"`
	NoPosterior    Rule `toml:"unmeasured-posterior"`
	NoRim          Rule `toml:"unmeasured-rim"`
	SameScan       Rule `toml:"same-scan"`
	AlignmentGiven Rule `toml:"alignment-given"`
	NoComparison   Rule `toml:"unmeasured-comparison"`
	NoLayer        Rule `toml:"unmeasured-layer"`
	NoRelation     Rule `toml:"unmeasured-relation"`
}

// NearBy says where a fault in the material is critical, and when it is deep.
type NearBy struct {
	NearMM float64 `toml:"near_mm"` // within this of border, crest, seal, notch or pad the critical limits hold
	DeepMM float64 `toml:"deep_mm"` // deeper (higher) than this is one band worse
	Source string  `toml:"source"`
}

// RimTarget is a limit on how far the rim's height in front is from the usual one.
type RimTarget struct {
	Limit
	UpperMM float64 `toml:"upper_mm"`
	LowerMM float64 `toml:"lower_mm"`
}

// bound is a limit with its direction.
type bound struct {
	Limit
	below bool // past means below
}

func above(l Limit) bound { return bound{l, false} }
func below(l Limit) bound { return bound{l, true} }

// past reports whether v lies on the far side of limit.
func (b bound) past(v, limit float64) bool {
	if b.below {
		return v < limit
	}
	return v > limit
}

type namedLimit struct {
	name string
	bound
}

type namedRule struct {
	name string
	Rule
}

// all lists every numeric limit with its name in the file, regions after their default.
func (l *Limits) all() []namedLimit {
	out := []namedLimit{
		{"scan-coarse", above(l.ScanCoarse)},
		{"scan-noisy", above(l.ScanNoisy)},
		{"scan-flawed", above(l.ScanFlawed)},
		{"scan-crossing", above(l.ScanCrossing)},
		{"scan-pieces", above(l.ScanPieces)},
		{"hole", above(l.Hole)},
		{"hole-border", above(l.HoleBorder)},
		{"hole-outer", above(l.HoleOuter)},
		{"void", above(l.Void)},
		{"void-critical", above(l.VoidCritical)},
		{"void-share", above(l.VoidShare)},
		{"bleb", above(l.Bleb)},
		{"bleb-critical", above(l.BlebCritical)},
		{"fold", above(l.Fold)},
		{"fold-critical", above(l.FoldCritical)},
		{"border-uneven", above(l.BorderUneven)},
		{"border-measured", below(l.BorderMeasured)},
		{"posterior-short", below(l.PosteriorShort)},
		{"posterior-long", above(l.PosteriorLong)},
		{"pad-short", below(l.PadShort)},
		{"pad-long", above(l.PadLong)},
		{"rim-canted", above(l.RimCanted)},
		{"rim-pitched", above(l.RimPitched)},
		{"rim-uneven", above(l.RimUneven)},
		{"rim-chipped", above(l.RimChipped)},
		{"rim-height", above(l.RimHeight.Limit)},
		{"alignment-loose", above(l.AlignmentLoose)},
		{"compare-uncovered", above(l.CompareUncovered)},
		{"retake-deviation", above(l.RetakeDeviation)},
		{"retake-border", above(l.RetakeBorder)},
		{"cast-deviation", above(l.CastDeviation)},
		{"cast-spread", above(l.CastSpread)},
		{"repeat-deviation", above(l.RepeatDeviation)},
		{"reference-deviation", above(l.ReferenceDeviation)},
		{"reference-bias", above(l.ReferenceBias)},
		{"layer-thin", below(l.LayerThin)},
		{"layer-thick", above(l.LayerThick)},
		{"cut-back", above(l.CutBack)},
		{"rims-unparallel", above(l.RimsUnparallel)},
		{"rims-apart", above(l.RimsApart)},
		{"gap-uneven", above(l.GapUneven)},
		{"gap-sides", above(l.GapSides)},
		{"gap-front", above(l.GapFront)},
		{"rims-sunk", above(l.RimsSunk)},
		{"midlines-apart", above(l.MidlinesApart)},
		{"space-short", below(l.SpaceShort)},
		{"height-unusual", above(l.HeightUnusual)},
		{"face-canted", above(l.FaceCanted)},
		{"face-pitched", above(l.FacePitched)},
	}
	out = append(out, l.BorderThin.named("border-thin", true)...)
	out = append(out, l.BorderThick.named("border-thick", false)...)
	out = append(out, l.BorderShort.named("border-short", true)...)
	return append(out, l.BorderShortSide.named("border-short-side", false)...)
}

func (l *Limits) rules() []namedRule {
	return []namedRule{
		{"scan-unit", l.ScanUnit},
		{"scan-tissue-side-only", l.ScanTissueSide},
		{"scan-inside-out", l.ScanInsideOut},
		{"scan-file", l.ScanFile},
		{"not-impression", l.NotImpression},
		{"notch-missed", l.NotchMissed},
		{"notches-missed", l.NotchesMissed},
		{"pad-missed", l.PadMissed},
		{"pads-missed", l.PadsMissed},
		{"summit-missed", l.SummitMissed},
		{"rim-missing", l.RimMissing},
		{"unmeasured-jaw", l.NoJaw},
		{"unmeasured-noise", l.NoNoise},
		{"unmeasured-border", l.NoBorder},
		{"unmeasured-posterior", l.NoPosterior},
		{"unmeasured-rim", l.NoRim},
		{"same-scan", l.SameScan},
		{"alignment-given", l.AlignmentGiven},
		{"unmeasured-comparison", l.NoComparison},
		{"unmeasured-layer", l.NoLayer},
		{"unmeasured-relation", l.NoRelation},
	}
}

func (b *BorderLimit) named(name string, below bool) []namedLimit {
	out := []namedLimit{{name, bound{b.Limit, below}}}
	for _, key := range b.keys() {
		out = append(out, namedLimit{name + ".region." + key, bound{b.Region[key], below}})
	}
	return out
}

// keys returns the regions with limits of their own, the most telling (most words) first.
func (b *BorderLimit) keys() []string {
	keys := make([]string, 0, len(b.Region))
	for key := range b.Region {
		keys = append(keys, key)
	}
	slices.SortFunc(keys, func(a, b string) int {
		if d := len(strings.Fields(b)) - len(strings.Fields(a)); d != 0 {
			return d
		}
		return strings.Compare(a, b)
	})
	return keys
}

// For returns the limit for a region of a jaw.
func (b *BorderLimit) For(jaw Jaw, region string) Limit {
	has := append(strings.Fields(region), string(jaw))
	for _, key := range b.keys() {
		fits := true
		for _, word := range strings.Fields(key) {
			fits = fits && slices.Contains(has, word)
		}
		if fits {
			return b.Region[key]
		}
	}
	return b.Limit
}
