package render

import (
	"image/color"
	"math"
	"sort"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
)

// Figure is a plot for a paper: shapes and words on a white sheet. The same description is written
// as SVG, PDF and PNG. Lengths are mm, y runs down.
type Figure struct {
	W, H  float64
	Alt   string // what it shows, for those who do not see it
	parts []part
	faces map[float64]font.Face
	buf   sfnt.Buffer
}

// part is one shape or one line of words, in the order of drawing.
type part struct {
	kind   partKind
	path   [][2]float64 // of lines and areas; the first point is the middle of a disc and the start of words
	width  float64      // of lines
	radius float64
	ink    color.RGBA
	text   string
	size   float64 // of type, mm
	tip    string  // said of a disc where one can point at it
	link   string  // opened by a disc in SVG
}

type partKind int

const (
	partLine partKind = iota
	partArea
	partDisc
	partText
)

// Sizes of a figure, mm.
const (
	figureType = 2.8 // 8 points
	figureLine = 0.25
	figureDot  = 0.9
)

// Greys that stay apart in grey print: they differ in lightness, and nothing is told by hue alone.
var (
	lightArea = color.RGBA{228, 228, 230, 255}
	midArea   = color.RGBA{190, 194, 202, 255}
)

func (f *Figure) line(ink color.RGBA, width float64, path ...[2]float64) {
	f.parts = append(f.parts, part{kind: partLine, path: path, width: width, ink: ink})
}

func (f *Figure) area(ink color.RGBA, path ...[2]float64) {
	f.parts = append(f.parts, part{kind: partArea, path: path, ink: ink})
}

// dashed is a line in pieces on mm long with gaps of off.
func (f *Figure) dashed(ink color.RGBA, width, on, off float64, a, b [2]float64) {
	long := math.Hypot(b[0]-a[0], b[1]-a[1])
	at := func(d float64) [2]float64 {
		t := min(1, d/long)
		return [2]float64{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
	}
	for d := 0.0; d < long; d += on + off {
		f.line(ink, width, at(d), at(d+on))
	}
}

// mark is a value that can be pointed at.
func (f *Figure) mark(at [2]float64, tip, link string) {
	f.parts = append(f.parts, part{kind: partDisc, path: [][2]float64{at}, radius: figureDot, ink: crestInk, tip: tip, link: link})
}

// words sets a line of type; anchor is 0 for its start at x, 0.5 for its middle, 1 for its end; y is
// its base line.
func (f *Figure) words(text string, x, y, anchor float64, ink color.RGBA) {
	text = f.legible(text)
	x -= anchor * f.width(text)
	f.parts = append(f.parts, part{kind: partText, path: [][2]float64{{x, y}}, text: text, size: figureType, ink: ink})
}

// legible puts a question mark where a letter cannot be set.
func (f *Figure) legible(text string) string {
	return strings.Map(func(r rune) rune { return settable(&f.buf, r) }, text)
}

// face is the figures' font at a size in pixels.
func (f *Figure) face(px float64) font.Face {
	if k, ok := f.faces[px]; ok {
		return k
	}
	k, err := opentype.NewFace(sheetFont(), &opentype.FaceOptions{Size: px, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic("render: font face: " + err.Error())
	}
	if f.faces == nil {
		f.faces = map[float64]font.Face{}
	}
	f.faces[px] = k
	return k
}

// width of a line of type, mm.
func (f *Figure) width(text string) float64 {
	const px = 100
	return float64(font.MeasureString(f.face(px), text)) / 64 * figureType / px
}

// fit breaks text into at most two lines no wider than limit mm, and cuts what does not fit.
func (f *Figure) fit(text string, limit float64) []string {
	text = f.legible(text)
	if f.width(text) <= limit {
		return []string{text}
	}
	first, rest := "", text
	if i := strings.LastIndexFunc(text, func(r rune) bool { return r == ' ' }); i > 0 {
		for i > 0 && f.width(text[:i]) > limit {
			i = strings.LastIndex(text[:i], " ")
		}
		if i > 0 {
			first, rest = text[:i], text[i+1:]
		}
	}
	for r := []rune(rest); f.width(rest) > limit && len(r) > 1; {
		r = r[:len(r)-1]
		rest = strings.TrimSpace(string(r)) + "…"
	}
	if first == "" {
		return []string{rest}
	}
	return []string{first, rest}
}

// apart moves places that lie closer than gap until none do, as little as keeps their order. The
// places are returned in the order in which they came.
func apart(at []float64, gap, low, high float64) []float64 {
	order := make([]int, len(at))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return at[order[i]] < at[order[j]] })
	out := append([]float64(nil), at...)
	for i, o := range order {
		out[o] = max(out[o], low)
		if i > 0 {
			out[o] = max(out[o], out[order[i-1]]+gap)
		}
	}
	end := high
	for i := len(order) - 1; i >= 0; i-- {
		out[order[i]] = min(out[order[i]], end)
		end = out[order[i]] - gap
	}
	return out
}
