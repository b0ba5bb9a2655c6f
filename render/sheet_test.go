package render

import (
	"bytes"
	"html"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/image/font/sfnt"

	"fornix/inspect"
	"fornix/inspect/casefile"
)

// sheetOf makes a sheet of the fixture's scans.
func sheetOf(t *testing.T, c *casefile.Case, paper string, jaws ...inspect.Jaw) ([]byte, []*inspect.Report) {
	t.Helper()
	in := SheetInput{Protocol: inspect.DefaultProtocol(), Case: c}
	var reps []*inspect.Report
	for _, j := range jaws {
		m, rep := fullReport(j)
		in.Scans = append(in.Scans, NewScan(m, rep))
		reps = append(reps, rep)
	}
	out, err := LabSheet(in, SheetOptions{Paper: paper})
	if err != nil {
		t.Fatal(err)
	}
	return out, reps
}

func emptyCase(t *testing.T) *casefile.Case {
	t.Helper()
	var b bytes.Buffer
	if err := casefile.WriteTemplate(&b, casefile.ToothSetUp); err != nil {
		t.Fatal(err)
	}
	c, err := casefile.Read(&b, "case.toml")
	if err != nil {
		t.Fatal(err)
	}
	c.Order.Number = "K-2031"
	c.Clinic.Name = "Łódź Ελλάς Київ"
	return &c
}

var pageCount = regexp.MustCompile(`/Type /Pages\s+/Kids \[[^]]*\]\s+/Count (\d+)`)

func TestSheetPagesAndBytes(t *testing.T) {
	for _, k := range []struct {
		paper string
		jaws  []inspect.Jaw
	}{{"A4", []inspect.Jaw{inspect.Upper}}, {"A4", []inspect.Jaw{inspect.Upper, inspect.Lower}}, {"Letter", []inspect.Jaw{inspect.Upper, inspect.Lower}}} {
		c := emptyCase(t)
		a, _ := sheetOf(t, c, k.paper, k.jaws...)
		b, _ := sheetOf(t, c, k.paper, k.jaws...)
		if !bytes.Equal(a, b) {
			t.Errorf("%s, %v: not the same bytes twice", k.paper, k.jaws)
		}
		m := pageCount.FindSubmatch(a)
		if m == nil || m[1][0] < '2' || m[1][0] > '4' || len(m[1]) > 1 {
			t.Errorf("%s, %v: pages %q, want 2 to 4", k.paper, k.jaws, m)
		}
	}
	if _, err := LabSheet(SheetInput{}, SheetOptions{}); err == nil {
		t.Error("a sheet without a scan was made")
	}
}

// What stands on the sheet can be selected: pdftotext of Debian's poppler-utils reads it.
func TestSheetText(t *testing.T) {
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("no pdftotext")
	}
	c := emptyCase(t)
	c.Clinic.Address, c.More.Notes = "東京 12", "義歯床"
	out, reps := sheetOf(t, c, "A4", inspect.Lower)
	path := filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(path, out, 0o600); err != nil {
		t.Fatal(err)
	}
	raw, err := exec.Command(tool, "-layout", path, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(string(raw)), " ")
	want := []string{"Laboratory sheet", "case K-2031", "Łódź Ελλάς Київ", strings.ToUpper(string(reps[0].Verdict)),
		"page 1 of 3", "page 3 of 3", reps[0].Scan.File, caution, "Border thickness along the border", "Missing before this is sent",
		"over 0.6 / 0.9 mm", "Signature of the clinician", "?? 12",
		"Not printed as it was written", "Read these in the order file: Clinic's address (2 of 4 letters); Notes (3 of 3 letters)."}
	want = append(want, inspect.Cautions()...)
	for _, g := range c.Missing("") {
		want = append(want, casefile.Name(g.Key))
	}
	for _, w := range want {
		if !strings.Contains(text, strings.Join(strings.Fields(w), " ")) {
			t.Errorf("the sheet does not say %q", w)
		}
	}
	for _, f := range reps[0].Findings {
		for _, w := range strings.Fields(f.Text) { // lines break it and the pictures stand beside
			if !strings.Contains(text, w) {
				t.Errorf("the word %q of finding %q is not on the sheet", w, f.Code)
				break
			}
		}
	}
}

