package inspect

import (
	_ "embed"
	"fmt"
	"io"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

//go:embed explain.toml
var explainText string

// Explanation is the help page of one finding code, or of a statistic.
type Explanation struct {
	Code      string   `toml:"code"`
	Title     string   `toml:"title"`      // a few words, for lists
	What      string   `toml:"what"`       // what is measured
	How       string   `toml:"how"`        // the method in one or two sentences
	Limits    []string `toml:"limits"`     // names of the limits and rules that make the finding
	Reasons   string   `toml:"reasons"`    // common reasons
	CannotSee string   `toml:"cannot_see"` // what it cannot see
	Cautions  string   `toml:"cautions"`   // of a statistic, in place of limits, reasons and what it cannot see
	Source    string   `toml:"source"`     // of the method; each limit has its own
}

// Explanations lists the help page of every code that Judge can find, in the order in which
// they are read: the scan, the material, the border, the extension, the rim.
func Explanations() []Explanation {
	var pages struct {
		Code []Explanation `toml:"code"`
	}
	if err := toml.Unmarshal([]byte(explainText), &pages); err != nil {
		panic("inspect: the embedded explanations are wrong: " + err.Error())
	}
	return pages.Code
}

// Explain returns the help page of a code.
func Explain(code string) (Explanation, bool) {
	for _, e := range Explanations() {
		if e.Code == code {
			return e, true
		}
	}
	return Explanation{}, false
}

// WriteExplanation writes a help page with the limits of p, lines of at most 80 characters. Parts that it
// does not have are left out.
func WriteExplanation(w io.Writer, e Explanation, p Protocol) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s\n", e.Code, e.Title)
	part := func(head, text string) {
		if text == "" {
			return
		}
		fmt.Fprintf(&b, "\n%s\n", head)
		wrap(&b, text, "  ", 80)
	}
	part("What", e.What)
	part("How", e.How)
	if len(e.Limits) > 0 {
		fmt.Fprintf(&b, "\nReview and fail (protocol %s %s)\n", p.Protocol.Name, p.Protocol.Version)
	}
	for _, name := range e.Limits {
		for _, text := range p.Limits.describe(name) {
			wrap(&b, text, "  ", 80)
		}
	}
	part("Common reasons", e.Reasons)
	part("What it cannot see", e.CannotSee)
	part("Cautions", e.Cautions)
	part("Source", e.Source)
	_, err := io.WriteString(w, b.String())
	return err
}

// describe says a limit or rule in words, one string for each with that name and each region of it.
func (l *Limits) describe(name string) []string {
	var out []string
	for _, n := range l.all() {
		label, region, regional := strings.Cut(n.name, ".region.")
		if label != name {
			continue
		}
		if regional {
			label += ", " + region
		}
		out = append(out, label+": "+n.band()+". "+sentence(n.Source))
	}
	for _, r := range l.rules() {
		if r.name == name {
			out = append(out, name+": "+r.band()+". "+sentence(r.Source))
		}
	}
	return out
}

// Bands says what the named limit or rule accepts, in a few words; limits of single regions are
// left out.
func (l *Limits) Bands(name string) string {
	for _, n := range l.all() {
		if n.name == name {
			return n.band()
		}
	}
	for _, r := range l.rules() {
		if r.name == name {
			return r.band()
		}
	}
	return ""
}

func (b bound) band() string {
	word := "over"
	if b.below {
		word = "under"
	}
	s := ""
	if b.Note != nil {
		s = fmt.Sprintf("told %s %v, ", word, *b.Note)
	}
	s += fmt.Sprintf("review %s %v, fail %s %v %s, asks for %s", word, b.Review, word, b.Fail, b.Unit, b.Action)
	if b.Retake != nil {
		s += fmt.Sprintf(" (retake %s %v)", word, *b.Retake)
	}
	return s
}

func (r Rule) band() string {
	if r.Severity == Info {
		return string(r.Severity)
	}
	return string(r.Severity) + ", asks for " + string(r.Action)
}

// sentence begins with a capital and ends with a full stop.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + strings.TrimSuffix(s[1:], ".") + "."
}

// wrap writes text in lines of at most width bytes; the lines after the first stand two further in.
func wrap(b *strings.Builder, text, indent string, width int) {
	col := 0
	for _, word := range strings.Fields(text) {
		switch {
		case col == 0:
			b.WriteString(indent)
			col = len(indent)
		case col+1+len(word) > width:
			b.WriteString("\n" + indent + "  ")
			col = len(indent) + 2
		default:
			b.WriteByte(' ')
			col++
		}
		b.WriteString(word)
		col += len(word)
	}
	b.WriteByte('\n')
}
