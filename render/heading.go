package render

import (
	"fmt"
	"math"
	"strings"

	"fornix/inspect"
)

// title sets the name of the view, one line about the scan or the finding's sentence, and the
// verdict at the right.
func (p *page) title(b Box, c content) {
	u, limit := p.u, b.W
	if v := string(c.verdict); v != "" {
		w := p.width(v, titleText)
		t := "verdict"
		p.write(v, b.X+b.W-w, b.Y+12*u, titleText, ink)
		tw := p.width(t, plainText)
		p.write(t, b.X+b.W-w-tw-12*u, b.Y+26*u, plainText, softInk)
		g, _, _ := strings.Cut(c.verdict.Means(), ":")
		gw := p.width(g, plainText)
		p.write(g, b.X+b.W-gw, b.Y+58*u, plainText, softInk)
		limit -= max(w+tw+12*u, gw) + 28*u
	}
	x := b.X
	if side := toViewer(c.view.Camera, c.frame); side != "" {
		p.letter(side, dot{x + 23*u, b.Y + 31*u, always})
		x += 58 * u
	}
	for _, line := range p.wrap(c.view.Title, limit-(x-b.X), 1, titleText) {
		p.write(line, x, b.Y+12*u, titleText, ink)
	}
	lines := p.wrap(c.subtitle, limit, 2, plainText)
	if t := c.plane; t != "" && c.view.Plane {
		lines = append(lines[:min(1, len(lines))], p.wrap(t, b.W, 1, plainText)...) // under the verdict's line
	}
	for i, line := range lines {
		p.write(line, b.X, b.Y+58*u+float64(i)*p.line(plainText), plainText, softInk)
	}
}

// directions names what lies to the left, right, top and bottom of the picture, and takes the
// room for it off the columns.
func (p *page) directions(l *layout, cam Camera, c content) {
	u := p.u
	left, right, up, down := sides(cam, c.frame, c.third)
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
	if c.frame == nil {
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
	if h := o.RimHeight.Anterior; h != nil {
		parts = append(parts, fmt.Sprintf("rim height in front %.1f\u00a0mm", *h))
	}
	if name, t, found := o.Reference(); found {
		parts = append(parts, fmt.Sprintf("%s, %s against the %s",
			tiltWords("cant", t.CantDeg, "left", "right"), tiltWords("pitch", t.PitchDeg, "back", "front"), name))
	}
	return strings.Join(parts, "; ")
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
func sides(c Camera, f *inspect.Frame, third [2]string) (left, right, up, down string) {
	if f == nil {
		return
	}
	near := func(d inspect.Vec) string {
		axes := [3]float64{d.Dot(f.Left), d.Dot(f.Posterior), d.Dot(f.TowardTissue)}
		names := [3][2]string{{"patient's left", "patient's right"}, {"back", "front"}, third}
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
