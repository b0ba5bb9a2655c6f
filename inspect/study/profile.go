package study

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
)

// Station is one place along the border over many scans: each scan counts once, by the mean of its
// own stations there.
type Station struct {
	Along   float64 // middle of the place, share of the way, 0 to 1 from the patient's right to left
	Summary Summary
}

// Profile is how a border runs, over many scans of one jaw.
type Profile struct {
	Jaw      string
	Scans    int
	Stations []Station // places without a value are left out
	Places   []Place   // regions in their order along the border
}

// Place is a region and the middle of its stations.
type Place struct {
	Name  string
	Along float64
}

// ProfileBins is how many places a border is divided into: each 2 % of its length.
const ProfileBins = 50

// ReadProfiles makes the profiles of a quantity (border_thickness, border_height) along one side of
// the border, such as outer, from the long table of a batch (values.csv): one for each jaw that has
// some, by name. keep says which scans count.
func ReadProfiles(r io.Reader, quantity, side string, keep func(path string) bool, confidence float64) ([]Profile, error) {
	c := csv.NewReader(r)
	c.ReuseRecord = true
	head, err := c.Read()
	if err != nil {
		return nil, fmt.Errorf("no table: %w", err)
	}
	at := map[string]int{}
	for i, name := range slices.Clone(head) {
		at[name] = i
	}
	for _, name := range []string{"path", "jaw", "quantity", "place", "surface", "along", "value"} {
		if _, there := at[name]; !there {
			return nil, fmt.Errorf("line 1: no column is called %s, so it is no table of values", name)
		}
	}
	type sum struct{ v, n float64 }
	type jaw struct {
		bins   [ProfileBins]map[string]sum
		places map[string]sum
		scans  map[string]bool
	}
	jaws := map[string]*jaw{}
	for {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		path := cells[at["path"]]
		if cells[at["quantity"]] != quantity || cells[at["surface"]] != side || cells[at["along"]] == "" || cells[at["value"]] == "" || !keep(path) {
			continue
		}
		along, err1 := strconv.ParseFloat(cells[at["along"]], 64)
		v, err2 := strconv.ParseFloat(cells[at["value"]], 64)
		if err1 != nil || err2 != nil || !(along >= 0 && along <= 1) || math.IsNaN(v) || math.IsInf(v, 0) {
			line, _ := c.FieldPos(at["value"])
			return nil, fmt.Errorf("line %d: %q at %q is no value along a border", line, cells[at["value"]], cells[at["along"]])
		}
		j := jaws[cells[at["jaw"]]]
		if j == nil {
			j = &jaw{places: map[string]sum{}, scans: map[string]bool{}}
			jaws[cells[at["jaw"]]] = j
		}
		j.scans[path] = true
		b := min(ProfileBins-1, int(along*ProfileBins))
		if j.bins[b] == nil {
			j.bins[b] = map[string]sum{}
		}
		s := j.bins[b][path]
		j.bins[b][path] = sum{s.v + v, s.n + 1}
		p := j.places[cells[at["place"]]]
		j.places[cells[at["place"]]] = sum{p.v + along, p.n + 1}
	}
	var out []Profile
	for name, j := range jaws {
		p := Profile{Jaw: name, Scans: len(j.scans)}
		for b, scans := range j.bins {
			var v []float64
			for _, s := range scans {
				v = append(v, s.v/s.n)
			}
			if len(v) == 0 {
				continue
			}
			slices.Sort(v) // no map order in a sum
			s, err := Describe(v, confidence)
			if err != nil {
				return nil, err
			}
			p.Stations = append(p.Stations, Station{(float64(b) + 0.5) / ProfileBins, s})
		}
		for place, s := range j.places {
			if place != "" {
				p.Places = append(p.Places, Place{place, s.v / s.n})
			}
		}
		slices.SortFunc(p.Places, func(a, b Place) int {
			if a.Along < b.Along {
				return -1
			}
			return 1
		})
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b Profile) int {
		if a.Jaw < b.Jaw {
			return -1
		}
		return 1
	})
	return out, nil
}
