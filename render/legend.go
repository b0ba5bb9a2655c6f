package render

import (
	"cmp"
	"image"
	"image/color"
	"image/draw"
	"math"
	"slices"
	"strconv"

	"fornix/inspect"
	"fornix/mesh"
)

// strip draws the foot of the picture: scale bar, thickness legend and key.
func (p *page) strip(b Box, cam Camera, c content) {
	u := p.u
	p.scaleBar(Box{b.X, b.Y + 10*u, 268 * u, b.H - 10*u}, cam.Scale)
	legend := Box{b.X + 296*u, b.Y + 10*u, 520 * u, b.H - 10*u}
	p.legend(legend, c.legend)
	p.keys(Box{legend.X + legend.W + 32*u, b.Y + 10*u, b.X + b.W - legend.X - legend.W - 32*u, b.H - 10*u})
}

// scaleBar draws 10 mm, or less in a close-up where 10 mm do not fit.
func (p *page) scaleBar(b Box, scale float64) {
	u := p.u
	mm := 0.0
	for _, mm = range []float64{10, 5, 2, 1, 0.5} {
		if mm*scale <= b.W {
			break
		}
	}
	l, y := math.Round(mm*scale), math.Round(b.Y+54*u)
	p.pen.box(Box{b.X, y, l, 4 * u})
	p.pen.box(Box{b.X, y - 9*u, 3 * u, 22 * u})
	p.pen.box(Box{b.X + l - 3*u, y - 9*u, 3 * u, 22 * u})
	p.pen.flush(ink, 1)
	p.write(plain(mm)+" mm", b.X, b.Y+12*u, strongText, ink)
}

// legend explains the colours on the surface.
type legend struct {
	title   string
	unit    string
	colours []color.RGBA
	ticks   []tick // under the colours
	limits  []tick // over them, each with an arrow at its place
	none    string // why there are no colours
}

// tick is a text at a place along the colours, in steps from their beginning.
type tick struct {
	at   float64
	text string
}

// thicknessLegend explains the colours of the border with a tick at every whole mm.
func thicknessLegend(rep *inspect.Report, opt Options, shown bool) legend {
	s := opt.Thickness
	g := legend{title: "border thickness", unit: "mm", colours: s.colours()}
	if !shown {
		why := cmp.Or(rep.Border.ThicknessUnmeasured, rep.Border.Unmeasured, "the report gives none")
		return legend{none: "border thickness not measured: " + why}
	}
	at := func(mm float64) float64 { return (mm - s.FromMM) / s.StepMM }
	for mm := math.Ceil(s.FromMM); mm <= s.ToMM; mm++ {
		g.ticks = append(g.ticks, tick{at(mm), plain(mm)})
	}
	for _, l := range opt.Limits {
		if l.MM >= s.FromMM && l.MM <= s.ToMM {
			text := l.Text
			if text != "" {
				text += " " + plain(l.MM)
			}
			g.limits = append(g.limits, tick{at(l.MM), text})
		}
	}
	return g
}

// plain writes a number as short as it is.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// legend draws the colours, or says why there are none.
func (p *page) legend(b Box, g legend) {
	u := p.u
	if len(g.colours) == 0 {
		for i, line := range p.wrap(g.none, b.W, 3, plainText) {
			p.write(line, b.X, b.Y+8*u+float64(i)*p.line(plainText), plainText, softInk)
		}
		return
	}
	w := math.Floor((b.W - 20*u) / float64(len(g.colours)))
	x0, y, tall := math.Round(b.X), math.Round(b.Y+60*u), math.Round(24*u)
	for i, col := range g.colours {
		r := image.Rect(int(x0+float64(i)*w), int(y), int(x0+float64(i+1)*w-max(1, 2*u)), int(y+tall))
		draw.Draw(p.img, r, image.NewUniform(col), image.Point{}, draw.Src)
	}
	at := func(step float64) float64 { return x0 + step*w - 1 }
	for _, t := range g.ticks {
		p.pen.box(Box{at(t.at) - u, y + tall, 2 * u, 6 * u})
		p.pen.flush(ink, 1)
		p.write(t.text, at(t.at)-p.width(t.text, plainText)/2, y+tall+6*u, plainText, ink)
	}
	p.write(g.unit, x0+float64(len(g.colours))*w-24*u, y+tall+6*u, plainText, ink)
	p.write(g.title, x0, b.Y-6*u, strongText, ink)
	p.limits(g.limits, at, Box{b.X, b.Y + 24*u, b.W, y - b.Y - 24*u})
}

