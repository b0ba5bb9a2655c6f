package casefile

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// Kind is how a field is filled in.
type Kind string

// Kinds of field. A date is written YYYY-MM-DD; a yes-no is yes, no or empty; several are written with
// commas between them; points one to a line, each x, y, z in mm.
const (
	Text    Kind = "text"
	Long    Kind = "long" // text of several lines
	Date    Kind = "date"
	Number  Kind = "number"
	Count   Kind = "count"
	YesNo   Kind = "yes-no"
	Choice  Kind = "choice"
	Several Kind = "several"
	Points  Kind = "points"
)

// Field is one field of a case as a form asks for it.
type Field struct {
	Key   string // "section.key" in the file
	Name  string
	Say   string // what is to be filled in
	Like  string // an example; empty: none
	Kind  Kind
	Of    []string // the choices, where there are some
	Value string   // as Set takes it
}

// Section is a group of fields.
type Section struct {
	Name, Say string
	Fields    []Field
}

// Form lists all fields of the case with their values, in the order of the file.
func (c *Case) Form() []Section {
	var out []Section
	all := reflect.ValueOf(*c)
	for i := range all.NumField() {
		f := all.Type().Field(i)
		s := Section{Name: upperFirst(f.Tag.Get("toml")), Say: f.Tag.Get("say")}
		for k := range all.Field(i).NumField() {
			g := all.Field(i).Type().Field(k)
			key := f.Tag.Get("toml") + "." + g.Tag.Get("toml")
			s.Fields = append(s.Fields, Field{
				Key: key, Name: Name(key), Say: g.Tag.Get("say"), Like: g.Tag.Get("like"), Of: choices[key],
				Kind: kindOf(key, g.Type), Value: written(all.Field(i).Field(k)),
			})
		}
		out = append(out, s)
	}
	return out
}

func kindOf(key string, t reflect.Type) Kind {
	switch reflect.Zero(t).Interface().(type) {
	case *float64:
		return Number
	case *int:
		return Count
	case *bool:
		return YesNo
	case []string:
		return Several
	case [][]float64:
		return Points
	}
	switch {
	case slices.Contains(dates, key):
		return Date
	case choices[key] != nil:
		return Choice
	case key == "more.notes" || strings.HasSuffix(key, ".address"):
		return Long
	}
	return Text
}

// written is a value as a form shows it, and as Set takes it.
func written(v reflect.Value) string {
	if !filled(v) {
		return ""
	}
	switch x := v.Interface().(type) {
	case *float64:
		return strconv.FormatFloat(*x, 'f', -1, 64)
	case *int:
		return strconv.Itoa(*x)
	case *bool:
		if *x {
			return "yes"
		}
		return "no"
	case []string:
		return strings.Join(x, ", ")
	case [][]float64:
		var lines []string
		for _, p := range x {
			var parts []string
			for _, w := range p {
				parts = append(parts, strconv.FormatFloat(w, 'f', -1, 64))
			}
			lines = append(lines, strings.Join(parts, ", "))
		}
		return strings.Join(lines, "\n")
	}
	return v.String()
}

// Set fills in one field from what a form holds; the empty text clears it. An error says in plain
// words what cannot be right, and leaves the field as it was.
func (c *Case) Set(key, value string) error {
	section, name, _ := strings.Cut(key, ".")
	v := fieldOf(fieldOf(reflect.ValueOf(c).Elem(), section), name)
	if !v.IsValid() {
		return fmt.Errorf("%s is not a key of a case file", key)
	}
	if len(value) > 1<<16 {
		return fmt.Errorf("that is too long")
	}
	n := reflect.New(v.Type()).Elem()
	if err := fill(n, strings.TrimSpace(strings.ReplaceAll(value, "\r\n", "\n"))); err != nil {
		return err
	}
	if err := checkField(key, n); err != nil {
		return err
	}
	v.Set(n)
	return nil
}

// fieldOf is the field of a struct with a key; not valid where it has none.
func fieldOf(v reflect.Value, key string) reflect.Value {
	if v.IsValid() {
		for i := range v.NumField() {
			if v.Type().Field(i).Tag.Get("toml") == key {
				return v.Field(i)
			}
		}
	}
	return reflect.Value{}
}

// fill reads a value of a form.
func fill(v reflect.Value, text string) error {
	if text == "" {
		return nil
	}
	switch v.Interface().(type) {
	case *float64:
		x, err := decimal(text)
		if err != nil {
			return err
		}
		v.Set(reflect.ValueOf(&x))
	case *int:
		x, err := strconv.Atoi(text)
		if err != nil {
			return fmt.Errorf("%q is no whole number", text)
		}
		v.Set(reflect.ValueOf(&x))
	case *bool:
		if text != "yes" && text != "no" {
			return fmt.Errorf("%q is neither yes nor no", text)
		}
		x := text == "yes"
		v.Set(reflect.ValueOf(&x))
	case []string:
		var x []string
		for _, part := range strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == '\n' }) {
			if part = strings.TrimSpace(part); part != "" {
				x = append(x, part)
			}
		}
		v.Set(reflect.ValueOf(x))
	case [][]float64:
		var x [][]float64
		for line := range strings.SplitSeq(text, "\n") {
			words := strings.FieldsFunc(line, func(r rune) bool { return strings.ContainsRune(" ,;\t[]()", r) })
			if len(words) == 0 {
				continue
			}
			var p []float64
			for _, w := range words {
				n, err := strconv.ParseFloat(w, 64)
				if err != nil {
					return fmt.Errorf("%q is no point x, y, z", strings.TrimSpace(line))
				}
				p = append(p, n)
			}
			x = append(x, p)
		}
		v.Set(reflect.ValueOf(x))
	default:
		v.SetString(text)
	}
	return nil
}

// decimal reads a number with a point or a comma before its decimals, and a unit of mm behind it.
func decimal(text string) (float64, error) {
	t := strings.TrimSpace(strings.TrimSuffix(text, "mm"))
	if strings.Count(t, ",") == 1 && !strings.Contains(t, ".") {
		t = strings.Replace(t, ",", ".", 1)
	}
	x, err := strconv.ParseFloat(t, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is no number", text)
	}
	return x, nil
}

// Personal lists what in the case looks like a person: in the case number, in the names of
// photographs, and dates of birth in the notes.
func (c *Case) Personal() []Warning {
	out := LooksPersonal(c.Order.Number)
	for _, p := range c.More.Photos {
		out = append(out, LooksPersonal(p)...)
	}
	for _, w := range LooksPersonal(c.More.Notes) {
		if w.Kind == "birth date" { // words of a sentence are no names
			out = append(out, w)
		}
	}
	return out
}
