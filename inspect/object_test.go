package inspect

import (
	"math"
	"slices"
	"strings"
	"testing"

	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/register"
)

// together puts surfaces into one file.
func together(ms ...*mesh.Mesh) *mesh.Mesh {
	var pos []Vec
	var tri [][3]mesh.VertexID
	for _, m := range ms {
		n := mesh.VertexID(len(pos))
		pos = append(pos, m.Pos...)
		for _, t := range m.Tri {
			tri = append(tri, [3]mesh.VertexID{t[0] + n, t[1] + n, t[2] + n})
		}
	}
	return mesh.New(pos, tri)
}

// board is a flat grid of n by n squares about c, with the sides u and v.
func board(c, u, v Vec, n int) *mesh.Mesh {
	var pos []Vec
	var tri [][3]mesh.VertexID
	for i := range n + 1 {
		for j := range n + 1 {
			pos = append(pos, c.Along(float64(i)/float64(n)-0.5, u).Along(float64(j)/float64(n)-0.5, v))
			if i > 0 && j > 0 {
				a, w := mesh.VertexID(i*(n+1)+j), mesh.VertexID(n+1)
				tri = append(tri, [3]mesh.VertexID{a, a - 1, a - w}, [3]mesh.VertexID{a - 1, a - w - 1, a - w})
			}
		}
	}
	return mesh.New(pos, tri)
}

// shifted moves a surface.
func shifted(m *mesh.Mesh, by Vec) *mesh.Mesh {
	return moved(m, register.Pose{R: [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}, T: by})
}

var objectPhantom = func() func(t *testing.T) (*mesh.Mesh, phantom.Truth) {
	var made *phantom.Phantom
	return func(t *testing.T) (*mesh.Mesh, phantom.Truth) {
		if made == nil {
			p, _ := phantom.Named("lower-sound")
			p.Spacing = 0.9
			var err error
			if made, err = phantom.Make(p); err != nil {
				t.Fatal(err)
			}
		}
		return made.Mesh, made.Truth
	}
}()

// TestFindObject: what lies in the file beside an impression is told and left out, and the
// impression stays face by face.
func TestFindObject(t *testing.T) {
	m, truth := objectPhantom(t)
	to, left, back := Vec(truth.Axes.TowardTissue), Vec(truth.Axes.Left), Vec(truth.Axes.Posterior)
	lo, hi := m.Bounds()
	c := lo.Add(hi).Scale(0.5)
	table := board(c.Along(-40, to), left.Scale(130), back.Scale(120), 60)
	var specks []*mesh.Mesh
	for i := range 9 {
		specks = append(specks, board(c.Along(float64(i*9-40), left).Along(30, to), left.Scale(3), to.Add(back).Scale(2), 4))
	}
	specks = append(specks, m)
	_, parts := together(specks...).Components()
	if len(parts) != 10 {
		t.Fatalf("%d pieces", len(parts))
	}
	twice := mesh.New(slices.Clone(m.Pos), append(slices.Clone(m.Tri), m.Flip().Tri...))
	method := DefaultProtocol().Method.Object
	for name, c := range map[string]struct {
		m      *mesh.Mesh
		what   string
		pieces int
		faces  int
	}{
		"alone":                 {m, "", 0, 0},
		"table under it":        {together(m, table), LeftTable, 1, 7200},
		"table over it":         {together(shifted(table, to.Scale(80)), m), LeftTable, 1, 7200},
		"table through it":      {together(shifted(table, to.Scale(40)), m), "", 0, 0},
		"small board":           {together(m, board(c.Along(-40, to), left.Scale(20), back.Scale(20), 9)), "", 0, 0},
		"specks":                {together(specks...), LeftIsland, 9, 288},
		"every face twice":      {twice, LeftTwice, 1, len(m.Tri)},
		"a copy":                {together(m, shifted(m, to.Scale(0.05))), LeftCopy, 1, len(m.Tri)},
		"a copy half a mm away": {together(m, shifted(m, to.Scale(0.5))), "", 0, 0},
	} {
		object, out, several := FindObject(c.m, mesh.ReadStats{Duplicate: c.m.Topology().DuplicateFaces}, method)
		if several != "" {
			t.Errorf("%s: %s", name, several)
		}
		if c.what == "" {
			if len(out) > 0 || object != c.m {
				t.Errorf("%s: left out %+v", name, out)
			}
			continue
		}
		if len(out) != 1 || out[0].What != c.what || out[0].Pieces != c.pieces || out[0].Faces != c.faces {
			t.Errorf("%s: left out %+v", name, out)
		}
		if len(object.Tri) != len(m.Tri) || len(object.Pos) != len(m.Pos) || math.Abs(object.Area()-m.Area()) > 1e-6*m.Area() || object.Validate() != nil {
			t.Errorf("%s: %d faces of %d", name, len(object.Tri), len(m.Tri))
		}
		if s := out[0].sentence(); !strings.Contains(s, "not measured") {
			t.Error(s)
		}
	}
}

