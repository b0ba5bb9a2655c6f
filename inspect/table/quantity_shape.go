package table

import "fornix/inspect"

// source is where the method behind a finding comes from, as its explanation says: its only home.
func source(code string) string {
	e, found := inspect.Explain(code)
	if !found {
		panic("table: no explanation has the code " + code)
	}
	return e.Source
}

func scanQuantities() []Quantity {
	topology, coarse, noisy := source("scan-flawed"), source("scan-coarse"), source("scan-noisy")
	const area = "definition: the sum of the faces' areas"
	return []Quantity{
		{Name: "faces", Meaning: "Faces of the scan.", Better: Neither, Source: "count"},
		{Name: "vertices", Meaning: "Different positions of the faces' corners.", Better: Neither, Source: "count"},
		{Name: "edge_median", Unit: "mm", Meaning: "Median length of the faces' edges.", Better: Lower, Source: coarse},
		{Name: "edge_p95", Unit: "mm", Meaning: "95th percentile of the length of the faces' edges.", Better: Lower, Source: coarse},
		{Name: "face_density", Unit: "per_mm2", Meaning: "Faces for each square millimetre of surface.", Better: Higher, Source: coarse},
		{Name: "vertex_density", Unit: "per_mm2", Meaning: "Vertices for each square millimetre of surface.", Better: Higher, Source: coarse},
		{Name: "noise", Unit: "mm", Meaning: "Standard deviation of the surface's points along its normal, from local fits.", Better: Lower, Source: noisy},
		{Name: "area", Unit: "mm2", Meaning: "Area of the whole surface.", Better: Neither, Source: area, Stated: true},
		{Name: "tissue_area", Unit: "mm2", Meaning: "Area of the tissue surface between the borders.", Better: Neither, Source: area},
		{Name: "volume", Unit: "mm3", Meaning: "Volume inside the surface; of closed surfaces only.", Better: Neither, Source: "definition: divergence theorem over the faces", Stated: true},
		{Name: "extent", Unit: "mm", Meaning: "Corner to corner of the bounding box along the scan's axes; it changes when the scan is turned.", Better: Neither, Source: "definition"},
		{Name: "components", Meaning: "Connected pieces of the surface.", Better: Lower, Source: source("scan-pieces")},
		{Name: "small_components", Meaning: "Pieces under 1 % of the area of the largest.", Better: Lower, Source: source("scan-pieces")},
		{Name: "boundary_loops", Meaning: "Closed lines at which the surface ends; a scan of all sides has none, one of the tissue side one.", Better: Neither, Source: topology},
		{Name: "boundary_edges", Meaning: "Edges with one face only.", Better: Neither, Source: topology},
		{Name: "non_manifold_edges", Meaning: "Edges with more than two faces.", Better: Lower, Source: topology},
		{Name: "non_manifold_vertices", Meaning: "Vertices at which sheets of the surface touch.", Better: Lower, Source: topology},
		{Name: "degenerate_faces", Meaning: "Faces with two equal corners.", Better: Lower, Source: topology},
		{Name: "duplicate_faces", Meaning: "Faces beyond the first on the same three corners.", Better: Lower, Source: topology},
		{Name: "non_finite_faces", Meaning: "Faces with a coordinate that is no number; left out of every measure.", Better: Lower, Source: topology},
		{Name: "winding_conflicts", Meaning: "Edges whose two faces are wound against each other.", Better: Lower, Source: topology},
		{Name: "self_intersections", Meaning: "Pairs of faces that cut through each other.", Better: Lower, Source: topology},
	}
}

