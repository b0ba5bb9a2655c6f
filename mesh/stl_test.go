package mesh_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"fornix/mesh"
	"fornix/mesh/shape"
)

const (
	oneFacet = " facet normal 0 0 1\n  outer loop\n   vertex 0 0 0\n   vertex 1 0 0\n   vertex 0 1 0\n  endloop\n endfacet\n"
	oneSolid = "solid s\n" + oneFacet + "endsolid s\n"
)

// binarySTL writes whole faces after a header and any count.
func binarySTL(header string, count uint32, faces ...[12]float32) []byte {
	b := make([]byte, 80)
	copy(b, header)
	b = binary.LittleEndian.AppendUint32(b, count)
	for _, f := range faces {
		for _, x := range f {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
		}
		b = append(b, 0, 0)
	}
	return b
}

var (
	nan   = float32(math.NaN())
	face1 = [12]float32{0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0}
	face2 = [12]float32{0, 0, -1, 1, 0, 0, 1, 1, 0, 0, 1, 0} // its normal against its winding
	zeros = [12]float32{0, 0, 0, float32(math.Copysign(0, -1)), 0, 0, 0, 1, 0, 1, 1, 0}
	far   = [12]float32{0, 0, 1, 0, 1e30, 0, 1, 0, 0, 0, 1, 0}
	bad   = [12]float32{0, 0, 1, 0, nan, 0, 1, 0, 0, 0, 1, 0}
)

