package inspect

import (
	"cmp"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// swapSides exchanges left and right in a name or sentence.
func swapSides(s string) string {
	return strings.NewReplacer("left", "right", "right", "left").Replace(s)
}

// sidesOf lists what a report says, apart from where, with sides exchanged when swap is true:
// lists by their own order of size or region, never by the patient's right to left.
func sidesOf(rep *Report, swap bool) map[string]any {
	side, sign := func(s string) string { return s }, 1.0
	if swap {
		side, sign = swapSides, -1
	}
	out := map[string]any{"jaw": rep.Jaw, "surface": rep.Surface, "coverage": rep.Coverage, "inside out": rep.InsideOut, "verdict": rep.Verdict, "crest": len(rep.Crest)}
	put := func(name string, v *float64) {
		if v != nil {
			out[name] = *v
		} else {
			out[name] = nil
		}
	}
	for name, l := range rep.Landmarks {
		local := rep.Frame.Local(l.Point)
		name = side(name)
		out[name+" x"], out[name+" y"], out[name+" z"] = sign*local.X, local.Y, local.Z
		out[name+" width"], out[name+" depth"] = l.WidthMM, l.DepthMM
	}
	for i, h := range rep.Holes {
		name := fmt.Sprintf("hole %d ", i)
		out[name+"span"], out[name+"MM2"], out[name+"region"], out[name+"surface"] = h.SpanMM, h.AreaMM2, side(h.Region), h.Surface
	}
	for i, d := range rep.Defects {
		name := fmt.Sprintf("defect %d ", i)
		put(name+"diameter", d.DiameterMM)
		out[name+"depth"], out[name+"region"], out[name+"kind"] = d.DepthMM, side(d.Region), d.Kind
	}
	for _, r := range rep.Border.Regions {
		name := side(r.Region) + " "
		out[name+"stations"], out[name+"length"] = r.Stations, r.LengthMM
		put(name+"median", r.MedianMM)
	}
	if p := rep.Posterior; p.Unmeasured == "" {
		for name, s := range map[string]*PosteriorSide{"right": p.Right, "left": p.Left} {
			name = side(name) + " "
			put(name+"extension", s.ExtensionMM)
			put(name+"past pad front", s.PastPadFrontMM)
			out[name+"unmeasured"] = s.Unmeasured
		}
		put("midline", p.MidlineMM)
	}
	if o := rep.Occlusal; o != nil {
		out["flatness"], out["rms"], out["area MM2"], out["kind"], out["chips"] = o.FlatnessMM, o.RMSMM, o.AreaMM2, o.Kind, len(o.Chips)
		for name, tilt := range o.Tilts {
			out[name+" Deg"], out[name+" cant Deg"], out[name+" pitch Deg"] = tilt.TotalDeg, sign*tilt.CantDeg, tilt.PitchDeg
		}
		put(side("left")+" height", o.RimHeight.Left)
		put(side("right")+" height", o.RimHeight.Right)
		put("front height", o.RimHeight.Anterior)
		for name, w := range o.RimWidth {
			out[side(name)+" rim width"] = w.MedianMM
		}
	}
	found := slices.Clone(rep.Findings)
	slices.SortFunc(found, func(a, b Finding) int {
		return cmp.Or(strings.Compare(a.Code, b.Code), strings.Compare(side(a.Region), side(b.Region)))
	})
	out["findings"] = len(found)
	for i, f := range found {
		name := fmt.Sprintf("finding %d ", i)
		out[name+"code"], out[name+"severity"], out[name+"region"] = f.Code, f.Severity, side(f.Region)
		if f.Unit != "" { // a count or a word has none
			put(name+"value", f.Value)
		}
	}
	return out
}

// The mirror exchanges left and right, in every number and word, and nothing else.
func TestMirrorSwapsSidesOnly(t *testing.T) {
	const seed = 72
	r := rand.New(rand.NewPCG(seed, 1))
	for name, m := range lawScans() {
		g := anyMotion(r)
		g.flip = true
		want := sidesOf(inspected(t, m), true)
		got := sidesOf(inspected(t, reordered(g.moved(m), r)), false)
		d := differ(want, got, within)
		for _, line := range d[:min(len(d), 25)] {
			t.Errorf("%s, seed %d: %s", name, seed, line)
		}
		t.Logf("%s: %d of %d values part", name, len(d), len(want))
	}
}
