package inspect

import (
	"bytes"
	"testing"

	"github.com/google/go-cmp/cmp"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

// TestOneReportInEveryFormat: what a scan came in changes what is said of the file and nothing
// else.
func TestOneReportInEveryFormat(t *testing.T) {
	p, _ := phantom.Named("upper-voids")
	p.Spacing = 0.9
	made, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range made.Mesh.Pos { // a binary STL holds no more
		made.Mesh.Pos[i] = Vec{X: float64(float32(v.X)), Y: float64(float32(v.Y)), Z: float64(float32(v.Z))}
	}
	var want *Report
	for _, format := range []string{mesh.STLBinary, mesh.PLYBig, mesh.OBJ} {
		var b bytes.Buffer
		var err error
		switch format {
		case mesh.STLBinary:
			err = mesh.WriteSTL(&b, made.Mesh, "scan")
		case mesh.OBJ:
			err = mesh.WriteOBJ(&b, made.Mesh)
		default:
			err = mesh.WritePLY(&b, made.Mesh, format, "scan")
		}
		if err != nil {
			t.Fatal(err)
		}
		scan, err := Read(&b, "scan", ReadOptions{})
		if err != nil || scan.Info.Format != format {
			t.Fatal(scan, err)
		}
		rep := Run(scan, DefaultProtocol(), Options{}).Report
		if want == nil {
			want = rep
		}
		rep.Scan.Format, rep.Scan.SHA256, rep.Scan.Bytes = want.Scan.Format, want.Scan.SHA256, want.Scan.Bytes
		if d := cmp.Diff(want, rep); d != "" {
			t.Errorf("%s: %s", format, d)
		}
	}
}