// limits points at limits from above the colours. One that would cover another's words is drawn
// as an arrow only.
func (p *page) limits(ls []tick, at func(float64) float64, b Box) {
	u, free := p.u, b.X
	ls = slices.Clone(ls)
	slices.SortStableFunc(ls, func(a, b tick) int { return cmp.Compare(a.at, b.at) })
	for _, l := range ls {
		x, y := at(l.at), b.Y+b.H
		for d := 0.0; d < 8*u; d++ {
			p.pen.box(Box{x - (8*u-d)*0.6, y - 10*u + d, (8*u - d) * 1.2, 1})
		}
		p.pen.flush(ink, 1)
		w := p.width(l.text, plainText)
		left := max(free, min(x-w/2, b.X+b.W-w))
		if l.text == "" || left+w > b.X+b.W || x < left-8*u || x > left+w+8*u {
			continue
		}
		p.write(l.text, left, b.Y, plainText, ink)
		free = left + w + 14*u
	}
}

// keys explains the shapes that the picture shows, in columns of three.
func (p *page) keys(b Box) {
	u := p.u
	ks := slices.Clone(p.key)
	slices.Sort(ks)
	const rows = 3
	x := b.X
	for first := 0; first < len(ks); first += rows {
		wide := 0.0
		col := ks[first:min(first+rows, len(ks))]
		for _, k := range col {
			wide = max(wide, p.width(words[k], plainText))
		}
		if x+54*u+wide > b.X+b.W {
			return
		}
		for i, k := range col {
			y := b.Y + 6*u + float64(i)*32*u
			p.sample(k, Box{x, y, 44 * u, 26 * u})
			p.write(words[k], x+54*u, y, plainText, ink)
		}
		x += wide + 80*u
	}
}

// sample draws a small specimen of a kind.
func (p *page) sample(k Kind, b Box) {
	u := p.u
	mid := dot{b.X + b.W/2, b.Y + b.H/2, always}
	from, to := dot{b.X, mid.y, always}, dot{b.X + b.W, mid.y, always}
	dense := make(stroke, 0, 45)
	for i := range 45 {
		dense = append(dense, dot{from.x + (to.x-from.x)*float64(i)/44, mid.y, always})
	}
	switch k {
	case MarkHole, MarkVoid, MarkPlace, MarkBleb, MarkLandmark, MarkSpot:
		p.symbol(&p.pen, k, mid, 4*u, nil, false)
	case BackFaces:
		p.pen.box(b.inset(3 * u))
		p.pen.flush(mix(backside, ink, 0.4), 1)
	case MarkFold, LineHeight:
		p.symbol(&p.pen, k, mid, 4*u, dense, false)
	default:
		p.inked(&p.pen, k, dense)
	}
}

// locator is a small picture of the whole scan in which a close-up shows its place.
type locator struct {
	cam   Camera
	img   *image.RGBA
	depth []float32
}

// newLocator draws a whole view small.
func newLocator(r *Raster, s drawn, v View, width, workers int) *locator {
	u := float64(width) / 1600
	w, h := int(locatorWidth*u), int(locatorTall*u)
	r.Resize(w, h)
	cam := v.Camera.fit(Box{0, 0, float64(w), float64(h)}.inset(6*u), s.surface)
	r.Draw(s.surface, cam, s.tint, workers)
	l := &locator{cam: cam, img: image.NewRGBA(r.Image.Bounds()), depth: slices.Clone(r.Depth)}
	copy(l.img.Pix, r.Image.Pix)
	return l
}

// hides reports whether the scan lies in front of a point by more than 1.5 mm.
func (l *locator) hides(at mesh.Vec) bool {
	x, y, z := l.cam.Project(at)
	w, h := l.img.Bounds().Dx(), l.img.Bounds().Dy()
	if !(x >= 0 && y >= 0 && x < float64(w) && y < float64(h)) {
		return true
	}
	return float64(l.depth[int(y)*w+int(x)]) > z+1.5
}

// locate draws the locator into a box with a ring at the place.
func (p *page) locate(l *locator, b Box, at mesh.Vec) {
	u := p.u
	r := image.Rect(int(b.X), int(b.Y), int(b.X)+l.img.Bounds().Dx(), int(b.Y)+l.img.Bounds().Dy())
	draw.Draw(p.img, r, l.img, image.Point{}, draw.Src)
	p.frame(Box{float64(r.Min.X), float64(r.Min.Y), float64(r.Dx()), float64(r.Dy())})
	x, y, _ := l.cam.Project(at)
	d := dot{x + float64(r.Min.X), y + float64(r.Min.Y), always}
	p.twice(&p.pen, 3.4*u, ink, func(w float64) { p.pen.ring(d, 13*u, w) })
}
