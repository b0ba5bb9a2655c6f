package inspect

import (
	"cmp"
	"math"
	"slices"
)

// distances is a set of signed distances over the vertices of a scan, with the area that each stands for.
type distances struct {
	pos  []Vec     // #V, in A's coordinates
	dist []float64 // #V, NaN: not compared
	area []float64 // #V, mm²
}

// withinMM are the bands of Deviation.Within.
var withinMM = [...]float64{0.05, 0.1, 0.3}

// deviation sums up the vertices that keep takes (all when nil). It is nil where none of them has
// both a distance and an area. Sums run twice over the values, so that a large mean costs no digits.
func (f *distances) deviation(keep func(v int) bool, doubt compareDoubt) *Deviation {
	type place struct{ d, w float64 }
	var all []place
	out := &Deviation{Lowest: Extreme{MM: math.Inf(1)}, Highest: Extreme{MM: math.Inf(-1)}}
	var sum float64
	for v, d := range f.dist {
		w := f.area[v]
		if keep != nil && !keep(v) || !(w > 0) {
			continue
		}
		if math.IsNaN(d) {
			out.UncoveredMM2 += w
			continue
		}
		all = append(all, place{d, w})
		out.AreaMM2 += w
		sum += float64(w * d)
		if d < out.Lowest.MM {
			out.Lowest = Extreme{d, f.pos[v]}
		}
		if d > out.Highest.MM {
			out.Highest = Extreme{d, f.pos[v]}
		}
	}
	if len(all) == 0 {
		return nil
	}
	out.Places = len(all)
	out.MeanMM = sum / out.AreaMM2
	var square, about, left float64
	within := make([]float64, len(withinMM))
	for _, p := range all {
		e := p.d - out.MeanMM
		left += float64(p.w * e)
		about += float64(p.w * e * e)
		square += float64(p.w * p.d * p.d)
		for i, b := range withinMM {
			if math.Abs(p.d) <= b {
				within[i] += p.w
			}
		}
	}
	out.MeanMM += left / out.AreaMM2
	out.SDMM, out.RMSMM = math.Sqrt(about/out.AreaMM2), math.Sqrt(square/out.AreaMM2)
	for i, b := range withinMM {
		out.Within = append(out.Within, Within{b, within[i] / out.AreaMM2})
	}
	slices.SortFunc(all, func(a, b place) int { return cmp.Or(cmp.Compare(a.d, b.d), cmp.Compare(a.w, b.w)) })
	d, w := make([]float64, len(all)), make([]float64, len(all))
	for i, p := range all {
		d[i], w[i] = p.d, p.w
	}
	q := func(p float64) float64 { return areaQuantile(d, w, p) }
	out.Percentiles = Percentiles{q(0.01), q(0.05), q(0.25), q(0.5), q(0.75), q(0.95), q(0.99)}
	out.MADMM = foldedQuantile(d, w, out.Percentiles.P50, 0.5)
	out.AbsP50MM, out.AbsP95MM = foldedQuantile(d, w, 0, 0.5), foldedQuantile(d, w, 0, 0.95)
	out.MeanUMM, out.RMSUMM, out.PlaceUMM = doubt.mean(out.Places), doubt.rms(out.Places, out.RMSMM), doubt.place()
	return out
}

// areaQuantile returns the p-quantile, 0 to 1, of sorted values x with weights w: each value stands in the
// middle of its weight, and between two of them the quantile runs straight. With equal weights this
// is Hazen's rule, (i - 1/2)/n (type 5 of Hyndman and Fan, Am Stat 1996;50:361).
func areaQuantile(x, w []float64, p float64) float64 {
	var total float64
	for _, v := range w {
		total += v
	}
	at, before := p*total, 0.0
	for i := range x {
		middle := before + w[i]/2
		if middle >= at {
			if i == 0 {
				return x[0]
			}
			last := before - w[i-1]/2
			return x[i-1] + float64((x[i]-x[i-1])*(at-last)/(middle-last))
		}
		before += w[i]
	}
	return x[len(x)-1]
}

// foldedQuantile is the p-quantile of the distances of sorted values from a centre.
func foldedQuantile(x, w []float64, centre, p float64) float64 {
	up, _ := slices.BinarySearch(x, centre)
	down := up - 1
	d, v := make([]float64, 0, len(x)), make([]float64, 0, len(x))
	for down >= 0 || up < len(x) {
		if up >= len(x) || down >= 0 && centre-x[down] < x[up]-centre {
			d, v = append(d, centre-x[down]), append(v, w[down])
			down--
		} else {
			d, v = append(d, x[up]-centre), append(v, w[up])
			up++
		}
	}
	return areaQuantile(d, v, p)
}

