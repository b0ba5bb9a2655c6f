package inspect

import (
	"math"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// Openings and voids in the floor of a trough are no teeth: a tissue side alone stays an impression.
func TestFaultsInFrontAreNoTeeth(t *testing.T) {
	for _, jaw := range []string{"upper", "lower"} {
		p := phantom.Default(jaw)
		p.Spacing, p.TissueSide = 0.5, true
		crest := measure(t, p).truth.Crest
		n := len(crest)
		p.Voids = []phantom.Cap{{X: crest[n*2/5].X, Y: crest[n*2/5].Y, Diameter: 5, Depth: 2}}
		for _, i := range []int{n / 2, n * 3 / 5} {
			p.Holes = append(p.Holes, phantom.Hole{X: crest[i].X, Y: crest[i].Y, Radius: 3.5, Surface: "tissue"})
		}
		m := measure(t, p)
		if m.an == nil || m.an.Surface != Impression || m.an.InsideOut {
			t.Errorf("%s: with two openings and a void in front it is %v", jaw, m.res.Decisions)
		}
	}
}

// A trough whose floor rises and falls as tooth follows tooth is a jaw with teeth, wound inside out, and is
// told as that; nothing in it is told as a void. Teeth are 7 to 8 mm wide (common practice).
func TestTeethAreNoVoids(t *testing.T) {
	for _, jaw := range []string{"upper", "lower"} {
		p := phantom.Default(jaw)
		p.Spacing, p.TissueSide = 0.5, true
		ph, err := phantom.Make(p)
		if err != nil {
			t.Fatal(err)
		}
		along := make([]float64, len(ph.Truth.Crest))
		for i := range along[1:] {
			along[i+1] = along[i] + ph.Truth.Crest[i+1].Dist(ph.Truth.Crest[i])
		}
		pos := make([]Vec, len(ph.Mesh.Pos))
		for i, v := range ph.Mesh.Pos {
			at, far := 0.0, math.Inf(1)
			for k, c := range ph.Truth.Crest {
				if d := v.Dist(c); d < far {
					at, far = along[k], d
				}
			}
			depth := 0.75 * (1 - math.Cos(2*math.Pi*at/7.5)) * math.Exp(-far*far/8)
			pos[i] = v.Sub(ph.Truth.Axes.TowardTissue.Scale(depth))
		}
		m := mesh.New(pos, ph.Mesh.Tri)
		r := Run(&Scan{Mesh: m, Info: ScanInfo{Faces: len(m.Tri), Vertices: len(m.Pos), UnitToMM: 1}}, DefaultProtocol(), Options{}).Report
		if r.Surface != Cast || !r.InsideOut || len(r.Defects) > 0 {
			t.Errorf("%s: %s, inside out %v, %d faults: %v", jaw, r.Surface, r.InsideOut, len(r.Defects), r.Decisions)
		}
	}
}