func TestReadSTL(t *testing.T) {
	long := strings.Repeat("x ", 200_000)
	cases := []struct {
		name, file string
		want       mesh.ReadStats // Bytes is taken from the file
		err        string
	}{
		{name: "binary", file: string(binarySTL("a", 2, face1, face2)),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 2, Solids: 1, Vertices: 4, NormalsAgainstWinding: 1}},
		{name: "binary that begins with solid", file: string(binarySTL("solid a", 1, face1)),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 1, Solids: 1, Vertices: 3}},
		{name: "binary, header all text", file: string(binarySTL("solid"+strings.Repeat(" ", 75), 1, face1)),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 1, Solids: 1, Vertices: 3}},
		{name: "binary, header like a line of OBJ", file: string(binarySTL("g 7\n", 1, face1)),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 1, Solids: 1, Vertices: 3}},
		{name: "minus zero", file: string(binarySTL("", 2, face1, zeros)),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 2, Solids: 1, Vertices: 4, NormalsMissing: 1}},
		{name: "not finite", file: string(binarySTL("", 2, bad, face1)),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 2, Solids: 1, Vertices: 3, NonFinite: 1}},
		{name: "beyond any scan", file: string(binarySTL("", 2, far, face1)),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 2, Solids: 1, Vertices: 3, NonFinite: 1}},
		{name: "duplicate and degenerate", file: string(binarySTL("", 4, face1, face1, [12]float32{}, [12]float32{0, 0, 1, 1, 0, 0, 0, 1, 0, 0, 0, 0})),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 4, Solids: 1, Vertices: 3, Duplicate: 2, Degenerate: 1, NormalsMissing: 1}},
		{name: "bytes after the last face", file: string(binarySTL("", 1, face1)) + "tail",
			want: mesh.ReadStats{Format: "stl-binary", Faces: 1, Solids: 1, Vertices: 3, TrailingBytes: 4,
				Notes: []string{"4 bytes follow the 1 promised faces and were not read."}}},
		{name: "faces after the last face", file: string(binarySTL("", 1, face1, face2)),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 1, Solids: 1, Vertices: 3, TrailingBytes: 50,
				Notes: []string{"50 bytes follow the 1 promised faces and were not read: they have the length of 1 more faces."}}},
		{name: "count never filled in", file: string(binarySTL("", 0, face1, face2)),
			want: mesh.ReadStats{Format: "stl-binary", Faces: 2, Solids: 1, Vertices: 4, NormalsAgainstWinding: 1,
				Notes: []string{"The face count in the file is 0; the 2 whole faces that follow it were read."}}},
		{name: "count 0, no whole faces", file: string(binarySTL("", 0, face1)) + "x", err: "byte 135: the face count is 0, and the 51 bytes after it are not whole faces of 50 bytes"},
		{name: "truncated in a face", file: string(binarySTL("", 3, face1, face2))[:180],
			err: "byte 180: the file ends early: 3 faces promised (234 bytes), 1 whole faces came (180 bytes)"},
		{name: "truncated between faces", file: string(binarySTL("", 3, face1)),
			err: "byte 134: the file ends early: 3 faces promised (234 bytes), 1 whole faces came (134 bytes)"},
		{name: "a count that no memory holds", file: string(binarySTL("", math.MaxUint32-1, face1)),
			err: "byte 134: the file ends early: 4294967294 faces promised (214748364784 bytes), 1 whole faces came (134 bytes)"},
		{name: "header only", file: string(binarySTL("", 0)), err: "byte 84: the file holds no faces"},
		{name: "part of a header", file: "\x00\x01\x02", err: "byte 3: the file ends early: a binary STL file has at least 84 bytes, this has 3"},
		{name: "nothing finite", file: string(binarySTL("", 1, bad)), err: "byte 134: no face of the file has finite coordinates"},
		{name: "sent as text", file: strings.ReplaceAll(string(binarySTL("", 2, face1, face2)), "\x80", "\xEF\xBF\xBD"),
			err: "byte 84: the file was changed as if it were text (bytes replaced by EF BF BD); send it again as a binary file"},
		{name: "empty", file: "", err: "the file is empty"},
		{name: "other text", file: "hello\nformat ascii 1.0\n", err: `line 1: text that begins with "hello", as no scan in STL, PLY or OBJ does`},
		{name: "long other text", file: "hello\n" + long, err: `line 1: text that begins with "hello", as no scan in STL, PLY or OBJ does`},

		{name: "ascii", file: oneSolid, want: mesh.ReadStats{Format: "stl-ascii", Faces: 1, Solids: 1, Vertices: 3}},
		{name: "byte order mark, upper case, CR, no name", file: "\xEF\xBB\xBF \r" + strings.ReplaceAll(strings.ToUpper(strings.ReplaceAll(oneSolid, " s\n", "\n")), "\n", "\r"),
			want: mesh.ReadStats{Format: "stl-ascii", Faces: 1, Solids: 1, Vertices: 3}},
		{name: "CR LF", file: strings.ReplaceAll(oneSolid, "\n", "\r\n"), want: mesh.ReadStats{Format: "stl-ascii", Faces: 1, Solids: 1, Vertices: 3}},
		{name: "long lines", file: "solid " + long + "\n" + strings.ReplaceAll(oneFacet, "loop\n", "loop"+strings.Repeat(" ", 300_000)+"\n") + "endsolid " + long,
			want: mesh.ReadStats{Format: "stl-ascii", Faces: 1, Solids: 1, Vertices: 3}},
		{name: "several solids", file: oneSolid + "\n" + strings.ReplaceAll(oneSolid, "1", "2") + "solid\nendsolid\n\x00\x1a",
			want: mesh.ReadStats{Format: "stl-ascii", Faces: 2, Solids: 3, Vertices: 5,
				Notes: []string{"The file holds 3 solids; their faces were read as one surface."}}},
		{name: "ascii not finite", file: "solid\n" + oneFacet + strings.ReplaceAll(oneFacet, "vertex 1", "vertex nan") +
			strings.ReplaceAll(oneFacet, "vertex 1", "vertex -1.#IND") + strings.ReplaceAll(oneFacet, "vertex 1", "vertex 1e39") + "endsolid",
			want: mesh.ReadStats{Format: "stl-ascii", Faces: 4, Solids: 1, Vertices: 3, NonFinite: 3}},
		{name: "normals missing", file: "solid\n" + strings.ReplaceAll(oneFacet, "normal 0 0 1", "normal") + strings.ReplaceAll(oneFacet, "normal 0 0 1", "normal 0 0") +
			strings.ReplaceAll(oneFacet, " normal 0 0 1", "") + strings.ReplaceAll(oneFacet, "0 0 1", "NaN nan -nan(ind)") + "endsolid",
			want: mesh.ReadStats{Format: "stl-ascii", Faces: 4, Solids: 1, Vertices: 3, NormalsMissing: 4, Duplicate: 3}},
		{name: "no endsolid", file: "solid\n" + oneFacet, err: "line 9: the file ends early, after 1 whole facets: no endsolid, so faces may be missing"},
		{name: "ends in a facet", file: oneSolid[:70], err: `line 5: expected a coordinate, found the end of the file`},
		{name: "four vertices", file: strings.ReplaceAll(oneSolid, "  endloop", "vertex 1 1 1\n endloop"), err: `line 7: expected endloop after three vertices, found "vertex"`},
		{name: "two vertices", file: strings.ReplaceAll(oneSolid, "   vertex 0 1 0\n", ""), err: `line 6: expected vertex 3 of 3, found "endloop"`},
		{name: "decimal comma", file: strings.ReplaceAll(oneSolid, "1 0 0", "1,5 0 0"), err: `line 5: expected a coordinate, found "1,5"`},
		{name: "no facet", file: "solid s\nhello\n", err: `line 2: expected facet or endsolid, found "hello"`},
		{name: "facet after endsolid", file: oneSolid + oneFacet, err: `line 10: expected solid or the end of the file after endsolid, found "facet"`},
		{name: "no faces", file: "solid empty\nendsolid empty\n", err: "byte 27: the file holds no faces"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			// A reader that tells its size, one that does not, and one that gives little at once.
			for _, r := range []io.Reader{strings.NewReader(c.file), iotest.HalfReader(strings.NewReader(c.file)),
				iotest.DataErrReader(iotest.OneByteReader(strings.NewReader(c.file)))} {
				m, got, err := mesh.Read(r, mesh.ReadOptions{})
				if c.err != "" {
					var format *mesh.FormatError
					if !errors.As(err, &format) || err.Error() != c.err {
						t.Fatalf("error %v, want %s", err, c.err)
					}
					continue
				}
				if err != nil {
					t.Fatal(err)
				}
				c.want.Bytes = int64(len(c.file))
				if !equalStats(got, c.want) {
					t.Errorf("stats\n %+v, want\n %+v", got, c.want)
				}
				if err := m.Validate(); err != nil || len(m.Tri) != got.Faces-got.NonFinite || len(m.Pos) != got.Vertices {
					t.Errorf("mesh of %d faces and %d vertices, %v", len(m.Tri), len(m.Pos), err)
				}
			}
		})
	}
}

