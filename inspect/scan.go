package inspect

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"strings"

	"fornix/mesh"
)

// Scan is one scan as it was read: the surface and what reading saw.
type Scan struct {
	Mesh  *mesh.Mesh
	Stats mesh.ReadStats
	Info  ScanInfo

	leftOut []LeftOut // of the file, set by Run
	several string    // why the file is no scan of one object
}

// ReadOptions tell what the user knows about a file.
type ReadOptions struct {
	Unit string // mm, um, m or inch: the coordinates are converted to mm; empty: decide, convert nothing
}

// Units by the names that ReadOptions.Unit takes, in mm.
var units = []struct {
	name  string
	perMM float64 // mm in one unit
}{{"mm", 1}, {"inch", 25.4}, {"m", 1000}, {"um", 0.001}}

// UnitMM returns how many mm the named unit has; ok is false for no unit.
func UnitMM(name string) (mm float64, ok bool) {
	for _, u := range units {
		if u.name == name {
			return u.perMM, true
		}
	}
	return 0, false
}

// Corner-to-corner sizes that an impression in its tray, a cast or a mouth scan may have, mm:
// from a bare ridge of a small jaw to a tray with its handle (from memory).
const (
	leastJawMM = 40.0
	mostJawMM  = 200.0
)

// Read reads a scan from r. The name is kept for the report and plays no part in telling the
// format. Nothing is repaired; coordinates are converted only when the unit is given.
//
// Errors: what mesh.Read gives (a *mesh.FormatError where the bytes are no scan), and an
// unknown unit.
func Read(r io.Reader, name string, opt ReadOptions) (*Scan, error) {
	scale := 1.0
	if opt.Unit != "" {
		mm, ok := UnitMM(opt.Unit)
		if !ok {
			return nil, fmt.Errorf("unit %q is not known: use mm, inch, m or um", opt.Unit)
		}
		scale = mm
	}
	h := sha256.New()
	m, stats, err := mesh.Read(sized{io.TeeReader(r, h), int(mesh.SizeHint(r))}, mesh.ReadOptions{})
	if err != nil {
		return nil, err
	}
	if scale != 1 {
		m = scaled(m, scale)
	}
	s := &Scan{Mesh: m, Stats: stats}
	s.Info = ScanInfo{
		File: name, SHA256: hex.EncodeToString(h.Sum(nil)), Format: stats.Format, Packed: stats.Packed, Bytes: stats.Bytes,
		Faces: len(m.Tri), Vertices: len(m.Pos), UnitToMM: scale, Note: strings.Join(stats.Notes, " "),
	}
	s.Info.Unit, s.Info.UnitHow = decideUnit(m, opt.Unit)
	return s, nil
}

// sized is a reader that tells how many bytes it held at first, which saves mesh.Read growing.
type sized struct {
	io.Reader
	n int
}

func (s sized) Len() int { return s.n }

func scaled(m *mesh.Mesh, k float64) *mesh.Mesh {
	pos := make([]Vec, len(m.Pos))
	for i, p := range m.Pos {
		pos[i] = p.Scale(k)
	}
	out := mesh.New(pos, m.Tri)
	out.Colour = m.Colour
	return out
}

// decideUnit tells the unit of the coordinates from the scan's size: the first unit in which it
// is as large as a jaw.
func decideUnit(m *mesh.Mesh, given string) (unit, how string) {
	lo, hi := m.Bounds()
	d := hi.Sub(lo).Norm()
	if given != "" {
		return given, "given by the user"
	}
	for _, u := range units {
		if s := d * u.perMM; s >= leastJawMM && s <= mostJawMM {
			return u.name, fmt.Sprintf("from the size: %.4g from corner to corner", d)
		}
	}
	return "mm", fmt.Sprintf("assumed: %.4g from corner to corner is the size of no jaw in any unit", d)
}
