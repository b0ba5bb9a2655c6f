package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"fornix/inspect"
	"fornix/mesh"
)

// gumRow is what was called a fault on a real surface that has none of a material.
type gumRow struct {
	Scan    string  `json:"scan"`
	Turned  bool    `json:"turned"` // inside out, to stand for an impression
	How     string  `json:"how"`    // "all tissue": every vertex measured; "run": as a command would
	AreaCM2 float64 `json:"area_cm2"`
	Faults  int     `json:"faults"`
}

func (g gumRow) row() row {
	what := g.Scan
	if g.Turned {
		what += ", inside out"
	}
	per := 20 * float64(g.Faults) / g.AreaCM2
	met := per <= 1
	return row{What: what + " (" + g.How + ")", Target: "1 in 20 cm2", Reached: fmt.Sprintf("%d on %.1f cm2: %.2f", g.Faults, g.AreaCM2, per), Met: &met}
}

// gum measures the real mouth scans that lie beside the project, if any: the gum without teeth
// as tissue all over, and every scan as a command would, each also inside out.
func gum(p inspect.Protocol) []gumRow {
	dir := os.Getenv("FORNIX_SHARED")
	if dir == "" {
		dir = filepath.Join("..", "shared")
	}
	files, _ := filepath.Glob(filepath.Join(dir, "scans", "mouth-scans", "*.stl"))
	slices.Sort(files)
	var out []gumRow
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			continue
		}
		m, _, err := mesh.Read(f, mesh.ReadOptions{})
		f.Close()
		if err != nil {
			continue
		}
		for _, turned := range []bool{false, true} {
			if turned {
				tri := make([][3]mesh.VertexID, len(m.Tri))
				for i, t := range m.Tri {
					tri[i] = [3]mesh.VertexID{t[0], t[2], t[1]}
				}
				m = mesh.New(m.Pos, tri)
			}
			g := gumRow{Scan: filepath.Base(name), Turned: turned, AreaCM2: m.Area() / 100}
			if g.Scan == "lower_gum_only.stl" {
				g.How = "all tissue"
				an := &inspect.Anatomy{Part: make([]inspect.Part, len(m.Pos))}
				for i := range an.Part {
					an.Part[i] = inspect.PartTissue
				}
				g.Faults = len(inspect.FindDefects(m, m.Normals(), an, p.Method.Defect, 0.01))
				out = append(out, g)
			}
			g.How = "run"
			g.Faults = len(inspect.Run(scanOf(m, g.Scan), p, inspect.Options{}).Report.Defects)
			out = append(out, g)
		}
	}
	return out
}
