package inspect

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"

	"fornix/mesh"
)

// FrameMethod holds the lengths with which a jaw is found on a scan.
type FrameMethod struct {
	CellMM       float64 `toml:"cell_mm"`        // cell of the height maps
	CoreMM       float64 `toml:"core_mm"`        // radius about the arch's centre that no section enters
	StepMM       float64 `toml:"step_mm"`        // spacing of the sections along the crest
	TroughMM     float64 `toml:"trough_mm"`      // least depth of a trough, or height of a ridge, that tells the tissue side
	ToothMM      float64 `toml:"tooth_mm"`       // typical relief along the crest in front from which it bears teeth: real ones give 0.34 to 0.91, made ridges up to 0.02
	BasinMM      float64 `toml:"basin_mm"`       // least depth of the trough in one section for its bottom to be the crest
	FloorMM      float64 `toml:"floor_mm"`       // height above its bottom up to which the trough's floor tells where the crest runs
	CrestMM      float64 `toml:"crest_mm"`       // length of sections to each side through which the crest is laid
	AxisDeg      float64 `toml:"axis_deg"`       // standard uncertainty of the way to the tissue, each way: the crest's plane is not quite the patient's
	ApexMM       float64 `toml:"apex_mm"`        // depth of the border roll's top to which the circle is fitted that gives the apex
	ExtentMinMM  float64 `toml:"extent_min_mm"`  // smallest bounding-box diagonal of a jaw
	ExtentMaxMM  float64 `toml:"extent_max_mm"`  // largest
	SymmetryMM   float64 `toml:"symmetry_mm"`    // height difference that left and right may have and still be alike
	MirrorShare  float64 `toml:"mirror_share"`   // least share of an impression that has its like on the other side
	BulgeShare   float64 `toml:"bulge_share"`    // least part of the arch's half width by which its front stands out
	SmallPieceMM float64 `toml:"small_piece_mm"` // pieces with a smaller extent take no part in finding the jaw
}

// orientation is what the height maps tell of a scan before any landmark is known.
type orientation struct {
	up        Vec // toward the tissue
	back      Vec // posterior
	jaw       Jaw
	surface   string
	coverage  string
	insideOut bool
	centre    Vec // on the midline, level with the middle of the front's arc
	radius    float64
	match     float64 // share of the surface that has its like on the other side
	decisions []Decision
}

// sight is a scan seen along an axis: positions about mid in a frame whose z is the axis.
type sight struct {
	e1, e2, axis Vec
	mid          Vec
	g            *grid
}

// look sees the body along an axis, with the grid's first side as near to ahead as it can lie.
func look(m *mesh.Mesh, body []mesh.FaceID, mid, axis, ahead Vec, cell float64) *sight {
	s := &sight{axis: axis, mid: mid}
	s.e1 = ahead.Along(-ahead.Dot(axis), axis).Unit()
	s.e2 = axis.Cross(s.e1)
	loc := make([]Vec, len(m.Pos))
	for i, p := range m.Pos {
		d := p.Sub(s.mid)
		loc[i] = Vec{X: d.Dot(s.e1), Y: d.Dot(s.e2), Z: d.Dot(axis)}
	}
	s.g = newGrid(loc, m.Tri, body, cell)
	return s
}

func (s *sight) world(x, y, z float64) Vec {
	return s.mid.Along(x, s.e1).Along(y, s.e2).Along(z, s.axis)
}

// principal is where a surface's area lies: its centroid and principal axes, the thinnest
// direction first, each pointing to the side of the longer tail (positive third moment).
type principal struct {
	centre Vec
	axis   [3]Vec
}

// principalAxes returns the axes from which the search for the jaw starts. Being the surface's
// own, they turn with it, whatever axes the scanner has and however the faces are cut. ok is
// false where the thinnest direction is not one direction.
func principalAxes(m *mesh.Mesh, body []mesh.FaceID) (pr principal, ok bool) {
	whole := integrals(body, func(f mesh.FaceID, sum *[9]float64) {
		a := m.FaceArea(f)
		p, q, r := m.Corners(f)
		c := p.Add(q).Add(r)
		sum[0] += a
		sum[1] += float64(a / 3 * c.X)
		sum[2] += float64(a / 3 * c.Y)
		sum[3] += float64(a / 3 * c.Z)
	})
	area, c := whole[0], Vec{X: whole[1], Y: whole[2], Z: whole[3]}
	if !(area > 0) || !c.Finite() {
		return pr, false
	}
	pr.centre = c.Scale(1 / area)
	moment := integrals(body, func(f mesh.FaceID, sum *[9]float64) {
		a := m.FaceArea(f)
		p, q, r := m.Corners(f)
		// The middles of the sides give a quadratic's integral exactly.
		for _, d := range [3]Vec{p.Add(q), q.Add(r), r.Add(p)} {
			d = d.Scale(0.5).Sub(pr.centre)
			v := [3]float64{d.X, d.Y, d.Z}
			for i := range 3 {
				for j := i; j < 3; j++ {
					sum[3*i+j] += float64(a / 3 * v[i] * v[j])
				}
			}
		}
	})
	var eig mat.EigenSym
	if !eig.Factorize(mat.NewSymDense(3, moment[:]), true) {
		return pr, false
	}
	val := eig.Values(nil)
	var ev mat.Dense
	eig.VectorsTo(&ev)
	for k := range pr.axis {
		pr.axis[k] = Vec{X: ev.At(0, k), Y: ev.At(1, k), Z: ev.At(2, k)}.Unit()
	}
	skew := integrals(body, func(f mesh.FaceID, sum *[9]float64) {
		a := m.FaceArea(f)
		p, q, r := m.Corners(f)
		p, q, r = p.Sub(pr.centre), q.Sub(pr.centre), r.Sub(pr.centre)
		for k, e := range pr.axis {
			x, y, z := p.Dot(e), q.Dot(e), r.Dot(e)
			// Exact for a cubic: corners, middles of the sides, centroid.
			sum[k] += a * ((cube(x)+cube(y)+cube(z))/20 + (cube((x+y)/2)+cube((y+z)/2)+cube((z+x)/2))*2/15 + cube((x+y+z)/3)*9/20)
		}
	})
	for k := range pr.axis {
		if skew[k] < 0 {
			pr.axis[k] = pr.axis[k].Scale(-1)
		}
	}
	return pr, pr.axis[0].Finite() && val[0] < 0.95*val[1]
}

