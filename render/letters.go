package render

import (
	"fmt"
	"strings"
	"unicode"

	"golang.org/x/image/font/sfnt"

	"fornix/inspect/casefile"
)

// sheetScripts are those that the font has whole and that read rightly when their letters are set one
// after the other from left to right. The font has letters of others too (Lao …), but those join or stack:
// half-set, they would read as something else.
var sheetScripts = []*unicode.RangeTable{unicode.Latin, unicode.Greek, unicode.Cyrillic, unicode.Armenian, unicode.Georgian, unicode.Common, unicode.Inherited}

// settable is a letter as a plot sets it: a blank for what is white, -1 for what is not seen at all, and a
// question mark for what it cannot set.
func settable(buf *sfnt.Buffer, r rune) rune {
	switch {
	case r == '\n' || r == '\t' || r == '\u00a0':
		return ' '
	case unicode.Is(unicode.Cf, r):
		return -1
	}
	if !hasGlyph(buf, r) || !unicode.In(r, sheetScripts...) {
		return '?'
	}
	return r
}

func hasGlyph(buf *sfnt.Buffer, r rune) bool {
	i, err := sheetFont().GlyphIndex(buf, r)
	return err == nil && i != 0 && r <= 0xffff
}

// asSet is a text as the sheet sets it, in the order in which it is read: as settable has it, and Hebrew
// and Arabic letters too, the latter in the forms that join. An Arabic letter whose forms the font lacks
// is a question mark.
func asSet(buf *sfnt.Buffer, text string) string {
	return strings.Map(func(r rune) rune {
		back := unicode.In(r, unicode.Hebrew, unicode.Arabic)
		switch {
		case controls(r):
			return r
		case !back:
			return settable(buf, r)
		case !hasGlyph(buf, r), r < 0xfb00 && unicode.Is(unicode.Arabic, r) && unicode.IsLetter(r):
			return '?'
		}
		return r
	}, string(withForms([]rune(text))))
}

// Unprinted counts the letters of a text, and those among them that the laboratory sheet cannot set: it
// prints a question mark for each.
func Unprinted(text string) (count, of int) {
	for _, r := range text {
		if !unicode.IsSpace(r) && !unicode.Is(unicode.Cf, r) {
			of++
		}
	}
	var buf sfnt.Buffer
	return strings.Count(asSet(&buf, text), "?") - strings.Count(text, "?"), of
}

// Unset is a field of an order some letters of which the laboratory sheet cannot print.
type Unset struct {
	Key, Name string
	Count, Of int // letters that cannot be printed, and all of the field
}

// Text says so to people.
func (u Unset) Text() string {
	return fmt.Sprintf("%d of %d letters cannot be printed on the sheet, where ? stands for each", u.Count, u.Of)
}

// UnprintedFields lists the fields of an order that the sheet cannot print as they were written, in the
// order of the case file.
func UnprintedFields(c *casefile.Case) []Unset {
	var out []Unset
	for _, g := range c.Groups() {
		for _, r := range g.Rows {
			if n, of := Unprinted(r.Value); n > 0 {
				out = append(out, Unset{r.Key, r.Name, n, of})
			}
		}
	}
	return out
}

// SheetLetters names the scripts that the sheet prints.
const SheetLetters = "Latin, Greek, Cyrillic, Armenian, Georgian, Hebrew and Arabic"

// unprinted tells on the sheet which fields stand on it with question marks, and where they stand whole.
func (k *labSheet) unprinted() {
	var said []string
	for _, u := range UnprintedFields(k.in.Case) {
		said = append(said, fmt.Sprintf("%s (%d of %d letters)", u.Name, u.Count, u.Of))
	}
	if len(said) == 0 {
		return
	}
	k.head("Not printed as it was written")
	k.font("", smallSize)
	text := "This sheet prints " + SheetLetters + " letters; each other one stands here as “?”. Read these in the order file: " + strings.Join(said, "; ") + "."
	k.y += k.linesOf(text, 0, k.y-0.4, k.width(), 6, rowMM) + 2.5
}
