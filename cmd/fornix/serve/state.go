package serve

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"time"

	"github.com/pelletier/go-toml/v2"

	"fornix/inspect"
	"fornix/mesh"
)

// stateName is the file that says what a case folder holds; caseName the order; sheetName the
// laboratory sheet.
const (
	stateName = "state.toml"
	caseName  = "case.toml"
	sheetName = "sheet.pdf"
)

const stateSchema = "fornix case folder 1"

// State is what a case folder holds and how far its scans have come. It is written after the
// files it speaks of, so what it names is there.
type State struct {
	Schema string    `toml:"schema" comment:"What this case folder holds. fornix serve writes it; the order itself is in case.toml."`
	Made   time.Time `toml:"made"`
	By     string    `toml:"by" comment:"How the case came: dropped, or inbox (the folder of --watch)."`
	Sheet  string    `toml:"sheet" comment:"Of what sheet.pdf was made; empty: there is none."`
	Pair   Pair      `toml:"pair,omitempty" comment:"How both jaws close on each other."`
	Scans  []Scan    `toml:"scan"`
}

// Ways in which a case came.
const (
	ByHand  = "dropped"
	ByInbox = "inbox"
)

// Scan is one scan of a case.
type Scan struct {
	ID     int       `toml:"id"`
	CameAs string    `toml:"came_as" comment:"The file's own name. It stays in this folder: it may hold a person's name."`
	Came   time.Time `toml:"came"`
	Bytes  int64     `toml:"bytes"`
	SHA256 string    `toml:"sha256"`

	Status   Status `toml:"status" comment:"waiting, drawing (measured, pictures to come), done or failed."`
	Reason   string `toml:"reason,omitempty" comment:"Why it failed."`
	Tries    int    `toml:"tries" comment:"How often an inspection was begun and not ended."`
	Revision int    `toml:"revision" comment:"Grows with every inspection that is asked for."`
	Results  string `toml:"results" comment:"Folder of the results that hold; empty: none yet."`
	Verdict  string `toml:"verdict,omitempty"`
	Found    string `toml:"found_jaw,omitempty"`

	Ask Ask `toml:"given,omitempty" comment:"What the user knows better; points are in the scan's own coordinates."`
}

// Status is how far a scan has come.
type Status string

// What a scan can be.
const (
	Waiting Status = "waiting"
	Drawing Status = "drawing" // measured and judged; pictures are being made
	Done    Status = "done"
	Failed  Status = "failed"
)

// mostTries is how often an inspection is begun again when the program ended in the midst of it: a
// scan that ends the program each time must not do so for ever.
const mostTries = 3

// Ask is what the user knows of a scan and fornix need not find.
type Ask struct {
	Jaw       string                `toml:"jaw,omitempty" json:"jaw,omitempty"`   // upper, lower; empty: found
	Unit      string                `toml:"unit,omitempty" json:"unit,omitempty"` // empty: told by size
	Landmarks map[string][3]float64 `toml:"landmarks,omitempty" json:"landmarks,omitempty"`
	Plane     [][3]float64          `toml:"reference_plane,omitempty" json:"reference_plane,omitempty"` // three points, or none
	Rim       [][3]float64          `toml:"rim,omitempty" json:"rim,omitempty"`                         // three points on its flat, or none
}

// file is the scan's file in the case folder: its ending is that of the name it came with.
func (s *Scan) file() string {
	ending := mesh.Ending(s.CameAs)
	if ending == "" {
		ending = ".stl"
	}
	return fmt.Sprintf("scan-%d%s", s.ID, ending)
}

// next is the folder for the results of the scan's current revision.
func (s *Scan) next() string { return fmt.Sprintf("scan-%d-r%d", s.ID, s.Revision) }

// pending reports whether the scan's inspection is not finished.
func (s *Scan) pending() bool { return s.Status == Waiting || s.Status == Drawing }

var (
	caseFolder   = regexp.MustCompile(`^[0-9]{4,9}$`)
	scanFile     = regexp.MustCompile(`^scan-([1-9][0-9]{0,2})\.(((stl|ply|obj)(\.gz)?)|zip)$`)
	pairFolder   = regexp.MustCompile(`^pair-r[0-9]+$`)
	resultFolder = regexp.MustCompile(`^scan-[1-9][0-9]{0,2}-r[0-9]+$`)
	resultFile   = regexp.MustCompile(`^[a-z]+(-[a-z0-9]+)?\.(json|png|html)$`)
)

// folder is the folder of case n.
func folder(n int) string { return fmt.Sprintf("%04d", n) }

// scan returns the scan with an id, or nil.
func (s *State) scan(id int) *Scan {
	if i := slices.IndexFunc(s.Scans, func(k Scan) bool { return k.ID == id }); i >= 0 {
		return &s.Scans[i]
	}
	return nil
}

// clone is a copy that shares nothing that is changed in place.
func (s State) clone() State {
	s.Scans = slices.Clone(s.Scans)
	return s
}

// Verdict is the gravest of the case's scans and of how its jaws close; empty where none is judged yet.
func (s *State) Verdict() inspect.Verdict {
	grave := []inspect.Verdict{"", inspect.Send, inspect.Correct, inspect.Rescan, inspect.Retake}
	out := 0
	for _, k := range s.Scans {
		out = max(out, slices.Index(grave, inspect.Verdict(k.Verdict)))
	}
	if p, now := related(s); now {
		out = max(out, slices.Index(grave, inspect.Verdict(p.Verdict)))
	}
	return grave[out]
}

func (s State) encode() ([]byte, error) {
	var b bytes.Buffer
	e := toml.NewEncoder(&b)
	e.SetIndentTables(false)
	if err := e.Encode(s); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

// decodeState reads a state and refuses what it could not have written, since people may edit and
// copy these files.
func decodeState(text []byte) (State, error) {
	var s State
	d := toml.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return s, fmt.Errorf("%s cannot be read: %w", stateName, err)
	}
	if s.Schema != stateSchema {
		return s, fmt.Errorf("%s: schema %q is not %q", stateName, s.Schema, stateSchema)
	}
	if p := s.Pair; p.Results != "" && !pairFolder.MatchString(p.Results) || p.Status != "" && p.Status != Waiting && p.Status != Done && p.Status != Failed {
		return s, fmt.Errorf("%s: the pair is not written as fornix writes it", stateName)
	}
	seen := map[int]bool{}
	for _, k := range s.Scans {
		known := k.Status == Waiting || k.Status == Drawing || k.Status == Done || k.Status == Failed
		if k.ID < 1 || k.ID > 999 || seen[k.ID] || !known || k.Results != "" && !resultFolder.MatchString(k.Results) {
			return s, fmt.Errorf("%s: scan %d is not written as fornix writes it", stateName, k.ID)
		}
		seen[k.ID] = true
	}
	return s, nil
}
