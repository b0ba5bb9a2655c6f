package inspect

import (
	"math"
	"slices"
)

// gapOf sums the gap up over the shared surface. turn is the standard uncertainty, radians, of one
// plane against the other.
func (p *pair) gapOf(f *common, turn float64) RimGap {
	g := RimGap{MeanMM: p.method.MeanMM}
	parts := map[string][]int{}
	all := make([]int, len(f.both))
	for i := range f.both {
		x, y := f.place(i)
		part, side := p.part(f, x, y)
		parts[part], parts[side] = append(parts[part], i), append(parts[side], i)
		all[i] = i
	}
	if len(all) == 0 {
		g.All = p.gapPart(f, "all", nil, 0)
		for _, name := range GapPartNames {
			g.Parts = append(g.Parts, p.gapPart(f, name, nil, 0))
		}
		return g
	}
	se := slices.Clone(f.se)
	slices.Sort(se)
	far := math.Hypot(0.5*(f.rear-f.front), 0.5*p.widthOf(f))
	// A value at the surface's edge may stand for a place half a pixel beside it.
	beside := f.pixel / 2 * math.Tan(radians(angleBetween(p.upper.plane.Normal, p.lower.plane.Normal)))
	g.UMM = expanded(quantileOf(se, 0.95), p.poseU.at(far), rectangle(p.sag()), rectangle(beside))
	g.All = p.gapPart(f, "all", all, g.UMM)
	for _, name := range GapPartNames {
		g.Parts = append(g.Parts, p.gapPart(f, name, parts[name], g.UMM))
	}
	gaps := f.sortedGaps(all)
	g.SpreadMM = quantileOf(gaps, 0.95) - quantileOf(gaps, 0.05)
	g.SpreadUMM = expanded(2*far*turn, 2*quantileOf(se, 0.5))
	g.SidesMM, g.SidesUMM = p.between(f, parts["left"], parts["right"], turn)
	g.FrontMM, g.FrontUMM = p.between(f, parts["anterior"], append(slices.Clone(parts["molar right"]), parts["molar left"]...), turn)
	least, most := all[0], all[0]
	sunk := 0.0 // volume
	for _, i := range all {
		v := f.gap(i)
		if v < f.gap(least) {
			least = i
		}
		if v > f.gap(most) {
			most = i
		}
		sunk += max(0, -v)
	}
	g.Closest, g.Widest = p.midway(f, least), p.midway(f, most)
	if depth := -f.gap(least); depth > 0 {
		px := p.method.PixelMM * p.method.PixelMM
		g.SunkMM, g.SunkMM3 = depth, sunk*px
		g.SunkUMM = *g.All.MinUMM
		var touched []int
		for _, i := range all {
			if f.gap(i) < g.UMM {
				touched = append(touched, i)
			}
		}
		g.SunkUMM3 = math.Hypot(px*float64(len(touched))*g.UMM, p.edgeU(f, touched)*depth)
	}
	return g
}

// sag is by how much flat faces may stand off a rim's waves, both rims added.
func (p *pair) sag() float64 {
	return math.Hypot(p.upper.grain.sag(flatRadiusMM), p.lower.grain.sag(flatRadiusMM))
}

// widthOf is the shared surface's extent from right to left.
func (p *pair) widthOf(f *common) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range f.both {
		x, _ := f.place(i)
		lo, hi = min(lo, x), max(hi, x)
	}
	return hi - lo
}

// midway is the place between both flats at a shared pixel, in the common frame.
func (p *pair) midway(f *common, i int) Vec {
	x, y := f.place(i)
	return p.world(Vec{X: x, Y: y, Z: (f.u[i] + f.l[i]) / 2})
}

// gapPart sums up some shared pixels.
func (p *pair) gapPart(f *common, name string, at []int, u float64) GapPart {
	px := p.method.PixelMM * p.method.PixelMM
	part := GapPart{Name: name, AreaMM2: px * float64(len(at))}
	const least = 1.0 // mm²; less than this says nothing of a part
	if part.AreaMM2 < least {
		part.Unmeasured = "the rims do not lie over each other there"
		return part
	}
	part.AreaUMM2 = p.edgeU(f, at)
	gaps := f.sortedGaps(at)
	part.MinMM, part.MedianMM, part.P95MM = ptr(gaps[0]), ptr(quantileOf(gaps, 0.5)), ptr(quantileOf(gaps, 0.95))
	// What is missing at the edge, or too much, moves the median most where it lies all to one side.
	open := min(0.25, part.AreaUMM2/part.AreaMM2/2)
	part.UMM = ptr(math.Hypot(u, (quantileOf(gaps, 0.5+open)-quantileOf(gaps, 0.5-open))/2))
	part.Middle = ptr(p.middleOf(f, at))
	// The least gap lies at an edge, where the gap's lean over what is open of it counts.
	lean := math.Tan(radians(angleBetween(p.upper.plane.Normal, p.lower.plane.Normal)))
	part.MinUMM = ptr(expanded(u/2, 1.5*f.seAtLeast(at), lean*(p.upper.grain.EdgeMM+p.lower.grain.EdgeMM)/4))
	upTo := func(v float64) float64 {
		n, _ := slices.BinarySearch(gaps, v)
		return px * float64(n)
	}
	for i, c := range ContactsMM {
		part.ContactMM2[i] = upTo(math.Nextafter(c, 1))
		var touched []int
		for _, k := range at {
			if f.gap(k) <= c {
				touched = append(touched, k)
			}
		}
		part.ContactUMM2[i] = math.Hypot((upTo(c+u)-upTo(c-u))/2, p.edgeU(f, touched))
	}
	return part
}

