package render

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

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

	set   []Box    // of all text on the page, so that a test can see that none overlap
	key   []Kind   // what the key explains
	shown []string // numbers and words of the findings that are marked
}

// caution stands at the foot of every picture.
const caution = "fornix: a screening aid, not a medical device; the licensed clinician decides"

// gloss says in a few words what a verdict asks for.
var gloss = map[inspect.Verdict]string{
	inspect.Send: "ready for the laboratory", inspect.Correct: "mend at the chairside, then send",
	inspect.Rescan: "scan again", inspect.Retake: "take the impression again",
}

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
	rep      *inspect.Report
	opt      Options
	tint     []color.RGBA
	subtitle string
	locator  *locator // of a close-up
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
	p.raster.Resize(w, h)
	cam := c.view.Camera
	if c.view.finding == nil {
		cam = cam.fit(s.mesh.Pos, Box{0, 0, l.picture.W, l.picture.H}.inset(pictureEdge*u))
	} else {
		// Scale holds the half width in mm until the picture's size is known.
		cam.X, cam.Y, cam.Scale = l.picture.W/2, l.picture.H/2, min(l.picture.W, l.picture.H)/2/cam.Scale
	}
	p.raster.Draw(s, cam, c.tint, 1)
	p.inside.reset(p.raster.Image)
	p.pen.reset(p.img)
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
	shown := p.visible(c.scene.Marks, cam)
	for _, m := range shown {
		p.mark(m)
		if m.Number > 0 && m.Label != "" {
			p.shown = append(p.shown, strconv.Itoa(m.Number)+" "+m.Label)
		}
	}
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

// title sets the name of the view, one line about the scan or the finding's sentence, and the
// verdict at the right.
func (p *page) title(b Box, c content) {
	u, limit := p.u, b.W
	if v := string(c.rep.Verdict); v != "" {
		w := p.width(v, titleText)
		t := "verdict"
		p.write(v, b.X+b.W-w, b.Y+12*u, titleText, ink)
		tw := p.width(t, plainText)
		p.write(t, b.X+b.W-w-tw-12*u, b.Y+26*u, plainText, softInk)
		g := gloss[c.rep.Verdict]
		gw := p.width(g, plainText)
		p.write(g, b.X+b.W-gw, b.Y+58*u, plainText, softInk)
		limit -= max(w+tw+12*u, gw) + 28*u
	}
	x := b.X
	if side := toViewer(c.view.Camera, c.rep.Frame); side != "" {
		p.letter(side, dot{x + 23*u, b.Y + 31*u, always})
		x += 58 * u
	}
	for _, line := range p.wrap(c.view.Title, limit-(x-b.X), 1, titleText) {
		p.write(line, x, b.Y+12*u, titleText, ink)
	}
	lines := p.wrap(c.subtitle, limit, 2, plainText)
	if t := planeWords(c.rep.Occlusal); t != "" && c.view.Plane {
		lines = append(lines[:min(1, len(lines))], p.wrap(t, limit, 1, plainText)...)
	}
	for i, line := range lines {
		p.write(line, b.X, b.Y+58*u+float64(i)*p.line(plainText), plainText, softInk)
	}
}

// directions names what lies to the left, right, top and bottom of the picture, and takes the
// room for it off the columns.
func (p *page) directions(l *layout, cam Camera, c content) {
	u := p.u
	left, right, up, down := sides(cam, c.rep.Frame)
	pic := l.picture
	mid := func(text string, y float64) {
		if text == "" {
			return
		}
		w := p.width(text, strongText)
		x := pic.X + (pic.W-w)/2
		p.pen.box(Box{x - 6*u, y, w + 12*u, p.line(strongText)})
		p.pen.flush(paper, 0.85)
		p.write(text, x, y, strongText, ink)
	}
	mid(up, pic.Y+4*u)
	mid(down, pic.Y+pic.H-p.line(strongText)-4*u)
	head := func(b *Box, text string) {
		y := b.Y
		b.Y, b.H = b.Y+headHeight*u, b.H-headHeight*u
		letter := map[string]string{"patient's right": "R", "patient's left": "L"}[text]
		w := p.width(text, strongText)
		x := b.X + (b.W-w)/2
		if letter != "" {
			x += 30 * u
			p.letter(letter, dot{x - 34*u, y + 24*u, always})
		}
		p.write(text, x, y+10*u, strongText, ink)
	}
	if c.rep.Frame == nil {
		left = "patient side unknown"
	}
	head(&l.left, left)
	head(&l.right, right)
}

// planeWords says how the occlusal plane lies, in one line; "" when there is none.
func planeWords(o *inspect.Occlusal) string {
	if o == nil {
		return ""
	}
	var parts []string
	for _, ref := range slices.Sorted(maps.Keys(o.Tilts)) {
		t := o.Tilts[ref]
		parts = append(parts, fmt.Sprintf("against %s: %s, %s", ref,
			tiltWords("cant", t.CantDeg, "left", "right"), tiltWords("pitch", t.PitchDeg, "back", "front")))
	}
	if h := o.RimHeight.Anterior; h != nil {
		parts = append(parts, fmt.Sprintf("rim height in front %.1f\u00a0mm", *h))
	}
	if len(parts) == 0 {
		return ""
	}
	return "occlusal plane " + strings.Join(parts, "; ")
}

