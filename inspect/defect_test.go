package inspect

func defaultDefects() DefectMethod {
	return DefectMethod{FineMM: 0.4, CoarseMM: 1.0, CurvatureMM: 0.5, MinWidthMM: 0.7, MaxWidthMM: 7, MinDepthMM: 0.22,
		RimDeg: 15, RimSharp: 0.5, RimShare: 0.7, EdgeDeg: 30, PitMisfit: 0.06, SoundMisfit: 0.14, CloseEdgeDeg: 45, ClosePitMisfit: 0.03, CloseSoundMisfit: 0.08, Bias: 0.03, FoldBias: 0.03, FoldMM: 3, FoldRatio: 2.5}
}
