package inspect

import "math"

// papilla looks behind the crest at the midline for the pit that the incisive papilla leaves:
// where the middle lies deepest below what stands 2.5 to 4.5 mm to both sides at the same
// distance from the arch's centre, so that neither the arch's curve nor its slope counts. Where a fault
// of the material lies nothing is looked at.
func (an *Anatomy) papilla(faults []Defect) {
	faulty := an.faulty(faults)
	var mid, flank, beside []*slice
	var crests []float64
	for i := range an.slices {
		s := &an.slices[i]
		switch a := math.Abs(s.u); {
		case a <= 1:
			mid = append(mid, s)
		case a <= 2:
			flank = append(flank, s)
		case a >= 2.5 && a <= 4.5:
			beside = append(beside, s)
		}
		// Through an opening in front a section's own crest may be no crest.
		if s.basin > 0 && math.Abs(s.u) <= crestOverMM {
			_, rho := an.chart.at(s.crest)
			crests = append(crests, rho)
		}
	}
	crest := median(crests)
	if math.IsNaN(crest) || len(mid) == 0 || len(beside) == 0 {
		return
	}
	middle := nearest(mid)
	first, end := max(0, int((crest-11)/envBin)), int((crest-1.5)/envBin)
	touched := func(s []*slice, k int) bool {
		for _, q := range s {
			for j := max(0, k-3); j <= k+3; j++ {
				if faulty(q.u, j) {
					return true
				}
			}
		}
		return false
	}
	// Sections stand at unlike heights, so that one which a fault takes out of a mean here and not
	// there would make a step in it. So those alone count that no fault touches anywhere; the pit's
	// flanks where all of its middle has one, and where no section is whole the places between faults.
	whole := func(s []*slice) []*slice {
		var out []*slice
		for _, q := range s {
			ok := true
			for k := first; ok && k < end; k++ {
				ok = !touched([]*slice{q}, k)
			}
			if ok {
				out = append(out, q)
			}
		}
		return out
	}
	var broken []*slice
	pick := func(of ...[]*slice) []*slice {
		for _, s := range of {
			if w := whole(s); len(w) > 0 {
				return w
			}
		}
		broken = append(broken, of[0]...)
		return of[0]
	}
	mid, beside = pick(mid, flank), pick(beside)
	at := func(s []*slice, k int) float64 {
		var sum, n float64
		for _, q := range s {
			for j := max(0, k-3); j <= k+3; j++ {
				if j < len(q.env) && !math.IsNaN(q.env[j]) && !faulty(q.u, j) {
					sum += q.env[j]
					n++
				}
			}
		}
		return sum / n
	}
	var dip []float64
	best := 0.0
	for k := first; k < end; k++ {
		// The sideways distance shrinks toward the centre; the pit is compared over the same
		// angle, which is near enough over these few millimetres.
		d := at(beside, k) - at(mid, k)
		if d > papillaDeepestMM || touched(broken, k) { // through an opening, or beside a fault
			d = math.NaN()
		}
		dip = append(dip, d)
		if d > best {
			best = d
		}
	}
	// A void farther back may be deeper: the papilla is the first pit behind the crest that is
	// anywhere near as deep, and the deepest place within a millimetre. What only falls off toward the
	// edge of what could be looked at is no pit.
	const around = int(1 / envBin)
	bestK := -1
	for k := len(dip) - 2; k > 0; k-- {
		// At the edge of what could not be looked at nothing is deepest.
		if !(dip[k] >= max(0.1, 0.3*best)) || math.IsNaN(dip[k-1]) || math.IsNaN(dip[k+1]) {
			continue
		}
		top := k
		for j := max(0, k-around); j < min(len(dip), k+around+1); j++ {
			if dip[j] > dip[top] {
				top = j
			}
		}
		if top == k {
			bestK = first + k
			break
		}
	}
	if bestK < 0 || middle.missing(bestK, end) {
		return
	}
	// The pit's deepest place is that of a parabola through the dips around it.
	var rho, deep []float64
	for i, d := range dip {
		if !math.IsNaN(d) {
			rho, deep = append(rho, (float64(first+i)+0.5)*envBin), append(deep, d)
		}
	}
	g := an.grain
	deepest := (float64(bestK) + 0.5) * envBin
	f, ok := fitExtreme(rho, deep, nil, deepest, papillaHalfMM, -1)
	along := rectangle(papillaHalfMM)
	if ok {
		// A mean is of as many rows of vertices as an edge goes into its sections' width.
		rows := func(s []*slice) float64 { return max(1, float64(len(s))*an.step*f.at/an.chart.radius/g.EdgeMM) }
		density := f.density(g.NoiseMM*math.Sqrt(1/rows(mid)+1/rows(beside)), max(g.EdgeMM, 7*envBin), papillaHalfMM)
		// How the ground slopes in which the pit lies is not known better than the way to the tissue.
		along = math.Hypot(f.atU(density), an.fm.AxisDeg*math.Pi/180/math.Abs(2*f.c[2]))
	} else {
		f.at = deepest
	}
	// Height and steepness are those of the middle section alone: the pit is narrow.
	var x, z []float64
	for i, v := range middle.env {
		if !math.IsNaN(v) && !faulty(0, i) {
			x, z = append(x, (float64(i)+0.5)*envBin), append(z, v)
		}
	}
	half := papillaHalfMM / 2
	h, ok := fitLocal(x, z, nil, f.at, half)
	if !ok { // a fault lies there: from what is around it
		half = papillaHalfMM
		if h, ok = fitLocal(x, z, nil, f.at, half); !ok {
			return
		}
	}
	base, out, _ := an.chart.cut(0)
	p := base.Along(f.at, out)
	p.Z = h.c[0]
	up := h.valueU(h.density(g.NoiseMM, g.EdgeMM, half))
	an.found(IncisivePapilla, p, expanded(along*math.Hypot(1, h.c[1]), an.midU, up))
}