// integrals sums what is added for each face, in pieces on all processors; the order of the sum is the same
// for any number of them.
func integrals(body []mesh.FaceID, add func(f mesh.FaceID, sum *[9]float64)) (all [9]float64) {
	const piece = 1 << 14
	sums := make([][9]float64, (len(body)+piece-1)/piece)
	mesh.InPieces(len(body), piece, func(lo, hi int) {
		var sum [9]float64
		for _, f := range body[lo:hi] {
			add(f, &sum)
		}
		sums[lo/piece] = sum
	})
	for _, s := range sums {
		for k, v := range s {
			all[k] += v
		}
	}
	return all
}

func cube(x float64) float64 { return x * x * x }

// orient finds which way a scan lies. The reason is told where it cannot.
//
// The thin axis of the surface is the line of sight; the arch is its own mirror image, so the
// midline is the line about which the height map matches itself best; the arch is narrower in
// front; the palate covers the middle of an upper; and the tissue side is the one on which the
// arch is a trough (an impression) or, where there is none, a ridge (a cast or a mouth).
func orient(m *mesh.Mesh, body []mesh.FaceID, fm FrameMethod, given Jaw) (*orientation, string) {
	pr, ok := principalAxes(m, body)
	if !ok {
		return nil, "the surface has no flat side: no jaw could be found in it"
	}
	var o *orientation
	var why string
	// The first pass starts from the thin axis; the second from the plane of the crest found
	// in the first.
	axis, ahead := pr.axis[0], pr.axis[2]
	for pass := 0; pass < 2; pass++ {
		s := look(m, body, pr.centre, axis, ahead, fm.CellMM)
		o, why = orientAlong(s, fm, given)
		if o == nil {
			return nil, why
		}
		if n, ok := crestNormal(s, o, fm); ok {
			axis = n
			o.back = o.back.Sub(n.Scale(o.back.Dot(n))).Unit()
			o.up = n
			ahead = o.back
		}
	}
	// Only along the crest's own axis: seen askew, the sides of a whole arch differ too.
	if o.surface == Impression && o.match < fm.MirrorShare {
		return nil, fmt.Sprintf("only %.0f %% of the surface has its like on the other side, so part of the arch was not scanned", 100*o.match)
	}
	return o, ""
}

