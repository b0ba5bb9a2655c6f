package render

import (
	"strings"
	"unicode"
)

// The forms of letters that join. The font has them as letters of their own (Unicode's presentation
// forms), so a word can be set without the font's rules.
//
// Based on: The Unicode Standard, chapter 9.2, Arabic (joining types, rules R1 to R7); ArabicShaping.txt
// for the types, UnicodeData.txt for the forms: tests hold the table below against both.

// presented are the presentation forms of a letter: alone, joined to the one before, to the one behind, to
// both. A letter with two joins to the one before only.
type presented []rune

// forms lists the letters that join, each with its first form and how many follow one another.
var forms = func() map[rune]presented {
	out := map[rune]presented{}
	put := func(letter, first rune, n int) {
		for k := range n {
			out[letter] = append(out[letter], first+rune(k))
		}
	}
	form := rune(0xfe80)
	for i, n := range "1222242424444422224444444400000044444442" { // U+0621 to U+0648, in the order of their forms
		put(0x621+rune(i), form, int(n-'0'))
		form += n - '0'
	}
	put(0x649, 0xfeef, 2)
	put(0x649, 0xfbe8, 2)
	put(0x64a, 0xfef1, 4)
	for _, l := range []struct {
		letter, first rune
		n             int
	}{
		{0x679, 0xfb66, 4}, {0x67e, 0xfb56, 4}, {0x686, 0xfb7a, 4}, {0x688, 0xfb88, 2}, {0x691, 0xfb8c, 2}, {0x698, 0xfb8a, 2},
		{0x6a4, 0xfb6a, 4}, {0x6a9, 0xfb8e, 4}, {0x6ad, 0xfbd3, 4}, {0x6af, 0xfb92, 4}, {0x6be, 0xfbaa, 4}, {0x6cc, 0xfbfc, 4}, {0x6d0, 0xfbe4, 4},
	} {
		put(l.letter, l.first, l.n)
	}
	return out
}()

// alefs are the letters that make one sign with a lam before them: its form alone; joined to the one
// before lam, the next.
var alefs = map[rune]rune{0x622: 0xfef5, 0x623: 0xfef7, 0x625: 0xfef9, 0x627: 0xfefb}

const (
	lam       = 0x644
	tatweel   = 0x640
	notJoined = 0x200c // zero width non-joiner
	joiner    = 0x200d // zero width joiner
)

// joins tells whether a letter joins to the one before it and to the one behind.
func joins(r rune) (before, behind bool) {
	if r == tatweel || r == joiner {
		return true, true
	}
	n := len(forms[r])
	return n >= 2, n == 4
}

// mark tells whether a letter is a mark on the one before, which joining does not see.
func mark(r rune) bool { return unicode.Is(unicode.Mn, r) }

const dagesh = 0x5bc // a dot in a Hebrew letter

// dotted is a Hebrew letter with a dagesh, whose place in it no rule gives; 0 where Unicode has none.
func dotted(r rune) rune {
	if r < 0x5d0 || r > 0x5ea || strings.ContainsRune("\u05d7\u05dd\u05df\u05e2\u05e5", r) {
		return 0
	}
	return 0xfb30 + r - 0x5d0
}

// withForms puts the forms that join in place of the letters of a text, one sign in place of lam and alef, and
// one in place of a Hebrew letter and its dagesh.
// All else stays, in its place.
func withForms(text []rune) []rune {
	out := make([]rune, 0, len(text))
	near := func(i, step int) rune { // the next letter that is no mark
		for i += step; i >= 0 && i < len(text); i += step {
			if !mark(text[i]) {
				return text[i]
			}
		}
		return 0
	}
	for i := 0; i < len(text); i++ {
		r := text[i]
		if r == dagesh {
			k := len(out) - 1 // its letter, with marks between
			for k >= 0 && mark(out[k]) {
				k--
			}
			if k >= 0 && dotted(out[k]) != 0 {
				out[k] = dotted(out[k])
				continue
			}
		}
		f := forms[r]
		if len(f) == 0 {
			if r != joiner && r != notJoined {
				out = append(out, r)
			}
			continue
		}
		toBefore, toBehind := joins(r)
		_, has := joins(near(i, -1))
		before := toBefore && has
		if first, found := alefs[near(i, 1)]; found && r == lam {
			if before {
				first++
			}
			out = append(out, first)
			for i++; mark(text[i]); i++ { // those of lam stay with the sign
				out = append(out, text[i])
			}
			continue
		}
		has, _ = joins(near(i, 1))
		k := 0
		if before {
			k++
		}
		if toBehind && has {
			k += 2
		}
		out = append(out, f[k])
	}
	return out
}
