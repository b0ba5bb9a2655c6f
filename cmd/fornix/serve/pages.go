package serve

import (
	"bytes"
	"cmp"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"

	"fornix/inspect"
	"fornix/inspect/casefile"
	"fornix/render"
)

//go:embed pages
var pageFiles embed.FS

// pages are the templates: each page is laid into layout.
var pages = func() map[string]*template.Template {
	out := map[string]*template.Template{}
	for _, name := range []string{"list", "case", "order", "gone"} {
		out[name] = template.Must(template.New("layout.html").Funcs(words).ParseFS(pageFiles, "pages/layout.html", "pages/parts.html", "pages/"+name+".html"))
	}
	return out
}()

// words are what templates say by name.
var words = template.FuncMap{
	"upper":   strings.ToUpper,
	"capital": func(v any) string { return capital(fmt.Sprint(v)) },
	"means":   func(v inspect.Verdict) string { return capital(v.Means()) },
	"folder":  folder,
	"has":     func(list, word string) bool { return slices.Contains(strings.Split(list, ", "), word) },
	"mib":     func(n int64) string { return strconv.FormatInt(n>>20, 10) },
}

func capital(t string) string {
	if t == "" {
		return ""
	}
	return strings.ToUpper(t[:1]) + t[1:]
}

// page is what every page knows.
type page struct {
	Title    string
	Token    string
	Script   string // its own script, beside app.js
	Cautions []string
	Network  bool // others can connect
	Data     any
}

// show writes a page.
func (s *Server) show(w http.ResponseWriter, code int, name, title, script string, data any) {
	var b bytes.Buffer
	p := page{Title: title, Token: s.post, Script: script, Cautions: inspect.Cautions(), Network: !s.hosts.loopback, Data: data}
	if err := pages[name].Execute(&b, p); err != nil {
		panic(err)
	}
	w.Header().Set("Content-Type", kinds[".html"])
	w.WriteHeader(code)
	w.Write(b.Bytes())
}

// item is a case in the list.
type item struct {
	N       int
	Title   string
	Verdict inspect.Verdict
	Date    string
	Came    string // how it came
	Jaws    string
	Files   string // the scans' own names, to be searched
	Thumb   string
	State   string // what is being done, or what went wrong
	Bad     bool   // State tells of a failure
}

// titleOf names a case: by its number of the order, else by its folder.
func titleOf(c *Case) string {
	if c.Order.Order.Number != "" {
		return "Case " + c.Order.Order.Number
	}
	return "Case in folder " + folder(c.N)
}

func (s *Server) itemOf(c *Case) item {
	it := item{N: c.N, Title: titleOf(c), Verdict: c.Verdict(), Date: c.Made.Local().Format("2006-01-02 15:04"), State: c.Broken, Bad: c.Broken != ""}
	if c.Broken != "" {
		it.Date = ""
		return it
	}
	if c.By == ByInbox {
		it.Came = "from the inbox"
	}
	var files, jaws []string
	for _, k := range c.Scans {
		files = append(files, k.CameAs)
		if k.Found != "" && !slices.Contains(jaws, k.Found) {
			jaws = append(jaws, k.Found)
		}
		if it.Thumb == "" && k.Results != "" && k.Status == Done {
			it.Thumb = fmt.Sprintf("/case/%d/scan/%d/%s?r=%d", c.N, k.ID, thumbName, k.Revision)
		}
		switch {
		case k.Status == Failed:
			it.State, it.Bad = k.Reason, true
		case k.pending() && !it.Bad:
			it.State = s.doing(c.N, &k)
		}
	}
	it.Files, it.Jaws = strings.Join(files, ", "), strings.Join(jaws, " and ")
	return it
}

// doing says in plain words how far a scan is that is not finished.
func (s *Server) doing(n int, k *Scan) string {
	if step := s.queue.stepOf(n, k.ID); step != "" {
		return capital(step)
	}
	if k.Status == Drawing {
		return "Pictures to come"
	}
	return "Waiting for its turn"
}

// showList is the page of all cases.
func (s *Server) showList(w http.ResponseWriter, r *http.Request) {
	var d struct {
		Items    []item
		Most     int64
		Query    string
		Watch    string
		Problems []string
	}
	d.Most, d.Query = s.opt.MaxUpload, r.URL.Query().Get("q")
	if s.inbox != nil {
		d.Watch, d.Problems = s.inbox.dir, s.inbox.told()
	}
	for _, c := range s.store.List() {
		if it := s.itemOf(&c); it.matches(d.Query) {
			d.Items = append(d.Items, it)
		}
	}
	s.show(w, http.StatusOK, "list", "Cases", "list.js", d)
}

// matches reports whether every word that is searched stands somewhere in what the list shows.
func (it item) matches(query string) bool {
	all := strings.ToLower(strings.Join([]string{it.Title, folder(it.N), string(it.Verdict), it.Date, it.Jaws, it.Files, it.State, it.Came}, " "))
	for _, w := range strings.Fields(strings.ToLower(query)) {
		if !strings.Contains(all, w) {
			return false
		}
	}
	return true
}

