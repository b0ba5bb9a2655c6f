package render

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/bidi"
)

// typeLine is a line of type as it is seen: its letters from left to right.
type typeLine struct {
	text  string
	marks []typeMark
	right bool // it belongs to a paragraph that runs from right to left
}

// typeMark is a mark on a letter that runs from right to left: it is set by itself, over the letter's
// middle.
type typeMark struct {
	mark rune
	on   int // which of the line's letters
}

// runsBack tells whether the order of a text may be another than that in which its letters are seen.
func runsBack(text string) bool {
	return strings.ContainsFunc(text, func(r rune) bool { return controls(r) || unicode.In(r, unicode.Hebrew, unicode.Arabic) })
}

// simple tells whether a text can be measured and set letter by letter by fpdf itself, which takes a mark
// on a letter for a very wide letter.
func simple(text string) bool { return !runsBack(text) && !strings.ContainsFunc(text, mark) }

// controls tells whether a letter is not seen and says which way others run.
func controls(r rune) bool {
	return r == 0x200e || r == 0x200f || r == 0x61c || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069
}

// isolated keeps the order of a text that somebody wrote from that of the words it stands among.
func isolated(text string) string {
	if !runsBack(text) {
		return text
	}
	return "\u2068" + text + "\u2069"
}

// split breaks a paragraph into lines no wider than w mm, at blanks where it can. With lines over most
// (0: however many) the rest is cut off with an ellipsis. base is the paragraph's direction.
func (k *labSheet) split(text string, w float64, base int8, most int) []typeLine {
	text = k.says(text)
	if simple(text) {
		ls := k.pdf.SplitText(text, w)
		if most > 0 && len(ls) > most {
			ls = ls[:most]
			ls[most-1] = strings.TrimRight(ls[most-1], " ") + " …"
		}
		out := make([]typeLine, len(ls))
		for i, l := range ls {
			out[i].text = l
		}
		return out
	}
	runes := []rune(text)
	breaks := k.breaks(runes, w-2*k.pdf.GetCellMargin())
	if most > 0 && len(breaks) > most {
		breaks = breaks[:most]
		runes = append([]rune(strings.TrimRight(string(runes[:breaks[most-1]]), " ")), []rune(" …")...)
		breaks[most-1] = len(runes)
	}
	level, para := levels(runes, base)
	var out []typeLine
	from := 0
	for _, to := range breaks {
		out = append(out, lineOf(runes[from:to], settled(runes, level, para, from, to), para))
		from = to
	}
	return out
}

// line is a text that stands on one line.
func (k *labSheet) line(text string) typeLine {
	if text = k.says(text); !runsBack(text) {
		return typeLine{text: text}
	}
	runes := []rune(text)
	level, para := levels(runes, 0)
	return lineOf(runes, settled(runes, level, para, 0, len(runes)), para)
}

// say sets a text on one line, with the start of its base line at x, y.
func (k *labSheet) say(x, y float64, text string) { k.put(x, y, k.line(text)) }

// set sets lines x mm from the left margin, in a column w wide, and returns their height. A paragraph that
// runs from right to left stands at the right of its column.
func (k *labSheet) set(lines []typeLine, x, y, w, lineMM float64) float64 {
	for i, l := range lines {
		at := x
		if l.right {
			at += w - k.pdf.GetStringWidth(l.text)
		}
		k.put(sheetMargin+at, y+3+float64(i)*lineMM, l)
	}
	return float64(len(lines)) * lineMM
}

// breaks returns where lines end. A word that is wider than a line is broken.
func (k *labSheet) breaks(runes []rune, w float64) (out []int) {
	from, blank, wide := 0, -1, 0.0
	for i := 0; i < len(runes); i++ {
		if controls(runes[i]) || mark(runes[i]) {
			continue
		}
		wide += k.pdf.GetStringWidth(string(runes[i]))
		if runes[i] == ' ' {
			blank = i
		} else if wide > w && i > from {
			if blank > from {
				i = blank + 1
			}
			out = append(out, i)
			from, blank, wide = i, -1, 0
			i--
		}
	}
	if from < len(runes) || len(out) == 0 {
		out = append(out, len(runes))
	}
	return out
}

