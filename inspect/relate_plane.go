package inspect

import "math"

// turn is the standard uncertainty, radians, of a rim's plane in one direction.
func (s *seat) turn() float64 { return radians(s.o.NormalUDeg) / 2 / math.Sqrt2 }

// turn is that of one plane against the other.
func (p *pair) turn() float64 {
	return math.Hypot(p.upper.turn(), math.Hypot(p.lower.turn(), p.poseU.turn/math.Sqrt2))
}

// leftTurn is the standard uncertainty, radians, of the patient's left: 95 % of phantoms within 0.37
// degrees.
const leftTurn = 0.0032

// planes tells how the two occlusal planes stand to each other.
//
// Fore and aft it is the angle between the lines in which they cut the sagittal plane, sideways
// those in the frontal plane; the whole angle is between the normals.
func (p *pair) planes() RimPlanes {
	nu, nl := p.upper.plane.Normal, p.lower.plane.Normal
	u := degrees(expanded(p.turn()))
	r := RimPlanes{
		Upper: p.occlusalPlane(&p.upper), Lower: p.occlusalPlane(&p.lower),
		AngleDeg:    angleBetween(nu, nl),
		ForeAftDeg:  degrees(math.Atan2(nu.Y, nu.Z) - math.Atan2(nl.Y, nl.Z)),
		SidewaysDeg: degrees(math.Atan2(nl.X, nl.Z) - math.Atan2(nu.X, nu.Z)),
	}
	// An error of where the patient's left is turns one of the two parts into the other.
	r.AngleUDeg = u
	r.ForeAftUDeg = math.Hypot(u, 2*leftTurn*math.Abs(r.SidewaysDeg))
	r.SidewaysUDeg = math.Hypot(u, 2*leftTurn*math.Abs(r.ForeAftDeg))
	return r
}

func (p *pair) occlusalPlane(s *seat) OcclusalPlane {
	return OcclusalPlane{
		Point: p.world(s.plane.Point), Normal: s.pose.Turn(s.o.Normal).Scale(math.Copysign(1, s.turned(s.o.Normal).Z)),
		NormalUDeg: s.o.NormalUDeg, OffsetUMM: s.o.OffsetUMM, FlatnessMM: s.o.FlatnessMM, Kind: s.o.Kind,
	}
}
