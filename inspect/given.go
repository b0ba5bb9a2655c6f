package inspect

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Given is what the user states about the places on a scan; it overrides what is found.
type Given struct {
	Landmarks map[string]Vec // by the names of a report, in the scan's coordinates
	Reference *Vec           // normal of a reference plane for the occlusal plane's tilt
	Rim       []Vec          // three points on the flat of the rim, about where it is looked for; nil: everywhere
}

var landmarkNames = []string{
	LabialFrenum, BuccalFrenumLeft, BuccalFrenumRight, LingualFrenum, IncisivePapilla,
	HamularNotchLeft, HamularNotchRight, TuberosityLeft, TuberosityRight, PosteriorMidline,
	PadFrontLeft, PadFrontRight, PadSummitLeft, PadSummitRight,
}

// LandmarksOf lists the names of the landmarks that are looked for on a jaw; of an unknown one, all.
func LandmarksOf(jaw Jaw) []string {
	not := map[Jaw][]string{
		Upper: {LingualFrenum, PadFrontLeft, PadFrontRight, PadSummitLeft, PadSummitRight},
		Lower: {IncisivePapilla, HamularNotchLeft, HamularNotchRight, TuberosityLeft, TuberosityRight, PosteriorMidline},
	}[jaw]
	return slices.DeleteFunc(slices.Clone(landmarkNames), func(name string) bool { return slices.Contains(not, name) })
}

// ReadGiven reads landmarks from JSON:
//
//	{"incisive_papilla": [1.2, 3.4, 5.6], "reference_plane": [[0,0,0], [1,0,0], [0,1,0]], "rim": [[0,9,0], [9,0,0], [-9,0,0]]}
//
// Keys are the names of a report's landmarks; reference_plane and rim are three points each. A report's own
// landmarks object is understood too, so that it can be edited and given back.
func ReadGiven(r io.Reader) (Given, error) {
	var raw map[string]json.RawMessage
	text, err := io.ReadAll(r)
	if err != nil {
		return Given{}, err
	}
	if json.Unmarshal(text, &raw) != nil {
		return Given{}, errors.New("the file is no JSON object of names and points")
	}
	g := Given{Landmarks: map[string]Vec{}}
	for name, text := range raw {
		if name == "reference_plane" || name == "rim" {
			var p []Vec
			if json.Unmarshal(text, &p) != nil || len(p) != 3 {
				return Given{}, fmt.Errorf("%s: three points [x, y, z] are needed", name)
			}
			n := p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Unit()
			if n.Norm2() == 0 || !n.Finite() {
				return Given{}, fmt.Errorf("%s: its three points lie on one line", name)
			}
			if name == "rim" {
				g.Rim = p
			} else {
				g.Reference = &n
			}
			continue
		}
		if !slices.Contains(landmarkNames, name) {
			return Given{}, fmt.Errorf("%q is the name of no landmark; the names are %s", name, strings.Join(landmarkNames, ", "))
		}
		var p Vec
		if json.Unmarshal(text, &p) != nil {
			var l Landmark
			if json.Unmarshal(text, &l) != nil {
				return Given{}, fmt.Errorf("%s: a point [x, y, z] is needed", name)
			}
			p = l.Point
		}
		g.Landmarks[name] = p
	}
	return g, nil
}