func faultQuantities() []Quantity {
	hole, void, bleb, fold := source("hole"), source("void"), source("bleb"), source("fold")
	most := func(name, unit, meaning, src string) Quantity {
		return Quantity{Name: name, Unit: unit, Meaning: meaning + " Empty where there is none.", Better: Lower, Source: src, Stated: true}
	}
	count := func(name, meaning, src string) Quantity {
		return Quantity{Name: name, Meaning: meaning, Better: Lower, Source: src}
	}
	each := func(name, unit, meaning, src string) Quantity {
		return Quantity{Name: name, Unit: unit, Meaning: meaning, Better: Lower, Source: src, Items: true, Stated: true}
	}
	out := []Quantity{
		count("hole_count", "Openings in the scan inside its outer edge.", hole),
		most("hole_span_max", "mm", "Span of the longest opening: the largest distance between two points of its rim.", hole),
		each("hole_span", "mm", "Span of one opening.", hole),
		each("hole_perimeter", "mm", "Length of one opening's rim.", hole),
		each("hole_area", "mm2", "Area of one opening, of its rim's projection on its plane.", hole),
	}
	for _, k := range []struct{ name, depth, source string }{{"void", "Depth below", void}, {"bleb", "Height above", bleb}} {
		out = append(out,
			count(k.name+"_count", "Faults of the kind "+k.name+" in the material.", k.source),
			most(k.name+"_diameter_max", "mm", "Diameter of the widest "+k.name+".", k.source),
			each(k.name+"_diameter", "mm", "Diameter of one "+k.name+" where it meets the sound surface.", k.source),
			each(k.name+"_depth", "mm", k.depth+" the sound surface of one "+k.name+".", k.source),
			each(k.name+"_volume", "mm3", "Volume between one "+k.name+" and the sound surface.", k.source))
	}
	return append(out,
		count("fold_count", "Faults of the kind fold in the material.", fold),
		most("fold_length_max", "mm", "Length of the longest fold.", fold),
		each("fold_length", "mm", "Length of one fold along its middle line.", fold),
		each("fold_width", "mm", "Width of one fold.", fold),
		each("fold_depth", "mm", "Depth below the sound surface of one fold.", fold),
		each("fold_volume", "mm3", "Volume between one fold and the sound surface.", fold))
}

func borderQuantities() []Quantity {
	thin, short := source("border-thin"), source("border-short")
	regions := both(upperRegions, lowerRegions)
	return []Quantity{
		{Name: "border_length", Unit: "mm", Meaning: "Length of the border along its apexes.", Better: Neither, Source: short},
		{Name: "border_region_length", Unit: "mm", Meaning: "Length of the border in the region.", Better: Neither, Source: short, Places: regions},
		{Name: "border_thickness_min", Unit: "mm", Meaning: "Least thickness of the border in the region.", Better: Within, Source: thin, Places: regions},
		{Name: "border_thickness_median", Unit: "mm", Meaning: "Median thickness of the border in the region; the uncertainty is that of one station.", Better: Within, Source: thin, Places: regions, Stated: true},
		{Name: "border_thickness_max", Unit: "mm", Meaning: "Largest thickness of the border in the region.", Better: Within, Source: thin, Places: regions},
		{Name: "border_outside", Unit: "mm", Meaning: "Length of the border in the region whose thickness lies outside the protocol's review limits.", Better: Lower, Source: thin, Places: regions},
		{Name: "border_height_median", Unit: "mm", Meaning: "Median height of the border's apex above the ridge crest in the region.", Better: Within, Source: short, Places: regions},
		{Name: "border_thickness", Unit: "mm", Meaning: "Thickness of the border at one station: the largest ball inside the material that touches the tissue surface 2 mm from the apex.", Better: Within, Source: thin, Items: true, Stated: true},
		{Name: "border_height", Unit: "mm", Meaning: "Height of the border's apex above the ridge crest at one station.", Better: Within, Source: short, Items: true, Stated: true},
	}
}

