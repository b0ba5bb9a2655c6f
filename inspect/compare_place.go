package inspect

import "strings"

// comparePlaces lists the parts of a comparison in the order in which they are told.
var comparePlaces = []string{PlacePalate, PlaceCrest, PlaceSlope, PlaceSeal, PlacePad, PlaceBorder, PlaceRim, PlaceOuter}

// placeOf tells for each vertex of an impression the part of a comparison to which it belongs, as an
// index of comparePlaces. Every vertex belongs to one. O(#V).
func (an *Anatomy) placeOf() []uint8 {
	index := map[string]uint8{}
	for i, name := range comparePlaces {
		index[name] = uint8(i)
	}
	out := make([]uint8, len(an.Part))
	for v, part := range an.Part {
		name := PlaceOuter
		switch part {
		case PartTissue:
			name = tissuePlace(an.Region(an.Frame.World(an.loc[v])))
		case PartBorder:
			name = PlaceBorder
		case PartRim:
			name = PlaceRim
		}
		out[v] = index[name]
	}
	return out
}

// tissuePlace gathers the regions of the fitting surface.
func tissuePlace(region string) string {
	begins := func(words ...string) bool {
		for _, w := range words {
			if strings.HasPrefix(region, w) {
				return true
			}
		}
		return false
	}
	switch {
	case begins("ridge crest", "tuberosity"):
		return PlaceCrest
	case begins("palat", "anterior palate", "incisive papilla"):
		return PlacePalate
	case begins("posterior palatal seal", "hamular notch"):
		return PlaceSeal
	case begins("retromolar pad"):
		return PlacePad
	}
	return PlaceSlope
}

// zoneOf tells which vertices of an impression belong to a zone; nil for ZoneAll.
func zoneOf(zone string, an *Anatomy, place []uint8) []bool {
	if zone == ZoneAll {
		return nil
	}
	in := make([]bool, len(place))
	for v, k := range place {
		name := comparePlaces[k]
		switch zone {
		case ZoneStable:
			in[v] = name == PlacePalate || name == PlaceCrest
		case ZoneTissue:
			in[v] = an.Part[v] == PartTissue
		case ZoneOuter:
			in[v] = name == PlaceOuter || name == PlaceRim
		}
	}
	return in
}

// usualZone is the part of A that aligns two scans compared for a purpose.
//
// Two impressions of one mouth agree where tissue does not move; an impression and its cast on all
// of the fitting surface that is not undercut or trimmed; before and after a wash the outer surface of
// the tray stays as it was, and where it was not scanned whatever still agrees; two scans of one
// object agree everywhere.
func usualZone(p Purpose, a, b *Anatomy) string {
	switch p {
	case AsRetake:
		return ZoneStable
	case AsCast:
		return ZoneTissue
	case AsLayer:
		if a != nil && b != nil && a.Coverage == TwoSided && b.Coverage == TwoSided {
			return ZoneOuter
		}
	}
	return ZoneAll
}
