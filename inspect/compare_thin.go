package inspect

import (
	"cmp"
	"math"
	"slices"

	"fornix/mesh"
)

// thinSpots lists the places where a layer that was laid over the fitting surface is thin or missing,
// so that the tray, or the material before, shows through.
//
// What: connected places of the fitting surface, border included, with less than ThinMM on them and
// the layer all around. How: means over small discs; a place that reaches the outer surface, or the
// edge of the scan, is the margin of the layer and no spot, and where the layer covers less than
// WashShare of the fitting surface, it was not meant to cover it. What it cannot see: a spot that runs
// into the margin; spots narrower than SpotMM.
func (l *layerFinder) thinSpots(layer *Layer) []ThinSpot {
	out := []ThinSpot{}
	if layer.CoveredShare == nil || *layer.CoveredShare < l.method.WashShare {
		return out
	}
	thin := func(v mesh.VertexID) bool {
		return l.fitting(v) && l.kind[v] >= 0 && l.mean[v] < l.method.ThinMM
	}
	margin := func(v mesh.VertexID) bool {
		return l.atBoundary(v) || l.touches(v, func(u mesh.VertexID) bool { return !l.fitting(u) })
	}
	seen := make([]bool, len(l.mean))
	for v := range l.mean {
		if seen[v] || !thin(mesh.VertexID(v)) {
			continue
		}
		spot := ThinSpot{ThinnestMM: math.Inf(1)}
		enclosed := true
		var middle Vec
		verts := l.walk.reach([]mesh.VertexID{mesh.VertexID(v)}, thin)
		for _, u := range verts {
			seen[u] = true
			spot.AreaMM2 += l.areaA[u]
			middle = middle.Along(l.areaA[u], l.a.Mesh.Pos[u])
			enclosed = enclosed && !margin(u)
			if l.mean[u] < spot.ThinnestMM {
				spot.ThinnestMM, spot.UMM = l.mean[u], l.discU(l.cut[u])
			}
		}
		spot.Centre = l.nearestTo(verts, middle.Scale(1/spot.AreaMM2))
		spot.DiameterMM = 2 * math.Sqrt(spot.AreaMM2/math.Pi)
		if !enclosed || spot.DiameterMM < l.method.SpotMM {
			continue
		}
		spot.Region = l.regionAt(spot.Centre, OnTissue)
		out = append(out, spot)
	}
	slices.SortStableFunc(out, func(a, b ThinSpot) int { return cmp.Compare(a.ThinnestMM, b.ThinnestMM) })
	for i := range out {
		out[i].ID = i + 1
	}
	return out
}

// atBoundary reports whether the scan ends at v.
func (l *layerFinder) atBoundary(v mesh.VertexID) bool {
	for _, c := range l.a.Mesh.CornersAt(v) {
		if l.a.Mesh.Across[c] == mesh.OnBoundary || l.a.Mesh.Across[c.Prev()] == mesh.OnBoundary {
			return true
		}
	}
	return false
}