func orientAlong(s *sight, fm FrameMethod, given Jaw) (*orientation, string) {
	g := s.g
	o := &orientation{}
	mx, my, ang, match := mirrorLine(g, fm.SymmetryMM)
	if match < 0.3 {
		return nil, fmt.Sprintf("no line was found about which the surface is its own mirror image (best match %.0f %%)", 100*match)
	}
	back := narrowEnd(g, mx, my, ang)
	bx, by := math.Cos(back), math.Sin(back)
	o.back = s.e1.Scale(bx).Add(s.e2.Scale(by))

	// How much of each side is seen from the front of its faces.
	var seen, frontTop, frontBottom float64
	for k := range g.top {
		if math.IsInf(g.top[k], -1) {
			continue
		}
		seen++
		if g.topUp[k] {
			frontTop++
		}
		if g.bottomDown[k] {
			frontBottom++
		}
	}
	frontTop /= seen
	frontBottom /= seen

	a := newArch(g, mx, my, bx, by)
	o.radius = a.radius
	o.centre = s.world(a.cx, a.cy, 0)
	top, bottom := a.relief(fm, 1), a.relief(fm, -1)
	// On a circle the middle of the front stands a third of the radius before the places three
	// quarters out; where the front was cut off it does not.
	if !(a.bulge > fm.BulgeShare*a.radius) {
		return nil, fmt.Sprintf("the arch has no front: its middle stands only %.1f mm before its sides", a.bulge)
	}
	up := 1.0 // which way along the axis the tissue lies
	margin := math.Abs(frontTop+frontBottom-1) * 2
	switch {
	case frontTop > 0.5 && frontBottom > 0.5, frontTop < 0.5 && frontBottom < 0.5:
		o.coverage = TwoSided
		o.insideOut = frontTop < 0.5
		o.decide("coverage", TwoSided, fmt.Sprintf("both sides of the surface are wound alike (%.0f %% and %.0f %% of what is seen)", 100*frontTop, 100*frontBottom), min(1, margin))
		if o.insideOut {
			o.decide("winding", "inside out", "the faces of a closed body show their backs", min(1, margin))
		}
		hi, lo := top, bottom
		if bottom.trough > top.trough {
			hi, lo, up = bottom, top, -1
		}
		// The inner flange of a tray with a bite plate stands up like a ridge, so a trough half
		// as deep decides; round a cast there is at most a shallow land.
		if hi.trough >= fm.TroughMM && hi.trough > hi.ridge/2 {
			o.surface = Impression
			o.decide("surface", Impression, fmt.Sprintf("one side carries a trough %.1f mm deep along the arch", hi.trough), clamp01((hi.trough-lo.trough)/10))
		} else {
			if top.ridge > bottom.ridge {
				lo, up = top, -1
			} else {
				lo, up = bottom, 1
			}
			o.surface = Cast // its ridge points away from the tissue
			if lo.ridge < fm.TroughMM {
				return nil, "neither side carries the trough of an impression nor a ridge"
			}
			// up is the side opposite the ridge, which is where the body of the jaw lies
			o.decide("surface", Cast, fmt.Sprintf("one side carries a ridge %.1f mm high along the arch and the other no trough", lo.ridge), clamp01(lo.ridge/10))
		}
	default:
		o.coverage = TissueSide
		side, dir := top, 1.0
		if frontBottom > 0.5 {
			side, dir = bottom, -1
		}
		o.decide("coverage", TissueSide, fmt.Sprintf("one side shows the front of its faces (%.0f %%), the other their backs (%.0f %%)", 100*max(frontTop, frontBottom), 100-100*min(frontTop, frontBottom)), clamp01(2*math.Abs(frontTop-frontBottom)-1))
		// A bite plate shows between the limbs, from where they stand up like a ridge; over a jaw
		// itself there is at most a shallow land beside the ridge.
		trough := side.trough >= fm.TroughMM && side.trough > side.ridge/2
		switch {
		case trough && side.relief < fm.ToothMM:
			o.surface, up = Impression, dir
			o.decide("surface", Impression, fmt.Sprintf("the front of the faces shows a trough %.1f mm deep with a smooth bottom (relief along it %.2f mm)", side.trough, side.relief), clamp01(side.score()/10))
		case trough:
			o.surface, up, o.insideOut = Cast, dir, true
			o.decide("surface", Cast, fmt.Sprintf("the front of the faces shows a trough, but along its bottom the relief is %.2f mm, as teeth make it; an edentulous ridge leaves a smooth trough, so this is taken for a jaw with teeth, inside out; winding alone cannot tell the two apart", side.relief), clamp01((side.relief-fm.ToothMM)/fm.ToothMM))
			o.decide("winding", "inside out", "the ridge would point into the jaw otherwise", 0.5)
		case side.ridge >= fm.TroughMM:
			o.surface, up = Cast, -dir
			o.decide("surface", Cast, fmt.Sprintf("the front of the faces shows a ridge %.1f mm high along the arch; the tissue side of an impression exported inside out would look the same", side.ridge), clamp01(-side.score()/10))
		default:
			return nil, fmt.Sprintf("the surface carries neither a trough (%.1f mm) nor a ridge (%.1f mm) along an arch", side.trough, side.ridge)
		}
	}
	o.match = match
	o.up = s.axis.Scale(up)

	cover := a.palate(fm, up)
	o.jaw = Lower
	why := fmt.Sprintf("the middle of the arch is open: %.0f %% of it is covered above the crest", 100*cover)
	if cover > 0.5 {
		o.jaw = Upper
		why = fmt.Sprintf("a palate covers %.0f %% of the middle of the arch", 100*cover)
	}
	conf := math.Abs(cover-0.5) * 2
	if o.surface == Cast && o.jaw == Lower {
		why += "; scans of an upper jaw often stop short of the palate, so this is a guess: give the jaw to be sure"
		conf = min(conf, 0.2)
	}
	if given != "" {
		o.jaw, why, conf = given, "given by the user", 1
	}
	o.decide("jaw", string(o.jaw), why, conf)
	return o, ""
}

func (o *orientation) decide(about, value, why string, margin float64) {
	o.decisions = append(o.decisions, Decision{About: about, Value: value, Why: why, Margin: math.Round(margin*100) / 100})
}

func clamp01(x float64) float64 { return max(0, min(1, x)) }

// left returns the patient's left: in the upper jaw left, posterior and superior are
// right-handed; in the lower jaw the tissue lies inferior, which reverses the hand.
func (o *orientation) left() Vec {
	if o.jaw == Upper {
		return o.back.Cross(o.up).Unit()
	}
	return o.up.Cross(o.back).Unit()
}
