package inspect

import (
	"math"

	"fornix/mesh/register"
)

// MotionOf writes a pose as a report does.
func MotionOf(a register.Pose) Motion {
	var m Motion
	for i, r := range a.R {
		m.Rotation[i] = Vec{X: r[0], Y: r[1], Z: r[2]}
	}
	m.Translation = a.T
	return m
}

// pose is the motion as a pose.
func (m Motion) pose() register.Pose {
	a := register.Pose{T: m.Translation}
	for i, r := range m.Rotation {
		a.R[i] = [3]float64{r.X, r.Y, r.Z}
	}
	return a
}

// angleBetween returns the angle between two directions, degrees; exact for small ones too.
func angleBetween(a, b Vec) float64 { return degrees(math.Atan2(a.Cross(b).Norm(), a.Dot(b))) }

func radians(deg float64) float64 { return deg * (math.Pi / 180) }
