package mesh_test

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/iotest"

	"fornix/mesh"
	"fornix/mesh/shape"
)

const (
	plyHead  = "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\n"
	plyFace  = "element face 2\nproperty list uchar int vertex_indices\nend_header\n"
	square   = "0 0 0\n1 0 0\n1 1 0\n0 1 0\n"
	plySmall = plyHead + plyFace + square + "3 0 1 2\n3 0 2 3\n"
	objSmall = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nf 1 2 3\nf 1 3 4\n"
)

// plyBytes writes a binary body of single values.
func plyBytes(order binary.AppendByteOrder, values ...any) string {
	var b []byte
	for _, v := range values {
		var err error
		if b, err = binary.Append(b, order.(binary.ByteOrder), v); err != nil {
			panic(err)
		}
	}
	return string(b)
}

func packGzip(s string) string {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	io.WriteString(z, s)
	z.Close()
	return b.String()
}

// packZip packs files given as name, content, name, content …
func packZip(files ...string) string {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, _ := z.Create(files[i])
		io.WriteString(w, files[i+1])
	}
	z.Close()
	return b.String()
}

// TestReadFormats: what each format gives and why others are refused. The rules of PLY are those
// of Turk 1994, those of OBJ those of Wavefront's appendix B1; the traps of header line ends are
// those of the files that TestReadSurfaces reads.
func TestReadFormats(t *testing.T) {
	bin := strings.Replace(plyHead, "ascii", "binary_little_endian", 1) + plyFace
	four := []any{[]float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0}}
	two := []any{uint8(3), []int32{0, 1, 2}, uint8(3), []int32{0, 2, 3}}
	little := plyBytes(binary.LittleEndian, append(four, two...)...)
	big := plyBytes(binary.BigEndian, append(four, two...)...)
	ascii, obj := mesh.ReadStats{Format: "ply-ascii", Faces: 2, Solids: 1, Vertices: 4}, mesh.ReadStats{Format: "obj", Faces: 2, Solids: 1, Vertices: 4}
	stats := func(s mesh.ReadStats, change func(*mesh.ReadStats)) mesh.ReadStats { change(&s); return s }
	binary := stats(ascii, func(s *mesh.ReadStats) { s.Format = "ply-binary-little-endian" })
	noted := func(s mesh.ReadStats, notes ...string) mesh.ReadStats { s.Notes = notes; return s }
	cases := []struct {
		name, file string
		want       mesh.ReadStats
		err        string
	}{
		{name: "ply", file: plySmall, want: ascii},
		{name: "ply CR LF", file: strings.ReplaceAll(plySmall, "\n", "\r\n"), want: ascii},
		{name: "ply CR", file: strings.ReplaceAll(plySmall, "\n", "\r"), want: ascii},
		{name: "ply little endian", file: bin + little, want: binary},
		{name: "ply big endian", file: strings.Replace(bin, "little", "big", 1) + big, want: stats(ascii, func(s *mesh.ReadStats) { s.Format = "ply-binary-big-endian" })},
		{name: "ply binary, header CR LF", file: strings.ReplaceAll(bin, "\n", "\r\n") + little, want: binary},
		{name: "ply binary, header CR", file: strings.ReplaceAll(bin, "\n", "\r") + little, want: binary},
		{name: "ply binary, only end_header CR LF", file: strings.TrimSuffix(bin, "\n") + "\r\n" + little, want: binary},
		{name: "ply, other properties and elements", want: ascii,
			file: strings.Replace(plyHead, "property float x", "property uchar red\nproperty double x", 1) +
				"property list ushort float weights\nelement camera 1\nproperty float f\nelement nothing 9000000000000000000\n" +
				"element face 2\nproperty uchar alpha\nproperty list int uint vertex_index\nproperty list uchar float texcoord\nelement edge 1\nproperty int vertex1\nend_header\n" +
				"9 0 0 0 0\n9 1 0 0 2 .5 .5\n9 1 1 0 0\n9 0 1 0 0\n35\n1 3 0 1 2 0\n1 3 0 2 3 2 0 0\n7\n"},
		{name: "ply, trailing bytes", file: bin + little + "tail",
			want: noted(stats(binary, func(s *mesh.ReadStats) { s.TrailingBytes = 4 }), "4 bytes follow what the header promised and were not read.")},
		{name: "ply, not finite and unused", file: strings.Replace(plySmall, "1 1 0\n", "nan 1 0\n", 1) + "", err: "byte 196: no face of the file has finite coordinates"},
		{name: "ply, one not finite", file: strings.Replace(plySmall, "0 1 0\n", "1e39 1 0\n", 1), want: stats(ascii, func(s *mesh.ReadStats) { s.NonFinite, s.Vertices = 1, 3 })},
		{name: "ply, an unused vertex and equal ones", file: strings.Replace(strings.Replace(plySmall, "vertex 4", "vertex 6", 1), square, square+"0 0 9\n-0 0 0\n", 1),
			want: noted(stats(ascii, func(s *mesh.ReadStats) { s.Unused = 2 }), "2 points of the file belong to no face and were left out.")},
		{name: "ply, a quadrangle", file: strings.Replace(strings.Replace(plySmall, "face 2", "face 1", 1), "3 0 1 2\n3 0 2 3", "4 0 1 2 3", 1),
			want: noted(stats(ascii, func(s *mesh.ReadStats) { s.Polygons = 1 }), "1 faces of more than three corners were cut into triangles.")},
		{name: "ply, points only", file: strings.Replace(plyHead, "element vertex 4", "element vertex 1", 1) + "end_header\n0 0 0\n", err: "line 8: the PLY file holds no faces and 1 points: export the scan as faces"},
		{name: "ply, no faces", file: strings.Replace(strings.Replace(plySmall, "face 2", "face 0", 1), "3 0 1 2\n3 0 2 3\n", "", 1), err: "byte 178: the file holds no faces"},
		{name: "ply, strips", file: strings.Replace(plyHead, "vertex 4", "vertex 0", 1) + "element tristrips 1\nproperty list int int vertex_indices\nend_header\n3 0 1 2\n", err: "line 10: the PLY file holds strips of triangles and 0 points: export the scan as faces"},
		{name: "ply, ends early", file: plySmall[:len(plySmall)-3], err: "line 15: the file ends early: the header promised more"},
		{name: "ply binary, ends early", file: bin + little[:len(little)-1], err: "byte 239: the file ends early: the header promised more"},
		{name: "ply, a vertex that is not there", file: strings.Replace(plySmall, "3 0 2 3", "3 0 2 4", 1), err: "line 15: a face names vertex 4 of 4"},
		{name: "ply, a negative vertex", file: strings.Replace(plySmall, "3 0 2 3", "3 0 2 -1", 1), err: "line 15: a face names vertex -1 of 4"},
		{name: "ply, half a vertex", file: strings.Replace(plySmall, "3 0 2 3", "3 0 2 1.5", 1), err: "line 15: expected a vertex, found 1.5"},
		{name: "ply, two corners", file: strings.Replace(plySmall, "3 0 2 3", "2 0 2", 1), err: "line 15: a face has 2 corners; from 3 to 255 are read"},
		{name: "ply, faces first", file: strings.Replace(plyFace, "end_header\n", "", 1), err: `line 1: text that begins with "element", as no scan in STL, PLY or OBJ does`},
		{name: "ply, vertices after faces", file: "ply\nformat ascii 1.0\n" + strings.Replace(plyFace, "end_header\n", "element vertex 0\nend_header\n", 1), err: "line 7: the faces stand before the vertices; export the scan again"},
		{name: "ply, flat vertices", file: strings.Replace(plySmall, "property float z\n", "", 1), err: "line 1: the vertices of the PLY file have no x, y and z"},
		{name: "ply, unknown type", file: strings.Replace(plySmall, "float z", "quad z", 1), err: `line 6: PLY property "property quad z" is not known`},
		{name: "ply, unknown format", file: strings.Replace(plySmall, "ascii", "morse", 1), err: `line 2: PLY format "morse" is not known`},
		{name: "ply, no end of header", file: "ply\nformat ascii 1.0\n", err: "line 3: the PLY header has no end_header in its first 21 bytes"},
		{name: "ply, endless list", file: strings.Replace(bin, "element vertex 4", "element junk 1\nproperty list uint char x\nelement vertex 4", 1) + "\xff\xff\xff\xff\x00", err: "byte 215: the file ends early: the header promised more"},

		{name: "obj", file: objSmall, want: obj},
		{name: "obj, all that is passed over", want: obj, file: "\xEF\xBB\xBF# made by hand\r\n\r\nmtllib my scans.mtl\no jaw\ng a b\ns 1\nusemtl wax\n" +
			"v 0 0 0 1.0\nvt 0 0\nvn 0 0 1\nv 1 \\\n  0 0\nv 1 1 0 0.5 0.5 0.5\nv 0 1 0 # last\ns off\nf 1/1/1 2//1 \\\r\n 3/1\nf -4 -2 -1 # done\n"},
		{name: "obj, a face of five corners, not convex", file: "v 0 0 0\nv 2 0 0\nv 2 2 0\nv 1 0.5 0\nv 0 2 0\nf 1 2 3 4 5\n",
			want: noted(mesh.ReadStats{Format: "obj", Faces: 3, Solids: 1, Vertices: 5, Polygons: 1}, "1 faces of more than three corners were cut into triangles.")},
		{name: "obj, lines and points too", file: objSmall + "l 1 2\np 1\ncurv 0 1 1 2\n", want: noted(obj, "3 lines of points, lines, curves or curved surfaces were passed over.")},
		{name: "obj, no end of the last line", file: strings.TrimSuffix(objSmall, "\n"), want: noted(obj, "The last line has no end: the file may have been cut off.")},
		{name: "obj, not finite", file: strings.Replace(objSmall, "v 0 1 0", "v 0 inf 0", 1), want: stats(obj, func(s *mesh.ReadStats) { s.NonFinite, s.Vertices = 1, 3 })},
		{name: "obj, vertex 0", file: objSmall + "f 0 1 2\n", err: "line 7: a face names vertex 0; 4 came before it"},
		{name: "obj, vertex 5", file: objSmall + "f 5 1 2\n", err: "line 7: a face names vertex 5; 4 came before it"},
		{name: "obj, vertex -5", file: objSmall + "f -5 1 2\n", err: "line 7: a face names vertex -5; 4 came before it"},
		{name: "obj, vertex beyond counting", file: objSmall + "f 99999999999999999999 1 2\n", err: `line 7: expected a vertex of a face, found "99999999999999999999"`},
		{name: "obj, two corners", file: objSmall + "f 1 2\n", err: "line 7: a face has 2 corners"},
		{name: "obj, no number", file: "v 0 0 x\n", err: `line 1: expected a coordinate, found "x"`},
		{name: "obj, a number short", file: "v 0 0\nv 1 1 1\n", err: `line 1: expected a coordinate, found the end of the line`},
		{name: "obj, other words", file: objSmall + "hello\n", err: `line 7: expected a line of an OBJ file, found "hello"`},
		{name: "obj, no faces", file: "v 0 0 0\n", err: "byte 8: the file holds no faces"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			for _, packed := range []string{"", mesh.Gzip, mesh.Zip} {
				file := c.file
				switch packed {
				case mesh.Gzip:
					file = packGzip(file)
				case mesh.Zip:
					file = packZip("folder/", "", "folder/scan.stl", file, "__MACOSX/folder/._scan.stl", "x", "read me.txt", "hello")
				}
				for _, r := range []io.Reader{strings.NewReader(file), iotest.HalfReader(strings.NewReader(file)), iotest.DataErrReader(iotest.OneByteReader(strings.NewReader(file)))} {
					m, got, err := mesh.Read(r, mesh.ReadOptions{})
					if c.err != "" {
						var format *mesh.FormatError
						if !errors.As(err, &format) || err.Error() != c.err {
							t.Fatalf("%s: error %v, want %s", packed, err, c.err)
						}
						continue
					}
					if err != nil {
						t.Fatal(packed, err)
					}
					want := c.want
					want.Bytes, want.Packed = int64(len(file)), packed
					if fmt.Sprintf("%+v", got) != fmt.Sprintf("%+v", want) {
						t.Errorf("%s: stats\n %+v, want\n %+v", packed, got, want)
					}
					if err := m.Validate(); err != nil || len(m.Tri) != got.Faces-got.NonFinite || len(m.Pos) != got.Vertices {
						t.Errorf("mesh of %d faces and %d vertices, %v", len(m.Tri), len(m.Pos), err)
					}
				}
			}
		})
	}
}