// tiltWords tells an angle and the end at which the plane lies nearer to the tissue.
func tiltWords(name string, deg float64, plus, minus string) string {
	if math.Abs(deg) < 0.05 {
		return name + " 0.0°"
	}
	end := plus
	if deg < 0 {
		end = minus
	}
	return fmt.Sprintf("%s %.1f° (%s nearer the tissue)", name, math.Abs(deg), end)
}

// letter draws the sign of one of the patient's sides.
func (p *page) letter(l string, at dot) {
	p.pen.ring(at, 23*p.u, 3*p.u)
	p.pen.flush(ink, 1)
	p.write(l, at.x-p.width(l, letterText)/2, at.y-25*p.u, letterText, ink)
}

// toViewer returns the letter of the patient's side that faces the viewer; "" where neither does.
func toViewer(c Camera, f *inspect.Frame) string {
	if f == nil {
		return ""
	}
	switch d := c.Toward.Dot(f.Left); {
	case d > 0.72:
		return "L"
	case d < -0.72:
		return "R"
	}
	return ""
}

// sides names the four directions of the picture by the patient's axes; "" where none is near.
func sides(c Camera, f *inspect.Frame) (left, right, up, down string) {
	if f == nil {
		return
	}
	near := func(d inspect.Vec) string {
		axes := [3]float64{d.Dot(f.Left), d.Dot(f.Posterior), d.Dot(f.TowardTissue)}
		names := [3][2]string{{"patient's left", "patient's right"}, {"back", "front"}, {"tissue side", "oral side"}}
		for k, a := range axes {
			if a > 0.72 {
				return names[k][0]
			}
			if a < -0.72 {
				return names[k][1]
			}
		}
		return ""
	}
	return near(c.Right.Scale(-1)), near(c.Right), near(c.Up), near(c.Up.Scale(-1))
}

// callouts sets the labels of the marks beside the picture and returns for how many there was
// no room.
func (p *page) callouts(marks []seenMark, l layout) (lost int) {
	u := p.u
	type block struct {
		mark     seenMark
		lines    []string
		strong   int // how many of the lines are bold
		badge, w float64
	}
	var blocks []block
	var cs []Callout
	for _, m := range marks {
		if m.Label == "" {
			continue
		}
		b := block{mark: m}
		limit := l.left.W - 8*u
		if m.Number > 0 {
			b.badge = 44 * u
			limit -= b.badge
		}
		h := 0.0
		s := plainText
		if m.Kind != MarkLandmark {
			s = strongText
		}
		b.lines = p.wrap(m.Label, limit, 2, s)
		if s.bold {
			b.strong = len(b.lines)
		}
		b.lines = append(b.lines, p.wrap(m.Detail, limit, 2, plainText)...)
		for i, t := range b.lines {
			s := plainText
			if i < b.strong {
				s = strongText
			}
			b.w = max(b.w, p.width(t, s))
			h += p.line(s)
		}
		blocks = append(blocks, b)
		cs = append(cs, Callout{At: Point{m.x + l.picture.X, m.y + l.picture.Y}, W: b.w + b.badge + 8*u, H: max(h, b.badge*0.9), Rank: m.Rank})
	}
	placed := Place(cs, l.left, l.right, 10*u)
	for i, q := range placed { // leaders first, so that none crosses a label
		if q.OK {
			p.leader(q.From, blocks[i].mark, l)
		}
	}
	for i, q := range placed {
		b := blocks[i]
		if !q.OK {
			lost++
			continue
		}
		x, y := q.Box.X+4*u, q.Box.Y
		if b.badge > 0 {
			p.badge(b.mark, dot{x + 18*u, y + q.Box.H/2, always})
			x += b.badge
		}
		for k, t := range b.lines {
			s, c := plainText, softInk
			if k < b.strong {
				s, c = strongText, ink
			}
			p.write(t, x, y, s, c)
			y += p.line(s)
		}
	}
	return lost
}

// leader draws the line from a label to its mark.
func (p *page) leader(from Point, m seenMark, l layout) {
	u := p.u
	a, b := dot{from.X, from.Y, always}, dot{m.x + l.picture.X, m.y + l.picture.Y, always}
	d := math.Hypot(b.x-a.x, b.y-a.y)
	if t := 1 - m.clear/max(d, 1); t > 0 {
		b = dot{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y), always}
	}
	width, c := 2.2*u, ink
	if m.Kind == MarkLandmark {
		width, c = 1.4*u, softInk
	}
	p.pen.line(a, b, width+3*u)
	p.pen.flush(paper, 0.65)
	p.pen.line(a, b, width)
	p.pen.flush(c, 1)
}

// badge draws the number of a finding: white on dark for a failure, dark on white otherwise.
func (p *page) badge(m seenMark, at dot) {
	u := p.u
	c := ink
	p.pen.disc(at, 18*u)
	p.pen.flush(ink, 1)
	if m.Severity == inspect.Fail {
		c = paper
	} else {
		p.pen.disc(at, 15*u)
		p.pen.flush(paper, 1)
	}
	n := strconv.Itoa(m.Number)
	w := p.width(n, strongText)
	p.write(n, at.x-w/2, at.y-14.5*u, strongText, c)
}