// The font has the letters of the scripts that the README promises.
func TestSheetFontHasScripts(t *testing.T) {
	var buf sfnt.Buffer
	for script, letters := range map[string]string{
		"Latin": "AzÄéßŁčđğİıőşţÞœ", "Greek": "ΑΩάώϊ", "Cyrillic": "АяЁґЇєљћ", "Armenian": "Աբև", "Georgian": "აბჰ",
		"Hebrew": "אבגדהוזחטיךכלםמןנסעףפץצקרשת־׳״\u05b0\u05bc\u05c1", "Arabic": "،؛؟٠١٢٣٤٥٦٧٨٩٪ـ\u064b\u064c\u064d\u064e\u064f\u0650\u0651\u0652۰۱۲۳۴۵۶۷۸۹", "signs": "±°·–…’“„",
	} {
		for _, r := range letters {
			if i, err := sheetFont().GlyphIndex(&buf, r); err != nil || i == 0 {
				t.Errorf("%s: no glyph for %q", script, r)
			}
		}
	}
	for letter, all := range forms {
		for _, form := range append(slices.Clone(all), slices.Collect(maps.Values(alefs))...) {
			if !hasGlyph(&buf, form) {
				t.Errorf("%c: no glyph for its form %04x", letter, form)
			}
		}
	}
	// Letters that the font lacks, and those that it has and that cannot be set one after the other.
	for text, want := range map[string]string{
		"a漢b": "a?b", "אבa": "אבa", "سa": "\ufeb1a", "ۂێ1": "??1", "नमस्ते": "??????", "ກa": "?a", "z\u200b\u00ady": "zy", "e\u0301": "e\u0301", "?": "?", "😀": "?",
	} {
		if got := newSheet("A4").says(text); got != want {
			t.Errorf("%q is set as %q, not %q", text, got, want)
		}
	}
	if n, of := Unprinted("a 漢字 סb?\u200bێلا"); n != 3 || of != 9 {
		t.Errorf("%d of %d letters cannot be printed", n, of)
	}
}

// Two jaws closed on each other get a page of their own, with the same bytes each time.
func TestSheetOfAPair(t *testing.T) {
	var first []byte
	for range 2 {
		in := SheetInput{Protocol: inspect.DefaultProtocol(), Case: emptyCase(t), Relation: pairOf(closedPair())}
		for _, j := range []inspect.Jaw{inspect.Upper, inspect.Lower} {
			m, rep := fullReport(j)
			in.Scans = append(in.Scans, NewScan(m, rep))
		}
		out, err := LabSheet(in, SheetOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = out
		} else if !bytes.Equal(out, first) {
			t.Error("other bytes the second time")
		}
		if n := pageCount.FindSubmatch(out); n == nil || string(n[1]) != "4" {
			t.Errorf("pages %s, want 4", n)
		}
	}
}

