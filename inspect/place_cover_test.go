package inspect

import (
	"math"
	"strings"
	"testing"
)

// overCrest is how far a place stands, along up, over the true crest's point that lies nearest to
// it as seen along up, straight between the points that the truth lists.
func overCrest(crest []Vec, p, up Vec) (h float64) {
	best := math.Inf(1)
	flat := func(v Vec) Vec { return v.Along(-v.Dot(up), up) }
	for i := 1; i < len(crest); i++ {
		d := crest[i].Sub(crest[i-1])
		q, e := flat(p.Sub(crest[i-1])), flat(d)
		t := max(0, min(1, q.Dot(e)/e.Norm2()))
		if far := q.Along(-t, e).Norm(); far < best {
			best, h = far, p.Sub(crest[i-1].Along(t, d)).Dot(up)
		}
	}
	return h
}

// Heights of the border's own apexes over the true crest, and landmarks, lie where their
// uncertainty says, and it is not far beyond every error.
func TestPlacesLieWhereTheirUncertaintySays(t *testing.T) {
	var height, fitted, all covered
	for _, name := range []string{"upper-sound", "lower-sound", "upper-canted", "lower-pads-full", "upper-long", "lower-voids"} {
		m := measureNamed(t, name)
		f := m.res.Frame
		for i := range m.res.Border.Stations {
			s := &m.res.Border.Stations[i]
			at := f.Local(s.Apex)
			last := math.Inf(1) // the true crest ends before the border does
			for _, end := range [2]Vec{m.truth.Crest[0], m.truth.Crest[len(m.truth.Crest)-1]} {
				last = min(last, f.Local(end).Y)
			}
			if s.HeightMM != nil && at.Y < last-6 {
				height.add(*s.HeightMM-overCrest(m.truth.Crest, s.Apex, f.TowardTissue), *s.HeightUMM)
			}
		}
		for lm, p := range m.truth.Landmarks {
			l, ok := m.res.Landmarks[lm]
			if !ok {
				continue
			}
			all.add(l.Point.Dist(p), l.UncertaintyMM)
			if strings.Contains(lm, "frenum") || lm == IncisivePapilla || lm == PosteriorMidline {
				fitted.add(l.Point.Dist(p), l.UncertaintyMM)
			}
		}
	}
	height.check(t, "border height")
	fitted.check(t, "fitted landmark")
	all.check(t, "landmark")
}
