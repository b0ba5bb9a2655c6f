package table

import (
	"encoding/csv"
	"io"
	"slices"
	"strconv"

	"github.com/parquet-go/parquet-go"
)

// csvWriter writes a table as CSV.
type csvWriter struct {
	w   *csv.Writer
	row []string
}

func newCSV(w io.Writer, columns []Column) (*csvWriter, error) {
	c := &csvWriter{w: csv.NewWriter(w), row: make([]string, len(columns))}
	for i, col := range columns {
		c.row[i] = col.Name
	}
	return c, c.w.Write(c.row)
}

func (c *csvWriter) write(row []Cell) error {
	for i, cell := range row {
		c.row[i] = cell.Text
		if cell.Number != nil {
			c.row[i] = strconv.FormatFloat(*cell.Number, 'f', -1, 64)
		}
	}
	return c.w.Write(c.row)
}

func (c *csvWriter) close() error {
	c.w.Flush()
	return c.w.Error()
}

// rowsInGroup is how many rows a group of a Parquet file has: what the writer holds in memory.
const rowsInGroup = 1 << 16

// parquetWriter writes a table as Parquet.
type parquetWriter struct {
	w    *parquet.GenericWriter[any]
	row  parquet.Row
	rows int
}

func newParquet(w io.Writer, name string, columns []Column) *parquetWriter {
	root := orderedGroup{Group: parquet.Group{}}
	for _, c := range columns {
		leaf := parquet.String()
		if c.Number {
			leaf = parquet.Leaf(parquet.DoubleType)
		}
		root.Group[c.Name] = parquet.Compressed(parquet.Encoded(parquet.Optional(leaf), &parquet.RLEDictionary), &parquet.Snappy)
		root.names = append(root.names, c.Name)
	}
	return &parquetWriter{
		w:   parquet.NewGenericWriter[any](w, parquet.NewSchema(name, root), parquet.CreatedBy("fornix", "", "")),
		row: make(parquet.Row, len(columns)),
	}
}

// orderedGroup is a group whose fields stand in the order of its names: those of parquet.Group
// stand in that of the alphabet.
type orderedGroup struct {
	parquet.Group
	names []string
}

// Fields lists the columns in their order.
func (g orderedGroup) Fields() []parquet.Field {
	fields := g.Group.Fields()
	slices.SortFunc(fields, func(a, b parquet.Field) int {
		return slices.Index(g.names, a.Name()) - slices.Index(g.names, b.Name())
	})
	return fields
}

func (p *parquetWriter) write(row []Cell) error {
	for i, cell := range row {
		switch {
		case cell.Number != nil:
			p.row[i] = parquet.DoubleValue(*cell.Number).Level(0, 1, i)
		case cell.Text != "":
			p.row[i] = parquet.ByteArrayValue([]byte(cell.Text)).Level(0, 1, i)
		default:
			p.row[i] = parquet.NullValue().Level(0, 0, i)
		}
	}
	if _, err := p.w.WriteRows([]parquet.Row{p.row}); err != nil {
		return err
	}
	if p.rows++; p.rows%rowsInGroup == 0 {
		return p.w.Flush()
	}
	return nil
}

func (p *parquetWriter) close() error { return p.w.Close() }

// WriteDictionary writes, as CSV, what each column of the wide table and each quantity of the long
// one means: table, name, unit, type, meaning, better, source.
func WriteDictionary(w io.Writer, user []string) error {
	c := csv.NewWriter(w)
	rows := [][]string{{"table", "name", "unit", "type", "meaning", "better", "source"}}
	add := func(table string, columns []Column) {
		for _, col := range columns {
			kind := "text"
			if col.Number {
				kind = "number"
			}
			rows = append(rows, []string{table, col.Name, col.Unit, kind, col.About, string(col.Better), col.Source})
		}
	}
	add("scans", WideColumns(user))
	add("values", LongColumns(user))
	for _, q := range quantities() {
		rows = append(rows, []string{"values", "quantity " + q.Name, q.Unit, "number", q.Meaning, string(q.Better), q.Source})
	}
	return c.WriteAll(rows)
}