// lineOf sets the letters of a line in the order in which they are seen.
func lineOf(runes []rune, level []int8, base int8) typeLine {
	l := typeLine{right: base == 1}
	var seen []rune
	place := make([]int, len(runes)) // of each letter in what is seen; -1: not seen by itself
	for i := range place {
		place[i] = -1
	}
	for _, i := range turned(level) {
		r := runes[i]
		switch {
		case controls(r):
			continue
		case mark(r) && level[i]%2 == 1:
			continue // below, when the place of its letter is known
		case level[i]%2 == 1:
			r = mirrored(r)
		}
		place[i] = len(seen)
		seen = append(seen, r)
	}
	on := -1
	for i, r := range runes {
		if place[i] >= 0 {
			on = place[i]
		} else if mark(r) && on >= 0 && level[i] != removed {
			l.marks = append(l.marks, typeMark{r, on})
		}
	}
	l.text = strings.TrimRight(string(seen), " ")
	if base == 1 { // blanks at the end of a line stand at its left
		lead := len(seen) - len([]rune(strings.TrimLeft(string(seen), " ")))
		l.text = string(seen[lead:])
		for i := range l.marks {
			l.marks[i].on -= lead
		}
	}
	return l
}

// mirrored is a letter as it is seen in a text that runs from right to left (L4).
func mirrored(r rune) rune {
	const pairs = "<>«»‹›≤≥"
	at := slices.Index([]rune(pairs), r)
	if at >= 0 {
		return []rune(pairs)[at^1]
	}
	if p, _ := bidi.LookupRune(r); p.IsBracket() {
		return paired(r)
	}
	return r
}

// put sets a line with the start of its base line at x, y.
func (k *labSheet) put(x, y float64, l typeLine) {
	k.pdf.Text(x, y, l.text)
	letters := []rune(l.text)
	em, _ := k.pdf.GetFontSize()
	em *= 25.4 / 72
	var on []rune // the marks of one letter
	for i, m := range l.marks {
		if i > 0 && l.marks[i-1].on != m.on {
			on = on[:0]
		}
		on = append(on, m.mark)
		dx, dy := k.over(letters[m.on], on)
		k.pdf.Text(x+k.pdf.GetStringWidth(string(letters[:m.on]))+dx*em, y+dy*em, string(m.mark))
	}
}

// box is where a letter has ink, in em: right and down are positive.
func (k *labSheet) box(r rune) (b [4]float64) {
	i, err := sheetFont().GlyphIndex(&k.buf, r)
	if err != nil {
		return b
	}
	box, _, err := sheetFont().GlyphBounds(&k.buf, i, fixed.I(1000), font.HintingNone)
	if err != nil {
		return b
	}
	for j, v := range []fixed.Int26_6{box.Min.X, box.Min.Y, box.Max.X, box.Max.Y} {
		b[j] = float64(v) / 64 / 1000
	}
	return b
}

// atHome tells of a mark that it stands in its letter or at one side of it, where the font has it.
func atHome(mark rune) (in, aside bool) {
	return mark == 0x5bc, mark == 0x5b9 || mark == 0x5c1 || mark == 0x5c2
}

// over returns where the last of some marks on a letter goes, in em from the letter's own place: over or
// under its middle, clear of it and of the marks before.
func (k *labSheet) over(letter rune, marks []rune) (dx, dy float64) {
	const clear = 0.03
	base := k.box(letter)
	top, foot := base[1], base[3]
	for _, m := range marks {
		b := k.box(m)
		dx, dy = (base[0]+base[2])/2-(b[0]+b[2])/2, 0
		in, aside := atHome(m)
		if aside {
			dx = 0
		}
		switch {
		case in || aside:
		case b[3] < -0.4: // the font has it above
			dy = min(0, top-clear-b[3])
			top = b[1] + dy
		default:
			dy = max(0, foot+clear-b[1])
			foot = b[3] + dy
		}
	}
	return dx, dy
}
