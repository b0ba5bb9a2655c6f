package inspect

import "math"

// smoothCrest lays the crest through what each section shows of it: distance and height become
// those of a parabola through the sections to both sides, so that the flat bottom of a broad
// trough does not move it. Sections that lie off the line of their neighbours, as in a void or
// over a bleb, count the less the farther off they are (Tukey's biweight). The spread of
// the others about the parabola gives its uncertainty.
func smoothCrest(c layout, s []slice, rho []float64, g Grain, fm FrameMethod) {
	u, r, z := make([]float64, 0, len(s)), make([]float64, 0, len(s)), make([]float64, 0, len(s))
	var at []int
	for i := range s {
		if !math.IsNaN(rho[i]) {
			u, r, z, at = append(u, s[i].u), append(r, rho[i]), append(z, s[i].crest.Z), append(at, i)
		}
	}
	// The least spreads, so that a bend in a perfect course keeps its weight: across the arch the
	// middle of a floor wanders by tenths where its height hardly changes.
	rf, zf := follow(u, r, fm.CrestMM, 0.1), follow(u, z, fm.CrestMM, 0.02)
	reach := max(fm.StepMM, g.EdgeMM)
	for k, i := range at {
		if rf[k].n == 0 || zf[k].n == 0 {
			continue
		}
		rho[i] = rf[k].c[0]
		s[i].crest = place(c, s[i].u, rho[i], zf[k].c[0])
		s[i].acrossU = rf[k].valueU(rf[k].density(0, reach, fm.CrestMM))
		s[i].crestU = zf[k].valueU(zf[k].density(g.NoiseMM/2, reach, fm.CrestMM))
	}
}

// follow fits a parabola about each sample of a course, robustly: from the weights that the lines
// of neighbours give, the residuals of each round weigh the samples of the next. least is the
// standard deviation that every course is granted. n is 0 where there is no fit.
func follow(x, y []float64, half, least float64) []vertexFit {
	const rounds = 3
	fits := make([]vertexFit, len(x))
	off := offLine(x, y, half)
	for range rounds {
		w := weigh(x, off, half, least)
		for i := range x {
			lo, hi := nearby(x, i, half)
			f, ok := fitLocal(x[lo:hi], y[lo:hi], w[lo:hi], x[i], half)
			if !ok {
				fits[i] = vertexFit{}
				continue
			}
			fits[i], off[i] = f, math.Abs(y[i]-f.c[0])
		}
	}
	return fits
}

// nearby returns the range of samples less than half away from sample k.
func nearby(x []float64, k int, half float64) (lo, hi int) {
	for lo, hi = k, k+1; lo > 0 && x[k]-x[lo-1] < half; {
		lo--
	}
	for hi < len(x) && x[hi]-x[k] < half {
		hi++
	}
	return lo, hi
}

// offLine is how far each sample lies off the line of repeated medians through those less than
// half away.
//
// Based on: Siegel 1982, Biometrika 69:242 (half of the samples may lie anywhere).
func offLine(x, y []float64, half float64) []float64 {
	off := make([]float64, len(x))
	var slopes, through []float64
	for i := range x {
		lo, hi := nearby(x, i, half)
		through = through[:0]
		for j := lo; j < hi; j++ {
			slopes = slopes[:0]
			for k := lo; k < hi; k++ {
				if k != j {
					slopes = append(slopes, (y[k]-y[j])/(x[k]-x[j]))
				}
			}
			through = append(through, median(slopes))
		}
		slope := median(through)
		for j := lo; j < hi; j++ {
			through[j-lo] = y[j] - slope*(x[j]-x[i])
		}
		off[i] = math.Abs(y[i] - median(through))
	}
	return off
}

// weigh turns how far samples lie off into weights: 1 on the course, 0 from 4.7 robust standard
// deviations of those around off it.
func weigh(x, off []float64, half, least float64) []float64 {
	w := make([]float64, len(x))
	for i := range x {
		lo, hi := nearby(x, i, half)
		t := min(1, off[i]/(tukeyCut*(1.4826*median(off[lo:hi])+least)))
		w[i] = (1 - t*t) * (1 - t*t)
	}
	return w
}

// crestBeside returns the crest's point nearest to a place as seen along the way to the tissue,
// straight between sections, and the standard uncertainty of its height there, mm: the crest's
// own, and where it climbs, that of which of its points lies beside the place, since how the
// crest runs is known to archTurn only.
func (an *Anatomy) crestBeside(p Vec) (at Vec, u float64) {
	best := math.Inf(1)
	var last *slice
	for i := range an.slices {
		s := &an.slices[i]
		if s.basin <= 0 {
			continue
		}
		from := s.crest
		if last != nil && s.u-last.u <= bridgeMM {
			from = last.crest
		}
		d := s.crest.Sub(from)
		t := 1.0
		if n := d.X*d.X + d.Y*d.Y; n > 0 {
			t = max(0, min(1, ((p.X-from.X)*d.X+(p.Y-from.Y)*d.Y)/n))
		}
		q := from.Along(t, d)
		if e := math.Hypot(q.X-p.X, q.Y-p.Y); e < best {
			best, at = e, q
			climb := 0.0
			if n := math.Hypot(d.X, d.Y); n > 0 {
				climb = d.Z / n
			}
			u = math.Hypot(s.crestU, climb*e*archTurn)
		}
		last = s
	}
	return at, u
}
