package mesh

import (
	"encoding/json"
	"fmt"
	"math"
)

// Vec is a point or direction in three dimensions, in mm for points.
//
// Products are rounded before they are added, so that processors with and without fused
// multiply-add give the same bits.
type Vec struct{ X, Y, Z float64 }

// Add returns a + b.
func (a Vec) Add(b Vec) Vec { return Vec{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }

// Sub returns a - b.
func (a Vec) Sub(b Vec) Vec { return Vec{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }

// Scale returns k a.
func (a Vec) Scale(k float64) Vec { return Vec{k * a.X, k * a.Y, k * a.Z} }

// Along returns a + t d.
func (a Vec) Along(t float64, d Vec) Vec {
	return Vec{a.X + float64(t*d.X), a.Y + float64(t*d.Y), a.Z + float64(t*d.Z)}
}

// Dot returns the scalar product.
func (a Vec) Dot(b Vec) float64 { return float64(a.X*b.X) + float64(a.Y*b.Y) + float64(a.Z*b.Z) }

// Cross returns the vector product.
func (a Vec) Cross(b Vec) Vec {
	return Vec{
		float64(a.Y*b.Z) - float64(a.Z*b.Y),
		float64(a.Z*b.X) - float64(a.X*b.Z),
		float64(a.X*b.Y) - float64(a.Y*b.X),
	}
}

// Norm returns the length.
func (a Vec) Norm() float64 { return math.Sqrt(a.Dot(a)) }

// Norm2 returns the squared length.
func (a Vec) Norm2() float64 { return a.Dot(a) }

// Dist returns the distance between two points.
func (a Vec) Dist(b Vec) float64 { return a.Sub(b).Norm() }

// Unit returns a scaled to length one; the zero vector stays zero.
func (a Vec) Unit() Vec {
	n := a.Norm()
	if n == 0 {
		return Vec{}
	}
	return a.Scale(1 / n)
}

// Min returns the smaller coordinates of a and b.
func (a Vec) Min(b Vec) Vec { return Vec{min(a.X, b.X), min(a.Y, b.Y), min(a.Z, b.Z)} }

// Max returns the larger coordinates of a and b.
func (a Vec) Max(b Vec) Vec { return Vec{max(a.X, b.X), max(a.Y, b.Y), max(a.Z, b.Z)} }

// Finite reports whether no coordinate is NaN or infinite.
func (a Vec) Finite() bool {
	return !math.IsNaN(a.X-a.X) && !math.IsNaN(a.Y-a.Y) && !math.IsNaN(a.Z-a.Z)
}

// MarshalJSON writes the vector as [x, y, z].
func (a Vec) MarshalJSON() ([]byte, error) { return json.Marshal([3]float64{a.X, a.Y, a.Z}) }

// UnmarshalJSON reads [x, y, z].
func (a *Vec) UnmarshalJSON(b []byte) error {
	var v []float64
	if err := json.Unmarshal(b, &v); err != nil {
		return err
	}
	if len(v) != 3 {
		return fmt.Errorf("a point has three coordinates, not %d", len(v))
	}
	a.X, a.Y, a.Z = v[0], v[1], v[2]
	return nil
}