func extensionQuantities() []Quantity {
	posterior, pad, height := source("posterior-short"), source("pad-short"), source("rim-height")
	const notch = "definition: from the landmark's shoulders on the border"
	marks := both(upperLandmarks, lowerLandmarks)
	mark := func(way string) Quantity {
		return Quantity{Name: "landmark_" + way, Unit: "mm", Meaning: "How far " + way + " of the frame's origin the landmark lies (the patient's left, back, and toward the tissue).",
			Better: Neither, Source: "definition: the patient's frame as the report gives it; anatomical landmarks as taught", Places: marks, Stated: true}
	}
	return []Quantity{
		{Name: "reaches_notch", Meaning: "Upper: 1 where the material reaches the hamular notch, else 0.", Better: Higher, Source: posterior, Places: sides},
		{Name: "extension", Unit: "mm", Meaning: "Upper: from the hamular notch back to the material's rearmost point behind it.", Better: Within, Source: posterior, Places: sides, Stated: true},
		{Name: "midline", Unit: "mm", Meaning: "Upper: from the incisive papilla to the rear edge at the midline.", Better: Neither, Source: posterior, Stated: true},
		{Name: "past_pad_front", Unit: "mm", Meaning: "Lower: from the front of the retromolar pad back to the material's rearmost point.", Better: Within, Source: pad, Places: sides, Stated: true},
		{Name: "summit_reached", Meaning: "Lower: 1 where the material covers the summit of the retromolar pad, else 0.", Better: Higher, Source: pad, Places: sides},
		mark("left"), mark("posterior"), mark("toward_tissue"),
		{Name: "frenum_width", Unit: "mm", Meaning: "Width of the frenal notch at half its depth.", Better: Neither, Source: notch, Places: frena, Stated: true},
		{Name: "frenum_depth", Unit: "mm", Meaning: "Depth of the frenal notch below the border beside it.", Better: Neither, Source: notch, Places: frena, Stated: true},
		{Name: "rim_height", Unit: "mm", Meaning: "From the border's apex to the occlusal plane along its normal.", Better: Within, Source: height, Places: rimParts, Stated: true},
	}
}

func rimQuantities() []Quantity {
	flat, canted, pitched := source("rim-uneven"), source("rim-canted"), source("rim-pitched")
	const width = "definition: of the rim's flat, across the arch"
	return []Quantity{
		{Name: "rim_flatness", Unit: "mm", Meaning: "Peak to valley of the rim's flat about its least-squares plane.", Better: Lower, Source: flat, Stated: true},
		{Name: "rim_minimum_zone", Unit: "mm", Meaning: "Least distance of two parallel planes with the rim's flat between them.", Better: Lower, Source: flat},
		{Name: "rim_rms", Unit: "mm", Meaning: "Root mean square of the rim's flat about its least-squares plane.", Better: Lower, Source: flat},
		{Name: "rim_area", Unit: "mm2", Meaning: "Area of the rim's flat.", Better: Neither, Source: "definition: the sum of the faces' areas"},
		{Name: "rim_cant", Unit: "deg", Meaning: "Angle of the rim's plane to the reference about the front-to-back axis; positive: nearer the tissue on the patient's left.", Better: Within, Source: canted, Places: references, Stated: true},
		{Name: "rim_pitch", Unit: "deg", Meaning: "Angle of the rim's plane to the reference about the left-right axis; positive: nearer the tissue at the back.", Better: Within, Source: pitched, Places: references, Stated: true},
		{Name: "rim_tilt", Unit: "deg", Meaning: "Whole angle of the rim's plane to the reference.", Better: Lower, Source: canted, Places: references, Stated: true},
		{Name: "rim_width_min", Unit: "mm", Meaning: "Least width of the rim's flat across the arch.", Better: Neither, Source: width, Places: rimParts},
		{Name: "rim_width_median", Unit: "mm", Meaning: "Median width of the rim's flat across the arch.", Better: Neither, Source: width, Places: rimParts},
		{Name: "rim_width_max", Unit: "mm", Meaning: "Largest width of the rim's flat across the arch.", Better: Neither, Source: width, Places: rimParts},
		{Name: "rim_chips", Meaning: "Places where the rim's flat is broken out.", Better: Lower, Source: source("rim-chipped")},
	}
}
