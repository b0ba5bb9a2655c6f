package serve

import (
	"bytes"
	"html"
	"io"
	"net/http"
	"path"

	"fornix/render"
)

// turnable serves the page of a scan, the one that travels to the laboratory too. It holds its script
// inside, so it stands in a frame of its own (sandbox): it has no origin, and cannot ask this server
// for anything, whatever a file's name or a tampered file may have brought into it. One that another
// version of fornix wrote is written anew, since its script would not be let run.
func (s *Server) turnable(w http.ResponseWriter, r *http.Request) {
	n, ok1 := number(r, "n")
	id, ok2 := number(r, "id")
	c, err := s.store.Get(n)
	if !ok1 || !ok2 || err != nil || c.scan(id) == nil || c.scan(id).Status != Done {
		fault(w, http.StatusNotFound, "There is no such page.")
		return
	}
	text, err := s.pageOf(n, c.scan(id))
	if err != nil {
		s.refuse(w, err)
		return
	}
	sandboxed(w, text)
}

// sandboxed serves a page that may do nothing but what its own script does inside of it.
func sandboxed(w http.ResponseWriter, text []byte) {
	w.Header().Set("X-Frame-Options", "SAMEORIGIN")
	w.Header().Set("Content-Security-Policy", "sandbox allow-scripts; frame-ancestors 'self'; "+render.PagePolicy())
	w.Header().Set("Content-Type", kinds[".html"])
	w.Write(text)
}

// pageOf reads the page of a scan's results, or writes it anew.
func (s *Server) pageOf(n int, k *Scan) ([]byte, error) {
	name := path.Join(folder(n), k.Results, pageName)
	text, err := s.store.disk.read(name, 1<<28)
	if err == nil && bytes.Contains(text, []byte(`content="`+html.EscapeString(render.PageVersion())+`"`)) {
		return text, nil
	}
	in, err := s.sheetScan(n, k)
	if err != nil {
		return nil, err
	}
	var pictures []render.Image
	for _, p := range s.pictures(n, k) {
		b, err := s.store.disk.read(path.Join(folder(n), k.Results, p.Name), 1<<26)
		if err != nil {
			return nil, err
		}
		pictures = append(pictures, render.Image{Name: p.Name, Title: p.Title, Alt: p.Alt, PNG: b})
	}
	if text, err = s.engine.Page(in, pictures); err != nil {
		return nil, err
	}
	return text, s.store.disk.write(name, func(w io.Writer) error { _, err := w.Write(text); return err })
}
