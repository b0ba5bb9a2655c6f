package render

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"
	"strconv"

	"fornix/inspect"
)

// page is one picture being made. Its memory is kept from one picture to the next.
type page struct {
	u      float64 // pixels per layout unit: 1 at 1600 pixels width
	img    *image.RGBA
	raster Raster
	inside pen // draws into the raster's picture
	pen    pen // draws over the whole page
	text   writer

	head  float64  // pixels left free above the scan of a whole view
	set   []Box    // of all text on the page, so that a test can see that none overlap
	key   []Kind   // what the key explains
	shown []string // numbers and words of the findings that are marked
}

// caution stands at the foot of every picture.
const caution = "fornix: a screening aid, not a medical device; the licensed clinician decides"

// The layout, in units.
const (
	pageMargin   = 24.0
	titleHeight  = 118.0
	columnWidth  = 296.0
	headHeight   = 58.0
	stripHeight  = 124.0
	footHeight   = 42.0
	pictureEdge  = 44.0 // left free round the scan for the names of the directions
	locatorWidth = 264.0
	locatorTall  = 232.0
)

// Text sizes, in units. None is under 20: on A5 paper (210 mm wide) that is 2.6 mm.
var (
	titleText  = style{34, true}
	letterText = style{38, true}
	strongText = style{22, true}
	plainText  = style{20, false}
)

// layout is where things go on the page, in pixels.
type layout struct{ title, left, right, picture, strip, foot Box }

func newLayout(w, h int) (layout, float64) {
	u := float64(w) / 1600
	W, H := float64(w), float64(h)
	m, top := pageMargin*u, titleHeight*u
	tall := H - top - (stripHeight+footHeight)*u
	return layout{
		title: Box{m, 0, W - 2*m, top},
		left:  Box{m, top, columnWidth * u, tall},
		right: Box{W - m - columnWidth*u, top, columnWidth * u, tall},
		picture: Box{math.Round(m + (columnWidth+12)*u), math.Round(top),
			math.Round(W - 2*m - 2*(columnWidth+12)*u), math.Round(tall)},
		strip: Box{m, H - (stripHeight+footHeight)*u, W - 2*m, stripHeight * u},
		foot:  Box{m, H - footHeight*u, W - 2*m, footHeight * u},
	}, u
}

// write sets one line of text and notes its box.
func (p *page) write(text string, x, y float64, s style, c color.RGBA) Box {
	s.px *= p.u
	b := Box{x, y, p.text.width(text, s), s.lineHeight()}
	if text != "" {
		p.text.draw(p.img, text, x, y, s, c)
		p.set = append(p.set, b)
	}
	return b
}

// width returns how wide a line is on the page.
func (p *page) width(text string, s style) float64 {
	s.px *= p.u
	return p.text.width(text, s)
}

func (p *page) wrap(text string, limit float64, lines int, s style) []string {
	s.px *= p.u
	return p.text.wrap(text, limit, lines, s)
}

func (p *page) line(s style) float64 { s.px *= p.u; return s.lineHeight() }

// content is what one page shows.
type content struct {
	view     View
	scene    Scene
	opt      Options
	tint     []color.RGBA
	verdict  inspect.Verdict // "": none stands on the page
	frame    *inspect.Frame
	third    [2]string // names of the frame's third axis and of the direction against it
	of       string    // what is shown, for those who do not see it: "scan of the upper jaw"
	plane    string    // one line, in views that show the occlusal plane
	legend   legend
	subtitle string
	locator  *locator // of a close-up
	chart    *chart   // drawn in place of a surface
}

