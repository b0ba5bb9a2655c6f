package render

import (
	"strconv"
	"strings"
	"testing"
)

// Words and the forms of their letters, by the rules of chapter 9.2 of the Unicode Standard: the table of
// cursive joining (R1 to R7), lam-alef (L1 to L3), marks that joining does not see, and the two joiners.
func TestWordsJoin(t *testing.T) {
	for word, want := range map[string]string{
		"بيت":           "\ufe91\ufef4\ufe96",                         // house: dual-joining letters begin, go on, end
		"دار":           "\ufea9\ufe8d\ufead",                         // home: right-joining letters join nothing behind
		"باب":           "\ufe91\ufe8e\ufe8f",                         // door: one that ends the joining
		"سلام":          "\ufeb3\ufefc\ufee1",                         // peace: lam and alef, joined to the letter before
		"لا":            "\ufefb",                                     // no: lam and alef alone
		"لَا":           "\ufefb\u064e",                               // the same with a mark between
		"ماء":           "\ufee3\ufe8e\ufe80",                         // water: hamza joins nothing
		"بَيْت":         "\ufe91\u064e\ufef4\u0652\ufe96",             // house, with its marks
		"می\u200cخواهم": "\ufee3\ufbfd\ufea7\ufeee\ufe8d\ufeeb\ufee2", // Persian, I want: the non-joiner parts the word
		"ه\u200d":       "\ufeeb",                                     // the joiner gives the form that joins behind
		"مـ":            "\ufee3\u0640",                               // so does tatweel
		"پژ":            "\ufb58\ufb8b",                               // letters of Persian
		"على":           "\ufecb\ufee0\ufef0",                         // on: alef maksura ends
		"abc ب 12":      "abc \ufe8f 12",                              // nothing to join to
		"וּבְּ":         "\ufb35\ufb31\u05b0", "חּ": "חּ",             // but a dagesh stands in its letter
		"שלום":    "שלום",                                                     // Hebrew does not join
		"الأسنان": "\ufe8d\ufef7\ufeb3\ufee8\ufe8e\ufee5",                     // teeth: lam and alef with hamza
		"مختبر":   "\ufee3\ufea8\ufe98\ufe92\ufeae",                           // laboratory
		"أ ب":     "\ufe83 \ufe8f",                                            // a blank parts them
		"ئن":      "\ufe8b\ufee6", "تة": "\ufe97\ufe94", "كگ": "\ufedb\ufb93", // further letters at both ends
		"ڤڭ": "\ufb6c\ufbd4", "يڈ": "\ufef3\ufb89", "ڑٹ": "\ufb8c\ufb66", "ھې": "\ufbac\ufbe5", // of other languages
	} {
		if got := string(withForms([]rune(word))); got != want {
			t.Errorf("%s: %+q and not %+q", word, got, want)
		}
	}
}

// The table of forms is Unicode's: each form is a compatibility form of its letter, by name of its place in
// a word (UnicodeData.txt), and a letter joins on the sides that its joining type says (ArabicShaping.txt).
func TestFormsAreThoseOfTheStandard(t *testing.T) {
	hex := func(s string) rune {
		v, err := strconv.ParseUint(strings.TrimSpace(s), 16, 32)
		if err != nil {
			t.Fatal(err)
		}
		return rune(v)
	}
	of := map[rune]string{}
	for s := unicodeData(t, "UnicodeData.txt"); s.Scan(); {
		f := strings.Split(s.Text(), ";")
		of[hex(f[0])] = f[5]
	}
	for letter, all := range forms {
		for k, form := range all {
			place := []string{"isolated", "final", "initial", "medial"}[k]
			if want := "<" + place + "> " + strings.ToUpper(strconv.FormatInt(int64(letter+0x10000), 16)[1:]); of[form] != want {
				t.Errorf("%04x is %s and not %s", form, of[form], want)
			}
		}
	}
	for alef, first := range alefs {
		for k, place := range []string{"isolated", "final"} {
			if want := "<" + place + "> 0644 0" + strings.ToUpper(strconv.FormatInt(int64(alef), 16)); of[first+rune(k)] != want {
				t.Errorf("%04x is %s and not %s", first+rune(k), of[first+rune(k)], want)
			}
		}
	}
	for r := rune(0x5d0); r <= 0x5ea; r++ { // UnicodeData.txt has no form where dotted gives none
		want := "05" + strings.ToUpper(strconv.FormatInt(int64(r-0x500), 16)) + " 05BC"
		if got := of[0xfb30+r-0x5d0]; dotted(r) == 0 && got != "" || dotted(r) != 0 && got != want {
			t.Errorf("%04x with a dagesh is %q and not %q", r, got, want)
		}
	}
	found := 0
	for s := unicodeData(t, "ArabicShaping.txt"); s.Scan(); {
		f := strings.Split(s.Text(), ";")
		if len(f) < 4 || strings.HasPrefix(f[0], "#") {
			continue
		}
		r := hex(f[0])
		if len(forms[r]) == 0 {
			continue
		}
		found++
		before, behind := joins(r)
		kind := strings.TrimSpace(f[2])
		if before != (kind == "D" || kind == "R") || behind != (kind == "D") {
			t.Errorf("%04x: joins before %v and behind %v, and is of type %s", r, before, behind, kind)
		}
	}
	if found != len(forms) || found < 45 {
		t.Errorf("%d letters of %d have a joining type", found, len(forms))
	}
}
