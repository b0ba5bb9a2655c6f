package batch

import (
	"bufio"
	"crypto/rand"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"

	"fornix/inspect"
	"fornix/inspect/table"
)

// listName is the file that says which scans a batch has. It comes last: where it is, the tables are
// of these scans.
const listName = "batch.json"

// List is what a batch was of: enough to make its tables again from the kept results.
type List struct {
	Schema  inspect.Schema `json:"schema"`
	Program string         `json:"program"`
	User    []string       `json:"user"`
	Rows    []Row          `json:"rows"`
}

// NewList is the list of a batch that ran to its end.
func NewList(in Inputs, version string) List {
	return List{Schema: inspect.Schema{Name: "fornix batch", Version: "1"}, Program: version, User: in.User, Rows: in.Rows}
}

// ReadList reads the list of the batch in dir.
func ReadList(dir string) (List, error) {
	var l List
	text, err := os.ReadFile(filepath.Join(dir, listName))
	if err == nil {
		err = json.Unmarshal(text, &l)
	}
	if err == nil && l.Schema != NewList(Inputs{}, "").Schema {
		err = errors.New(listName + " is not of a batch that this fornix knows")
	}
	return l, err
}

// Count is what the tables of a batch hold.
type Count struct {
	Scans, Failed int
	Verdicts      map[inspect.Verdict]int
}

// Each is asked about each report before it stands in the tables, and may judge it anew.
type Each func(path string, r *inspect.Report)

// Walk goes through the results kept in dir in the order of the rows, asks each, where it is not nil,
// about every report, and hands all rows to use, with a nil report and the reason where there is
// none.
func (l List) Walk(dir string, each Each, use func(r Row, reason string, rep *inspect.Report) error) (Count, error) {
	n := Count{Scans: len(l.Rows), Verdicts: map[inspect.Verdict]int{}}
	for _, r := range l.Rows {
		var rep *inspect.Report
		reason := r.Reason
		if r.Key != "" {
			var err error
			if rep, reason, err = Load(dir, r.Key); err != nil {
				return n, err
			}
		}
		if rep == nil {
			n.Failed++
		} else {
			if each != nil {
				each(r.Path, rep)
			}
			n.Verdicts[rep.Verdict]++
		}
		if err := use(r, reason, rep); err != nil {
			return n, err
		}
	}
	return n, nil
}

// WriteTables makes the tables of the results kept in dir and puts them and the dictionary into out,
// beside them the list where out is dir, else each report as it is judged now. A file there is replaced
// by a whole one. each may be nil.
func (l List) WriteTables(dir, out string, each Each) (Count, error) {
	var n Count
	if err := os.MkdirAll(out, 0o755); err != nil {
		return n, err
	}
	from, err := between(out, dir)
	if err != nil {
		return n, err
	}
	names := []string{"scans.csv", "scans.parquet", "values.csv", "values.parquet", "dictionary.csv"}
	if from == "." {
		names = append(names, listName)
	}
	files := make([]*pending, len(names))
	for i, name := range names {
		f, err := newPending(out, name)
		if err != nil {
			return n, err
		}
		defer f.drop()
		files[i] = f
	}
	t, err := table.New(l.User, table.Outputs{ScansCSV: files[0], ScansParquet: files[1], ValuesCSV: files[2], ValuesParquet: files[3]})
	if err != nil {
		return n, err
	}
	n, err = l.Walk(dir, each, func(r Row, reason string, rep *inspect.Report) error {
		s := table.Scan{Path: r.Path, User: r.User, SHA256: r.SHA256, Reason: reason}
		if rep != nil {
			s.Report = Folder(r.Key)
			if from != "." {
				if err := keepReport(filepath.Join(out, filepath.FromSlash(s.Report)), rep); err != nil {
					return err
				}
			}
		}
		return t.Add(s, rep)
	})
	if err == nil {
		err = t.Close()
	}
	if err != nil {
		return n, err
	}
	if err := table.WriteDictionary(files[4], l.User); err != nil {
		return n, err
	}
	if from == "." {
		e := json.NewEncoder(files[5])
		e.SetIndent("", " ")
		if err := e.Encode(l); err != nil {
			return n, err
		}
	}
	for _, f := range files {
		if err := f.keep(); err != nil {
			return n, err
		}
	}
	return n, nil
}

// keepReport writes a report into a folder of its own.
func keepReport(folder string, rep *inspect.Report) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	f, err := newPending(folder, reportName)
	if err != nil {
		return err
	}
	defer f.drop()
	if err := inspect.WriteJSON(f, rep); err != nil {
		return err
	}
	return f.keep()
}

// between is the way from one folder to another.
func between(from, to string) (string, error) {
	a, err := filepath.Abs(from)
	if err != nil {
		return "", err
	}
	b, err := filepath.Abs(to)
	if err != nil {
		return "", err
	}
	return filepath.Rel(a, b)
}

// pending is a file under a temporary name until it is kept.
type pending struct {
	io.Writer
	buf  *bufio.Writer
	f    *os.File
	name string
}

func newPending(dir, name string) (*pending, error) {
	f, err := os.Create(filepath.Join(dir, tempPrefix+rand.Text()))
	if err != nil {
		return nil, err
	}
	buf := bufio.NewWriterSize(f, 1<<16)
	return &pending{buf, buf, f, filepath.Join(dir, name)}, nil
}

// keep brings the file to the disk and gives it its name.
func (p *pending) keep() error {
	err := p.buf.Flush()
	if err == nil {
		err = p.f.Sync()
	}
	if err = errors.Join(err, p.f.Close()); err != nil {
		return err
	}
	return os.Rename(p.f.Name(), p.name)
}

// drop removes what was not kept.
func (p *pending) drop() {
	p.f.Close()
	os.Remove(p.f.Name())
}
