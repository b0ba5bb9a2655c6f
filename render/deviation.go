package render

import (
	"errors"
	"fmt"
	"image/color"
	"math"

	"fornix/inspect"
	"fornix/mesh"
)

// ComparisonImages draws one scan against another: A from all sides, coloured by the distance of
// B (by the layer's thickness where that is the purpose), B from its tissue and oral side, coloured
// by its distance from A, and how the distances spread.
//
// Where the two scans cannot be compared the surface stays plain. The bytes are the same for any
// number of workers.
func ComparisonImages(out *inspect.CompareOutcome, opt Options) ([]Image, error) {
	if out == nil || out.Comparison == nil || out.A == nil || out.B == nil {
		return nil, errors.New("render: no comparison")
	}
	opt, err := opt.orDefault()
	if err != nil {
		return nil, err
	}
	c := out.Comparison
	values := out.ADist
	if out.Thickness != nil {
		values = out.Thickness
	}
	words := purposeWords(c.Purpose)
	steps := deviationBands(c, words)
	base := content{
		opt: opt, verdict: c.Verdict, frame: c.Frame, third: [2]string{"tissue side", "oral side"},
		legend: steps.legend(), subtitle: fmt.Sprintf("%s: %s · %s: %s · + outward, plain: not compared", words.a, c.A.File, words.b, c.B.File),
	}
	a, b := NewSurface(out.A, out.AnatomyA != nil && out.AnatomyA.InsideOut), NewSurface(out.B, false)
	var jobs []job
	add := func(s *Surface, name, whose string, tint []color.RGBA, scene Scene, vs []View) {
		for _, v := range vs {
			k := base
			k.view, k.tint, k.scene = v, tint, scene
			k.view.Name, k.view.Title, k.view.Plane = name+"-"+v.Name, upperFirst(whose)+": "+lowerFirst(v.Title), false
			k.of = whose + ", coloured by the distance of the other scan"
			jobs = append(jobs, job{s, k})
		}
	}
	vs := wholeViews(c.Frame, c.Jaw, c.SurfaceA)
	add(a, "a", words.a, steps.tint(values), comparisonScene(c), vs)
	add(b, "b", words.b, steps.tint(out.BDist), Scene{}, wholeViews(c.Frame, c.Jaw, c.SurfaceB)[:2])
	spread := base
	spread.view = View{Name: "spread", Title: "How the distances spread"}
	spread.frame = nil
	spread.chart = spreadChart(c, steps, words)
	jobs = append(jobs, job{nil, spread})
	return drawAll(jobs, opt.Workers)
}

// whose are the words for the two scans of a comparison.
type whose struct{ a, b, legend string }

func purposeWords(p inspect.Purpose) whose {
	switch p {
	case inspect.AsRetake:
		return whose{"first impression", "retake", "retake, from the first impression"}
	case inspect.AsLayer:
		return whose{"before", "after", "layer: + added, - taken off"}
	case inspect.AsCast:
		return whose{"impression", "cast", "cast, from the impression"}
	case inspect.AsRepeat:
		return whose{"first scan", "second scan", "second scan, from the first"}
	}
	return whose{"reference scan", "scan under test", "scan under test, from the reference"}
}

// deviationBands chooses steps whose outermost edges hold 95 % of the area: those of the shares that
// a comparison states where they do, else coarser ones in the same manner.
func deviationBands(c *inspect.Comparison, words whose) bands {
	least, most := 0.0, 0.0
	if d := c.Overall.AtA; d != nil {
		most = d.AbsP95MM
	}
	if c.Layer != nil {
		least = c.Layer.LeastMM
		for _, p := range c.Layer.Parts[:min(1, len(c.Layer.Parts))] {
			most = max(most, orZero(p.MeanMM))
		}
	}
	steps := [][3]float64{{0.05, 0.1, 0.3}, {0.1, 0.3, 0.6}, {0.2, 0.5, 1}, {0.5, 1, 2}, {1, 2, 5}}
	t := steps[len(steps)-1]
	for _, s := range steps {
		if s[2] >= most && s[0] >= least {
			t = s
			break
		}
	}
	return bands{title: words.legend, unit: "mm", edges: []float64{-t[2], -t[1], -t[0], t[0], t[1], t[2]}, level: 3}
}

// layerWords are those of a part of a layer.
var layerWords = map[string]string{inspect.LayerAdded: "added", inspect.LayerRemoved: "taken off"}

// comparisonScene marks the findings, the extremes and the parts of a layer.
func comparisonScene(c *inspect.Comparison) Scene {
	var s Scene
	var taken []mesh.Vec
	for i := range c.Findings {
		f := &c.Findings[i]
		s.addFinding(f, mesh.Vec{}, false)
		if f.Number > 0 {
			taken = append(taken, f.Where.Points...)
		}
	}
	spot := func(at mesh.Vec, label, detail string) {
		for _, p := range taken {
			if p.Dist(at) < 2 { // mm: a finding speaks of this place already
				return
			}
		}
		taken = append(taken, at)
		s.Marks = append(s.Marks, Mark{Kind: MarkSpot, At: at, Label: label, Detail: detail, Rank: 20})
	}
	if l := c.Layer; l != nil {
		const shown = 6
		for _, p := range l.Parts[:min(shown, len(l.Parts))] {
			if p.Thickest == nil || p.MeanMM == nil {
				continue
			}
			spot(p.Thickest.At, fmt.Sprintf("%s up to %.2f mm", layerWords[p.Kind], p.Thickest.MM),
				fmt.Sprintf("over %.0f mm², mean %.2f mm", p.AreaMM2, *p.MeanMM))
		}
		return s
	}
	if d := c.Overall.AtA; d != nil {
		spot(d.Highest.At, fmt.Sprintf("most outward %s mm", signed(d.Highest.MM)), "")
		spot(d.Lowest.At, fmt.Sprintf("most inward %s mm", signed(d.Lowest.MM)), "")
	}
	return s
}

// signed writes a distance with its sign, to the hundredth of a mm.
func signed(mm float64) string {
	if math.Abs(mm) < 0.005 {
		return "0.00"
	}
	return fmt.Sprintf("%+.2f", mm)
}

func upperFirst(s string) string { return firstAs(s, 'a', 'z', 'A') }
func lowerFirst(s string) string { return firstAs(s, 'A', 'Z', 'a') }

// firstAs moves the first letter from the range that begins with from to the one that begins with to.
func firstAs(s string, from, last, to byte) string {
	if s == "" || s[0] < from || s[0] > last {
		return s
	}
	return string(s[0]-from+to) + s[1:]
}
