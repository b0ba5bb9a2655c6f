package render

import (
	"math"

	"fornix/inspect"
	"fornix/mesh"
)

// frameAt is a patient's frame that is no axis of the scan. Left, posterior and superior are
// right-handed, so toward_tissue, inferior in the lower jaw, makes a left-handed one there.
func frameAt(jaw inspect.Jaw) *inspect.Frame {
	t := mesh.Vec{X: 2, Y: -1, Z: 2}.Unit()
	l := mesh.Vec{X: 1, Y: 2, Z: 0}.Unit()
	p := t.Cross(l)
	if jaw == inspect.Lower {
		p = p.Scale(-1)
	}
	return &inspect.Frame{Origin: mesh.Vec{X: 40, Y: -7, Z: 12}, Left: l, Posterior: p, TowardTissue: t}
}

// slab returns a closed slab with the outline of an arch, its upper side a shallow bowl whose
// wall is the border, in the frame f: 60 mm wide, 50 mm long.
func slab(f *inspect.Frame, n int) *mesh.Mesh {
	height := func(r float64) float64 { return 8 * math.Pow(r, 6) }
	var pos []mesh.Vec
	var tri [][3]mesh.VertexID
	ring := func(r, z float64) {
		for j := range 4 * n {
			a := 2 * math.Pi * float64(j) / float64(4*n)
			pos = append(pos, f.World(mesh.Vec{X: 30 * r * math.Cos(a), Y: 25 * r * math.Sin(a), Z: z}))
		}
	}
	rows := 0
	for i := 1; i <= n; i++ {
		r := float64(i) / float64(n)
		ring(r, height(r))
		rows++
	}
	for i := n; i >= 1; i-- {
		ring(float64(i)/float64(n), -4)
		rows++
	}
	add := func(a, b, c mesh.VertexID) {
		if f.Left.Cross(f.Posterior).Dot(f.TowardTissue) < 0 {
			b, c = c, b
		}
		tri = append(tri, [3]mesh.VertexID{a, b, c})
	}
	id := func(row, j int) mesh.VertexID { return mesh.VertexID(row*4*n + j%(4*n)) }
	for row := range rows - 1 {
		for j := range 4 * n {
			add(id(row, j), id(row+1, j), id(row+1, j+1))
			add(id(row, j), id(row+1, j+1), id(row, j+1))
		}
	}
	top, low := mesh.VertexID(len(pos)), mesh.VertexID(len(pos)+1)
	pos = append(pos, f.World(mesh.Vec{}), f.World(mesh.Vec{Z: -4}))
	for j := range 4 * n {
		add(top, id(0, j), id(0, j+1))
		add(low, id(rows-1, j+1), id(rows-1, j))
	}
	return mesh.New(pos, tri)
}

func ptr[T any](v T) *T { return &v }

