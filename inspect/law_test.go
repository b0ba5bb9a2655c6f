package inspect

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// lawSpacing keeps the scans of the laws small: a law holds for a coarse scan as for a fine one.
const lawSpacing = 0.6

// lawScans are the impressions that the laws are tried on, in the patient's own frame.
var lawScans = sync.OnceValue(func() map[string]*mesh.Mesh {
	upper, lower := phantom.Default("upper"), phantom.Default("lower")
	upper.Rim.Roll, upper.Rim.Pitch = 1.5, -1
	upper.Voids = []phantom.Cap{{X: 8, Y: 20, Diameter: 2.6, Depth: 1.1}, {X: -18, Y: 25, Diameter: 2.2, Depth: 0.9}}
	upper.Holes = []phantom.Hole{{X: -6, Y: 30, Radius: 2, Surface: "tissue"}}
	upper.Stretch = []phantom.Stretch{{Side: "buccal", From: 30, To: 55, Thickness: 1.3}}
	lower.Rim.Roll = -1
	lower.Blebs = []phantom.Cap{{X: 17, Y: 12, Diameter: 2.4, Depth: 1}}
	lower.Rim.Chips = []phantom.Chip{{Deg: 40, Radius: 2}}
	lower.Handle = true
	side := phantom.Default("upper")
	side.TissueSide = true
	out := map[string]*mesh.Mesh{}
	for name, p := range map[string]phantom.Params{"upper": upper, "lower": lower, "tissue side": side} {
		p.Spacing = lawSpacing
		made, err := phantom.Make(p)
		if err != nil {
			panic(err)
		}
		out[name] = made.Mesh
	}
	return out
})

// motion is a rigid motion or, with flip, one after the mirror x -> -x.
type motion struct {
	x, y, z Vec // images of the axes
	shift   Vec
	flip    bool
}

func still() motion { return motion{x: Vec{X: 1}, y: Vec{Y: 1}, z: Vec{Z: 1}} }

// anyMotion draws a rotation, evenly over all of them, and a shift.
func anyMotion(r *rand.Rand) motion {
	q := [4]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
	n := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2] + q[3]*q[3])
	w, x, y, z := q[0]/n, q[1]/n, q[2]/n, q[3]/n
	return motion{
		x:     Vec{X: 1 - 2*(y*y+z*z), Y: 2 * (x*y + w*z), Z: 2 * (x*z - w*y)},
		y:     Vec{X: 2 * (x*y - w*z), Y: 1 - 2*(x*x+z*z), Z: 2 * (y*z + w*x)},
		z:     Vec{X: 2 * (x*z + w*y), Y: 2 * (y*z - w*x), Z: 1 - 2*(x*x+y*y)},
		shift: Vec{X: 100*r.Float64() - 50, Y: 100*r.Float64() - 50, Z: 100*r.Float64() - 50},
	}
}

func (g motion) turn(d Vec) Vec {
	if g.flip {
		d.X = -d.X
	}
	return g.x.Scale(d.X).Along(d.Y, g.y).Along(d.Z, g.z)
}

func (g motion) point(p Vec) Vec { return g.turn(p).Add(g.shift) }

func (g motion) back(d Vec) Vec {
	b := Vec{X: d.Dot(g.x), Y: d.Dot(g.y), Z: d.Dot(g.z)}
	if g.flip {
		b.X = -b.X
	}
	return b
}

// moved returns the mesh after a motion; a mirrored one is wound the other way.
func (g motion) moved(m *mesh.Mesh) *mesh.Mesh {
	pos := make([]Vec, len(m.Pos))
	for i, p := range m.Pos {
		pos[i] = g.point(p)
	}
	tri := slices.Clone(m.Tri)
	if g.flip {
		for i, t := range tri {
			tri[i] = [3]mesh.VertexID{t[0], t[2], t[1]}
		}
	}
	return mesh.New(pos, tri)
}

// reordered returns the mesh with its faces shuffled and each turned to begin at any corner.
func reordered(m *mesh.Mesh, r *rand.Rand) *mesh.Mesh {
	tri := slices.Clone(m.Tri)
	r.Shuffle(len(tri), func(i, j int) { tri[i], tri[j] = tri[j], tri[i] })
	for i, t := range tri {
		k := r.IntN(3)
		tri[i] = [3]mesh.VertexID{t[k], t[(k+1)%3], t[(k+2)%3]}
	}
	return mesh.New(m.Pos, tri)
}

