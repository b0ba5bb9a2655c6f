package serve

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"path"
	"strconv"
	"time"
)

//go:embed static
var static embed.FS

// kinds are the content types of the files that are served; others are not.
var kinds = map[string]string{
	".png": "image/png", ".jpg": "image/jpeg", ".json": "application/json", ".pdf": "application/pdf", ".html": "text/html; charset=utf-8",
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
}

func (s *Server) routes() http.Handler {
	m := http.NewServeMux()
	m.HandleFunc("GET /{$}", s.showList)
	m.HandleFunc("GET /case/{n}", s.showCase)
	m.HandleFunc("GET /case/{n}/scan/{id}/{name}", s.result)
	m.HandleFunc("GET /case/{n}/scan/{id}/report.html", s.turnable)
	m.HandleFunc("GET /case/{n}/pair/{name}", s.pairFile)
	m.HandleFunc("GET /case/{n}/photo/{name}", s.photo)
	m.HandleFunc("GET /case/{n}/order", s.showOrder)
	m.HandleFunc("GET /case/{n}/sheet.pdf", s.showSheet)
	m.HandleFunc("GET /case/{n}/package.zip", s.download)
	m.HandleFunc("GET /static/{name}", s.asset)
	m.HandleFunc("GET /events", s.events)
	m.HandleFunc("POST /scan", s.take)
	m.HandleFunc("POST /case/{n}/scan", s.take)
	m.HandleFunc("POST /case/{n}/photo", s.takePhoto)
	m.HandleFunc("POST /case/{n}/photo/{name}/remove", s.change(s.removePhoto))
	m.HandleFunc("POST /case/{n}/scan/{id}/given", s.change(s.given))
	m.HandleFunc("POST /case/{n}/scan/{id}/remove", s.change(s.removeScan))
	m.HandleFunc("POST /case/{n}/order", s.change(s.saveOrder))
	m.HandleFunc("POST /case/{n}/order/check", s.change(s.checkOrder))
	m.HandleFunc("POST /case/{n}/sheet", s.change(s.writeSheet))
	m.HandleFunc("POST /case/{n}/remove", s.change(s.removeCase))
	return m
}

// number reads a number of the address; ok is false where it is none that fornix writes.
func number(r *http.Request, name string) (n int, ok bool) {
	n, err := strconv.Atoi(r.PathValue(name))
	return n, err == nil && n > 0 && strconv.Itoa(n) == r.PathValue(name)
}

// asset serves a file of the program.
func (s *Server) asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	text, err := static.ReadFile("static/" + name)
	if err != nil || kinds[path.Ext(name)] == "" {
		fault(w, http.StatusNotFound, "There is no such file.")
		return
	}
	w.Header().Set("Content-Type", kinds[path.Ext(name)])
	w.Write(text)
}

// result serves a file of a scan's results by its name, which is one that fornix gives.
func (s *Server) result(w http.ResponseWriter, r *http.Request) {
	n, ok1 := number(r, "n")
	id, ok2 := number(r, "id")
	name := r.PathValue("name")
	c, err := s.store.Get(n)
	if !ok1 || !ok2 || err != nil || c.scan(id) == nil || c.scan(id).Results == "" || !resultFile.MatchString(name) {
		fault(w, http.StatusNotFound, "There is no such file.")
		return
	}
	s.file(w, path.Join(folder(n), c.scan(id).Results, name))
}

// file serves a file of the store.
func (s *Server) file(w http.ResponseWriter, name string) {
	f, err := s.store.disk.open(name)
	if err != nil {
		fault(w, http.StatusNotFound, "There is no such file.")
		return
	}
	defer f.Close()
	w.Header().Set("Content-Type", kinds[path.Ext(name)])
	if info, err := f.Stat(); err == nil {
		w.Header().Set("Content-Length", strconv.FormatInt(info.Size(), 10))
	}
	io.Copy(w, f)
}

// take takes in a scan: the body is the file, ?name= its own name.
func (s *Server) take(w http.ResponseWriter, r *http.Request) {
	n := 0
	if r.PathValue("n") != "" {
		var ok bool
		if n, ok = number(r, "n"); !ok {
			fault(w, http.StatusNotFound, ErrNoCase.Error())
			return
		}
	}
	tooLarge := fmt.Sprintf("The file is larger than %d MiB.", s.opt.MaxUpload>>20)
	if r.ContentLength > s.opt.MaxUpload {
		fault(w, http.StatusRequestEntityTooLarge, tooLarge)
		return
	}
	body := patient{http.MaxBytesReader(w, r.Body, s.opt.MaxUpload), http.NewResponseController(w), s.opt.patience}
	at, id, err := s.store.Receive(body, r.URL.Query().Get("name"), ByHand, n)
	var large *http.MaxBytesError
	switch {
	case errors.As(err, &large):
		fault(w, http.StatusRequestEntityTooLarge, tooLarge)
	case errors.Is(err, io.ErrUnexpectedEOF): // who sent it went away
		fault(w, http.StatusBadRequest, "The file did not come whole.")
	case err != nil:
		s.refuse(w, err)
	default:
		answer(w, map[string]int{"case": at, "scan": id})
	}
}