// compareDoubt is what leaves a distance between two scans open, as standard uncertainties in mm.
type compareDoubt struct {
	noise float64 // of both scans at one place
	pose  float64 // of the alignment
	sag   float64 // of flat faces on a border roll
	flat  float64 // of flat faces, on the mean
}

// newCompareDoubt adds up two scans and their alignment: the noise of both in squares, and for flat
// faces anything between nothing and the sag of either, a rectangular distribution. What they do to a
// mean is set for each part, since it depends on how bent the part is.
func newCompareDoubt(a, b Grain, pose float64) compareDoubt {
	sag := math.Hypot(rectangle(a.sag(rollRadiusMM)), rectangle(b.sag(rollRadiusMM)))
	return compareDoubt{noise: math.Hypot(a.NoiseMM, b.NoiseMM), pose: pose, sag: sag}
}

// bothWays gives the means of a part the uncertainty that flat faces leave. They cut off a bent surface
// on one side, and the two ways see that with opposite signs: the mean with true surfaces lies anywhere
// between the two, a rectangular distribution about either with their difference as half its width.
func (c compareDoubt) bothWays(w *BothWays) {
	if w.AtA == nil || w.AtB == nil {
		return
	}
	c.flat = rectangle(math.Abs(w.AtA.MeanMM - w.AtB.MeanMM))
	for _, d := range []*Deviation{w.AtA, w.AtB} {
		d.MeanUMM, d.RMSUMM = c.mean(d.Places), c.rms(d.Places, d.RMSMM)
	}
}

// place is the expanded uncertainty at one place.
func (c compareDoubt) place() float64 { return expanded(c.noise, c.pose, c.sag) }

// mean is that of a mean over n places: noise averages out, alignment and sag do not.
func (c compareDoubt) mean(n int) float64 {
	return expanded(c.noise/math.Sqrt(math.Max(1, float64(n))), c.pose, c.flat)
}

// rms is that of a root mean square: as for a mean, and what noise adds to it, sqrt(r² + noise²) - r.
func (c compareDoubt) rms(n int, rms float64) float64 {
	added := rms - math.Sqrt(math.Max(0, rms*rms-c.noise*c.noise))
	return math.Hypot(c.mean(n), 2*rectangle(added))
}

// histogram counts the areas of both fields in bins of 1, 2 or 5 times a power of ten mm: the finest
// with which mostBins hold the middle 99 % of the area of both. Bins begin at multiples of their
// width, and zero lies between two bins.
func histogram(a, b *distances) Histogram {
	const mostBins = 60
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, f := range []*distances{a, b} {
		x, w := f.sorted()
		if len(x) == 0 {
			continue
		}
		lo, hi = math.Min(lo, areaQuantile(x, w, 0.005)), math.Max(hi, areaQuantile(x, w, 0.995))
	}
	if lo > hi {
		return Histogram{AtAMM2: []float64{}, AtBMM2: []float64{}}
	}
	bin := 0.001
	for i := 0; ; i++ {
		first, last := math.Floor(lo/bin), math.Floor(hi/bin)
		if last-first < mostBins {
			h := Histogram{FromMM: first * bin, BinMM: bin}
			n := int(last-first) + 1
			h.AtAMM2, h.BelowAMM2, h.AboveAMM2 = a.bins(first, bin, n)
			h.AtBMM2, h.BelowBMM2, h.AboveBMM2 = b.bins(first, bin, n)
			return h
		}
		bin *= [...]float64{2, 2.5, 2}[i%3]
	}
}

func (f *distances) bins(first, bin float64, n int) (in []float64, below, above float64) {
	in = make([]float64, n)
	for v, d := range f.dist {
		if math.IsNaN(d) {
			continue
		}
		i := math.Floor(d/bin) - first
		switch {
		case i < 0:
			below += f.area[v]
		case i == float64(n) && d <= (first+float64(n))*bin:
			in[n-1] += f.area[v]
		case i >= float64(n):
			above += f.area[v]
		default:
			in[int(i)] += f.area[v]
		}
	}
	return in, below, above
}

// sorted returns the distances in order, with their areas.
func (f *distances) sorted() (d, w []float64) {
	var at []int
	for v, x := range f.dist {
		if !math.IsNaN(x) && f.area[v] > 0 {
			at = append(at, v)
		}
	}
	slices.SortFunc(at, func(a, b int) int {
		return cmp.Or(cmp.Compare(f.dist[a], f.dist[b]), cmp.Compare(f.area[a], f.area[b]))
	})
	for _, v := range at {
		d, w = append(d, f.dist[v]), append(w, f.area[v])
	}
	return d, w
}