// fullReport says something of every kind about the slab.
func fullReport(jaw inspect.Jaw) (*mesh.Mesh, *inspect.Report) {
	f := frameAt(jaw)
	m := slab(f, 40)
	rep := &inspect.Report{Verdict: inspect.Correct}
	rep.Scan.File, rep.Jaw, rep.Frame = "case.stl", jaw, f
	rep.Surface, rep.Coverage = inspect.Impression, inspect.TwoSided
	on := func(x, y float64) mesh.Vec {
		r := math.Hypot(x/30, y/25)
		return f.World(mesh.Vec{X: x, Y: y, Z: 8 * math.Pow(r, 6)})
	}
	for j := range 160 {
		a := 2 * math.Pi * float64(j) / 160
		s := inspect.Station{Side: "outer", Apex: on(29.5*math.Cos(a), 24.5*math.Sin(a))}
		if j > 5 {
			s.ThicknessMM = ptr(1 + 4*float64(j)/160)
		}
		rep.Border.Stations = append(rep.Border.Stations, s)
	}
	find := func(code string, sev inspect.Severity, v float64, w inspect.Where) {
		n := len(rep.Findings) + 1
		rep.Findings = append(rep.Findings, inspect.Finding{Number: n, Code: code, Severity: sev, Value: &v, Unit: "mm",
			Region: "buccal left", Text: "A sentence that says what was found, how large it is and where it lies.", Where: w})
	}
	point := func(p mesh.Vec) inspect.Where { return inspect.Where{Points: []mesh.Vec{p}} }
	hole := on(-9, 4)
	rep.Holes = []inspect.Hole{{ID: 1, Centre: hole, SpanMM: 3, Rim: []mesh.Vec{on(-10, 4), on(-9, 5), on(-8, 4), on(-9, 3)}}}
	find("hole", inspect.Fail, 3, inspect.Where{Points: []mesh.Vec{hole}, Path: rep.Holes[0].Rim, RadiusMM: 1.5})
	for i, p := range []mesh.Vec{on(6, -12), on(7, -12), on(8, -12.3)} {
		rep.Defects = append(rep.Defects, inspect.Defect{ID: i, Kind: inspect.Void, Centre: p, DiameterMM: ptr(1.5)})
		find("void", inspect.Review, 1.5, point(p))
	}
	rep.Defects = append(rep.Defects,
		inspect.Defect{ID: 3, Kind: inspect.Bleb, Centre: on(12, 9), DiameterMM: ptr(2.0)},
		inspect.Defect{ID: 4, Kind: inspect.Fold, Centre: on(-12, -10), LengthMM: ptr(8.0), Path: []mesh.Vec{on(-15, -10), on(-13, -9), on(-11, -9), on(-9, -10)}})
	find("bleb", inspect.Review, 2, point(on(12, 9)))
	find("fold", inspect.Review, 8, point(on(-12, -10)))
	find("border-thin", inspect.Fail, 1.1, inspect.Where{Path: []mesh.Vec{rep.Border.Stations[6].Apex, rep.Border.Stations[10].Apex, rep.Border.Stations[14].Apex}})
	find("border-thick", inspect.Review, 4.9, inspect.Where{Path: []mesh.Vec{rep.Border.Stations[146].Apex, rep.Border.Stations[150].Apex, rep.Border.Stations[154].Apex}})
	find("posterior-short", inspect.Fail, -3, point(on(20, 18)))
	rep.Findings = append(rep.Findings, inspect.Finding{Code: "scan-coarse", Severity: inspect.Info, Text: "Not drawn."})
	rep.Landmarks = map[string]inspect.Landmark{}
	for name, p := range map[string][2]float64{"labial_frenum": {0, -24}, "buccal_frenum_left": {26, -10}, "buccal_frenum_right": {-26, -10},
		"incisive_papilla": {0, -17}, "hamular_notch_left": {21, 16}, "hamular_notch_right": {-21, 16}, "posterior_midline": {0, 23}} {
		rep.Landmarks[name] = inspect.Landmark{Point: on(p[0], p[1]), Source: "found"}
	}
	for i := range 40 {
		a := math.Pi * float64(i) / 39
		rep.Crest = append(rep.Crest, on(-22*math.Cos(a), 14-32*math.Sin(a)))
	}
	rep.Posterior.Path = []mesh.Vec{on(-20, 17), on(-7, 20), on(7, 20), on(20, 17)}
	under := func(x, y float64) mesh.Vec { return f.World(mesh.Vec{X: x, Y: y, Z: -4}) }
	rep.Occlusal = &inspect.Occlusal{Point: under(0, 0), Normal: f.TowardTissue, Tilts: map[string]inspect.Tilt{"given": {CantDeg: 1}, "crest": {PitchDeg: -2}},
		Outline: [][]mesh.Vec{{under(-20, 10), under(-20, -15), under(20, -15), under(20, 10), under(14, 10), under(14, -9), under(-14, -9), under(-14, 10)}}}
	find("rim-canted", inspect.Review, 3, point(rep.Occlusal.Point))
	rep.Findings[len(rep.Findings)-1].Number = 10
	return m, rep
}
