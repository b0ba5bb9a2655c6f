package inspect

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fornix/mesh"
)

// TestWhatEveryKeptScanGives goes the whole road with real mouth scans and with files made to break
// programs: what each gives is in the table, and nothing that is no impression is ever sent. Sizes
// of the odd files are those of toys, so that no jaw is looked for in them.
func TestWhatEveryKeptScanGives(t *testing.T) {
	root := os.Getenv("FORNIX_SHARED")
	if root == "" {
		root = "../../shared"
	}
	files, _ := filepath.Glob(filepath.Join(root, "scans", "*", "*.*"))
	if len(files) == 0 {
		t.Skip("no such scans here")
	}
	type want struct {
		surface string
		inside  bool
		left    string // kinds of what was left out
	}
	mouths := map[string]want{
		"down_01_10k.stl": {Cast, false, LeftIsland}, "down_22_10k.stl": {Cast, false, ""}, "lower_100k.stl": {Cast, false, LeftIsland},
		"lower_gum_only.stl": {Cast, false, LeftIsland}, "up_01_10k.stl": {Cast, false, LeftIsland}, "up_01_flipped_10k.stl": {Cast, true, LeftIsland},
		"up_02_10k.stl": {Cast, false, LeftIsland}, "up_15_10k.stl": {Cast, false, LeftIsland},
	}
	for _, path := range files {
		folder, name := filepath.Base(filepath.Dir(path)), filepath.Base(path)
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Read(f, name, ReadOptions{})
		f.Close()
		if err != nil {
			var format *mesh.FormatError
			if !errors.As(err, &format) {
				t.Errorf("%s: %v", name, err)
			}
			continue
		}
		r := Run(s, DefaultProtocol(), Options{}).Report
		var left []string
		for _, l := range r.LeftOut {
			left = append(left, l.What)
		}
		got := want{r.Surface, r.InsideOut, strings.Join(left, " ")}
		if r.Verdict == Send {
			t.Errorf("%s: send", name)
		}
		if folder == "mouth-scans" {
			if got != mouths[name] || r.Verdict != Rescan {
				t.Errorf("%s: %+v and %s, want %+v", name, got, r.Verdict, mouths[name])
			}
			// Inside out it would read as an impression, were it not for its teeth.
			turned := Run(&Scan{Mesh: flipped(s.Mesh), Info: s.Info}, DefaultProtocol(), Options{}).Report
			if turned.Surface != Cast || turned.InsideOut == r.InsideOut || 20*float64(len(turned.Defects)) > s.Mesh.Area()/100 {
				t.Errorf("%s turned inside out: %s, inside out %v, %d faults", name, turned.Surface, turned.InsideOut, len(turned.Defects))
			}
		} else if r.Frame != nil {
			t.Errorf("%s: a jaw was found", name)
		}
	}
}
