package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/inspect/table"
)

// hyparquet reads Parquet in JavaScript and shares nothing with what writes it here.
var hyparquet = npmPackage{"hyparquet", "1.33.0", "8EKLe73vRIMEKVEOe5y+kIzFxo6AvbLvd5ukd7P+yv3RvG0+TZM4qO8imbqxU6zds5pV+OeWRTMwy95mhHUheg=="}

// readParquet prints the names of a file's columns and its rows, as JSON.
const readParquet = `
import { asyncBufferFromFile, parquetMetadataAsync, parquetReadObjects, parquetSchema } from './hyparquet/src/node.js'
const file = await asyncBufferFromFile(process.argv[2])
const columns = parquetSchema(await parquetMetadataAsync(file)).children.map(c => c.element.name)
const rows = (await parquetReadObjects({ file })).map(r => columns.map(c => r[c] ?? null))
console.log(JSON.stringify({ columns, rows }))
`

// Both tables say the same to an independent reader of Parquet as to one of CSV: columns in their
// order, every number to the last bit, texts of other alphabets, empty cells, several groups of rows.
func TestParquetByIndependentReader(t *testing.T) {
	for _, tool := range []string{"npm", "node"} {
		if _, err := exec.LookPath(tool); err != nil {
			t.Skip("no ", tool)
		}
	}
	dir := t.TempDir()
	if err := hyparquet.unpack(dir); err != nil {
		t.Skip("npm reaches no registry: ", err)
	}
	p := phantom.Random(3, "upper")
	p.Spacing = 1.5
	made, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	report := inspect.Run(&inspect.Scan{Mesh: made.Mesh}, inspect.DefaultProtocol(), inspect.Options{}).Report

	var wide, widePq, long, longPq bytes.Buffer
	tables, err := table.New([]string{"Größe", "операция"}, table.Outputs{ScansCSV: &wide, ScansParquet: &widePq, ValuesCSV: &long, ValuesParquet: &longPq})
	if err != nil {
		t.Fatal(err)
	}
	rows := len(table.Values(report))
	const least = 70_000 // rows of the long table: more than a group holds
	for i := range least/rows + 1 {
		s := table.Scan{Path: fmt.Sprintf("%d.stl", i), User: []string{"ä, \"b\"\nc", ""}, Report: "reports/x"}
		if err := tables.Add(s, report); err != nil {
			t.Fatal(err)
		}
	}
	if err := tables.Add(table.Scan{Path: "bad.stl", User: []string{"", "三"}, Reason: "byte 3: no scan"}, nil); err != nil {
		t.Fatal(err)
	}
	if err := tables.Close(); err != nil {
		t.Fatal(err)
	}
	script := filepath.Join(dir, "read.mjs")
	if err := os.WriteFile(script, []byte(readParquet), 0o644); err != nil {
		t.Fatal(err)
	}
	for name, pair := range map[string][2]*bytes.Buffer{"scans": {&wide, &widePq}, "values": {&long, &longPq}} {
		file := filepath.Join(dir, name+".parquet")
		if err := os.WriteFile(file, pair[1].Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("node", script, file).Output()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		var got struct {
			Columns []string
			Rows    [][]any
		}
		if err := json.Unmarshal(out, &got); err != nil {
			t.Fatal(err)
		}
		want, err := csv.NewReader(pair[0]).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got.Columns, want[0]) || len(got.Rows) != len(want)-1 {
			t.Fatalf("%s: %d rows of %q", name, len(got.Rows), got.Columns)
		}
		numbers, wrong := 0, 0
		for i, row := range got.Rows {
			for j, cell := range row {
				text := want[i+1][j]
				same := false
				switch cell := cell.(type) {
				case nil:
					same = text == ""
				case string:
					same = cell == text
				case float64:
					number, err := strconv.ParseFloat(text, 64)
					same = err == nil && number == cell
					numbers++
				}
				if !same {
					if wrong++; wrong < 10 {
						t.Errorf("%s: row %d, %s: %v and not %q", name, i, want[0][j], cell, text)
					}
				}
			}
		}
		t.Logf("%s: %d columns, %d rows, %d numbers", name, len(got.Columns), len(got.Rows), numbers)
		if numbers < len(got.Rows) {
			t.Errorf("%s: %d numbers in %d rows", name, numbers, len(got.Rows))
		}
	}
}
