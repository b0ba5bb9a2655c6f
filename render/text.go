package render

import (
	"image"
	"image/color"
	"math"
	"strings"
	"sync"

	"github.com/go-fonts/dejavu/dejavusans"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// The Go fonts, parsed once; a parsed font may be shared, a face may not.
var (
	regular = sync.OnceValue(func() *opentype.Font { return mustParse(goregular.TTF) })
	bold    = sync.OnceValue(func() *opentype.Font { return mustParse(gobold.TTF) })
)

var sheetFont = sync.OnceValue(func() *opentype.Font { return mustParse(dejavusans.TTF) })

func mustParse(ttf []byte) *opentype.Font {
	f, err := opentype.Parse(ttf)
	if err != nil {
		panic("render: embedded font: " + err.Error())
	}
	return f
}

// style is a size in pixels and a weight.
type style struct {
	px   float64
	bold bool
}

// writer sets text. It keeps its faces, which only one goroutine may use at a time.
type writer struct {
	faces map[style]font.Face
	buf   sfnt.Buffer
}

func (s style) font() *opentype.Font {
	if s.bold {
		return bold()
	}
	return regular()
}

func (w *writer) face(s style) font.Face {
	if f, ok := w.faces[s]; ok {
		return f
	}
	f, err := opentype.NewFace(s.font(), &opentype.FaceOptions{Size: s.px, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic("render: font face: " + err.Error())
	}
	if w.faces == nil {
		w.faces = map[style]font.Face{}
	}
	w.faces[s] = f
	return f
}

// lineHeight is the distance of base lines in pixels.
func (s style) lineHeight() float64 { return math.Ceil(1.28 * s.px) }

// width returns how wide a line of text is, in pixels.
func (w *writer) width(text string, s style) float64 {
	return float64(font.MeasureString(w.face(s), w.legible(text, s))) / 64
}

// legible puts a question mark where the font has no glyph, which would be drawn as a blank.
func (w *writer) legible(text string, s style) string {
	return strings.Map(func(r rune) rune {
		if i, err := s.font().GlyphIndex(&w.buf, r); err != nil || i == 0 {
			return '?'
		}
		return r
	}, text)
}

// draw writes a line whose box has its upper left corner at x, y.
func (w *writer) draw(img *image.RGBA, text string, x, y float64, s style, c color.RGBA) {
	d := font.Drawer{Dst: img, Src: image.NewUniform(c), Face: w.face(s)}
	base := y + 0.97*s.px
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(math.Round(x * 64)), Y: fixed.Int26_6(math.Round(base)) * 64}
	d.DrawString(w.legible(text, s))
}

// wrap breaks text into lines no wider than limit pixels, and at most lines of them; what does
// not fit ends in an ellipsis.
func (w *writer) wrap(text string, limit float64, lines int, s style) []string {
	var out []string
	now := ""
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }) {
		next := strings.TrimPrefix(now+" "+word, " ")
		if now != "" && w.width(next, s) > limit {
			out = append(out, now)
			next = word
		}
		now = next
	}
	if now != "" {
		out = append(out, now)
	}
	if len(out) > lines {
		out = out[:lines]
		out[lines-1] += " …"
	}
	for i, l := range out {
		out[i] = w.shorten(l, limit, s)
	}
	return out
}

// shorten cuts a line that is too wide and ends it in an ellipsis.
func (w *writer) shorten(text string, limit float64, s style) string {
	if w.width(text, s) <= limit {
		return text
	}
	rs := []rune(strings.TrimSuffix(text, " …"))
	for len(rs) > 0 && w.width(strings.TrimSpace(string(rs))+" …", s) > limit {
		rs = rs[:len(rs)-1]
	}
	return strings.TrimSpace(string(rs)) + " …"
}

// capital begins a phrase with a capital letter.
func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
