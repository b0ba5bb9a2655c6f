package render

import (
	"errors"
	"fmt"
	"image/color"
	"math"
	"slices"

	"fornix/inspect"
	"fornix/mesh"
)

// MeanDeviation is how far many scans lie from their reference on the mean.
type MeanDeviation struct {
	Reference *mesh.Mesh
	InsideOut bool           // the reference's faces are wound inward
	Frame     *inspect.Frame // of the patient; nil: not known
	Jaw       inspect.Jaw
	Surface   string

	MeanMM  []float64 // #V, signed, + outward; NaN: no scan covers the place
	Covered []int32   // #V, scans that do
	Scans   int
	Of      string  // the scans and their reference, in a few words
	ScaleMM float64 // colours run to ± this; 0: the finest step that holds 95 % of the vertices
}

// MeanDeviationImages draws the reference from the tissue and the oral side, coloured by the mean
// distance, and from the tissue side by how many scans cover each place: "tissue.png", "oral.png" and
// "cover.png". What no scan covers is white. The bytes are the same for any number of workers.
func MeanDeviationImages(d MeanDeviation, opt Options) ([]Image, error) {
	if d.Reference == nil || len(d.MeanMM) != len(d.Reference.Pos) || len(d.Covered) != len(d.Reference.Pos) {
		return nil, errors.New("render: no reference, or distances of another one")
	}
	opt, err := opt.orDefault()
	if err != nil {
		return nil, err
	}
	steps := d.steps()
	base := content{
		opt: opt, frame: d.Frame, third: [2]string{"tissue side", "oral side"}, legend: steps.legend(), scene: d.extremes(),
		of: "reference scan, coloured by the mean distance of the scans", tint: d.bared(steps.tint(d.MeanMM)),
		subtitle: fmt.Sprintf("%s · %s · + outward, white: %s", scansWords(d.Scans), d.Of, uncovered),
	}
	s := NewSurface(d.Reference, d.InsideOut)
	var jobs []job
	vs := wholeViews(d.Frame, d.Jaw, d.Surface)[:2]
	for i, name := range []string{"tissue", "oral", "cover"} {
		k := base
		k.view = vs[i%2]
		k.view.Title = "Mean deviation: " + lowerFirst(k.view.Title)
		if name == "cover" {
			k.view.Title = "Scans that cover each place: " + lowerFirst(vs[0].Title)
			k.scene, k.of = Scene{}, "reference scan, coloured by how many scans cover each place"
			k.tint, k.legend = d.cover()
			k.subtitle = d.Of + " · white: " + uncovered
		}
		k.view.Name, k.view.Plane = name, false
		jobs = append(jobs, job{s, k})
	}
	out, err := drawAll(jobs, opt.Workers)
	for i := range out {
		out[i].Alt = out[i].Title + ": " + jobs[i].content.of + "; " + jobs[i].content.subtitle + "." // it has no findings to tell of
	}
	return out, err
}

const uncovered = "no scan covers it"

// bare is the colour of what no scan covers. The material's own is too near to the lightest step, in grey
// print above all.
var bare = color.RGBA{250, 249, 247, 255}

// bared gives places that no scan covers their colour.
func (d *MeanDeviation) bared(tint []color.RGBA) []color.RGBA {
	for v, n := range d.Covered {
		if n == 0 {
			tint[v] = bare
		}
	}
	return tint
}

func scansWords(n int) string {
	if n == 1 {
		return "one scan"
	}
	return fmt.Sprintf("mean of %d scans", n)
}

// steps are those of the colours: grey within a fifth of the scale, then to a half and to all of it.
func (d *MeanDeviation) steps() bands {
	scale := d.ScaleMM
	if !(scale > 0) {
		var size []float64
		for _, v := range d.MeanMM {
			if !math.IsNaN(v) {
				size = append(size, math.Abs(v))
			}
		}
		slices.Sort(size)
		for _, scale = range []float64{0.05, 0.1, 0.2, 0.5, 1, 2, 5} {
			if len(size) == 0 || size[(len(size)-1)*95/100] <= scale {
				break
			}
		}
	}
	e := func(share float64) float64 { return math.Round(scale*share*1e6) / 1e6 }
	return bands{title: "mean of the scans, from the reference", unit: "mm", level: 3, edges: []float64{-e(1), -e(0.5), -e(0.2), e(0.2), e(0.5), e(1)}}
}

// mostCounts is up to how many scans each number of them has a colour of its own.
const mostCounts = 8

// cover colours places by how many scans cover them, the lighter the more; white where none does.
func (d *MeanDeviation) cover() ([]color.RGBA, legend) {
	b := bands{title: "scans that cover a place, of " + fmt.Sprint(d.Scans), level: -1}
	var names []string
	if d.Scans <= mostCounts {
		for n := 1; n <= d.Scans; n++ {
			b.edges = append(b.edges, float64(n)+0.5)
			names = append(names, fmt.Sprint(n))
		}
		b.edges = b.edges[:max(0, d.Scans-1)]
		if d.Scans == 1 {
			b.level = 0 // one step is no ramp
		}
	} else {
		n := float64(d.Scans)
		b.edges = []float64{n / 4, n / 2, n * 3 / 4, n - 0.5}
		names = []string{"to 25 %", "to 50 %", "to 75 %", "less", "all"}
	}
	g := legend{title: b.title, unit: b.unit, colours: b.colours()}
	for i, name := range names {
		g.ticks = append(g.ticks, tick{float64(i) + 0.5, name})
	}
	tint := make([]color.RGBA, len(d.Covered))
	for v, n := range d.Covered {
		if n > 0 {
			tint[v] = g.colours[b.step(float64(n))]
		}
	}
	return d.bared(tint), g
}

// extremes marks the places that lie farthest out and in, of those that half of the scans cover.
func (d *MeanDeviation) extremes() Scene {
	var s Scene
	low, high := -1, -1
	for v, x := range d.MeanMM {
		if math.IsNaN(x) || 2*int(d.Covered[v]) < d.Scans {
			continue
		}
		if low < 0 || x < d.MeanMM[low] {
			low = v
		}
		if high < 0 || x > d.MeanMM[high] {
			high = v
		}
	}
	for _, k := range []struct {
		v    int
		text string
	}{{high, "most outward"}, {low, "most inward"}} {
		if k.v >= 0 {
			s.Marks = append(s.Marks, Mark{Kind: MarkSpot, At: d.Reference.Pos[k.v], Label: fmt.Sprintf("%s %+.3f mm", k.text, d.MeanMM[k.v]+0),
				Detail: fmt.Sprintf("%d of %d scans cover it", d.Covered[k.v], d.Scans), Rank: 20})
		}
	}
	return s
}
