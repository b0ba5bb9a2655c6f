package render

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"fornix/inspect"
)

// What is seen of a text, by the examples that UAX #9 gives of the reversal of levels (L2) and of its
// mirrored brackets (L4). Capitals stand for Hebrew letters there, and here.
func TestLinesAreSeenInOrder(t *testing.T) {
	hebrew := func(text string) string {
		return strings.Map(func(r rune) rune {
			if r >= 'A' && r <= 'Z' {
				return 0x5d0 + r - 'A'
			}
			return r
		}, text)
	}
	for _, c := range []struct {
		text, want string
		base       int8
	}{
		{"car means CAR.", "car means RAC.", 0},
		{"car MEANS CAR.", ".RAC SNAEM car", 1},
		{"he said “\u2067car MEANS CAR\u2069.”", "he said “RAC SNAEM car.”", 0},
		{"DID YOU SAY ’\u2066he said “\u2067car MEANS CAR\u2069”\u2069‘?", "?‘he said “RAC SNAEM car”’ YAS UOY DID", 1},
		{"A(B)c", "c(B)A", 1},
		{"ABC (D) 12, 3", "3 ,12 (D) CBA", auto},
		{"x (AB) C", "x (BA) C", 0},
		{"«AB» <C>", "<C> «BA»", auto},
		{"AB  ", "BA", auto},
		{"no. 7", "no. 7", auto},
	} {
		runes := []rune(hebrew(c.text))
		level, para := levels(runes, c.base)
		got := lineOf(runes, settled(runes, level, para, 0, len(runes)), para)
		if got.text != hebrew(c.want) || got.right != (para == 1) || len(got.marks) > 0 {
			t.Errorf("%q is seen as %q and not %q", c.text, got.text, hebrew(c.want))
		}
	}
}

// A mark of a letter that runs from right to left stands over or under the letter's middle and clear of it
// and of the marks before: no ink of one lies on that of another.
func TestMarksStandClear(t *testing.T) {
	k := newSheet("A4")
	for _, c := range []struct {
		letter rune
		marks  string
	}{{0xfe8d, "\u064e"}, {0xfe91, "\u0650"}, {0xfe91, "\u0651\u064e"}, {0xfed3, "\u0651\u0650"}, {0xfee7, "\u064b"}, {0xfef4, "\u064d"}, {'ש', "\u05b8"}, {'י', "\u05b4"}, {'ק', "\u05b0"}} {
		base := k.box(c.letter)
		ink := [][4]float64{base}
		for i := range []rune(c.marks) {
			marks := []rune(c.marks)[:i+1]
			dx, dy := k.over(c.letter, marks)
			b := k.box(marks[i])
			b = [4]float64{b[0] + dx, b[1] + dy, b[2] + dx, b[3] + dy}
			if off := (b[0] + b[2] - base[0] - base[2]) / 2; off < -0.001 || off > 0.001 {
				t.Errorf("%c with %+q: %.3f em beside its middle", c.letter, marks, off)
			}
			for _, o := range ink {
				if b[1] < o[3] && o[1] < b[3] {
					t.Errorf("%c with %+q: the mark from %.2f to %.2f runs into %.2f to %.2f", c.letter, marks, b[1], b[3], o[1], o[3])
				}
			}
			if b[1] < -1.35 || b[3] > 0.75 {
				t.Errorf("%c with %+q: from %.2f to %.2f is far away", c.letter, marks, b[1], b[3])
			}
			ink = append(ink, b)
		}
	}
	// In a line, marks are set on their own letters.
	runes := []rune(asSet(&k.buf, "بَيْت 1"))
	level, para := levels(runes, auto)
	l := lineOf(runes, settled(runes, level, para, 0, len(runes)), para)
	if want := "1 \ufe96\ufef4\ufe91"; l.text != want || len(l.marks) != 2 || l.marks[0] != (typeMark{0x64e, 4}) || l.marks[1] != (typeMark{0x652, 3}) {
		t.Errorf("%+q with %v", l.text, l.marks)
	}
}

// Lines are no wider than their column, break at blanks and hold all of the text; a mark on a letter is
// no place to break.
func TestLinesBreak(t *testing.T) {
	k := newSheet("A4")
	k.font("", bodySize)
	for text, words := range map[string]int{
		strings.Repeat("الرجاء إرسال القالب مع الطابعة ", 6): 30, strings.Repeat("שדרות רוטשילד 12, ", 9): 27, strings.Repeat("Cafe\u0301 dure\u0301e 7 ", 12): 36,
		strings.Repeat("والطابعة", 12): 0,
	} {
		whole := []rune(k.says(text))
		held := 0
		ls := k.split(text, 50, auto, 0)
		for _, l := range ls {
			if w := k.pdf.GetStringWidth(l.text); w > 50 {
				t.Errorf("%q is %.1f mm wide", l.text, w)
			}
			held += len([]rune(strings.ReplaceAll(l.text, " ", ""))) + len(l.marks)
			words -= len(strings.Fields(l.text))
		}
		if n := len([]rune(strings.ReplaceAll(string(whole), " ", ""))); held != n || len(ls) < 3 {
			t.Errorf("%q: %d letters of %d in %d lines", text, held, n, len(ls))
		}
		if words > 0 || words < 0 && strings.Contains(text, " ") {
			t.Errorf("%q: %d words too few", text, words)
		}
		if cut := k.split(text, 50, auto, 2); len(cut) != 2 || !strings.Contains(cut[1].text, "…") {
			t.Errorf("cut to %d lines: %q", len(cut), cut[len(cut)-1].text)
		}
	}
}

// Text that is selected and copied from the paper holds the words as they were written, in letters or in
// their forms, which are the same for a search (NFKC): pdftotext reads it as viewers do.
func TestSheetIsReadFromRightToLeft(t *testing.T) {
	c := emptyCase(t)
	c.Clinic.Name, c.Clinic.Address, c.Clinic.Clinician = "عيادة الأسنان", "שדרות הדקל 12, תל אביב (קומה 3)", "ד״ר כהן, DMD"
	c.Laboratory.Name, c.Laboratory.Address = "مختبر السلام 2024 (Lab A)", "خیابان بهار، پلاک ۱۲، تهران"
	out, _ := sheetOf(t, c, "A4", inspect.Upper)
	if n, _ := Unprinted(c.Clinic.Name + c.Clinic.Address + c.Laboratory.Name + c.Laboratory.Address); n != 0 {
		t.Errorf("%d letters are not printed", n)
	}
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("no pdftotext")
	}
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(file, out, 0o644); err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command(tool, "-layout", file, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	read := strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Cf, r) {
			return -1
		}
		return r
	}, norm.NFKC.String(string(text)))
	for _, want := range []string{"عيادة الأسنان", "שדרות הדקל", "תל אביב", "ד״ר כהן", "DMD", "مختبر السلام", "2024", "(Lab A)", "خیابان بهار", "پلاک", "۱۲", "تهران"} {
		if !strings.Contains(read, want) {
			t.Errorf("%q cannot be read from the sheet", want)
		}
	}
	if strings.Contains(read, "Not printed as it was written") {
		t.Error("the sheet says that it does not print what it prints")
	}
}
