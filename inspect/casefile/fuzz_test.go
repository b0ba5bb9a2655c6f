package casefile

import (
	"bytes"
	"testing"

	"fornix/mesh"
)

// FuzzCase: any text is a case or an error; a case is the same after it was written and read.
func FuzzCase(f *testing.F) {
	var b bytes.Buffer
	for _, stage := range []string{FinalImpression, ToothSetUp} {
		if err := WriteTemplate(&b, stage); err != nil {
			f.Fatal(err)
		}
		f.Add(b.Bytes())
		b.Reset()
	}
	f.Add([]byte("[order]\nnumber = \"2024-117\"\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		k, err := Read(bytes.NewReader(text), "case.toml")
		if err != nil {
			return
		}
		k.Missing("")
		var once, twice bytes.Buffer
		if err := Write(&once, k); err != nil {
			t.Fatal(err)
		}
		again, err := Read(bytes.NewReader(once.Bytes()), "case.toml")
		if err != nil {
			t.Fatalf("what was written cannot be read: %v\n%s", err, once.Bytes())
		}
		if err := Write(&twice, again); err != nil || !bytes.Equal(once.Bytes(), twice.Bytes()) {
			t.Fatalf("changed by writing: %v", err)
		}
	})
}

// FuzzHeader: whatever a scan's bytes, looking at its free text does no harm, and what leaves the
// house is a scan with as many faces and no free text that could name anybody.
func FuzzHeader(f *testing.F) {
	f.Add([]byte("solid Zara\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid Zara\n"))
	f.Add([]byte("ply\nformat ascii 1.0\ncomment Zara\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_index\nend_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n"))
	f.Add([]byte("# Zara\no Quibbleton\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"))
	f.Add([]byte("PK\x03\x04\x14\x00\x00\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x05\x00\x00\x00a.stl\x03\x00"))
	f.Add([]byte("\x1f\x8b\x08\x08\x00\x00\x00\x00\x00\xffZara.stl\x00\x03\x00\x00\x00\x00\x00\x00\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, scan []byte) {
		LooksPersonal(Header(scan))
		out, ending, err := ScrubHeader(scan)
		if err != nil {
			return
		}
		if ending != mesh.Ending("a"+ending) || ending == "" {
			t.Errorf("ending %q", ending)
		}
		if again, _, err := ScrubHeader(out); err != nil || !bytes.Equal(again, out) {
			t.Fatalf("%q, scrubbed again: %v", out, err)
		}
		a, _, err1 := mesh.Read(bytes.NewReader(scan), mesh.ReadOptions{})
		b, _, err2 := mesh.Read(bytes.NewReader(out), mesh.ReadOptions{})
		if err1 == nil && (err2 != nil || len(a.Tri) != len(b.Tri)) {
			t.Fatalf("%v after %v", err2, err1)
		}
	})
}
