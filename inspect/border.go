package inspect

import (
	"math"

	"fornix/mesh"
	"fornix/mesh/tree"
)

// BorderMethod holds the lengths with which the border is measured.
type BorderMethod struct {
	DownMM    float64 `toml:"down_mm"`    // from the apex along the section's surface to where the ball touches
	NormalMM  float64 `toml:"normal_mm"`  // radius over which the normal there is averaged: a ball pressed in at a slant is too small
	LargestMM float64 `toml:"largest_mm"` // largest ball that is tried
	DeepShare float64 `toml:"deep_share"` // share of a ball's radius that surface of any direction may reach into it
	FacingDeg float64 `toml:"facing_deg"` // least angle between the normals of the touched place and of a face that may stop the ball
}

// MeasureBorder measures thickness and height all around the periphery.
//
// What: the diameter of the largest ball that fits inside the material and touches the tissue
// surface 2 mm from the border's apex, and the apex's height above the ridge crest.
// How: sections across the arch every half millimetre; in each the apex is the point farthest
// toward the tissue; from it the section's surface is followed toward the crest; at 2 mm the
// ball is shrunk until it no longer reaches through the far wall.
// What it cannot see: a scan without its outer surface has no thickness; a station whose
// section is broken by an opening has none either.
//
// Based on: the shrinking-ball medial axis (Ma, Bae & Choi 2012, Visual Computer 28:7).
//
// normals point out of the material; turn is the standard uncertainty, in radians, of the direction along which heights run.
func MeasureBorder(m *mesh.Mesh, t *tree.Tree, normals []Vec, an *Anatomy, g Grain, turn float64, bm BorderMethod) Border {
	b := Border{Stations: []Station{}, Regions: []BorderRegion{}}
	if an.Surface != Impression {
		b.Unmeasured = "the surface shows the jaw itself; it has no border of an impression"
		return b
	}
	if an.Coverage != TwoSided {
		b.ThicknessUnmeasured = "the scan lacks its outer surface"
	}
	facing := newSmoothNormals(m, normals, an.flip())
	from := 0
	run := func(side string, s []slice, pick func(*slice) *apex) {
		for i := range s {
			a := pick(&s[i])
			if a == nil {
				continue
			}
			st := Station{Side: side, Apex: an.Frame.World(a.p)}
			if s[i].basin > 0 {
				crest, crestU := an.crestBeside(a.p)
				h := a.p.Z - crest.Z
				st.HeightMM = &h
				st.HeightUMM = ptr(math.Hypot(crestU, turn*math.Hypot(a.p.X-crest.X, a.p.Y-crest.Y)))
			}
			st.Region = an.borderRegion(side, a.p)
			switch {
			case b.ThicknessUnmeasured != "":
				st.Unmeasured = b.ThicknessUnmeasured
			default:
				p, f, ok := s[i].below(a, bm.DownMM, side == "posterior")
				if !ok {
					st.Unmeasured = "the section is broken by an opening in the scan"
					break
				}
				q := an.Frame.World(p)
				n := meanNormal(t, q, f, bm.NormalMM, facing)
				if d, ok := ballDiameter(t, q, n, bm, facing); ok {
					st.ThicknessMM = &d
				} else {
					st.Unmeasured = "no opposite surface within reach"
				}
			}
			b.Stations = append(b.Stations, st)
		}
		b.LengthMM += paced(b.Stations[from:])
		spreadStations(b.Stations[from:], g, bm)
		from = len(b.Stations)
	}
	run("outer", an.slices, func(s *slice) *apex { return s.outer })
	if an.Jaw == Lower {
		run("lingual", an.slices, func(s *slice) *apex { return s.inner })
	} else {
		run("posterior", an.rear, func(s *slice) *apex { return s.outer })
	}
	b.Regions = sumRegions(b.Stations)
	if len(b.Stations) == 0 {
		b.Unmeasured = "no border was found around the trough"
	}
	return b
}

// paceReach is how many stations to either side tell which way the border runs on.
const paceReach = 4

// paced fills in how far along the border each station lies and returns the length in all. An apex is known
// along the border far better than across it, and steps that zigzag add up to more than the way: each
// counts as far as it leads along the line from the stations before to those behind.
func paced(st []Station) (sum float64) {
	for i := 1; i < len(st); i++ {
		way := st[min(len(st)-1, i-1+paceReach)].Apex.Sub(st[max(0, i-paceReach)].Apex)
		if step := st[i].Apex.Sub(st[i-1].Apex); way != (Vec{}) {
			sum += math.Max(0, step.Dot(way.Unit()))
		}
		st[i].SMM = sum
	}
	return sum
}