func equalStats(a, b mesh.ReadStats) bool {
	notes := slices.Equal(a.Notes, b.Notes)
	a.Notes, b.Notes = nil, nil
	return notes && a.Format == b.Format && a.Bytes == b.Bytes && a.Faces == b.Faces && a.Solids == b.Solids &&
		a.Vertices == b.Vertices && a.NonFinite == b.NonFinite && a.Degenerate == b.Degenerate && a.Duplicate == b.Duplicate &&
		a.NormalsAgainstWinding == b.NormalsAgainstWinding && a.NormalsMissing == b.NormalsMissing && a.TrailingBytes == b.TrailingBytes
}

func TestReadSTLPassesReadErrors(t *testing.T) {
	broken := errors.New("cable pulled")
	for _, file := range []string{oneSolid[:40], string(binarySTL("", 9, face1))} {
		_, _, err := mesh.Read(io.MultiReader(strings.NewReader(file), iotest.ErrReader(broken)), mesh.ReadOptions{})
		if !errors.Is(err, broken) {
			t.Errorf("error %v", err)
		}
	}
}

// TestWriteThenRead holds for many blocks of the reader's buffer, both formats: same faces in the
// same order, positions equal bit for bit (ASCII) or rounded to float32 (binary).
func TestWriteThenRead(t *testing.T) {
	m := shape.Icosphere(17.3, 5).Mesh
	for _, format := range []string{mesh.STLBinary, mesh.STLASCII} {
		var file bytes.Buffer
		round := func(v mesh.Vec) mesh.Vec { return v }
		var err error
		if format == mesh.STLBinary {
			err = mesh.WriteSTL(&file, m, "a sphere")
			round = func(v mesh.Vec) mesh.Vec {
				return mesh.Vec{X: float64(float32(v.X)), Y: float64(float32(v.Y)), Z: float64(float32(v.Z))}
			}
		} else {
			err = mesh.WriteSTLASCII(&file, m, "a\nsphere")
		}
		if err != nil {
			t.Fatal(err)
		}
		got, stats, err := mesh.Read(&file, mesh.ReadOptions{})
		if err != nil || stats.Format != format || stats.NormalsAgainstWinding+stats.NormalsMissing > 0 {
			t.Fatalf("%v %+v", err, stats)
		}
		if len(got.Tri) != len(m.Tri) || len(got.Pos) != len(m.Pos) {
			t.Fatalf("%s: %d faces, %d vertices", format, len(got.Tri), len(got.Pos))
		}
		for f := range m.Tri {
			for k := range 3 {
				if want := round(m.Pos[m.Tri[f][k]]); got.Pos[got.Tri[f][k]] != want {
					t.Fatalf("%s: face %d corner %d at %v, want %v", format, f, k, got.Pos[got.Tri[f][k]], want)
				}
			}
		}
	}
	if err := mesh.WriteSTL(io.Discard, m, "Solid thing"); err == nil {
		t.Error("wrote a header that other programs take for text")
	}
}

