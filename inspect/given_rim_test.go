package inspect

import (
	"strings"
	"testing"

	"fornix/inspect/phantom"
)

// Three points on the rim's flat lead to the same plane as finding it, wherever on the flat they lie, and
// for a rim that leans more than is looked for they lead where finding does not; on no flat they lead
// to no rim, with the reason.
func TestGivenRim(t *testing.T) {
	p, _ := phantom.Named("lower-canted")
	p.Spacing = 0.8
	made, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	s := scanOf(t, made.Mesh, "rim")
	method := DefaultProtocol().Method
	found, an := Measure(s, method, Options{})
	if found.Occlusal == nil {
		t.Fatal(found.OcclusalUnmeasured)
	}
	edge := found.Occlusal.Outline[0]
	near := func(i int) Vec {
		return edge[i].Along(0.15, found.Occlusal.Point.Sub(edge[i])).Along(0.3, found.Occlusal.Normal)
	} // a hand is not steady
	on := []Vec{near(0), near(len(edge) / 3), near(2 * len(edge) / 3)}
	given, _ := Measure(s, method, Options{Given: Given{Rim: on}})
	if o := given.Occlusal; o == nil || degreesApart(o.Normal, found.Occlusal.Normal) > 0.02 || o.AreaMM2 < 0.98*found.Occlusal.AreaMM2 {
		t.Errorf("about three points on the flat: %+v (%s)", o, given.OcclusalUnmeasured)
	}
	told := false
	for _, d := range given.Decisions {
		told = told || d.About == "rim" && d.Value == "given"
	}
	if !told {
		t.Error("the report does not say that the rim was given")
	}
	// The same jaw held so that finding looks elsewhere: the direction of the tissue leans by more than the search allows.
	m := s.object(method.Object).Mesh
	normals := m.Normals()
	lean := an.Frame.TowardTissue.Along(2, an.Frame.Left).Unit() // 63 degrees
	if rim, _ := FindRim(m, normals, lean, method.Occlusal); rim != nil && degreesApart(rim.Plane.Normal.Scale(-1), found.Occlusal.Normal) < 1 {
		t.Error("the rim is found without being given, so that this tests nothing")
	}
	rim, why := FindRimAt(m, normals, [3]Vec(on), lean, method.Occlusal)
	if rim == nil || min(degreesApart(rim.Plane.Normal, found.Occlusal.Normal), 180-degreesApart(rim.Plane.Normal, found.Occlusal.Normal)) > 0.02 {
		t.Errorf("%+v (%s)", rim, why)
	}
	for i := range on { // far out of the scan
		on[i] = on[i].Along(-40, an.Frame.TowardTissue)
	}
	none, _ := Measure(s, method, Options{Given: Given{Rim: on}})
	if none.Occlusal != nil || !strings.Contains(none.OcclusalUnmeasured, NoRim) {
		t.Errorf("about points on nothing: %+v, %q", none.Occlusal, none.OcclusalUnmeasured)
	}
}

func TestReadGivenRim(t *testing.T) {
	for text, want := range map[string]string{
		`{"rim": [[0,0,5],[1,0,5],[0,1,5]]}`: "", `{"rim": [[0,0,5],[1,0,5]]}`: "three points", `{"rim": [[0,0,5],[1,0,5],[2,0,5]]}`: "one line",
		`{"rim": [[0,0,5],[1,0,5],[0,1,5],[1,1,5]]}`: "three points", `{"rim": "here"}`: "three points",
	} {
		g, err := ReadGiven(strings.NewReader(text))
		if want == "" && (err != nil || len(g.Rim) != 3) || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
			t.Errorf("%s: %v %v", text, g.Rim, err)
		}
	}
}
