package inspect

import (
	"fmt"
	"math"
)

// face holds the references of the face in the pair's frame.
type face struct {
	camper, pupils, hinge []Vec
	given                 References
}

// face brings the references into the pair's frame and checks that they can be what they are said
// to be.
func (p *pair) face(r References) (*face, error) {
	if r.UMM == 0 {
		r.UMM = p.method.PointUMM
	}
	if r.UDeg == 0 {
		r.UDeg = p.method.RecordUDeg
	}
	local := func(points []Vec) []Vec {
		var out []Vec
		for _, v := range points {
			switch r.In {
			case Upper:
				v = p.upper.pose.Apply(v)
			case Lower:
				v = p.lower.pose.Apply(v)
			}
			d := v.Sub(p.frame.Origin)
			out = append(out, Vec{X: d.Dot(p.frame.Left), Y: d.Dot(p.frame.Posterior), Z: d.Dot(p.frame.Up)})
		}
		return out
	}
	f := &face{camper: local(r.Camper), pupils: local(r.Pupils), hinge: local(r.Hinge), given: r}
	wrong := func(what string) (*face, error) { return nil, fmt.Errorf("%w: %s", ErrReference, what) }
	const lean = 45.0 // degrees; more is another line or plane, or other coordinates
	if len(f.camper) > 0 {
		n, ok := FitPlane(f.camper, nil)
		if x, y := extents(f.camper); !ok || x < 10 || y < 10 {
			return wrong("the points of the ala-tragus plane lie on one line or too close together")
		}
		if a := angleBetween(n.Facing(Vec{Z: 1}).Normal, Vec{Z: 1}); a > lean {
			return wrong(fmt.Sprintf("the ala-tragus plane stands at %.0f degrees to the rims", a))
		}
	}
	for _, line := range []struct {
		name string
		at   []Vec
	}{{"pupil line", f.pupils}, {"hinge axis", f.hinge}} {
		if len(line.at) == 0 {
			continue
		}
		d := line.at[1].Sub(line.at[0])
		if d.Norm() < 10 {
			return wrong("the points of the " + line.name + " are less than 10 mm apart")
		}
		if a := angleBetween(d, Vec{X: 1}); a > 180-lean {
			return wrong("the points of the " + line.name + " are swapped: first the patient's right, then the left")
		} else if a > lean {
			return wrong(fmt.Sprintf("the %s stands at %.0f degrees to the patient's left", line.name, a))
		}
	}
	return f, nil
}

// extents are the standard deviations of points sideways and fore and aft.
func extents(points []Vec) (x, y float64) {
	var mid Vec
	n := float64(len(points))
	for _, q := range points {
		mid = mid.Along(1/n, q)
	}
	for _, q := range points {
		d := q.Sub(mid)
		x, y = x+float64(d.X*d.X), y+float64(d.Y*d.Y)
	}
	return math.Sqrt(x / n), math.Sqrt(y / n)
}

// angles tells how both occlusal planes stand to what was given.
func (f *face) angles(p *pair) []PlaneAngle {
	out := []PlaneAngle{}
	for _, s := range []*seat{&p.upper, &p.lower} {
		out = append(out, f.byPoints(p, s)...)
		out = append(out, f.byRecord(p, s)...)
	}
	return out
}

// byPoints: a plane through points leans by their uncertainty over how far they spread; a line by
// that of both ends over its length.
func (f *face) byPoints(p *pair, s *seat) []PlaneAngle {
	var out []PlaneAngle
	world := func(points []Vec) []Vec {
		var w []Vec
		for _, q := range points {
			w = append(w, p.world(q))
		}
		return w
	}
	own := degrees(expanded(s.turn(), p.poseU.turn/math.Sqrt2))
	point := f.given.UMM
	if len(f.camper) > 0 {
		plane, _ := FitPlane(f.camper, nil)
		t := TiltAgainst(s.plane.Normal, plane.Facing(Vec{Z: 1}).Normal, Vec{X: 1}, Vec{Y: 1})
		x, y := extents(f.camper)
		root := math.Sqrt(float64(len(f.camper)))
		out = append(out, PlaneAngle{
			Reference: Camper, Jaw: s.jaw, How: "points", Points: world(f.camper),
			ForeAftDeg: ptr(t.PitchDeg), ForeAftUDeg: ptr(math.Hypot(own, degrees(point/(y*root)))),
			CantDeg: ptr(t.CantDeg), CantUDeg: ptr(math.Hypot(own, degrees(point/(x*root)))),
		})
	}
	if len(f.pupils) == 2 {
		d, n := f.pupils[1].Sub(f.pupils[0]), s.plane.Normal
		cant := degrees(math.Atan2(-n.X, n.Z) - math.Atan2(d.Z, d.X))
		out = append(out, PlaneAngle{
			Reference: Pupils, Jaw: s.jaw, How: "points", Points: world(f.pupils),
			CantDeg: &cant, CantUDeg: ptr(math.Hypot(own, degrees(point*math.Sqrt2/d.Norm()))),
		})
	}
	return out
}

// byRecord takes the upper's angles as the record has them, and adds for the lower what lies between
// the planes.
func (f *face) byRecord(p *pair, s *seat) []PlaneAngle {
	var out []PlaneAngle
	between := p.planes()
	u := f.given.UDeg
	if s.jaw == Upper {
		between = RimPlanes{}
	} else {
		u = math.Hypot(u, between.AngleUDeg)
	}
	if v := f.given.CamperDeg; v != nil {
		out = append(out, PlaneAngle{Reference: Camper, Jaw: s.jaw, How: "transfer record", ForeAftDeg: ptr(*v + between.ForeAftDeg), ForeAftUDeg: &u})
	}
	if v := f.given.PupilsDeg; v != nil {
		out = append(out, PlaneAngle{Reference: Pupils, Jaw: s.jaw, How: "transfer record", CantDeg: ptr(*v - between.SidewaysDeg), CantUDeg: &u})
	}
	return out
}