// However long the order is, the sheet of a pair has four pages and nothing runs into the foot: every
// finding, every row and the signature line stand on it.
func TestSheetOfAFullOrder(t *testing.T) {
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("no pdftotext")
	}
	const english, back = "words of a fair length ", "الرجاء إرسال القالب שלום 12 "
	for _, of := range [][2]string{{"A4", english}, {"Letter", english}, {"Letter", back}} {
		paper := of[0]
		c := emptyCase(t)
		fill(reflect.ValueOf(c).Elem(), strings.Repeat(of[1], 12))
		c.Order.Number = "K-2031"
		in := SheetInput{Protocol: inspect.DefaultProtocol(), Case: c, Relation: pairOf(closedPair())}
		for _, j := range []inspect.Jaw{inspect.Upper, inspect.Lower} {
			m, rep := fullReport(j)
			in.Scans = append(in.Scans, NewScan(m, rep))
		}
		out, err := LabSheet(in, SheetOptions{Paper: paper})
		if err != nil {
			t.Fatal(err)
		}
		if n := pageCount.FindSubmatch(out); n == nil || string(n[1]) != "4" {
			t.Errorf("%s: pages %s, want 4", paper, n)
		}
		path := filepath.Join(t.TempDir(), "sheet.pdf")
		if err := os.WriteFile(path, out, 0o600); err != nil {
			t.Fatal(err)
		}
		raw, err := exec.Command(tool, "-bbox", path, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		var words []string
		page, foot := 0.0, 0
		for _, m := range regexp.MustCompile(`<page width="[0-9.]+" height="([0-9.]+)"|yMax="([0-9.]+)">([^<]*)<`).FindAllStringSubmatch(string(raw), -1) {
			if m[1] != "" {
				page, _ = strconv.ParseFloat(m[1], 64)
				continue
			}
			words = append(words, html.UnescapeString(m[3]))
			y, _ := strconv.ParseFloat(m[2], 64)
			if line := page - sheetFoot/25.4*72; y > line+1 { // points, of which 72 are an inch
				foot++
				if y < line+8 {
					t.Errorf("%s: the word %q stands on the line of the foot", paper, m[3])
				}
			}
		}
		if foot == 0 {
			t.Errorf("%s: no foot", paper)
		}
		text := strings.Join(words, " ")
		for _, f := range in.Relation.Outcome.Relation.Findings {
			for _, w := range strings.Fields(f.Text) { // the pictures stand beside
				if !strings.Contains(text, w) {
					t.Errorf("%s: the word %q of finding %q is not on the sheet", paper, w, f.Code)
				}
			}
		}
		for _, s := range in.Scans {
			for _, r := range Rows(s.Report, &in.Protocol.Limits) {
				for _, w := range strings.Fields(r.Name + " " + r.Value + " " + r.Limits) {
					if !strings.Contains(text, w) {
						t.Errorf("%s: %q of the row %q is not on the sheet", paper, w, r.Name)
					}
				}
			}
		}
		for _, w := range []string{"Signature of the clinician", in.Scans[1].Report.Scan.SHA256} {
			if !strings.Contains(text, w) {
				t.Errorf("%s: no %q", paper, w)
			}
		}
		if strings.Contains(text, "more rows") {
			t.Errorf("%s: rows were left out", paper)
		}
	}
}

// fill writes the same words into every text of a case.
func fill(v reflect.Value, words string) {
	for i := range v.NumField() {
		switch f := v.Field(i); {
		case f.Kind() == reflect.Struct:
			fill(f, words)
		case f.Kind() == reflect.String:
			f.SetString(words)
		}
	}
}

// The words in the corners of a printed view stand on paper, never on the scan, however flat the picture.
func TestSidesStandOnPaper(t *testing.T) {
	for _, jaw := range []inspect.Jaw{inspect.Upper, inspect.Lower} {
		m, rep := fullReport(jaw)
		r := newPrinter(NewScan(m, rep), map[int]bool{})
		for _, v := range views(rep)[:5] {
			out, err := r.print(v, 40, 22)
			if err != nil {
				t.Fatal(err)
			}
			p := &r.page
			if out.left == "" || p.painted(0, wordsWide(out.left)) || p.painted(out.w-wordsWide(out.right), out.w) {
				t.Errorf("%s, %s: the scan or a mark lies under %q or %q", jaw, v.Name, out.left, out.right)
			}
			if scale := out.perMM / printDots; scale < 0.1 {
				t.Errorf("%s, %s: drawn at %.2f of its size", jaw, v.Name, scale)
			}
		}
	}
}