// shared returns the files of a folder of scans kept beside the project, or skips.
func shared(t *testing.T, folder string) []string {
	root := os.Getenv("FORNIX_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "shared")
	}
	files, _ := filepath.Glob(filepath.Join(root, "scans", folder, "*.*"))
	if len(files) == 0 {
		t.Skip("no such scans here")
	}
	return files
}

// TestReadOddFiles reads files made to break readers: faces and vertices, or the reason.
func TestReadOddFiles(t *testing.T) {
	type want struct {
		faces, vertices int
		err             string
	}
	const ends = "the file ends early"
	table := map[string]want{
		"Spider_ascii": {faces: 1368, vertices: 722}, "Spider_binary": {faces: 1368, vertices: 722},
		"box_ascii": {faces: 12, vertices: 8}, "box_binary": {faces: 12, vertices: 8},
		"broken_empty": {err: "the file is empty"}, "empty_file": {err: "the file is empty"},
		"broken_fourVertices.ascii":            {err: "line 7: expected endloop"},
		"broken_quad.ascii":                    {err: "line 7: expected endloop"},
		"broken_incorrectFaceCounter.bin":      {err: "66 faces promised (3384 bytes), 4 whole faces came (284 bytes)"},
		"broken_missingEndsolid.ascii":         {err: ends},
		"broken_missingFace.ascii":             {faces: 3, vertices: 4},
		"broken_missingNormal.ascii":           {faces: 4, vertices: 4},
		"broken_notANumberNormal.ascii":        {faces: 4, vertices: 4},
		"broken_singleFace.ascii":              {faces: 1, vertices: 3},
		"broken_solidNameMismatch.ascii":       {faces: 4, vertices: 4},
		"broken_twoVertices.ascii":             {err: "line 6: expected vertex 3 of 3"},
		"broken_wrongHeader.bin":               {faces: 12, vertices: 8},
		"broken_wrongNormal.ascii":             {faces: 4, vertices: 4},
		"broken_wrongNormals.ascii":            {faces: 4, vertices: 4},
		"crazy_whitespace_ascii":               {faces: 1, vertices: 3},
		"exceed_ascii_line_limit":              {faces: 1, vertices: 3},
		"half_donut_ascii":                     {faces: 288, vertices: 144},
		"incomplete_binary":                    {err: "12 faces promised (684 bytes), 5 whole faces came (377 bytes)"},
		"incomplete_normal_ascii":              {err: "line 7: expected a coordinate"},
		"incomplete_vertex_ascii":              {err: "line 7: expected a coordinate"},
		"misc_faceless.ascii":                  {err: "the file holds no faces"},
		"misc_multiWordName.ascii":             {faces: 4, vertices: 4},
		"misc_multiWordName.bin":               {err: "changed as if it were text"},
		"misc_namelessSolid.ascii":             {faces: 4, vertices: 4},
		"misleading_binary_header":             {faces: 1, vertices: 3},
		"objects_gearwheel.ascii":              {faces: 2444, vertices: 1222},
		"objects_gearwheel.bin":                {faces: 2444, vertices: 1222},
		"polytopes_cube.ascii":                 {faces: 12, vertices: 8},
		"polytopes_cube.bin":                   {faces: 12, vertices: 8},
		"polytopes_cubeLarge.ascii":            {faces: 12, vertices: 8},
		"polytopes_tetrahedron.ascii":          {faces: 4, vertices: 4},
		"polytopes_tetrahedron.bin":            {faces: 4, vertices: 4},
		"polytopes_tetrahedron.min.ascii":      {faces: 4, vertices: 4},
		"polytopes_tetrahedronIrregular.ascii": {faces: 4, vertices: 4},
		"polytopes_tetrahedronIrregular.bin":   {faces: 4, vertices: 4},
		"polytopes_tetrahedronMinusZero.bin":   {faces: 4, vertices: 4},
		"polytopes_triangle.ascii":             {faces: 1, vertices: 3},
		"polytopes_triangle.bin":               {faces: 1, vertices: 3},
		"polytopes_unitCube.ascii":             {faces: 12, vertices: 8},
		"polytopes_unitCube.binary":            {faces: 12, vertices: 8},
		"simple_ascii":                         {faces: 1, vertices: 3},
		"sphereWithHole":                       {faces: 285, vertices: 146},
		"sphere_binary":                        {faces: 1360, vertices: 682},
		"stencil_binary":                       {faces: 2330, vertices: 1157},
		"triangle_with_empty_solid":            {faces: 1, vertices: 3},
		"triangle_with_two_solids":             {faces: 2, vertices: 6},
	}
	for _, path := range shared(t, "stl-oddities") {
		name := strings.TrimSuffix(filepath.Base(path), ".stl")
		w, known := table[name]
		if !known {
			t.Errorf("%s is not in the table", name)
			continue
		}
		m, stats, err := readFile(t, path)
		if w.err != "" || err != nil {
			if err == nil || w.err == "" || !strings.Contains(err.Error(), w.err) {
				t.Errorf("%s: error %v, want %q", name, err, w.err)
			}
			continue
		}
		if stats.Faces != w.faces || stats.Vertices != w.vertices || m.Validate() != nil {
			t.Errorf("%s: %d faces, %d vertices, want %d, %d", name, stats.Faces, stats.Vertices, w.faces, w.vertices)
		}
	}
}