// missing tells whether an opening as long as hides a papilla lies between two places of a section.
func (s *slice) missing(from, to int) bool {
	const hidesMM = 1.0
	run := 0
	for _, z := range s.env[from:min(to, len(s.env))] {
		if run++; !math.IsNaN(z) {
			run = 0
		}
		if float64(run)*envBin >= hidesMM {
			return true
		}
	}
	return false
}

// faulty tells whether the k-th place of the section at u lies in a fault, or within half a millimetre
// of one: so far a rim may be rounded.
func (an *Anatomy) faulty(faults []Defect) func(u float64, k int) bool {
	const besideMM = 0.5
	type spot struct{ u, rho, r float64 }
	var in []spot
	for _, d := range faults {
		path, width := []Vec{d.Centre}, d.DiameterMM
		if d.Kind == Fold {
			path, width = d.Path, d.WidthMM
		}
		for _, p := range path {
			u, rho := an.chart.at(an.Frame.Local(p))
			in = append(in, spot{u, rho, *width/2 + besideMM})
		}
	}
	return func(u float64, k int) bool {
		rho := (float64(k) + 0.5) * envBin
		for _, s := range in {
			if math.Hypot((u-s.u)*s.rho/an.chart.radius, rho-s.rho) < s.r {
				return true
			}
		}
		return false
	}
}

// settleFaults looks for the papilla again now that the faults are known, which may have been taken for
// it or stand beside it. A papilla that the user gave
// stays; one that is found nowhere else goes.
func (an *Anatomy) settleFaults(faults []Defect) {
	l, ok := an.Landmarks[IncisivePapilla]
	if !ok || l.Source == "given" || len(faults) == 0 {
		return
	}
	delete(an.Landmarks, IncisivePapilla)
	an.papilla(faults)
	u, rho := an.chart.at(an.Frame.Local(l.Point))
	if _, again := an.Landmarks[IncisivePapilla]; !again && !an.faulty(faults)(u, int(rho/envBin)) {
		an.Landmarks[IncisivePapilla] = l
	}
}

// nearest is the section nearest to the middle of the chart.
func nearest(s []*slice) *slice {
	best := s[0]
	for _, q := range s {
		if math.Abs(q.u) < math.Abs(best.u) {
			best = q
		}
	}
	return best
}

const (
	papillaHalfMM    = 2.0 // half the length over which a parabola is laid through the papilla's pit, which is 4 to 8 mm long (from memory)
	papillaDeepestMM = 3.0 // the deepest that a papilla is (from memory: 1 to 2 mm high)
)

// midlineEnd is the material's rearmost point at the midline: of the rounded end's tops in the
// sections beside it, a parabola's place on it. The rounded end is level there, so that up and
// down it is as uncertain as the way to the tissue, and a circle's top.
func (an *Anatomy) midlineEnd() {
	var x []float64
	var p [2][]float64
	for i := range an.rear {
		s := &an.rear[i]
		if math.Abs(s.u) > midlineHalfMM {
			continue
		}
		tip := s.rearmost()
		s.settle(&tip, math.Inf(-1), math.Inf(1), an.fm.ApexMM, math.Pi/2)
		x, p[0], p[1] = append(x, s.u), append(p[0], tip.p.Y), append(p[1], tip.p.Z)
	}
	if len(x) == 0 {
		return
	}
	y, ok1 := fitLocal(x, p[0], nil, 0, midlineHalfMM)
	z, ok2 := fitLocal(x, p[1], nil, 0, midlineHalfMM)
	if !ok1 || !ok2 {
		return
	}
	g := an.grain
	reach := max(g.EdgeMM, an.step)
	axis := an.fm.AxisDeg * math.Pi / 180
	up := math.Hypot(axis*rollRadiusMM, z.valueU(z.density(g.topU(rollRadiusMM, an.fm.ApexMM, 0), reach, midlineHalfMM)))
	back := y.valueU(y.density(g.ripple(rollRadiusMM), reach, midlineHalfMM))
	an.found(PosteriorMidline, Vec{Y: y.c[0], Z: z.c[0]}, expanded(an.midU, up, back))
}

// midlineHalfMM is how far to both sides of the midline the rear end is looked at.
const midlineHalfMM = 2.0

// rearmost is the section's point farthest back.
func (s *slice) rearmost() (a apex) {
	best := math.Inf(-1)
	for ci, c := range s.contours {
		for i, p := range c.pts {
			if p.Y > best {
				best, a = p.Y, apex{p: p, contour: ci, index: i}
			}
		}
	}
	return a
}

// midlineU is the standard uncertainty of where the midline runs sideways: how far the middles
// between the crest's left and right lie off it, by their median. An arch that is more to one
// side in front than behind is off in few independent ways, so it is not divided by how many
// middles there are.
func (an *Anatomy) midlineU() float64 {
	var off []float64
	for i := range an.slices {
		for k := range i {
			l, r := &an.slices[i], &an.slices[k]
			if l.basin > 0 && r.basin > 0 && l.u > 0 && math.Abs(l.u+r.u) < an.step/2 {
				off = append(off, math.Abs(l.crest.X+r.crest.X)/2)
			}
		}
	}
	if len(off) == 0 {
		return 0
	}
	return 1.4826 * median(off)
}