// TestPackedFaults: what is refused of packed files.
func TestPackedFaults(t *testing.T) {
	bomb := packGzip("solid" + strings.Repeat(" ", 90<<20))
	broken := []byte(packGzip(plySmall))
	broken[len(broken)-5] ^= 1 // of the checksum and the length at the end
	locked := []byte(packZip("a.stl", oneSolid))
	locked[6] |= 1
	locked[bytes.LastIndex(locked, []byte("PK\x01\x02"))+8] |= 1
	for name, c := range map[string]struct{ file, err string }{
		"gzip cut off":     {packGzip(plySmall)[:60], "the gzip file ends early"},
		"gzip checksum":    {string(broken), "the gzip file cannot be unpacked (gzip: invalid checksum)"},
		"gzip in gzip":     {packGzip(packGzip(plySmall)), "a gzip file inside a gzip file is not read: unpack it first"},
		"zip in gzip":      {packGzip(packZip("a.stl", oneSolid)), "a zip file inside a gzip file is not read: unpack it first"},
		"bomb":             {bomb, "grows to more than 100 times its size"},
		"bomb in zip":      {packZip("a.stl", "solid"+strings.Repeat(" ", 90<<20)), "grows to more than 100 times its size"},
		"zip cut off":      {packZip("a.stl", oneSolid)[:60], "the list of files that ends every zip archive is not there"},
		"empty zip":        {packZip(), "there is no scan (STL, PLY or OBJ) among the 0 files of the zip archive"},
		"zip without scan": {packZip("a.txt", "x", "b.txt", "y"), "there is no scan (STL, PLY or OBJ) among the 2 files of the zip archive"},
		"two scans":        {packZip("a.stl", oneSolid, `up\b.ply`, plySmall), `the zip archive holds 2 scans ("a.stl", "up\\b.ply" …): unpack it and give each by itself`},
		"password":         {string(locked), `"a.stl" in the zip archive is locked by a password`},
		"empty inside":     {packZip("a.stl", ""), "the file is empty"},
	} {
		_, _, err := mesh.Read(strings.NewReader(c.file), mesh.ReadOptions{})
		var format *mesh.FormatError
		if !errors.As(err, &format) || !strings.Contains(err.Error(), c.err) {
			t.Errorf("%s: error %v, want %s", name, err, c.err)
		}
	}
	// One scan by any name, or by a name that would lead elsewhere.
	for _, name := range []string{"scan", "../../a.stl", `..\a.stl`, "/etc/a.stl"} {
		if _, _, err := mesh.Read(strings.NewReader(packZip(name, oneSolid)), mesh.ReadOptions{}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	pulled := errors.New("cable pulled")
	for _, file := range []string{packGzip(plySmall)[:60], packZip("a.stl", oneSolid)[:60], plySmall[:190], objSmall[:40]} {
		if _, _, err := mesh.Read(io.MultiReader(strings.NewReader(file), iotest.ErrReader(pulled)), mesh.ReadOptions{}); !errors.Is(err, pulled) {
			t.Errorf("error %v", err)
		}
	}
}

// TestMostFaces: more faces than are asked for, and more than the bytes could name, are refused.
func TestMostFaces(t *testing.T) {
	for _, file := range []string{plySmall, objSmall, strings.Repeat(oneSolid, 2), string(binarySTL("", 2, face1, face2))} {
		if _, _, err := mesh.Read(strings.NewReader(file), mesh.ReadOptions{MostFaces: 2}); err != nil {
			t.Error(err)
		}
		_, _, err := mesh.Read(strings.NewReader(file), mesh.ReadOptions{MostFaces: 1})
		if err == nil || !strings.Contains(err.Error(), "the file has more than 1 faces, which is more than fornix reads") {
			t.Error(err)
		}
	}
	dense := strings.NewReplacer("ascii", "binary_little_endian", "face 2", "face 500", "uchar int", "uchar uchar").Replace(plyHead+plyFace) +
		plyBytes(binary.LittleEndian, []float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0}) + strings.Repeat("\xfc"+strings.Repeat("\x00\x01\x02\x03", 63), 500)
	if _, _, err := mesh.Read(strings.NewReader(dense), mesh.ReadOptions{}); err == nil || !strings.Contains(err.Error(), "no scan has so many on so few vertices") {
		t.Error(err)
	}
}

// TestOneSurfaceInEveryFormat: the same faces give the same mesh, to the bit and to the number of
// each vertex, whatever they were written in.
func TestOneSurfaceInEveryFormat(t *testing.T) {
	m := shape.Icosphere(17.3, 5).Mesh
	for i, p := range m.Pos { // a binary file holds no more
		m.Pos[i] = mesh.Vec{X: float64(float32(p.X)), Y: float64(float32(p.Y)), Z: float64(float32(p.Z))}
	}
	var want *mesh.Mesh
	for _, format := range []string{mesh.STLBinary, mesh.STLASCII, mesh.PLYASCII, mesh.PLYLittle, mesh.PLYBig, mesh.OBJ} {
		var b bytes.Buffer
		var err error
		switch format {
		case mesh.STLBinary:
			err = mesh.WriteSTL(&b, m, "a sphere")
		case mesh.STLASCII:
			err = mesh.WriteSTLASCII(&b, m, "a sphere")
		case mesh.OBJ:
			err = mesh.WriteOBJ(&b, m)
		default:
			err = mesh.WritePLY(&b, m, format, "a\nsphere")
		}
		if err != nil {
			t.Fatal(err)
		}
		for _, file := range []string{b.String(), packGzip(b.String()), packZip("sphere", b.String())} {
			got, stats, err := mesh.Read(strings.NewReader(file), mesh.ReadOptions{})
			if err != nil || stats.Format != format || len(stats.Notes) > 0 {
				t.Fatal(format, stats, err)
			}
			if want == nil {
				want = got
			}
			if !slices.Equal(got.Pos, want.Pos) || !slices.Equal(got.Tri, want.Tri) || len(got.Tri) != len(m.Tri) {
				t.Errorf("%s gives another mesh", format)
			}
		}
	}
	broken := errors.New("disk full")
	for _, write := range []func(io.Writer) error{
		func(w io.Writer) error { return mesh.WriteOBJ(w, m) },
		func(w io.Writer) error { return mesh.WritePLY(w, m, mesh.PLYASCII, "") },
		func(w io.Writer) error { return mesh.WritePLY(w, m, mesh.PLYBig, "") },
	} {
		if err := write(fullWriter{broken}); !errors.Is(err, broken) {
			t.Error("error", err)
		}
	}
}

type fullWriter struct{ err error }

func (w fullWriter) Write([]byte) (int, error) { return 0, w.err }

// TestPolygons: a polygon's triangles have its area and no other sign, whichever corner comes
// first. Areas are by the shoelace formula.
func TestPolygons(t *testing.T) {
	comb := func(teeth int) (p []mesh.Vec) { // far from convex: every second corner is a valley
		for i := range teeth {
			p = append(p, mesh.Vec{X: float64(2 * i), Y: 10}, mesh.Vec{X: float64(2*i + 1), Y: 0.1})
		}
		return append(p, mesh.Vec{X: float64(2 * teeth), Y: 10}, mesh.Vec{X: float64(2 * teeth), Y: -1}, mesh.Vec{Y: -1})
	}
	ring := func(n int) (p []mesh.Vec) {
		for i := range n {
			s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			p = append(p, mesh.Vec{X: c, Y: s})
		}
		return p
	}
	keyhole := []mesh.Vec{{}, {X: 4}, {X: 4, Y: 4}, {Y: 4}, {}, {X: 1, Y: 1}, {X: 1, Y: 3}, {X: 3, Y: 3}, {X: 3, Y: 1}, {X: 1, Y: 1}}
	for name, flat := range map[string][]mesh.Vec{"comb": comb(9), "ring": ring(40), "keyhole": keyhole, "dart": {{}, {X: 2, Y: 1}, {Y: 2}, {X: 1, Y: 1}}} {
		area := 0.0
		for i, p := range flat {
			q := flat[(i+1)%len(flat)]
			area += (p.X*q.Y - q.X*p.Y) / 2
		}
		sets := map[string]bool{}
		for turn := range flat {
			var b strings.Builder
			for _, p := range flat { // in a slanted plane
				fmt.Fprintf(&b, "v %v %v %v\n", p.X, 0.6*p.Y, 0.8*p.Y)
			}
			b.WriteString("f")
			for i := range flat {
				fmt.Fprintf(&b, " %d", (i+turn)%len(flat)+1)
			}
			b.WriteString("\n")
			m, stats, err := mesh.Read(strings.NewReader(b.String()), mesh.ReadOptions{})
			if err != nil || stats.Faces != len(flat)-2 || stats.Polygons != 1 {
				t.Fatal(name, stats, err)
			}
			signed, all := 0.0, 0.0
			for f := range m.Tri {
				a := m.FaceArea(mesh.FaceID(f))
				all += a
				signed += a * m.FaceNormal(mesh.FaceID(f)).Dot(mesh.Vec{Y: -0.8, Z: 0.6})
			}
			if math.Abs(all-math.Abs(area)) > 1e-9 || math.Abs(signed-area) > 1e-9 {
				t.Errorf("%s from corner %d: area %v, signed %v, want %v", name, turn, all, signed, area)
			}
			var set []string
			for f := range m.Tri {
				p, q, r := m.Corners(mesh.FaceID(f))
				s := []string{fmt.Sprint(p), fmt.Sprint(q), fmt.Sprint(r)}
				slices.Sort(s)
				set = append(set, strings.Join(s, ""))
			}
			slices.Sort(set)
			sets[strings.Join(set, "\n")] = true
		}
		if name == "dart" && len(sets) != 1 { // no two of its diagonals are equal
			t.Errorf("%s is cut in %d ways", name, len(sets))
		}
	}
}

// TestReadSurfaces reads PLY and OBJ files made to break readers: faces, vertices, and how the
// faces hang together; or why not. issue623.ply has lost the line that begins its faces.
func TestReadSurfaces(t *testing.T) {
	type want struct{ faces, vertices, pieces, loops, nonManifoldEdges, nonManifoldVertices, conflicts, euler int }
	table := map[string]want{
		"blub_open.obj":                          {11648, 5857, 1, 1, 0, 0, 0, 1},
		"cube_binary_header_with_RN_newline.ply": {12, 8, 1, 0, 0, 0, 0, 2},
		"cube_binary_starts_with_nl.ply":         {12, 8, 1, 0, 0, 0, 0, 2},
		"cube_soup.obj":                          {12, 8, 1, 0, 0, 0, 0, 2},
		"float-color.ply":                        {1, 3, 1, 1, 0, 0, 0, 1},
		"grid_holes.obj":                         {494, 289, 2, 12, 0, 11, 0, -13},
		"hemisphere.obj":                         {640, 341, 1, 1, 0, 0, 0, 1},
		"moebius-160-10.ply":                     {2880, 1600, 1, 1, 0, 0, 9, 0},
		"narrow_triangles.obj":                   {46, 34, 1, 1, 0, 0, 0, 1},
		"nonmanifold_edge.obj":                   {6, 8, 1, 2, 1, 0, 0, 1},
		"nonmanifold_vertex.obj":                 {4, 7, 2, 2, 0, 1, 0, 1},
		"nonoriented_edge.obj":                   {4, 6, 1, 1, 0, 0, 1, 1},
		"plane.obj":                              {60302, 33304, 286, 425, 885, 118, 43, 407},
		"plate_crash.obj":                        {22, 13, 1, 0, 0, 0, 0, 2},
		"prout.obj":                              {1937, 1023, 1, 16, 20, 4, 18, -6},
		"torus3_in.obj":                          {1728, 864, 3, 0, 0, 0, 55, 0},
	}
	for _, path := range shared(t, "surfaces") {
		name := filepath.Base(path)
		m, stats, err := readFile(t, path)
		if err != nil {
			if name != "issue623.ply" || err.Error() != "line 15: expected the length of a list, found 7.941797" {
				t.Error(name, err)
			}
			continue
		}
		topo := m.Topology()
		_, parts := m.Components()
		got := want{stats.Faces, stats.Vertices, len(parts), len(m.Loops()), topo.NonManifoldEdges, topo.NonManifoldVertices, topo.WindingConflicts, topo.Euler}
		if got != table[name] || m.Validate() != nil {
			t.Errorf("%s: %+v, want %+v", name, got, table[name])
		}
	}
}
