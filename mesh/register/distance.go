package register

import (
	"math"

	"fornix/mesh"
)

// Signed is how far a point lies from a surface.
type Signed struct {
	MM         float64  // to the nearest point of the surface, positive on the outer side; NaN where not Found
	Hit        mesh.Vec // that point
	Face       mesh.FaceID
	OnBoundary bool // the nearest point lies on the surface's edge: there the point has no counterpart
	Found      bool // false: nothing within max, or the point is no number
}

// queries is how many points one goroutine takes at a time.
const queries = 1 << 12

// Distances measures from each point to the surface to, as far as max mm (any: infinity). The
// outer side is the one from which the faces run counterclockwise. The side is right wherever
// the surface is free of self-intersections and wound alike; beside its boundary it is that of
// the nearest face carried on.
//
// The result does not depend on workers (0: one for each processor) or on the order of points.
// Points are asked along a space-filling curve, each search bounded by the answer before.
// O(#from log #F).
func Distances(from []mesh.Vec, to *Body, max float64, workers int) []Signed {
	out := make([]Signed, len(from))
	order := alongCurve(from)
	inPieces(len(from), queries, workers, func(lo, hi int) {
		cursor := to.Tree.Cursor()
		for _, i := range order[lo:hi] {
			p := from[i]
			hit, found := cursor.Nearest(p, max, nil)
			if !found {
				out[i] = Signed{MM: math.NaN(), Face: -1}
				continue
			}
			n, edge := to.facing(hit.Face, hit.Point)
			d := hit.Dist
			if p.Sub(hit.Point).Dot(n) < 0 {
				d = -d
			}
			out[i] = Signed{MM: d, Hit: hit.Point, Face: hit.Face, OnBoundary: edge, Found: true}
		}
	})
	return out
}