// edgeU is the expanded uncertainty of the area of some shared pixels: flats end half an edge of a
// face farther in or out.
func (p *pair) edgeU(f *common, at []int) float64 {
	return expanded(rectangle(f.outlineOf(at) * (p.upper.grain.EdgeMM + p.lower.grain.EdgeMM) / 4))
}

// seAtLeast is the standard uncertainty where the gap is least.
func (f *common) seAtLeast(at []int) float64 {
	least := at[0]
	for _, i := range at {
		if f.gap(i) < f.gap(least) {
			least = i
		}
	}
	return f.se[least]
}

// outlineOf is the length of the border of some shared pixels, mm: the sides of pixels that have no
// neighbour among them, less what stairs add on average (4/π).
func (f *common) outlineOf(at []int) float64 {
	in := make(map[int]bool, len(at))
	for _, i := range at {
		in[f.both[i]] = true
	}
	n := 0
	for _, i := range at {
		q := f.both[i]
		for _, o := range [4]int{q - 1, q + 1, q - f.w, q + f.w} {
			if !in[o] {
				n++
			}
		}
	}
	return float64(n) * f.pixel * math.Pi / 4
}

// middleOf is the shared pixel nearest to the mean place of some, midway between the flats.
func (p *pair) middleOf(f *common, at []int) Vec {
	x, y := f.meanPlace(at)
	best, least := at[0], math.Inf(1)
	for _, i := range at {
		a, b := f.place(i)
		if d := math.Hypot(a-x, b-y); d < least {
			best, least = i, d
		}
	}
	return p.midway(f, best)
}

func (f *common) meanPlace(at []int) (x, y float64) {
	for _, i := range at {
		a, b := f.place(i)
		x, y = x+a/float64(len(at)), y+b/float64(len(at))
	}
	return x, y
}

// between is the median gap over some shared pixels less that over others, with its expanded
// uncertainty; nil where there are none.
func (p *pair) between(f *common, a, b []int, turn float64) (v, u *float64) {
	ax, ay := f.meanPlace(a)
	bx, by := f.meanPlace(b)
	pa, pb := p.gapPart(f, "", a, 0), p.gapPart(f, "", b, 0)
	if pa.MedianMM == nil || pb.MedianMM == nil {
		return nil, nil
	}
	// Offsets of the planes are the same on both sides and fall out.
	return ptr(*pa.MedianMM - *pb.MedianMM), ptr(math.Hypot(expanded(turn*math.Hypot(ax-bx, ay-by), rectangle(p.sag())), math.Hypot(*pa.UMM, *pb.UMM)))
}

// atVertices returns the values of some pixels at each vertex of a jaw's flat; NaN elsewhere.
func (p *pair) atVertices(f *common, s *seat, pixels []int, value func(i int) float64) []float64 {
	index := make([]int32, len(f.on[0])) // of those pixels, from 1
	for i, at := range pixels {
		index[at] = int32(i + 1)
	}
	out := make([]float64, len(s.m.Pos))
	for v := range out {
		out[v] = math.NaN()
	}
	for _, v := range s.rim.Flat {
		q := s.local(s.m.Pos[v])
		x, y := (q.X-f.x0)/f.pixel, (q.Y-f.y0)/f.pixel
		x0, y0 := math.Floor(x), math.Floor(y)
		var sum, weight float64
		for k := range 4 { // between the four pixels around it, as far as they have a value
			i, j := x0+float64(k&1), y0+float64(k>>1)
			if i < 0 || j < 0 || int(i) >= f.w || int(j) >= f.h {
				continue
			}
			if at := index[int(j)*f.w+int(i)]; at > 0 {
				w := (1 - math.Abs(x-i)) * (1 - math.Abs(y-j))
				sum, weight = sum+w*value(int(at-1)), weight+w
			}
		}
		if weight > 0.25 {
			out[v] = sum / weight
		}
	}
	return out
}