// inspected writes the mesh as a file, reads that and runs the whole road.
func inspected(t *testing.T, m *mesh.Mesh) *Report {
	t.Helper()
	var b bytes.Buffer
	if err := mesh.WriteSTL(&b, m, "law"); err != nil {
		t.Fatal(err)
	}
	s, err := Read(&b, "law.stl", ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return Run(s, DefaultProtocol(), Options{}).Report
}

// Directions, which turn with a scan but do not shift with it, by their field names.
var directions = []string{"Left", "Posterior", "TowardTissue", "Normal"}

// values lists every number and word of a report by its place in it, points and directions taken
// back through the motion that the scan went through. What belongs to the file or to the
// scan's axes is left out.
func values(rep *Report, g motion) map[string]any {
	out := map[string]any{}
	var walk func(path, field string, v reflect.Value)
	walk = func(path, field string, v reflect.Value) {
		switch v.Kind() {
		case reflect.Pointer:
			if v.IsNil() {
				out[path] = nil
				return
			}
			walk(path, field, v.Elem())
		case reflect.Struct:
			if p, ok := v.Interface().(Vec); ok {
				if !slices.Contains(directions, field) {
					p = p.Sub(g.shift)
				}
				p = g.back(p)
				out[path+".x"], out[path+".y"], out[path+".z"] = p.X, p.Y, p.Z
				return
			}
			for i := range v.NumField() {
				name := v.Type().Field(i).Name
				if name == "Extent" || name == "Scan" || name == "Schema" {
					continue
				}
				walk(path+"."+name, name, v.Field(i))
			}
		case reflect.Slice:
			out[path+".len"] = v.Len()
			for i := range v.Len() {
				walk(fmt.Sprintf("%s[%d]", path, i), field, v.Index(i))
			}
		case reflect.Map:
			for _, k := range v.MapKeys() {
				walk(path+"."+k.String(), k.String(), v.MapIndex(k))
			}
		default:
			out[path] = v.Interface()
		}
	}
	walk("", "", reflect.ValueOf(*rep))
	return out
}

// within is the closeness that a value must keep under a motion: 1e-3 degrees, mm², mm³ and for
// lengths along the border, sums of hundreds; 1e-4 mm for all else. The uncertainty of an area hangs
// on the noise of the places that happen to be sampled.
func within(path string) float64 {
	if strings.HasSuffix(path, "UMM2") {
		return 0.05
	}
	for _, unit := range []string{"Deg", "MM2", "MM3", ".SMM", "Border.LengthMM"} {
		if strings.Contains(path, unit) {
			return 1e-3
		}
	}
	return 1e-4
}

// differ lists where two reports part, worst first.
func differ(a, b map[string]any, tolerance func(string) float64) []string {
	type part struct {
		text string
		by   float64
	}
	var parts []part
	for k, va := range a {
		vb, ok := b[k]
		if !ok {
			parts = append(parts, part{fmt.Sprintf("%s: %v, then missing", k, va), math.Inf(1)})
			continue
		}
		fa, isA := va.(float64)
		fb, isB := vb.(float64)
		if isA && isB {
			if d := math.Abs(fa - fb); !(d <= tolerance(k)) {
				parts = append(parts, part{fmt.Sprintf("%s: %.6f, then %.6f", k, fa, fb), d / tolerance(k)})
			}
		} else if va != vb {
			parts = append(parts, part{fmt.Sprintf("%s: %v, then %v", k, va, vb), math.Inf(1)})
		}
	}
	for k, vb := range b {
		if _, ok := a[k]; !ok {
			parts = append(parts, part{fmt.Sprintf("%s: missing, then %v", k, vb), math.Inf(1)})
		}
	}
	slices.SortFunc(parts, func(p, q part) int {
		if p.by != q.by {
			if p.by > q.by {
				return -1
			}
			return 1
		}
		return strings.Compare(p.text, q.text)
	})
	out := make([]string, len(parts))
	for i, p := range parts {
		out[i] = p.text
	}
	return out
}