// TestReadMouthScans checks real scanner output against what its own description says.
func TestReadMouthScans(t *testing.T) {
	type want struct{ faces, pieces, nonManifold, loops int }
	table := map[string]want{ // 0 where the description says nothing
		"lower_100k": {99999, 4, 27, 0}, "lower_gum_only": {43105, 9, 0, 0},
		"down_01_10k": {9999, 2, 0, 2}, "down_22_10k": {10000, 1, 0, 2}, "up_01_10k": {10000, 3, 0, 3},
		"up_01_flipped_10k": {10000, 3, 0, 3}, "up_02_10k": {10000, 8, 0, 8}, "up_15_10k": {9999, 3, 0, 3},
	}
	volume := make(map[string]float64)
	for _, path := range shared(t, "mouth-scans") {
		name := strings.TrimSuffix(filepath.Base(path), ".stl")
		m, stats, err := readFile(t, path)
		if err != nil || m.Validate() != nil {
			t.Fatal(name, err)
		}
		w := table[name]
		_, parts := m.Components()
		topology, loops := m.Topology(), m.Loops()
		if stats.Faces != w.faces || len(parts) != w.pieces || w.nonManifold > 0 && topology.NonManifoldEdges != w.nonManifold ||
			w.loops > 0 && len(loops) != w.loops {
			t.Errorf("%s: %d faces, %d pieces, %d non-manifold edges, %d loops, want %+v",
				name, stats.Faces, len(parts), topology.NonManifoldEdges, len(loops), w)
		}
		checkLoops(t, m, loops)
		volume[name] = m.Volume()
	}
	if a, b := volume["up_01_10k"], volume["up_01_flipped_10k"]; math.Abs(a+b) > 1e-6*math.Abs(a) {
		t.Errorf("volumes %v and %v of one scan and its inside", a, b)
	}
}

func readFile(t *testing.T, path string) (*mesh.Mesh, mesh.ReadStats, error) {
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	return mesh.Read(file, mesh.ReadOptions{})
}
