package serve

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"path"
	"slices"

	"fornix/render"
)

// papers are the sizes of a sheet.
var papers = []string{"A4", "Letter"}

// errNothing says that no scan of a case is measured yet.
var errNothing = wrong{"no scan of this case has been inspected yet"}

// chosen are the scans of a case that a sheet is about: the newest measured one of each jaw, upper
// first; without a jaw the newest.
func chosen(st *State) []*Scan {
	var out []*Scan
	for _, jaw := range []string{"upper", "lower", ""} {
		var last *Scan
		for i := range st.Scans {
			if k := &st.Scans[i]; k.Results != "" && k.Found == jaw {
				last = k
			}
		}
		if last != nil && (jaw != "" || len(out) == 0) {
			out = append(out, last)
		}
	}
	return out
}

// print tells what a sheet of the case would be made of: equal prints, equal sheets.
func (s *Server) print(c *Case, paper string) string {
	h := sha256.New()
	fmt.Fprintf(h, "%s\n%s\n", paper, s.engine.Protocol.ID())
	if text, err := s.store.disk.read(path.Join(folder(c.N), caseName), 1<<20); err == nil {
		h.Write(text)
	}
	for _, name := range s.store.photos(c.N) {
		fmt.Fprintf(h, "\n%s", name)
	}
	for _, k := range chosen(&c.State) {
		fmt.Fprintf(h, "\n%s %s %s", k.SHA256, k.Results, k.Verdict)
	}
	if p, now := related(&c.State); now {
		fmt.Fprintf(h, "\n%s %s", p.Results, p.Verdict)
	}
	return paper + " " + hex.EncodeToString(h.Sum(nil))[:16]
}

// sheetState says whether the case's sheet says what the case says: "" (there is none), "old", "new".
func (s *Server) sheetState(c *Case) string {
	switch {
	case c.Sheet == "":
		return ""
	case slices.ContainsFunc(papers, func(p string) bool { return c.Sheet == s.print(c, p) }):
		return "new"
	}
	return "old"
}

// makeSheet writes the sheet of case n.
func (s *Server) makeSheet(n int, paper string) error {
	if !slices.Contains(papers, paper) {
		return wrong{fmt.Sprintf("no paper has the name %q", paper)}
	}
	c, err := s.store.Get(n)
	if err != nil {
		return err
	}
	if c.OrderBad != "" {
		return wrong{"the order cannot be read: " + c.OrderBad}
	}
	was := s.print(&c, paper)
	var scans []*render.Scan
	for _, k := range chosen(&c.State) {
		in, err := s.sheetScan(n, k)
		if err != nil {
			return err
		}
		scans = append(scans, in)
	}
	if len(scans) == 0 {
		return errNothing
	}
	relation, err := s.relation(&c, scans)
	if err != nil {
		return err
	}
	order := s.orderOf(&c)
	pdf, err := s.engine.Sheet(scans, relation, &order, paper)
	if err != nil {
		return err
	}
	return s.store.update(n, func(st *State) error {
		err := s.store.disk.write(path.Join(folder(n), sheetName), func(w io.Writer) error { _, err := w.Write(pdf); return err })
		st.Sheet = was
		return err
	})
}

// sheetScan reads a scan and its report again, from which a sheet is made.
func (s *Server) sheetScan(n int, k *Scan) (*render.Scan, error) {
	rep, err := s.report(n, k)
	if err != nil {
		return nil, err
	}
	_, read, err := k.Ask.options()
	if err != nil {
		return nil, err
	}
	scan, err := s.store.readScan(n, k, read)
	if err != nil {
		return nil, err
	}
	return render.NewScan(scan.Mesh, rep), nil
}

// writeSheet makes the sheet anew: {"paper": "A4"}.
func (s *Server) writeSheet(r *http.Request, body []byte) (any, error) {
	n, ok := number(r, "n")
	if !ok {
		return nil, ErrNoCase
	}
	asked := struct {
		Paper string `json:"paper"`
	}{papers[0]}
	if err := strict(body, &asked); err != nil {
		return nil, err
	}
	return map[string]bool{"written": true}, s.makeSheet(n, asked.Paper)
}

// showSheet serves the sheet that was written.
func (s *Server) showSheet(w http.ResponseWriter, r *http.Request) {
	n, ok := number(r, "n")
	c, err := s.store.Get(n)
	if !ok || err != nil || c.Sheet == "" {
		fault(w, http.StatusNotFound, "There is no sheet yet.")
		return
	}
	s.file(w, path.Join(folder(n), sheetName))
}