// TestReportBesideATable: the report of an impression with a table, specks and a copy in the file is
// that of the impression, to the bit, but for what is said of the file.
func TestReportBesideATable(t *testing.T) {
	m, truth := objectPhantom(t)
	to, left, back := Vec(truth.Axes.TowardTissue), Vec(truth.Axes.Left), Vec(truth.Axes.Posterior)
	lo, hi := m.Bounds()
	c := lo.Add(hi).Scale(0.5)
	report := func(m *mesh.Mesh) *Report {
		s := &Scan{Mesh: m, Info: ScanInfo{Faces: len(m.Tri), Vertices: len(m.Pos), Unit: "mm", UnitToMM: 1}}
		return Run(s, DefaultProtocol(), Options{}).Report
	}
	alone := report(m)
	all := report(together(m, board(c.Along(-40, to), left.Scale(130), back.Scale(120), 60), board(c.Along(30, to), left.Scale(3), back.Scale(3), 4)))
	if len(all.LeftOut) != 2 || all.Verdict != alone.Verdict || len(all.Findings) != len(alone.Findings)+2 {
		t.Fatalf("%+v, %s and %s, %d and %d findings", all.LeftOut, all.Verdict, alone.Verdict, len(all.Findings), len(alone.Findings))
	}
	if all.Quality.Components != 2 || all.Quality.SmallComponents != 1 {
		t.Errorf("%d pieces, %d small", all.Quality.Components, all.Quality.SmallComponents)
	}
	all.Quality.Components, all.Quality.SmallComponents = alone.Quality.Components, alone.Quality.SmallComponents
	all.LeftOut, all.Findings, all.Scan = nil, alone.Findings, alone.Scan
	a, b := &strings.Builder{}, &strings.Builder{}
	if err := WriteJSON(a, alone); err != nil {
		t.Fatal(err)
	}
	if err := WriteJSON(b, all); err != nil || a.String() != b.String() {
		t.Error("another report", err)
	}
}

// TestTwoJawsInOneFile: whether closed on each other or side by side, neither is measured, and the
// reason says what to do.
func TestTwoJawsInOneFile(t *testing.T) {
	p, _ := phantom.NamedPair("pair-sound")
	p.Upper.Spacing, p.Lower.Spacing, p.Closed = 1.2, 1.2, true
	pair, err := phantom.MakePair(p)
	if err != nil {
		t.Fatal(err)
	}
	for name, m := range map[string]*mesh.Mesh{"closed": pair.Closed, "side by side": together(pair.Upper.Mesh, shifted(pair.Lower.Mesh, Vec{X: 100}))} {
		s := &Scan{Mesh: m, Info: ScanInfo{Faces: len(m.Tri), Vertices: len(m.Pos), Unit: "mm", UnitToMM: 1}}
		r := Run(s, DefaultProtocol(), Options{}).Report
		i := slices.IndexFunc(r.Findings, func(f Finding) bool { return f.Code == "unmeasured-jaw" })
		if r.Verdict != Rescan || r.Frame != nil || i < 0 || !strings.Contains(r.Findings[i].Text, "two large objects that lie apart") {
			t.Errorf("%s: %s, %+v", name, r.Verdict, r.Findings)
		}
	}
}
