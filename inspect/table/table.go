// Package table makes tables of many reports, for statistics: a wide one with a row for each scan
// and a long one with a row for each scan, quantity and place, as CSV and as Parquet, and a
// dictionary that says of each column what it means.
//
// # The wide table, scans
//
// path, the user's own columns, status (measured or failed), reason, report, sha256, format, bytes,
// unit, protocol, jaw, surface, coverage, verdict, codes; then for each quantity that is not
// of single items, at each of its places, a column NAME[_PLACE][_UNIT] and, where uncertainties are
// stated, NAME[_PLACE]_u[_UNIT] (Quantity.Column and UColumn; WideColumns lists them). The columns
// depend on no scan. An empty cell, NULL in Parquet, is a value that is not there.
//
// # The long table, values
//
// path, the user's own columns, jaw, quantity, place, surface, item, along, value, u, unit, status
// (measured, unmeasured or failed), reason (LongColumns). Holes, defects and stations of the border
// stand in it one by one. A scan that could not be read is one row whose quantity is "scan".
//
// # Form
//
// Lengths are mm, areas mm², volumes mm³, angles degrees. CSV is that of RFC 4180 with line feeds and
// plain decimal numbers; Parquet holds the same numbers as doubles and texts as UTF-8, columns
// in the same order. Tables of the same reports have the same bytes: nothing in them is of the time or
// place of their making.
package table

import (
	"io"
	"slices"
	"strings"

	"fornix/inspect"
)

// Scan is what a batch knows of one scan beside its report.
type Scan struct {
	Path   string   // as given, with forward slashes
	User   []string // cells of the user's columns
	SHA256 string   // of the file's bytes; empty: they could not be had
	Report string   // folder of the report, from that of the tables, with forward slashes
	Reason string   // why there is no report; empty where there is one
}

// Outputs are where the tables go. One that is nil is not made.
type Outputs struct {
	ScansCSV, ScansParquet   io.Writer
	ValuesCSV, ValuesParquet io.Writer
}

// Tables writes both tables. Memory is bounded by a group of rows, whatever their number.
type Tables struct {
	wide, long []writer
	at         map[string]int // column of the wide table by name
	user       int            // number of user columns
	row        []Cell
}

// writer takes the rows of one table.
type writer interface {
	write(row []Cell) error
	close() error
}

// New begins tables with the user's columns, whose names CheckUser has passed.
func New(user []string, o Outputs) (*Tables, error) {
	t := &Tables{at: map[string]int{}, user: len(user)}
	wide, long := WideColumns(user), LongColumns(user)
	for i, c := range wide {
		t.at[c.Name] = i
	}
	var err error
	if t.wide, err = begin("scans", wide, o.ScansCSV, o.ScansParquet); err != nil {
		return nil, err
	}
	t.long, err = begin("values", long, o.ValuesCSV, o.ValuesParquet)
	return t, err
}

func begin(name string, columns []Column, csv, parquet io.Writer) (out []writer, err error) {
	if csv != nil {
		w, err := newCSV(csv, columns)
		if err != nil {
			return nil, err
		}
		out = append(out, w)
	}
	if parquet != nil {
		out = append(out, newParquet(parquet, name, columns))
	}
	return out, nil
}

// Add adds a scan with its report, nil where it could not be read.
func (t *Tables) Add(s Scan, r *inspect.Report) error {
	var values []Value
	if r != nil {
		values = Values(r)
	}
	if err := t.addWide(s, r, values); err != nil {
		return err
	}
	if r == nil {
		return t.addLong(s, "", text(ScanQuantity), Value{Quantity: &Quantity{}, Reason: s.Reason}, Failed)
	}
	for _, v := range values {
		status := Measured
		if v.V == nil {
			status = Unmeasured
		}
		if err := t.addLong(s, r.Jaw, text(v.Quantity.Name), v, status); err != nil {
			return err
		}
	}
	return nil
}

func (t *Tables) addWide(s Scan, r *inspect.Report, values []Value) error {
	row := append(t.row[:0], make([]Cell, len(t.at))...)
	t.row = row
	row[0] = text(s.Path)
	for i, c := range s.User {
		row[1+i] = text(c)
	}
	set := func(name string, c Cell) { row[t.at[name]] = c }
	set("sha256", text(s.SHA256))
	if r == nil {
		set("status", text(Failed))
		set("reason", text(s.Reason))
		return writeAll(t.wide, row)
	}
	set("status", text(Measured))
	set("report", text(s.Report))
	set("format", text(r.Scan.Format))
	set("bytes", Cell{Number: new(float64(r.Scan.Bytes))})
	set("unit", text(r.Scan.Unit))
	set("protocol", text(r.Protocol))
	set("jaw", text(string(r.Jaw)))
	set("surface", text(r.Surface))
	set("coverage", text(r.Coverage))
	set("verdict", text(string(r.Verdict)))
	set("codes", text(codes(r.Findings)))
	for _, v := range values {
		if v.Quantity.Items {
			continue
		}
		if i, found := t.at[v.Quantity.Column(v.Place)]; found {
			row[i].Number = v.V
		}
		if i, found := t.at[v.Quantity.UColumn(v.Place)]; found && v.Quantity.Stated {
			row[i].Number = v.U
		}
	}
	return writeAll(t.wide, row)
}

// codes lists the codes of findings, each once.
func codes(findings []inspect.Finding) string {
	var out []string
	for _, f := range findings {
		out = append(out, f.Code)
	}
	slices.Sort(out)
	return strings.Join(slices.Compact(out), ";")
}

func (t *Tables) addLong(s Scan, jaw inspect.Jaw, quantity Cell, v Value, status string) error {
	row := append(t.row[:0], text(s.Path))
	for _, c := range s.User {
		row = append(row, text(c))
	}
	item := Cell{}
	if v.Item > 0 {
		item.Number = new(float64(v.Item))
	}
	row = append(row, text(string(jaw)), quantity, text(v.Place), text(v.Surface), item, Cell{Number: v.Along},
		Cell{Number: v.V}, Cell{Number: v.U}, text(v.Quantity.Unit), text(status), text(v.Reason))
	t.row = row
	return writeAll(t.long, row)
}

func writeAll(all []writer, row []Cell) error {
	for _, w := range all {
		if err := w.write(row); err != nil {
			return err
		}
	}
	return nil
}

// Close ends the tables. They are whole only when it gives no error.
func (t *Tables) Close() error {
	for _, w := range slices.Concat(t.wide, t.long) {
		if err := w.close(); err != nil {
			return err
		}
	}
	return nil
}