// draw makes the page. The result stays valid until the next one.
func (p *page) draw(s *Surface, c content) *image.RGBA {
	l, u := newLayout(c.opt.Width, c.opt.Height)
	p.u, p.set, p.key = u, p.set[:0], p.key[:0]
	if r := image.Rect(0, 0, c.opt.Width, c.opt.Height); p.img == nil || p.img.Bounds() != r {
		p.img = image.NewRGBA(r)
	}
	draw.Draw(p.img, p.img.Bounds(), image.NewUniform(paper), image.Point{}, draw.Src)

	w, h := int(l.picture.W), int(l.picture.H)
	p.pen.reset(p.img)
	cam, shown := p.scan(s, c, w, h)
	pic := image.Rect(int(l.picture.X), int(l.picture.Y), int(l.picture.X)+w, int(l.picture.Y)+h)
	draw.Draw(p.img, pic, p.raster.Image, image.Point{}, draw.Src)

	if c.view.finding != nil {
		p.frame(l.picture)
	}
	p.title(l.title, c)
	p.directions(&l, cam, c)
	if c.locator != nil {
		l.left.H -= locatorTall*u + 12*u
		p.locate(c.locator, Box{l.left.X, l.left.Y + l.left.H + 12*u, locatorWidth * u, locatorTall * u}, cam.Centre)
	}
	lost := p.callouts(shown, l)
	p.strip(l.strip, cam, c)
	p.write(caution, l.foot.X, l.foot.Y+10*u, plainText, softInk)
	if lost > 0 {
		t := fmt.Sprintf("no room for %d more labels; the list of findings has all", lost)
		p.write(t, l.foot.X+l.foot.W-p.width(t, plainText), l.foot.Y+10*u, plainText, ink)
	}
	return p.img
}

func (p *page) addKey(k Kind) {
	for _, have := range p.key {
		if have == k {
			return
		}
	}
	p.key = append(p.key, k)
}

// frame rules the edge of a close-up, whose surface runs out of the picture.
func (p *page) frame(b Box) {
	q := stroke{{b.X, b.Y, 0}, {b.X + b.W, b.Y, 0}, {b.X + b.W, b.Y + b.H, 0}, {b.X, b.Y + b.H, 0}, {b.X, b.Y, 0}}
	p.pen.path(q, 2*p.u)
	p.pen.flush(ruleInk, 1)
}

// pixelMM is how large a pixel of a close-up is: its Scale holds the half width in mm until the picture's size is known.
func pixelMM(c Camera, picture Box) float64 { return 2 * c.Scale / min(picture.W, picture.H) }

// scan draws the surface with everything that lies on it, w × h pixels, into the raster's picture.
func (p *page) scan(s *Surface, c content, w, h int) (cam Camera, shown []seenMark) {
	p.raster.Resize(w, h)
	cam = c.view.Camera
	if c.view.finding == nil {
		room := Box{0, p.head, float64(w), float64(h) - p.head}.inset(pictureEdge * p.u)
		if pl := c.scene.Plane; c.view.Plane && pl != nil && !pl.flatOn(cam) {
			cam = cam.fit(room, s, pl.Edge...)
		} else {
			cam = cam.fit(room, s)
		}
	} else {
		cam.X, cam.Y, cam.Scale = float64(w)/2, float64(h)/2, 1/pixelMM(cam, Box{W: float64(w), H: float64(h)})
	}
	p.raster.Draw(s, cam, c.tint, c.opt.Workers)
	p.inside.reset(p.raster.Image)
	p.inside.depth = p.raster.Depth
	if c.view.Plane && c.scene.Plane != nil {
		p.plane(c.scene.Plane, cam)
	}
	for _, ln := range c.scene.Lines {
		if ln.Kind == LinePlane && !c.view.Plane || ln.Kind == LineCrest && !c.view.Tissue {
			continue
		}
		if p.overlay(ln, cam) {
			p.addKey(ln.Kind)
		}
	}
	p.inside.depth = nil
	if p.raster.back(s, cam) {
		p.addKey(BackFaces)
	}
	p.shown = p.shown[:0]
	shown = p.visible(c.scene.Marks, cam)
	for _, m := range shown {
		p.mark(m)
		if m.Number > 0 && m.Label != "" {
			p.shown = append(p.shown, strconv.Itoa(m.Number)+" "+m.Label)
		}
	}
	return cam, shown
}
