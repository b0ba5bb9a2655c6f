package casefile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// heading stands at the top of every case file.
const heading = `# Case file: the order that travels with the scans. Plain text (TOML): write between the quotes, and
# take the # away before a number or a yes/no (true, false) that you fill in. The patient is a number
# here and nowhere a name. "fornix case check FILE" tells what is missing for the stage of the work.
`

// maxCase bounds what is read: a case of every field and a thousand marks is far shorter.
const maxCase = 1 << 20

// Write writes a case with a comment over every key. What is not filled in is written empty, or
// as a comment with an example where the value is a number or a yes/no. Reading what was written
// gives an equal case, and writing that equal bytes.
func Write(w io.Writer, c Case) error {
	if key, err := c.check(); err != nil {
		return fmt.Errorf("casefile: %s: %w", key, err)
	}
	var b strings.Builder
	b.WriteString(heading)
	all := reflect.ValueOf(c)
	for i := range all.NumField() {
		f := all.Type().Field(i)
		fmt.Fprintf(&b, "\n# %s\n[%s]\n", f.Tag.Get("say"), f.Tag.Get("toml"))
		section := all.Field(i)
		for k := range section.NumField() {
			g := section.Type().Field(k)
			fmt.Fprintf(&b, "# %s\n%s\n", g.Tag.Get("say"), line(g, section.Field(k)))
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// line writes one key with its value.
func line(f reflect.StructField, v reflect.Value) string {
	key := f.Tag.Get("toml") + " = "
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return "# " + key + f.Tag.Get("like")
		}
		v = v.Elem()
	}
	return key + value(v)
}

// value writes a value as TOML does.
func value(v reflect.Value) string {
	switch v.Kind() {
	case reflect.String:
		return quote(v.String())
	case reflect.Float64:
		s := strconv.FormatFloat(v.Float(), 'f', -1, 64)
		if !strings.Contains(s, ".") {
			s += ".0"
		}
		return s
	case reflect.Slice:
		parts := make([]string, v.Len())
		for i := range parts {
			parts[i] = value(v.Index(i))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	}
	return fmt.Sprint(v.Interface())
}

// quote writes a basic string of TOML: quotes, backslashes and control characters are escaped,
// all other letters stand as they are, so that the file reads in every language.
func quote(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range strings.ToValidUTF8(s, "\uFFFD") {
		switch {
		case r == '"' || r == '\\':
			b.WriteString(`\` + string(r))
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < ' ' || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// WriteTemplate writes an empty case file of a stage, ready to be filled in.
func WriteTemplate(w io.Writer, stage string) error {
	return Write(w, Case{Order: Order{Stage: stage, Urgency: "normal", Jaws: []string{"upper", "lower"}}})
}

// Read reads a case file. A key that no case has, a value of the wrong kind and one that cannot
// be right are errors that begin with name and line. A file may leave keys out: Missing tells.
func Read(r io.Reader, name string) (Case, error) {
	var c Case
	text, err := io.ReadAll(io.LimitReader(r, maxCase+1))
	if err != nil {
		return c, err
	}
	if len(text) > maxCase {
		return c, fmt.Errorf("%s: longer than %d bytes: not a case file", name, maxCase)
	}
	text = bytes.TrimPrefix(text, []byte("\uFEFF")) // some editors put it there
	d := toml.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&c); err != nil {
		return Case{}, plainError(name, err)
	}
	if key, err := c.check(); err != nil {
		return Case{}, fmt.Errorf("%s:%d: %s: %w", name, lineOf(text, key), key, err)
	}
	return c.normal(), nil
}

// normal gives lists that are empty one form, so that equal cases compare equal.
func (c Case) normal() Case {
	if len(c.Order.Jaws) == 0 {
		c.Order.Jaws = nil
	}
	if len(c.More.Photos) == 0 {
		c.More.Photos = nil
	}
	for _, p := range []*[][]float64{&c.Marks.MidlineAt, &c.Marks.CanineAt, &c.Marks.SmileAt} {
		if len(*p) == 0 {
			*p = nil
		}
	}
	return c
}

// plainError says in one line what the decoder found, with the file's line in front.
func plainError(name string, err error) error {
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) && len(unknown.Errors) > 0 {
		e := unknown.Errors[0]
		line, _ := e.Position()
		return fmt.Errorf("%s:%d: %s is not a key of a case file", name, line, strings.Join(e.Key(), "."))
	}
	var wrong *toml.DecodeError
	if errors.As(err, &wrong) {
		line, _ := wrong.Position()
		return fmt.Errorf("%s:%d: %s", name, line, strings.TrimPrefix(wrong.Error(), "toml: "))
	}
	return fmt.Errorf("%s: %w", name, err)
}

// lineOf returns the line of a key "section.key" in a file that was read without error; that of
// its section where the key is written another way.
func lineOf(text []byte, key string) int {
	section, name, _ := strings.Cut(key, ".")
	in, at := false, 1
	for n, l := range strings.Split(string(text), "\n") {
		l = strings.TrimSpace(l)
		if strings.HasPrefix(l, "[") {
			if in = strings.HasPrefix(l, "["+section+"]"); in {
				at = n + 1
			}
			continue
		}
		if k, _, found := strings.Cut(l, "="); found && in && strings.TrimSpace(k) == name {
			return n + 1
		}
	}
	return at
}