// scanView is one scan on its case's page.
type scanView struct {
	Scan
	N         int
	Name      string // which jaw, as people say it
	Doing     string // what is being done; empty: nothing
	Report    *inspect.Report
	Rows      []render.Row
	Findings  []findingView
	Pictures  []pictureView
	Marks     []markView
	Rim       []rimPoint
	Lines     []lineMark         // on the rim, for the setting of teeth
	Elsewhere string             // the jaw on whose scan they are now, if it is not this one
	Personal  []casefile.Warning // in the file's name
	Inside    []casefile.Warning // in its free text
	Turn      string             // address of the page to turn the scan in; empty: none yet
	Given     string             // what was given, as POST …/given takes it
	Units     []string
}

type findingView struct {
	inspect.Finding
	Picture string // its close-up; empty: it has none
	More    inspect.Explanation
}

type pictureView struct {
	picture
	URL string
}

// markView is a landmark in the list.
type markView struct {
	Key, Name string
	Known     bool
	inspect.Landmark
}

// rimPoint is one of the three points that say where the rim's flat is.
type rimPoint struct {
	Number int
	At     string // x,y,z; empty: not given
}

// showCase is the page of one case with the scan that ?scan= names, else the first.
func (s *Server) showCase(w http.ResponseWriter, r *http.Request) {
	n, ok := number(r, "n")
	c, err := s.store.Get(n)
	if !ok || err != nil || c.Broken != "" {
		s.show(w, http.StatusNotFound, "gone", "No such case", "", c.Broken)
		return
	}
	var d struct {
		Case
		Title string
		Item  item
		Scans []scanView
		Shown *scanView
		Both  pairView
		Most  int64
		Leave leaveView
	}
	d.Case, d.Title, d.Item, d.Most = c, titleOf(&c), s.itemOf(&c), s.opt.MaxUpload
	want, _ := strconv.Atoi(r.URL.Query().Get("scan"))
	for i := range c.State.Scans {
		v := s.viewOf(n, &c.State.Scans[i])
		v.mark(&c.Order.Marks)
		d.Scans = append(d.Scans, v)
	}
	for i := range d.Scans {
		if d.Shown == nil || d.Scans[i].ID == want {
			d.Shown = &d.Scans[i]
		}
	}
	d.Both, d.Leave = s.pairOf(n, &c.State), s.leaveOf(&c)
	s.show(w, http.StatusOK, "case", d.Title, "case.js", d)
}

func (s *Server) viewOf(n int, k *Scan) scanView {
	v := scanView{Scan: *k, N: n, Name: "Scan " + strconv.Itoa(k.ID), Personal: casefile.LooksPersonal(k.CameAs), Units: []string{"mm", "inch", "m", "um"}}
	if k.Found != "" {
		v.Name = capital(k.Found) + " jaw"
	}
	if k.pending() {
		v.Doing = s.doing(n, k)
	}
	if f, err := s.store.disk.open(path.Join(folder(n), k.file())); err == nil {
		head, err := io.ReadAll(io.LimitReader(f, 1<<16))
		if f.Close(); err == nil {
			v.Inside = casefile.LooksPersonal(casefile.Header(head))
		}
	}
	if k.Results == "" {
		return v
	}
	rep, err := s.report(n, k)
	if err != nil {
		v.Reason = cmp.Or(v.Reason, "its report cannot be read: "+plainError(err))
		return v
	}
	v.Report, v.Rows, v.Pictures = rep, render.Rows(rep, &s.engine.Protocol.Limits), s.pictures(n, k)
	for _, f := range rep.Findings {
		g := findingView{Finding: f}
		g.More, _ = inspect.Explain(f.Code)
		if name := fmt.Sprintf("finding-%d.png", f.Number); f.Number > 0 && slices.ContainsFunc(v.Pictures, func(p pictureView) bool { return p.Name == name }) {
			g.Picture = name
		}
		v.Findings = append(v.Findings, g)
	}
	for _, key := range inspect.LandmarksOf(rep.Jaw) {
		l, known := rep.Landmarks[key]
		v.Marks = append(v.Marks, markView{key, capital(strings.ReplaceAll(key, "_", " ")), known, l})
	}
	if k.Status == Done {
		v.Turn = fmt.Sprintf("/case/%d/scan/%d/%s?r=%s#part", n, k.ID, pageName, k.Results)
	}
	for i := range 3 {
		p := rimPoint{Number: i + 1}
		if len(k.Ask.Rim) == 3 {
			p.At = fmt.Sprint(k.Ask.Rim[i][0], ",", k.Ask.Rim[i][1], ",", k.Ask.Rim[i][2])
		}
		v.Rim = append(v.Rim, p)
	}
	given, err := json.Marshal(k.Ask)
	if err != nil {
		panic(err)
	}
	v.Given = string(given)
	return v
}

// report reads the report of a scan's results.
func (s *Server) report(n int, k *Scan) (*inspect.Report, error) {
	text, err := s.store.disk.read(path.Join(folder(n), k.Results, reportName), 1<<28)
	if err != nil {
		return nil, err
	}
	rep := &inspect.Report{}
	return rep, json.Unmarshal(text, rep)
}

// pictures lists the pictures of a scan's results: the whole views, then the close-ups.
func (s *Server) pictures(n int, k *Scan) []pictureView {
	var list []picture
	text, err := s.store.disk.read(path.Join(folder(n), k.Results, picturesName), 1<<20)
	if err != nil || json.Unmarshal(text, &list) != nil {
		return nil // they are being made
	}
	var out []pictureView
	for _, p := range list {
		out = append(out, pictureView{p, fmt.Sprintf("/case/%d/scan/%d/%s?r=%d", n, k.ID, p.Name, k.Revision)})
	}
	return out
}
