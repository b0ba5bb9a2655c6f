package render

import (
	"fmt"
	"image"
	"image/draw"
	"math"

	"fornix/inspect"
)

// chart is a plot of shares of area by a value, in the place of a surface.
type chart struct {
	from, bin float64   // of the value, in mm
	a, b      []float64 // shares of the area by bin, 0 to 1; b is drawn as a line, nil: none
	outsideA  [2]float64
	steps     bands
	nameA     string
	nameB     string
	lines     []tick   // values to be marked
	rows      []string // said beside the plot
	alt       string
}

// spreadChart shows how the distances of a comparison spread.
func spreadChart(c *inspect.Comparison, steps bands, w whose) *chart {
	h := c.Histogram
	k := &chart{from: h.FromMM, bin: h.BinMM, steps: steps, nameA: "at the places of " + w.a, nameB: "at the places of " + w.b}
	share := func(areas []float64, below, above float64) ([]float64, [2]float64) {
		total := below + above
		for _, v := range areas {
			total += v
		}
		if !(total > 0) {
			return nil, [2]float64{}
		}
		out := make([]float64, len(areas))
		for i, v := range areas {
			out[i] = v / total
		}
		return out, [2]float64{below / total, above / total}
	}
	k.a, k.outsideA = share(h.AtAMM2, h.BelowAMM2, h.AboveAMM2)
	k.b, _ = share(h.AtBMM2, h.BelowBMM2, h.AboveBMM2)
	if d := c.Overall.AtA; d != nil {
		k.lines = []tick{{d.Percentiles.P5, "5 %"}, {d.Percentiles.P50, "median"}, {d.Percentiles.P95, "95 %"}}
		k.rows = []string{
			fmt.Sprintf("mean %s ± %.3f mm", signed(d.MeanMM), d.MeanUMM), fmt.Sprintf("SD %.3f mm", d.SDMM),
			fmt.Sprintf("RMS %.3f ± %.3f mm", d.RMSMM, d.RMSUMM), fmt.Sprintf("MAD %.3f mm", d.MADMM),
			fmt.Sprintf("5 to 95 %%: %s to %s mm", signed(d.Percentiles.P5), signed(d.Percentiles.P95)),
		}
		for _, s := range d.Within {
			k.rows = append(k.rows, fmt.Sprintf("within ±%s mm: %.1f %%", plain(s.MM), 100*s.Share))
		}
		k.rows = append(k.rows, fmt.Sprintf("area compared %.0f mm²", d.AreaMM2), fmt.Sprintf("not covered %.0f mm²", d.UncoveredMM2))
		k.alt = fmt.Sprintf("histogram of the signed distances; mean %s mm, SD %.3f mm, RMS %.3f mm.", signed(d.MeanMM), d.SDMM, d.RMSMM)
	} else {
		k.alt = "nothing could be compared."
	}
	return k
}

// spread makes a page with a chart. The result stays valid until the next one.
func (p *page) spread(c content) *image.RGBA {
	l, u := newLayout(c.opt.Width, c.opt.Height)
	p.u, p.set, p.key, p.shown = u, p.set[:0], p.key[:0], p.shown[:0]
	if r := image.Rect(0, 0, c.opt.Width, c.opt.Height); p.img == nil || p.img.Bounds() != r {
		p.img = image.NewRGBA(r)
	}
	draw.Draw(p.img, p.img.Bounds(), image.NewUniform(paper), image.Point{}, draw.Src)
	p.pen.reset(p.img)
	p.title(l.title, c)
	k := c.chart
	plot := Box{l.left.X + 90*u, l.left.Y + 70*u, l.right.X - l.left.X - 110*u, l.left.H - 150*u}
	p.rows(k.rows, Box{l.right.X + 16*u, plot.Y, l.right.W - 16*u, plot.H})
	if len(k.a) > 0 {
		p.plot(k, plot)
	} else {
		p.write("nothing could be compared", plot.X, plot.Y, strongText, ink)
	}
	p.legend(Box{l.strip.X + 296*u, l.strip.Y + 10*u, 520 * u, l.strip.H - 10*u}, c.legend)
	p.write(caution, l.foot.X, l.foot.Y+10*u, plainText, softInk)
	return p.img
}

// rows sets lines of text one under the other.
func (p *page) rows(rows []string, b Box) {
	y := b.Y
	for _, r := range rows {
		for _, line := range p.wrap(r, b.W, 2, plainText) {
			p.write(line, b.X, y, plainText, ink)
			y += p.line(plainText)
		}
		y += 6 * p.u
	}
}

