package inspect

// CompareMethod holds what changes the numbers of a comparison.
type CompareMethod struct {
	FitMM       float64 `toml:"fit_mm"`        // surfaces farther apart do not belong together
	RetakeFitMM float64 `toml:"retake_fit_mm"` // the same of two impressions, between which tissue moves
	LandmarkMM  float64 `toml:"landmark_mm"`   // given landmarks may be off by this
	ReachMM     float64 `toml:"reach_mm"`      // places farther from the other surface are not compared
	AwayDeg     float64 `toml:"away_deg"`      // nor those whose nearest place faces away by more
	LayerMM     float64 `toml:"layer_mm"`      // the thickest layer that is looked for
	LeastMM     float64 `toml:"least_mm"`      // a layer is thicker than this, and than its uncertainty
	DiscMM      float64 `toml:"disc_mm"`       // radius over which a thickness is averaged before it is judged
	EdgeMM      float64 `toml:"edge_mm"`       // the edge of a layer, where it is thin by nature
	PartMM2     float64 `toml:"part_mm2"`      // smaller pieces of a layer are noise
	ThinMM      float64 `toml:"thin_mm"`       // a layer over the fitting surface that is thinner is listed
	SpotMM      float64 `toml:"spot_mm"`       // narrower thin places are not
	WashShare   float64 `toml:"wash_share"`    // of the fitting surface that a layer covers which was meant to cover all of it
}