// patient reads a body that may take as long as it likes, as long as it keeps coming.
type patient struct {
	r    io.Reader
	rc   *http.ResponseController
	wait time.Duration
}

func (p patient) Read(b []byte) (int, error) {
	now := time.Now()
	p.rc.SetReadDeadline(now.Add(p.wait))
	p.rc.SetWriteDeadline(now.Add(2 * p.wait))
	return p.r.Read(b)
}

// change makes a handler of what changes something: it reads the body as JSON where there is one, and
// answers in JSON.
func (s *Server) change(f func(r *http.Request, body []byte) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, 1<<20))
		if err != nil {
			fault(w, http.StatusRequestEntityTooLarge, "That is too much to say at once.")
			return
		}
		said, err := f(r, body)
		if err != nil {
			s.refuse(w, err)
			return
		}
		answer(w, said)
	}
}

// wrong is an error of what was asked for, in words for the user.
type wrong struct{ text string }

func (w wrong) Error() string { return w.text }

// refuse says why something was not done.
func (s *Server) refuse(w http.ResponseWriter, err error) {
	var asked wrong
	switch {
	case errors.Is(err, ErrNoCase), errors.Is(err, fs.ErrNotExist):
		fault(w, http.StatusNotFound, ErrNoCase.Error())
	case errors.Is(err, errFull), errors.Is(err, errOnly):
		fault(w, http.StatusConflict, err.Error())
	case errors.As(err, &asked):
		fault(w, http.StatusBadRequest, err.Error())
	default:
		s.opt.Log.Printf("serve: %v", err)
		fault(w, http.StatusInternalServerError, "It could not be done: "+plainError(err))
	}
}

// plainError is an error of the disk without names of folders.
func plainError(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}

func answer(w http.ResponseWriter, v any) {
	text, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	w.Header().Set("Content-Type", kinds[".json"])
	w.Write(text)
}

// given takes what the user knows of a scan and asks for a new inspection with it:
//
//	POST /case/N/scan/S/given
//	{"jaw": "upper", "unit": "mm", "landmarks": {"labial_frenum": [x, y, z]}, "reference_plane": [[…], […], […]], "rim": [[…], […], […]]}
//
// It replaces all that was given before; {} goes back to what is found. Points are in the scan's own
// coordinates, mm.
func (s *Server) given(r *http.Request, body []byte) (any, error) {
	n, ok1 := number(r, "n")
	id, ok2 := number(r, "id")
	if !ok1 || !ok2 {
		return nil, ErrNoCase
	}
	var a Ask
	if err := strict(body, &a); err != nil {
		return nil, err
	}
	if _, _, err := a.options(); err != nil {
		return nil, wrong{err.Error()}
	}
	return map[string]bool{"asked": true}, s.store.Ask(n, id, a)
}

// strict reads JSON that holds nothing unknown.
func strict(body []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(body))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return wrong{"this is not understood: " + err.Error()}
	}
	if d.More() {
		return wrong{"this is not understood: something follows behind its end"}
	}
	return nil
}

func (s *Server) removeScan(r *http.Request, _ []byte) (any, error) {
	n, ok1 := number(r, "n")
	id, ok2 := number(r, "id")
	if !ok1 || !ok2 {
		return nil, ErrNoCase
	}
	return map[string]bool{"removed": true}, s.store.RemoveScan(n, id)
}

func (s *Server) removeCase(r *http.Request, _ []byte) (any, error) {
	n, ok := number(r, "n")
	if !ok {
		return nil, ErrNoCase
	}
	return map[string]bool{"removed": true}, s.store.Remove(n)
}

// events tells a page that something has changed: an event "changed" whenever it is worth asking
// again, and a line now and then so that a connection that is gone is noticed. The first event names
// this run of the program; when it is another one, the page loads itself anew.
func (s *Server) events(w http.ResponseWriter, r *http.Request) {
	changed, done := s.store.Listen()
	defer done()
	rc := http.NewResponseController(w)
	rc.SetReadDeadline(time.Time{}) // the stream stays open after its request was read
	w.Header().Set("Content-Type", "text/event-stream")
	say := func(text string) bool {
		rc.SetWriteDeadline(time.Now().Add(s.opt.patience))
		_, err := io.WriteString(w, text)
		return err == nil && rc.Flush() == nil
	}
	if !say("event: hello\ndata: " + s.boot + "\n\n") {
		return
	}
	beat := time.NewTicker(s.opt.patience / 2)
	defer beat.Stop()
	for {
		select {
		case <-r.Context().Done():
			return
		case <-changed:
			if !say("event: changed\ndata:\n\n") {
				return
			}
		case <-beat.C:
			if !say(": still here\n\n") {
				return
			}
		}
	}
}
