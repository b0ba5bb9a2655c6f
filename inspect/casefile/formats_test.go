package casefile

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"io"
	"slices"
	"strings"
	"testing"

	"fornix/mesh"
)

// TestNamesInEveryFormat: wherever a scan can hold a name, it is seen before the scan leaves, and
// gone when it has left; the surface stays, to the bit.
func TestNamesInEveryFormat(t *testing.T) {
	const name = "Zara Quibbleton"
	m, _, err := mesh.Read(bytes.NewReader(tetra(t, false, "scan")), mesh.ReadOptions{})
	if err != nil {
		t.Fatal(err)
	}
	m.Pos[0].X += 1e-9 // more than a float32 holds
	ply := func(format string) []byte {
		var b bytes.Buffer
		if err := mesh.WritePLY(&b, m, format, name); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	var obj bytes.Buffer
	if err := mesh.WriteOBJ(&obj, m); err != nil {
		t.Fatal(err)
	}
	gz := func(scan []byte, name string) []byte {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		z.Name = name
		z.Write(scan)
		z.Close()
		return b.Bytes()
	}
	zipped := func(scan []byte, name string, method uint16) []byte {
		var b bytes.Buffer
		z := zip.NewWriter(&b)
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: method})
		if err != nil {
			t.Fatal(err)
		}
		w.Write(scan)
		z.Close()
		return b.Bytes()
	}
	named := func(line string) []byte { return append([]byte(line+"\n"), obj.Bytes()...) }
	for what, c := range map[string]struct {
		scan   []byte
		ending string
	}{
		"ply text": {ply(mesh.PLYASCII), ".ply"}, "ply little": {ply(mesh.PLYLittle), ".ply"}, "ply big": {ply(mesh.PLYBig), ".ply"},
		"ply, other line ends": {bytes.Replace(ply(mesh.PLYASCII), []byte("comment "), []byte("obj_info "), 1), ".ply"},
		"obj comment":          {named("# " + name), ".obj"}, "obj object": {named("o " + name), ".obj"}, "obj group": {named("g " + name), ".obj"}, "obj library": {named("mtllib " + name + ".mtl"), ".obj"},
		"gzip name": {gz(obj.Bytes(), "Zara Quibbleton.obj"), ".obj"}, "gzip inside": {gz(ply(mesh.PLYBig), ""), ".ply"},
		"zip name": {zipped(obj.Bytes(), "folder/Zara Quibbleton.obj", zip.Deflate), ".obj"}, "zip inside": {zipped(named("# "+name), "a.obj", zip.Deflate), ".obj"},
		"zip stored": {zipped(tetra(t, true, name), "a.stl", zip.Store), ".stl"},
	} {
		if h := Header(c.scan); !slices.ContainsFunc(LooksPersonal(h), func(s Warning) bool { return strings.Contains(s.Text, "Quibbleton") }) {
			t.Errorf("%s: header %q", what, h)
		}
		out, ending, err := ScrubHeader(c.scan)
		if err != nil || ending != c.ending {
			t.Fatal(what, ending, err)
		}
		if bytes.Contains(out, []byte("Zara")) || bytes.Contains(out, []byte("Quibb")) {
			t.Errorf("%s: the name is still there", what)
		}
		a, _, err1 := mesh.Read(bytes.NewReader(c.scan), mesh.ReadOptions{})
		b, stats, err2 := mesh.Read(bytes.NewReader(out), mesh.ReadOptions{})
		if err1 != nil || err2 != nil || stats.Packed != "" || !slices.Equal(a.Pos, b.Pos) || !slices.Equal(a.Tri, b.Tri) {
			t.Errorf("%s: another surface, %v %v", what, err1, err2)
		}
	}
	for _, scan := range []string{"ply\ncomment Zara\n", "v 0 0 0\n# Zara", "\x1f\x8b\x08", "PK\x03\x04" + strings.Repeat("\xff", 40)} {
		if out, _, err := ScrubHeader([]byte(scan)); err == nil {
			t.Errorf("%q became %q", scan, out)
		}
		io.WriteString(io.Discard, Header([]byte(scan))) // looks at anything
	}
}
