package batch

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fornix/inspect"
	"fornix/inspect/table"
	"fornix/mesh"
)

// Row is one scan that is asked for, and a row of the wide table.
type Row struct {
	Path   string   `json:"path"`           // as given, with forward slashes
	User   []string `json:"user,omitempty"` // cells of the user's columns
	Jaw    string   `json:"jaw,omitempty"`  // as given; empty: found
	Unit   string   `json:"unit,omitempty"` // as given; empty: told by size
	SHA256 string   `json:"sha256,omitempty"`
	Key    string   `json:"key,omitempty"`    // of its result in the store; empty: it could not be read
	Reason string   `json:"reason,omitempty"` // why it could not be read

	bytes int64
}

// Inputs are all scans that are asked for, in the order of their rows.
type Inputs struct {
	User []string
	Rows []Row
}

// Columns of a user's table that say how to read a scan.
const (
	pathColumn = "path"
	jawColumn  = "jaw"
	unitColumn = "unit"
)

// Gather lists the scans that the inputs name: folders with all in them, patterns, files, and
// tables (CSV) with a column path and any others. What a folder holds is a scan by its ending; out
// is the folder of results, which holds none. Rows stand in the order of their paths whatever the
// order of the inputs, and a scan that is named twice alike is one row.
//
// A file that is not there is a row whose reason says so. Errors are of tables and of patterns
// that fit nothing.
func Gather(inputs []string, out string) (Inputs, error) {
	var in Inputs
	var scans []string
	var tables []*userTable
	for _, input := range inputs {
		found, err := expand(input)
		if err != nil {
			return in, err
		}
		for _, path := range found {
			switch info, err := os.Stat(path); {
			case err == nil && info.IsDir():
				inside, err := walk(path, out)
				if err != nil {
					return in, err
				}
				scans = append(scans, inside...)
			case strings.EqualFold(filepath.Ext(path), ".csv"):
				t, err := readTable(path)
				if err != nil {
					return in, fmt.Errorf("%s: %w", path, err)
				}
				tables = append(tables, t)
			default:
				scans = append(scans, filepath.ToSlash(filepath.Clean(path)))
			}
		}
	}
	slices.SortFunc(tables, func(a, b *userTable) int { return slices.Compare(a.user, b.user) })
	for _, t := range tables {
		for _, name := range t.user {
			if !slices.Contains(in.User, name) {
				in.User = append(in.User, name)
			}
		}
	}
	if err := table.CheckUser(in.User); err != nil {
		return in, err
	}
	listed := map[string]bool{}
	for _, t := range tables {
		for _, r := range t.rows {
			cells := make([]string, len(in.User))
			for i, name := range t.user {
				cells[slices.Index(in.User, name)] = r.User[i]
			}
			r.User = cells
			listed[r.Path] = true
			in.Rows = append(in.Rows, r)
		}
	}
	for _, path := range scans {
		if !listed[path] { // a table says more of it
			in.Rows = append(in.Rows, Row{Path: path, User: make([]string, len(in.User))})
		}
	}
	slices.SortFunc(in.Rows, compareRows)
	in.Rows = slices.CompactFunc(in.Rows, func(a, b Row) bool { return compareRows(a, b) == 0 })
	return in, nil
}

func compareRows(a, b Row) int {
	if c := strings.Compare(a.Path, b.Path); c != 0 {
		return c
	}
	if c := slices.Compare(a.User, b.User); c != 0 {
		return c
	}
	if c := strings.Compare(a.Jaw, b.Jaw); c != 0 {
		return c
	}
	return strings.Compare(a.Unit, b.Unit)
}

// expand lists what fits a pattern such as *.stl. What is there by that name stays as it is.
func expand(input string) ([]string, error) {
	if _, err := os.Lstat(input); err == nil || !strings.ContainsAny(input, "*?[") {
		return []string{input}, nil
	}
	found, err := filepath.Glob(input)
	if err == nil && len(found) == 0 {
		err = errors.New("nothing fits this pattern")
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", input, err)
	}
	return found, nil
}

// walk lists the scans in a folder and in those in it. Hidden folders and results are left out, and
// a folder that may not be read is an error.
func walk(root, out string) ([]string, error) {
	results, _ := filepath.Abs(out)
	var scans []string
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			full, _ := filepath.Abs(path)
			if full == results || path != root && strings.HasPrefix(d.Name(), ".") {
				return fs.SkipDir
			}
			return nil
		}
		if mesh.Ending(d.Name()) != "" && !strings.HasPrefix(d.Name(), ".") {
			scans = append(scans, filepath.ToSlash(filepath.Clean(path)))
		}
		return nil
	})
	return scans, err
}

// userTable is a table of scans as the user gave it.
type userTable struct {
	user []string
	rows []Row
}

// readTable reads a CSV table. Paths in it are taken from the table's own folder, unless they are
// absolute. Rows may lack cells at their end.
func readTable(path string) (*userTable, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		var p *fs.PathError
		if errors.As(err, &p) {
			err = p.Err
		}
		return nil, err
	}
	r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\xEF\xBB\xBF"))))
	r.FieldsPerRecord = -1
	head, err := r.Read()
	if errors.Is(err, io.EOF) {
		return nil, errors.New("the table is empty")
	}
	if err != nil {
		return nil, err
	}
	t := &userTable{}
	at := map[string]int{pathColumn: -1, jawColumn: -1, unitColumn: -1}
	var own []int // columns that are carried along
	for i, name := range head {
		low := strings.ToLower(strings.TrimSpace(name))
		if old, special := at[low]; special {
			if old >= 0 {
				return nil, fmt.Errorf("line 1: there are two columns %q", low)
			}
			at[low] = i
			continue
		}
		own = append(own, i)
		t.user = append(t.user, strings.TrimSpace(name))
	}
	if at[pathColumn] < 0 {
		return nil, errors.New("line 1: no column is called path")
	}
	if err := table.CheckUser(t.user); err != nil {
		return nil, fmt.Errorf("line 1: %w", err)
	}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			return t, nil
		}
		if err != nil {
			return nil, err
		}
		line, _ := r.FieldPos(0)
		cell := func(i int) string {
			if i < 0 || i >= len(cells) {
				return ""
			}
			return cells[i]
		}
		row := Row{Path: cell(at[pathColumn]), Jaw: strings.ToLower(cell(at[jawColumn])), Unit: strings.ToLower(cell(at[unitColumn]))}
		_, known := inspect.UnitMM(row.Unit)
		switch {
		case len(cells) > len(head):
			return nil, fmt.Errorf("line %d: more cells than columns", line)
		case row.Path == "":
			return nil, fmt.Errorf("line %d: no path", line)
		case row.Jaw != "" && row.Jaw != string(inspect.Upper) && row.Jaw != string(inspect.Lower):
			return nil, fmt.Errorf("line %d: jaw is upper, lower or empty, not %q", line, row.Jaw)
		case row.Unit != "" && !known:
			return nil, fmt.Errorf("line %d: unit is mm, inch, m, um or empty, not %q", line, row.Unit)
		}
		if !filepath.IsAbs(row.Path) {
			row.Path = filepath.Join(filepath.Dir(path), filepath.FromSlash(row.Path))
		}
		row.Path = filepath.ToSlash(filepath.Clean(row.Path))
		for _, i := range own {
			row.User = append(row.User, cell(i))
		}
		t.rows = append(t.rows, row)
	}
}