// plot draws bars in the colours of the steps for A, a line for B, and the axes.
func (p *page) plot(k *chart, b Box) {
	u := p.u
	most := 0.0
	for i := range k.a {
		most = max(most, k.a[i])
		if i < len(k.b) {
			most = max(most, k.b[i])
		}
	}
	grid := nice(100 * most / 4)
	top := grid * math.Ceil(100*most/grid) / 100
	if !(top > 0) {
		top = 1
	}
	wide := float64(len(k.a)) * k.bin
	at := func(mm float64) float64 { return b.X + b.W*(mm-k.from)/wide }
	high := func(share float64) float64 { return b.Y + b.H*(1-share/top) }
	for v := 0.0; v <= 100*top+1e-9; v += grid {
		y := math.Round(high(v / 100))
		p.pen.box(Box{b.X, y, b.W, u})
		p.pen.flush(ruleInk, 1)
		t := plain(math.Round(v*1e6)/1e6) + " %"
		p.write(t, b.X-p.width(t, plainText)-10*u, y-p.line(plainText)/2, plainText, ink)
	}
	cs := k.steps.colours()
	for i, v := range k.a {
		mm := k.from + float64(i)*k.bin
		p.pen.box(Box{at(mm) + 0.5*u, high(v), at(mm+k.bin) - at(mm) - u, b.Y + b.H - high(v)})
		p.pen.flush(cs[k.steps.step(mm+k.bin/2)], 1)
	}
	var s stroke
	for i, v := range k.b {
		mm := k.from + float64(i)*k.bin
		s = append(s, dot{at(mm), high(v), always}, dot{at(mm + k.bin), high(v), always})
	}
	p.pen.path(s, 2.4*u)
	p.pen.flush(ink, 1)
	p.pen.box(Box{b.X, b.Y + b.H, b.W, 2 * u})
	p.pen.flush(ink, 1)
	step := nice(wide / 10)
	for i := math.Ceil(k.from/step - 1e-9); i*step <= k.from+wide+1e-9; i++ {
		x := at(i * step)
		p.pen.box(Box{x - u, b.Y + b.H, 2 * u, 9 * u})
		p.pen.flush(ink, 1)
		t := plain(math.Round(i*step*1e6)/1e6 + 0) // no minus before zero
		p.write(t, x-p.width(t, plainText)/2, b.Y+b.H+14*u, plainText, ink)
	}
	axis := "signed distance, mm; + is outward"
	p.write(axis, b.X+(b.W-p.width(axis, plainText))/2, b.Y+b.H+44*u, plainText, ink)
	p.marked(k, b, at)
	p.samples(k, b)
}

// marked rules the values of the chart's lines, with their names above where there is room.
func (p *page) marked(k *chart, b Box, at func(float64) float64) {
	u, free := p.u, math.Inf(-1)
	for _, t := range k.lines {
		x := at(t.at)
		if x < b.X || x > b.X+b.W {
			continue
		}
		p.twice(&p.pen, 2*u, ink, func(w float64) { p.pen.line(dot{x, b.Y, always}, dot{x, b.Y + b.H, always}, w) })
		w := p.width(t.text, plainText)
		if left := x - w/2; left > free {
			p.write(t.text, left, b.Y-p.line(plainText)-2*u, plainText, ink)
			free = left + w + 10*u
		}
	}
	for i, t := range [2]string{"less", "more"} {
		if k.outsideA[i] > 0.0005 {
			t = fmt.Sprintf("%.1f %% %s", 100*k.outsideA[i], t)
			x := b.X + 6*u
			if i == 1 {
				x = b.X + b.W - p.width(t, plainText) - 6*u
			}
			p.write(t, x, b.Y+4*u, plainText, ink)
		}
	}
}

// samples says what bars and line stand for.
func (p *page) samples(k *chart, b Box) {
	u := p.u
	y := b.Y - 66*u
	p.pen.box(Box{b.X, y + 4*u, 30 * u, 18 * u})
	p.pen.flush(levelGrey, 1)
	p.write("share of area "+k.nameA, b.X+40*u, y, plainText, ink)
	x := b.X + 70*u + p.width("share of area "+k.nameA, plainText)
	p.pen.line(dot{x, y + 13*u, always}, dot{x + 30*u, y + 13*u, always}, 2.4*u)
	p.pen.flush(ink, 1)
	p.write(k.nameB, x+40*u, y, plainText, ink)
}

// nice rounds up to 1, 2 or 5 times a power of ten.
func nice(v float64) float64 {
	if !(v > 0) || math.IsInf(v, 0) {
		return 1
	}
	e := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range [3]float64{1, 2, 5} {
		if v <= k*e*(1+1e-9) {
			return k * e
		}
	}
	return 10 * e
}
