package phantom

import (
	"math"
	"testing"

	"fornix/mesh/tree"
)

// The truth of a pair is measured on its noiseless scans: where a ray along Up meets both flats, and
// how far the least of all is.
func TestPairTruth(t *testing.T) {
	p, ok := NamedPair("pair-back-right")
	if !ok {
		t.Fatal("no pair")
	}
	for _, j := range []*Params{&p.Upper, &p.Lower} {
		j.Spacing, j.Noise = 0.8, 0
	}
	p.Apart = true
	pr, err := MakePair(p)
	if err != nil {
		t.Fatal(err)
	}
	tr := pr.Truth
	to := tr.LowerToUpper
	at := func(m [3][4]float64, v vec) vec {
		f := func(r [4]float64) float64 { return r[0]*v.X + r[1]*v.Y + r[2]*v.Z + r[3] }
		return vec{X: f(m[0]), Y: f(m[1]), Z: f(m[2])}
	}
	if pr.Lower.Truth.Plane == nil || len(tr.Places) < 10 {
		t.Fatalf("%d places", len(tr.Places))
	}
	// The plane of the lower, carried over by the stated pose, is as far from each place as stated.
	low, up := at(to, pr.Lower.Truth.Plane.Point), pr.Upper.Truth.Plane
	nl := at(to, pr.Lower.Truth.Plane.Point.Add(pr.Lower.Truth.Plane.Normal)).Sub(low).Scale(-1)
	for _, g := range tr.Places {
		zu := up.Point.Sub(g.At).Dot(up.Normal) / tr.Up.Dot(up.Normal)
		zl := low.Sub(g.At).Dot(nl) / tr.Up.Dot(nl)
		if math.Abs(zu-zl-g.MM) > 1e-6 || math.Abs(zu+zl) > 1e-6 {
			t.Errorf("gap %.6f at %v, planes say %.6f", g.MM, g.At, zu-zl)
		}
	}
	if a := math.Acos(up.Normal.Dot(nl)) * 180 / math.Pi; math.Abs(a-tr.AngleDeg) > 1e-6 {
		t.Errorf("angle %.6f, planes say %.6f", tr.AngleDeg, a)
	}
	if math.Abs(tr.ForeAftDeg-p.ForeAft) > 0.01 || math.Abs(tr.SidewaysDeg-p.Sideways) > 0.01 || math.Abs(tr.MinMM-p.Least) > 0.02 {
		t.Errorf("%.3f %.3f deg, least %.3f mm; asked for %.3f %.3f %.3f", tr.ForeAftDeg, tr.SidewaysDeg, tr.MinMM, p.ForeAft, p.Sideways, p.Least)
	}
	// It touches behind on the right: there the gap is least, in front on the left it is widest.
	least, most := tr.Places[0], tr.Places[0]
	for _, g := range tr.Places {
		if g.MM < least.MM {
			least = g
		}
		if g.MM > most.MM {
			most = g
		}
	}
	if d := most.At.Sub(least.At); d.Dot(tr.Left) < 5 || d.Dot(tr.Posterior) > -5 {
		t.Errorf("widest less closest place: left %.1f, behind %.1f", d.Dot(tr.Left), d.Dot(tr.Posterior))
	}
	// The heights are those of rims and gap, but for how planes lean.
	sum := p.Upper.Rim.Height + p.Lower.Rim.Height + tr.MedianMM
	if math.Abs(tr.SulcusMM-sum) > 1 {
		t.Errorf("sulcus to sulcus %.2f, rims and gap %.2f", tr.SulcusMM, sum)
	}
	for _, v := range []float64{tr.CrestMM, tr.CrestRightMM, tr.CrestLeftMM, tr.OverLeftMM, tr.OverRightMM, tr.OverForwardMM} {
		if math.IsNaN(v) {
			t.Errorf("not measured: %+v", tr)
		}
	}
	t.Logf("%+v", tr)
}

// A pair in one frame needs no pose, and the scan of both lies on both and shows no rim's flat.
func TestPairClosed(t *testing.T) {
	p, _ := NamedPair("pair-sound")
	for _, j := range []*Params{&p.Upper, &p.Lower} {
		j.Spacing = 1.1
	}
	p.Closed = true
	pr, err := MakePair(p)
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range pr.Truth.LowerToUpper {
		for k, v := range r {
			want := 0.0
			if i == k {
				want = 1
			}
			if math.Abs(v-want) > 1e-9 {
				t.Errorf("pose of a pair in one frame: %v", pr.Truth.LowerToUpper)
			}
		}
	}
	// In the upper's scan, all of it lies outside the gap.
	m := pr.Truth.UpperToClosed
	up := pr.Upper.Truth.Plane
	back := func(v vec) vec {
		d := v.Sub(vec{X: m[0][3], Y: m[1][3], Z: m[2][3]})
		f := func(k int) float64 { return m[0][k]*d.X + m[1][k]*d.Y + m[2][k]*d.Z }
		return vec{X: f(0), Y: f(1), Z: f(2)}
	}
	// What looks across the gap, at the flat of the other jaw, cannot be seen, but for the outermost
	// row of some 700 vertices.
	trees := []*tree.Tree{tree.New(pr.Upper.Mesh), tree.New(pr.Lower.Mesh)}
	above, below, inside := 0, 0, 0
	for v, n := range pr.Closed.Normals() {
		q := back(pr.Closed.Pos[v])
		h := q.Sub(up.Point).Dot(up.Normal)
		d := back(pr.Closed.Pos[v].Add(n)).Sub(q)
		switch {
		case h > 1:
			above++
		case h < -1:
			below++
		case math.Abs(d.Dot(up.Normal)) > 0.95:
			other := trees[0] // what looks up is the lower's
			if d.Dot(up.Normal) < 0 {
				other = trees[1]
			}
			if _, met := other.Ray(q, d, -0.1, 0.5); met {
				inside++
			}
		}
	}
	t.Logf("%d vertices above the plane, %d below, %d in the gap", above, below, inside)
	if above < 2000 || below < 2000 || inside > 60 {
		t.Errorf("%d vertices above the plane, %d below, %d in the gap", above, below, inside)
	}
}
