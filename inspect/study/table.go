package study

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Table is the wide table of a batch: a row per scan.
type Table struct {
	User    []string // columns that the user gave, such as subject or operator
	Numbers []string // columns of quantities, without those of uncertainties
	Rows    []Row
}

// Row is one scan.
type Row struct {
	Line              int // of the table; 0: of none
	Path, Report, Jaw string
	Unit, SHA256      string            // of the file, as the batch read it; empty: the table does not say
	Failed            string            // why it could not be read; empty: it was
	Text              map[string]string // by column of the user, and jaw
	Value             map[string]float64
	Why               map[string]string // why a value is not there, where that is known
}

// ReadTable reads a wide table (scans.csv) as package table writes it, with any columns of the user.
// An empty cell is a value that is not there. Errors name the line.
func ReadTable(r io.Reader) (*Table, error) {
	c := csv.NewReader(r)
	head, err := c.Read()
	if err != nil {
		return nil, fmt.Errorf("no table: %w", err)
	}
	at := func(name string) int { return slices.Index(head, name) }
	path, status, last := at("path"), at("status"), at("codes")
	for _, name := range []string{"path", "status", "reason", "report", "jaw", "codes"} {
		if at(name) < 0 {
			return nil, fmt.Errorf("line 1: no column is called %s, so it is no table of scans", name)
		}
	}
	if path != 0 || status > last {
		return nil, errors.New("line 1: the columns stand in another order than a batch writes them")
	}
	t := &Table{User: head[1:status]}
	for _, name := range head[last+1:] {
		if !strings.HasSuffix(name, "_u") && !strings.Contains(name, "_u_") {
			t.Numbers = append(t.Numbers, name)
		}
	}
	for {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			return t, nil
		}
		if err != nil {
			return nil, err
		}
		line, _ := c.FieldPos(0)
		w := Row{Line: line, Path: cells[0], Report: cells[at("report")], Jaw: cells[at("jaw")], Text: map[string]string{}, Value: map[string]float64{}}
		for _, k := range []struct {
			column string
			to     *string
		}{{"unit", &w.Unit}, {"sha256", &w.SHA256}} {
			if i := at(k.column); i >= 0 {
				*k.to = cells[i]
			}
		}
		for i, name := range t.User {
			w.Text[name] = cells[1+i]
		}
		w.Text["jaw"] = w.Jaw
		if cells[status] == "failed" {
			w.Failed = cells[at("reason")]
			if w.Failed == "" {
				w.Failed = "it could not be read"
			}
		}
		for _, name := range t.Numbers {
			cell := cells[at(name)]
			if cell == "" {
				continue
			}
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				line, _ := c.FieldPos(at(name))
				return nil, fmt.Errorf("line %d: %s: %q is no number", line, name, cell)
			}
			w.Value[name] = v
		}
		t.Rows = append(t.Rows, w)
	}
}

// Has says that a column of text is there.
func (t *Table) Has(column string) bool { return column == "jaw" || slices.Contains(t.User, column) }

// Levels are the different texts of a column in order, without the empty one.
func (t *Table) Levels(column string) []string {
	var out []string
	for _, r := range t.Rows {
		if v := r.Text[column]; v != "" && !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	slices.Sort(out)
	return out
}

// units are what the names of columns end in, and how it is written.
var units = [][2]string{{"_per_mm2", "1/mm²"}, {"_mm", "mm"}, {"_mm2", "mm²"}, {"_mm3", "mm³"}, {"_deg", "°"}}

// Unit is the unit that a column's name ends in; empty: none.
func Unit(column string) string {
	for _, u := range units {
		if strings.HasSuffix(column, u[0]) {
			return u[1]
		}
	}
	return ""
}

// Words is a column's name without its unit, in words.
func Words(column string) string {
	for _, u := range units {
		if name, ok := strings.CutSuffix(column, u[0]); ok {
			column = name
			break
		}
	}
	return strings.ReplaceAll(column, "_", " ")
}
