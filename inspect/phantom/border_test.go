package phantom

import (
	"fmt"
	"math"
	"sort"
	"testing"
)

// The stated thickness is that of the largest ball touching the tissue surface 2 mm from the
// apex, here found on the polygons alone: along the section through the apex, then the ball that
// no vertex pierces. Low borders have another ball there than at their edge.
func TestThicknessByBall(t *testing.T) {
	if testing.Short() {
		t.Skip("makes whole impressions")
	}
	for _, c := range []struct {
		name         string
		height       float64
		other, joint int // least number of stations whose ball is not that at the edge, that ends at the wax's joint
	}{{"upper-thin", 1, 0, 0}, {"lower-sound", 1, 0, 0}, {"lower-sound", 0.6, 8, 8}} {
		name := fmt.Sprintf("%s, heights by %g", c.name, c.height)
		p, _ := Named(c.name)
		p.Noise, p.Spacing, p.Frame, p.Height = 0, 0.5, Frame{}, c.height
		m, err := prepare(&p)
		if err != nil {
			t.Fatal(err)
		}
		sf, err := m.s.polygonise(p.Spacing, 2)
		if err != nil {
			t.Fatal(err)
		}
		bins := map[[3]int][]vec{}
		bin := func(v vec) [3]int {
			return [3]int{int(math.Floor(v.X / 4)), int(math.Floor(v.Y / 4)), int(math.Floor(v.Z / 4))}
		}
		for _, v := range sf.pos {
			bins[bin(v)] = append(bins[bin(v)], v)
		}
		type said struct {
			thickness float64
			joint     bool
		}
		stated := map[vec]said{}
		for _, b := range m.truth.Border {
			for k, a := range b.Apex {
				stated[a] = said{b.Thickness[k], b.Joint[k]}
			}
		}
		var errs []float64
		other, joint := 0, 0
		for i := range m.an.deg {
			st := m.an.station(float64(i))
			if st.side == sideBack || i%3 != 0 {
				continue
			}
			want := stated[st.apex]
			before, after := m.an.station(float64(i)-0.1).apex, m.an.station(float64(i)+0.1).apex
			along := after.Sub(before).Unit()
			// Walk 2 mm over the tissue side in the plane through the apex across the border.
			q, n, _ := m.s.project(st.apex)
			inward := vec{Z: 1}.Cross(along) // the loop runs counter-clockwise
			for k := 0; k < 40; k++ {
				d := along.Cross(n).Unit()
				if d.Dot(inward) < 0 {
					d = d.Scale(-1)
				}
				if inward = d; k == 0 {
					inward = vec{Z: 1}.Cross(along)
				}
				q, n, _ = m.s.project(q.Along(0.05, d))
			}
			r := 6.0
			k := bin(q)
			for x := -2; x <= 2; x++ {
				for y := -2; y <= 2; y++ {
					for z := -2; z <= 2; z++ {
						for _, v := range bins[[3]int{k[0] + x, k[1] + y, k[2] + z}] {
							d := v.Sub(q)
							if in := -d.Dot(n); in > 0 && d.Norm() > 0.5 {
								r = math.Min(r, d.Norm2()/(2*in))
							}
						}
					}
				}
			}
			if math.Abs(want.thickness-2*st.r) > 0.1 {
				other++
			}
			if want.joint { // the polygons fill the corner
				joint++
				if d := 2*r - want.thickness; d < -0.1 || d > 1 {
					t.Errorf("%s: a ball of %.2f at the joint of the wax, stated %.2f", name, 2*r, want.thickness)
				}
				continue
			}
			errs = append(errs, 2*r-want.thickness)
		}
		if other < c.other || joint < c.joint {
			t.Errorf("%s: the ball is not that at the edge at %d stations, ends at the joint at %d, want at least %d and %d", name, other, joint, c.other, c.joint)
		}
		sort.Float64s(errs)
		at := func(f float64) float64 { return errs[int(f*float64(len(errs)-1))] }
		t.Logf("%s: %d stations, %d not as at the edge, %d at the joint; ball less stated thickness: min %.3f, 5 %% %.3f, median %.3f, 95 %% %.3f, max %.3f mm",
			name, len(errs), other, joint, at(0), at(0.05), at(0.5), at(0.95), at(1))
		// The nearest vertex of the far side lies up to 0.2 mm beside the ball's touching point, which
		// enlarges it by up to 0.2²/r, 0.04 mm.
		if math.Abs(at(0.5)) > 0.04 || at(0.05) < -0.1 || at(0.95) > 0.1 {
			t.Errorf("%s: thickness and ball disagree", name)
		}
	}
}

// A frenum's landmark is the bottom of its notch: nothing of the border beside it lies lower, also where the
// border grows thicker there and so moves it.
func TestNotchBottom(t *testing.T) {
	for _, jaw := range []string{"upper", "lower"} {
		p, _ := Named(jaw + "-sound")
		p.Frame, p.LabialFrenum.Depth, p.Stretch = Frame{}, 1.6, []Stretch{{"buccal", -1, 27, 0.95, 0}, {"buccal", 7, 32, 6.15, 0}}
		m, err := prepare(&p)
		if err != nil {
			t.Fatal(err)
		}
		const besideMM = 6
		at := m.truth.Landmarks["labial_frenum"]
		for _, b := range m.truth.Border {
			for _, a := range b.Apex {
				if b.Side == "buccal" && a.Dist(at) < besideMM && a.Z < at.Z {
					t.Errorf("%s: the border is %.2f mm lower %.1f mm beside the bottom of its notch", jaw, at.Z-a.Z, a.Dist(at))
				}
			}
		}
	}
}
