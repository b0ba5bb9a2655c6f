package table

import (
	"math"
	"sync"

	"fornix/inspect"
)

// Value is one number of one scan.
type Value struct {
	Quantity *Quantity
	Place    string   // as in the report; empty: the scan as a whole
	Surface  string   // of a hole or defect: where it lies; of a station: the side of the border
	Item     int      // of a hole, defect or station: its number in the scan; 0: of no single one
	Along    *float64 // of a station: share of the way along its side, 0 at the patient's right
	V, U     *float64 // nil: not measured; U is the expanded uncertainty, k = 2, nil where none is stated (0 in a report)
	Reason   string   // why V is nil
}

// Values lists every number of a report, in the order of Quantities by groups and in that of the
// report within them. What the jaw has and was not measured is there with its reason.
func Values(r *inspect.Report) []Value {
	c := &collector{byName: quantityByName()}
	c.scan(&r.Results)
	c.holes(r.Holes)
	c.defects(r)
	c.border(r)
	c.posterior(r)
	c.landmarks(r)
	c.rim(r)
	c.findings(r.Findings)
	return c.out
}

var quantityByName = sync.OnceValue(func() map[string]*Quantity {
	all := quantities()
	out := map[string]*Quantity{}
	for i := range all {
		out[all[i].Name] = &all[i]
	}
	return out
})

type collector struct {
	byName map[string]*Quantity
	out    []Value
}

func (c *collector) add(name string, v Value) {
	q := c.byName[name]
	if q == nil {
		panic("table: no quantity has the name " + name)
	}
	v.Quantity = q
	if v.V != nil && (math.IsNaN(*v.V) || math.IsInf(*v.V, 0)) {
		v.V, v.U = nil, nil
	}
	switch {
	case v.V == nil:
		v.U = nil
		if v.Reason == "" {
			v.Reason = "the report has no number"
		}
	default:
		v.Reason = ""
		if v.U != nil && !(*v.U > 0) {
			v.U = nil
		}
	}
	c.out = append(c.out, v)
}

// number adds a value of the scan as a whole, or of a place of it.
func (c *collector) number(name, place string, v, u *float64, reason string) {
	c.add(name, Value{Place: place, V: v, U: u, Reason: reason})
}

func (c *collector) count(name string, n int) { c.number(name, "", new(float64(n)), nil, "") }

func (c *collector) scan(r *inspect.Results) {
	q := &r.Quality
	c.count("faces", r.Scan.Faces)
	c.count("vertices", r.Scan.Vertices)
	c.number("edge_median", "", &q.EdgeMedianMM, nil, "")
	c.number("edge_p95", "", &q.EdgeP95MM, nil, "")
	c.number("face_density", "", &q.FacesPerMM2, nil, "")
	c.number("vertex_density", "", &q.VerticesPerMM2, nil, "")
	c.number("noise", "", q.NoiseMM, nil, q.NoiseUnmeasured)
	c.number("area", "", &q.AreaMM2, &q.AreaUMM2, "")
	var tissue *float64
	if r.Frame != nil {
		tissue = &r.TissueAreaMM2
	}
	c.number("tissue_area", "", tissue, nil, "where the jaw lies in the scan was not found")
	c.number("volume", "", q.VolumeMM3, q.VolumeUMM3, "the surface is not closed")
	c.number("extent", "", rounded(q.Extent.Norm()), nil, "")
	c.count("components", q.Components)
	c.count("small_components", q.SmallComponents)
	c.count("boundary_loops", q.BoundaryLoops)
	c.count("boundary_edges", q.BoundaryEdges)
	c.count("non_manifold_edges", q.NonManifoldEdges)
	c.count("non_manifold_vertices", q.NonManifoldVerts)
	c.count("degenerate_faces", q.DegenerateFaces)
	c.count("duplicate_faces", q.DuplicateFaces)
	c.count("non_finite_faces", q.NonFiniteFaces)
	c.count("winding_conflicts", q.WindingConflicts)
	c.count("self_intersections", q.SelfIntersections)
}

func (c *collector) holes(holes []inspect.Hole) {
	c.count("hole_count", len(holes))
	if len(holes) > 0 { // longest first
		c.number("hole_span_max", "", &holes[0].SpanMM, &holes[0].SpanUMM, "")
	}
	for i := range holes {
		h := &holes[i]
		item := Value{Place: h.Region, Surface: h.Surface, Item: i + 1}
		c.item("hole_span", item, &h.SpanMM, &h.SpanUMM)
		c.item("hole_perimeter", item, &h.PerimeterMM, &h.PerimeterUMM)
		c.item("hole_area", item, &h.AreaMM2, &h.AreaUMM2)
	}
}

func (c *collector) item(name string, item Value, v, u *float64) {
	item.V, item.U = v, u
	c.add(name, item)
}

// kinds are the kinds of defects, with what the largest of each is told by.
var kinds = [...]struct{ name, size string }{{inspect.Void, "diameter"}, {inspect.Bleb, "diameter"}, {inspect.Fold, "length"}}

func (c *collector) defects(r *inspect.Report) {
	if r.Surface != inspect.Impression {
		const why = "faults of the material are looked for on impressions only"
		for _, k := range kinds {
			c.number(k.name+"_count", "", nil, nil, why)
		}
		return
	}
	for _, k := range kinds {
		n := 0
		var most, mostU *float64
		for i := range r.Defects {
			d := &r.Defects[i]
			if d.Kind != k.name {
				continue
			}
			n++
			size, u := d.DiameterMM, d.DiameterUMM
			if k.size == "length" {
				size, u = d.LengthMM, d.LengthUMM
			}
			if size != nil && (most == nil || *size > *most) {
				most, mostU = size, u
			}
		}
		c.count(k.name+"_count", n)
		if n > 0 {
			c.number(k.name+"_"+k.size+"_max", "", most, mostU, "")
		}
	}
	for i := range r.Defects {
		d := &r.Defects[i]
		item := Value{Place: d.Region, Surface: d.Surface, Item: i + 1}
		if d.Kind == inspect.Fold {
			c.item("fold_length", item, d.LengthMM, d.LengthUMM)
			c.item("fold_width", item, d.WidthMM, d.WidthUMM)
		} else {
			c.item(d.Kind+"_diameter", item, d.DiameterMM, d.DiameterUMM)
		}
		c.item(d.Kind+"_depth", item, &d.DepthMM, &d.DepthUMM)
		c.item(d.Kind+"_volume", item, &d.VolumeMM3, &d.VolumeUMM3)
	}
}

func (c *collector) findings(all []inspect.Finding) {
	n := map[inspect.Severity]int{}
	for _, f := range all {
		n[f.Severity]++
	}
	c.count("findings_fail", n[inspect.Fail])
	c.count("findings_review", n[inspect.Review])
	c.count("findings_unmeasured", n[inspect.Unmeasured])
	c.count("findings_info", n[inspect.Info])
}
