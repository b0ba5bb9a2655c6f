package casefile

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// Warning tells of a piece of text that looks like a person's.
type Warning struct {
	Kind string // "name" or "birth date"
	Text string // the piece
	Why  string // one plain sentence
}

// LooksPersonal finds in a file name or the header of a scan what looks like a person's name or
// date of birth, in the order of the text. It warns and knows nothing: it can be wrong both ways.
//
// The rules, on words of letters (a new word begins at a capital inside one, FirstLast):
//
//   - two or more words beside each other that are none of the trade's: a name, in any case of
//     letters and any script;
//   - one such word of three letters or more that begins with a capital, or that stands behind a
//     word such as patient, name, Mrs: a name;
//   - two to four Han characters, or kana, that stand alone: a name;
//   - a calendar date, in any usual order, of a year from 1900 to 2012, or of a year in two digits, or
//     any date or year behind a word such as born, dob: a birth date. Later dates are those of scans.
func LooksPersonal(text string) []Warning {
	var out []Warning
	var run []word // of words beside each other that the trade does not know
	label, birth := false, false
	flush := func() {
		if w, found := nameIn(run); found {
			out = append(out, w)
		}
		run = nil
	}
	for _, w := range split(text) {
		low := strings.ToLower(w.text)
		switch {
		case w.digits:
			flush()
			if why := birthDate(w.text, birth); why != "" {
				out = append(out, Warning{"birth date", w.text, why})
			}
			birth = false
		case birthWords[low]:
			flush()
			birth = true
		case nameWords[low]:
			flush()
			label = true
			continue
		case trade[low] || len([]rune(w.text)) < 2:
			flush()
			birth = false
		default:
			w.labelled = label
			run = append(run, w)
		}
		label = false
	}
	flush()
	return out
}

// word is a piece of text: letters, or digits with the signs between them.
type word struct {
	text     string
	digits   bool
	labelled bool
}

// split cuts text into words. A date keeps its dots, dashes and slashes.
func split(text string) []word {
	var out []word
	rs := []rune(text)
	for i := 0; i < len(rs); {
		j := i + 1
		switch {
		case unicode.IsLetter(rs[i]):
			for j < len(rs) && (unicode.IsLetter(rs[j]) || unicode.IsMark(rs[j])) && !(unicode.IsUpper(rs[j]) && unicode.IsLower(rs[j-1])) {
				j++
			}
			out = append(out, word{text: string(rs[i:j])})
		case unicode.IsDigit(rs[i]):
			for j < len(rs) && (unicode.IsDigit(rs[j]) || strings.ContainsRune("./-_", rs[j]) && j+1 < len(rs) && unicode.IsDigit(rs[j+1])) {
				j++
			}
			out = append(out, word{text: string(rs[i:j]), digits: true})
		}
		i = j
	}
	return out
}

// nameIn tells whether a run of unknown words looks like a name.
func nameIn(run []word) (Warning, bool) {
	var texts []string
	for _, w := range run {
		texts = append(texts, w.text)
	}
	all := strings.Join(texts, " ")
	switch {
	case len(run) == 0:
	case run[0].labelled:
		return Warning{"name", all, "It stands behind a word that announces a name."}, true
	case len(run) > 1:
		return Warning{"name", all, "These words are none of the trade's and stand together as a name does."}, true
	case eastAsian(run[0].text):
		return Warning{"name", all, "A few characters that stand alone, as a name does."}, true
	case unicode.IsUpper([]rune(all)[0]) && len([]rune(all)) > 2:
		return Warning{"name", all, "A word with a capital that is none of the trade's."}, true
	}
	return Warning{}, false
}

func eastAsian(s string) bool {
	for _, r := range s {
		if !unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Hangul) {
			return false
		}
	}
	return true
}

// birthDate says why a number looks like a date of birth; "" where it does not.
func birthDate(text string, announced bool) string {
	const first, last = 1900, 2012
	for _, layout := range dateLayouts {
		d, err := time.Parse(layout, strings.NewReplacer("/", "-", ".", "-", "_", "-").Replace(text))
		if err != nil {
			continue
		}
		if announced || !strings.Contains(layout, "2006") || d.Year() >= first && d.Year() <= last {
			return "A calendar date that may be of a birth."
		}
	}
	if _, rest, found := strings.Cut(text, "_"); found {
		return birthDate(rest, announced) // behind a number of another kind
	}
	if year, err := strconv.Atoi(text); err == nil && announced && year >= first && year <= 2100 {
		return "A year behind a word that announces a birth."
	}
	return ""
}

// dateLayouts are the usual orders of day, month and year (in package time's notation). Six
// digits in a row are more often a number than a date.
var dateLayouts = []string{"2006-1-2", "2-1-2006", "1-2-2006", "2-1-06", "1-2-06", "06-1-2", "20060102", "02012006", "01022006"}

var (
	birthWords = set("born birth birthdate birthday dob geb geboren geburtsdatum nac nacido nacida nato nata né née ne nee datumnarození")
	nameWords  = set("patient pat name nom nombre nome surname lastname firstname vorname nachname mr mrs ms miss frau herr mme monsieur madame senor señor senora señora sig signora")
	trade      = set(`a an and by for from in of on the to with no not new old copy draft test demo sample
		upper lower maxilla maxillary mandible mandibular jaw jaws arch ok uk ober unter oberkiefer unterkiefer
		final impression impressions custom individual tray trays edentulous secondary definitive functional
		occlusion occlusal rim rims bite wax record base plate registration relation plane pair both
		tissue oral side left right front back buccal labial lingual palatal posterior anterior border borders
		scan scans scanned scanner rescan mesh surface solid model cast phantom stl obj ply file export exported exporter
		binary ascii output by version software visualization toolkit generated created written object default unnamed
		thick thin short long voids void canted cant holes hole folds fold clean coarse noisy wavy chipped random
		denture dentures tooth teeth case order lab laboratory clinic sheet report package mm cm inch um date time final01
		color colour units unit scale fornix cad cam three dimensional part body`)
)

func set(words string) map[string]bool {
	out := map[string]bool{}
	for _, w := range strings.Fields(words) {
		out[w] = true
	}
	return out
}

// NeutralName names a file of the package that leaves the house: case number, what it is, and a
// count where there are several, in letters, digits and dashes only. A number that looks
// like a person, or holds nothing that can be kept, becomes "case".
func NeutralName(number, what string, n int, ending string) string {
	keep := func(s string) string {
		s = strings.Map(func(r rune) rune {
			if r < 128 && (unicode.IsLetter(r) || unicode.IsDigit(r)) {
				return r
			}
			return '-'
		}, s)
		for strings.Contains(s, "--") {
			s = strings.ReplaceAll(s, "--", "-")
		}
		return strings.Trim(s, "-")
	}
	first := keep(number)
	if first == "" || len(first) > 40 || len(LooksPersonal(number)) > 0 {
		first = "case"
	}
	name := first + "-" + keep(what)
	if n > 1 {
		name += fmt.Sprintf("-%d", n)
	}
	return strings.ToLower(name) + ending
}
