package inspect

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// WriteJSON writes a report as indented JSON, one point to a line.
//
// The same report gives the same bytes: keys stand in the order of the types and map keys in
// alphabetical order, and numbers are rounded to 0.0001, below 1 to 0.000001, which is far finer
// than any scan and coarser than the last bits in which processors differ. A number that is not
// finite is written as null, a list that is nil as an empty one.
func WriteJSON(w io.Writer, r *Report) error { return writeJSON(w, reflect.ValueOf(r)) }

// WriteRelationJSON writes a relation as WriteJSON does a report.
func WriteRelationJSON(w io.Writer, r *Relation) error { return writeJSON(w, reflect.ValueOf(r)) }

func writeJSON(w io.Writer, v reflect.Value) error {
	e := jsonWriter{buf: make([]byte, 0, 1<<16)}
	e.value(v, 0)
	if e.err != nil {
		return e.err
	}
	_, err := w.Write(append(e.buf, '\n'))
	return err
}

type jsonWriter struct {
	buf []byte
	err error
}

func (e *jsonWriter) text(s string) { e.buf = append(e.buf, s...) }

func (e *jsonWriter) line(depth int) {
	e.text("\n")
	for range depth {
		e.text("  ")
	}
}

func (e *jsonWriter) value(v reflect.Value, depth int) {
	if p, ok := v.Interface().(Vec); ok {
		e.text("[")
		for i, x := range [3]float64{p.X, p.Y, p.Z} {
			if i > 0 {
				e.text(", ")
			}
			e.number(x)
		}
		e.text("]")
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			e.text("null")
			return
		}
		e.value(v.Elem(), depth)
	case reflect.Struct:
		e.object(v, depth)
	case reflect.Map:
		e.mapping(v, depth)
	case reflect.Slice, reflect.Array:
		e.list(v, depth)
	case reflect.Float64:
		e.number(v.Float())
	case reflect.Int, reflect.Int64:
		e.buf = strconv.AppendInt(e.buf, v.Int(), 10)
	case reflect.Bool:
		e.buf = strconv.AppendBool(e.buf, v.Bool())
	case reflect.String:
		quoted, err := json.Marshal(v.String())
		if err != nil {
			e.err = err
		}
		e.buf = append(e.buf, quoted...)
	default:
		e.err = fmt.Errorf("a report cannot hold a %s", v.Type())
	}
}

func (e *jsonWriter) number(x float64) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		e.text("null")
		return
	}
	e.buf = appendNumber(e.buf, x)
}

// appendNumber writes a finite number rounded to 0.0001, below 1 to 0.000001.
func appendNumber(buf []byte, x float64) []byte {
	unit := 1e4
	if math.Abs(x) < 1 {
		unit = 1e6
	}
	if r := math.Round(x*unit) / unit; !math.IsInf(r, 0) {
		x = r
	}
	if x == 0 {
		x = 0 // no minus zero
	}
	return strconv.AppendFloat(buf, x, 'f', -1, 64)
}

func (e *jsonWriter) object(v reflect.Value, depth int) {
	e.text("{")
	first := true
	e.fields(v, depth+1, &first)
	if !first {
		e.line(depth)
	}
	e.text("}")
}

// fields writes the fields of a struct; those of an embedded one stand among them.
func (e *jsonWriter) fields(v reflect.Value, depth int, first *bool) {
	t := v.Type()
	for i := range t.NumField() {
		f := t.Field(i)
		if !f.IsExported() {
			continue
		}
		name, option, _ := strings.Cut(f.Tag.Get("json"), ",")
		if f.Anonymous && name == "" {
			e.fields(v.Field(i), depth, first)
			continue
		}
		if name == "-" || option == "omitempty" && empty(v.Field(i)) {
			continue
		}
		if name == "" {
			name = f.Name
		}
		e.key(name, depth, first)
		e.value(v.Field(i), depth)
	}
}

// empty is what encoding/json leaves out under omitempty.
func empty(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice, reflect.Map:
		return v.Len() == 0
	case reflect.Struct:
		return false
	}
	return v.IsZero()
}

func (e *jsonWriter) mapping(v reflect.Value, depth int) {
	keys := v.MapKeys()
	slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) })
	e.text("{")
	first := true
	for _, k := range keys {
		e.key(k.String(), depth+1, &first)
		e.value(v.MapIndex(k), depth+1)
	}
	if !first {
		e.line(depth)
	}
	e.text("}")
}

func (e *jsonWriter) key(name string, depth int, first *bool) {
	if !*first {
		e.text(",")
	}
	*first = false
	e.line(depth)
	e.value(reflect.ValueOf(name), depth)
	e.text(": ")
}

func (e *jsonWriter) list(v reflect.Value, depth int) {
	e.text("[")
	for i := range v.Len() {
		if i > 0 {
			e.text(",")
		}
		e.line(depth + 1)
		e.value(v.Index(i), depth+1)
	}
	if v.Len() > 0 {
		e.line(depth)
	}
	e.text("]")
}
