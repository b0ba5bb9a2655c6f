package render

import (
	"bytes"
	"fmt"
	"image/jpeg"
	"math"
)

// printed is a picture for paper: the scan with its marks and their numbers, and no other text,
// which the sheet sets in type.
type printed struct {
	jpeg  []byte
	w, h  int     // pixels
	perMM float64 // pixels to a mm of the scan
	title string
	// The patient's sides at the left and the right edge, and what is up: "R", "L" or a word.
	left, right, up string
}

// printDots are pixels to a mm of paper: 250 to the inch.
const printDots = 250 / 25.4

// printer draws the pictures of one scan for paper. Marks and numbers are as large on every one.
type printer struct {
	scan    drawn // as it is drawn in every view
	content content
	page    page
	taken   map[int]bool // widths in pixels: the PDF library keeps an order by them, so no two are equal
}

func newPrinter(s *Scan, taken map[int]bool) *printer {
	opt := printOptions()
	whole := s.whole(opt.Thickness)
	return &printer{scan: whole, content: reportContent(s.Report, opt, whole.tint != nil), taken: taken}
}

func printOptions() Options { return Options{Thickness: Scale{}.orDefault()} }

// print draws a view w × h mm large on paper.
func (r *printer) print(v View, w, h float64) (printed, error) {
	c := r.content
	c.view, c.tint = v, r.scan.tint
	px := int(w * printDots)
	for r.taken[px] {
		px++
	}
	r.taken[px] = true
	out, err := r.page.printed(r.scan.surface, c, px, int(h*printDots))
	if err != nil {
		return out, fmt.Errorf("render: %s: %w", v.Name, err)
	}
	return out, nil
}

// paperUnit is a layout unit on paper, in pixels: a number's disc is 36 of them, 4.2 mm.
const paperUnit = 4.2 / 36 * printDots

// printed draws one picture for paper.
func (p *page) printed(s *Surface, c content, w, h int) (printed, error) {
	p.u, p.set, p.key = paperUnit, p.set[:0], p.key[:0]
	if c.view.finding == nil {
		p.u *= 0.55 // a whole view keeps a narrow edge
	}
	cam, shown := p.scan(s, c, w, h)
	if l, r, _, _ := sides(cam, c.frame, c.third); c.view.finding == nil && (p.painted(0, wordsWide(l)) || p.painted(w-wordsWide(r), w)) {
		p.head = wordsTall * printDots
		cam, shown = p.scan(s, c, w, h)
		p.head = 0
	}
	p.u = paperUnit
	p.img = p.raster.Image
	p.pen.reset(p.img)
	out := printed{w: w, h: h, perMM: cam.Scale, title: c.view.Title}
	l, r, up, _ := sides(cam, c.frame, c.third)
	out.left, out.right, out.up = shortSide(l), shortSide(r), up
	var discs []dot
	if l != "" && c.view.finding == nil { // their words stand in the upper corners
		const mm = printDots
		for _, x := range [2]float64{2 * mm, 7 * mm} {
			discs = append(discs, dot{x, 3 * mm, always}, dot{float64(w) - x, 3 * mm, always})
		}
	}
	for _, m := range shown {
		if m.Number == 0 || m.Label == "" {
			continue
		}
		at := beside(m, discs, float64(w), float64(h), p.u)
		discs = append(discs, at)
		p.badge(m, at)
		p.set = append(p.set, Box{at.x - 20*p.u, at.y - 20*p.u, 40 * p.u, 40 * p.u})
	}
	for _, m := range shown {
		if m.Short != "" {
			p.atMark(m, float64(w), float64(h), ink)
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, p.img, &jpeg.Options{Quality: 88}); err != nil {
		return printed{}, err
	}
	out.jpeg = b.Bytes()
	return out, nil
}

// shortSide is what stands in the corner of a picture for a side.
func shortSide(side string) string {
	switch side {
	case "patient's right":
		return "R"
	case "patient's left":
		return "L"
	}
	return side
}

// wordsTall is how much of a picture's head the words in its corners take, mm.
const wordsTall = 4.6

// wordsWide is how far a word reaches into a corner, pixels: a letter of the sheet's bold type is 1.9 mm
// wide at most.
func wordsWide(side string) int {
	if side == "" {
		return 0
	}
	return int((2.2 + 1.9*float64(len(shortSide(side)))) * printDots)
}

// painted reports whether anything is drawn in the head of the picture between two columns of pixels.
func (p *page) painted(from, to int) bool {
	img := p.raster.Image
	for y := range min(int(math.Round(wordsTall*printDots)), p.raster.H) {
		for x := max(0, from); x < min(to, p.raster.W); x++ {
			if px := img.Pix[y*img.Stride+4*x:][:3]; px[0] != paper.R || px[1] != paper.G || px[2] != paper.B {
				return true
			}
		}
	}
	return false
}

// beside finds a place for the number of a mark: near it, on the picture, and on no other number.
func beside(m seenMark, taken []dot, w, h, u float64) dot {
	const disc = 20.0 // units: radius with its edge
	best := dot{m.x, m.y, always}
	for gap := 6.0; gap < 140; gap += 12 {
		for _, d := range [8][2]float64{{0.7, -0.7}, {-0.7, -0.7}, {0.7, 0.7}, {-0.7, 0.7}, {1, 0}, {-1, 0}, {0, -1}, {0, 1}} {
			r := m.r + (gap+disc)*u
			at := dot{m.x + d[0]*r, m.y + d[1]*r, always}
			if at.x < disc*u || at.y < disc*u || at.x > w-disc*u || at.y > h-disc*u {
				continue
			}
			free := true
			for _, t := range taken {
				free = free && (t.x-at.x)*(t.x-at.x)+(t.y-at.y)*(t.y-at.y) > 4*disc*disc*u*u
			}
			if free {
				return at
			}
		}
	}
	return best
}