// below returns the point of the section's surface the given length from the apex toward the
// tissue surface, and its face.
func (s *slice) below(a *apex, length float64, rear bool) (Vec, mesh.FaceID, bool) {
	dir := 0
	if rear {
		dir = s.forward(a)
	} else {
		dir = s.inward(a, 25)
	}
	if dir == 0 {
		return Vec{}, 0, false
	}
	c := &s.contours[a.contour]
	i, left := a.index, length
	from := a.p
	for {
		j, ok := c.step(i, dir)
		if !ok {
			return Vec{}, 0, false
		}
		d := from.Dist(c.pts[j])
		if d >= left {
			return from.Along(left/d, c.pts[j].Sub(from)), c.segment(i, dir), true
		}
		left -= d
		from, i = c.pts[j], j
	}
}

// forward returns the direction along a rear section from the apex over the tissue surface: the
// one that stays nearer the tissue after a few millimetres.
func (s *slice) forward(a *apex) int {
	c := &s.contours[a.contour]
	best, dir := math.Inf(-1), 0
	for _, d := range [2]int{1, -1} {
		i, walked := a.index, 0.0
		for walked < 5 {
			j, ok := c.step(i, d)
			if !ok {
				break
			}
			walked += c.pts[i].Dist(c.pts[j])
			i = j
		}
		if walked >= 3 && c.pts[i].Z > best {
			best, dir = c.pts[i].Z, d
		}
	}
	return dir
}

// meanNormal averages the outward normals of the faces within r of p that do not turn more than
// 60 degrees from the surroundings of the face that p lies on.
func meanNormal(t *tree.Tree, p Vec, f mesh.FaceID, r float64, smooth *smoothNormals) Vec {
	m, own := smooth.m, smooth.face(f)
	var sum Vec
	t.Ball(p, r, func(g mesh.FaceID) bool {
		n := m.FaceNormal(g).Scale(smooth.flip)
		if d := m.Centroid(g).Dist(p); d < r && n.Dot(own) > 0.5 {
			sum = sum.Along(m.FaceArea(g)*(1-d/r), n)
		}
		return true
	})
	if sum.Norm2() == 0 {
		return own
	}
	return sum.Unit()
}

// ballDiameter shrinks a ball that touches the surface at p, whose outward normal is n, until
// no facing part of the surface lies inside it. Each step replaces the ball by the one through
// p and the nearest point of the facing surface, so the radius falls monotonically.
func ballDiameter(t *tree.Tree, p, n Vec, bm BorderMethod, smooth *smoothNormals) (float64, bool) {
	limit := math.Cos(bm.FacingDeg * math.Pi / 180)
	facing := func(f mesh.FaceID) bool { return smooth.face(f).Dot(n) < limit }
	r := bm.LargestMM / 2
	for it := 0; it < 60; it++ {
		c := p.Along(-r, n)
		h, ok := t.Nearest(c, r*1.0001, facing)
		if !ok || h.Dist >= r-1e-5 {
			// Beside a step of the border no wall need face the place: surface of any
			// direction deep inside the ball still shows that it is too large.
			if h, ok = t.Nearest(c, r*(1-bm.DeepShare), nil); !ok {
				return 2 * r, it > 0
			}
		}
		v := p.Sub(h.Point)
		den := 2 * n.Dot(v)
		if den <= 0 {
			return 0, false
		}
		nr := v.Norm2() / den
		if nr >= r-1e-7 {
			return 2 * r, true
		}
		r = nr
	}
	return 2 * r, true
}

// smoothNormals gives a face the normal of its surroundings: single needle-shaped faces of a
// noisy scan point anywhere. Unit vectors at the vertices are averaged twice with those of their
// neighbours, where they are asked for. Not safe for concurrent use.
type smoothNormals struct {
	m    *mesh.Mesh
	flip float64
	v    [3][]Vec // #V: as given, averaged once, and twice; zero where not asked for yet
}

func newSmoothNormals(m *mesh.Mesh, normals []Vec, flip float64) *smoothNormals {
	return &smoothNormals{m, flip, [3][]Vec{normals, make([]Vec, len(normals)), make([]Vec, len(normals))}}
}

func (s *smoothNormals) face(f mesh.FaceID) Vec {
	t := s.m.Tri[f]
	return s.at(2, t[0]).Add(s.at(2, t[1])).Add(s.at(2, t[2])).Unit()
}

// at is the vector at v after so many rounds.
func (s *smoothNormals) at(rounds int, v mesh.VertexID) Vec {
	n := &s.v[rounds][v]
	if rounds == 0 || *n != (Vec{}) {
		return *n
	}
	sum := s.at(rounds-1, v)
	for _, c := range s.m.CornersAt(v) {
		sum = sum.Add(s.at(rounds-1, s.m.Vertex(c.Next()))).Add(s.at(rounds-1, s.m.Vertex(c.Prev())))
	}
	*n = sum.Unit()
	return *n
}

func ptr[T any](v T) *T { return &v }
