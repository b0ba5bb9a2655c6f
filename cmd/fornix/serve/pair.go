package serve

import (
	"bytes"
	"errors"
	"fmt"
	"html"
	"io"
	"net/http"
	"path"
	"runtime/debug"

	"fornix/inspect"
	"fornix/render"
)

// Pair is how the two jaws of a case close on each other, as far as that is known.
type Pair struct {
	Of       string `toml:"of" comment:"The results of the two scans that it is about."`
	Status   Status `toml:"status" comment:"waiting, done or failed."`
	Reason   string `toml:"reason,omitempty" comment:"Why they could not be related."`
	Tries    int    `toml:"tries"`
	Revision int    `toml:"revision"`
	Results  string `toml:"results" comment:"Folder of relation, pictures and page; empty: none."`
	Verdict  string `toml:"verdict,omitempty"`
}

const relationName = "relate.json"

// jaws are the upper and the lower scan of a case that can be related now; ok is false where there are none,
// or one of them is not done.
func jaws(st *State) (upper, lower *Scan, ok bool) {
	for _, k := range chosen(st) {
		switch {
		case k.Status != Done:
			return nil, nil, false
		case k.Found == string(inspect.Upper):
			upper = k
		case k.Found == string(inspect.Lower):
			lower = k
		}
	}
	return upper, lower, upper != nil && lower != nil
}

// of names what a pair is about.
func of(upper, lower *Scan) string { return upper.Results + " " + lower.Results }

// related is the pair of a case, where it is about the scans as they are now.
func related(st *State) (p Pair, ok bool) {
	upper, lower, both := jaws(st)
	return st.Pair, both && st.Pair.Of == of(upper, lower)
}

// nextPair is a case whose jaws are to be related.
func (q *queue) nextPair() (n int, found bool) {
	s := q.store
	s.mu.Lock()
	defer s.mu.Unlock()
	for m, st := range s.cases {
		if upper, lower, ok := jaws(st); ok && (st.Pair.Of != of(upper, lower) || st.Pair.Status == Waiting) && (!found || m < n) {
			n, found = m, true
		}
	}
	return n, found
}

// pair relates the jaws of a case. Only an error of the disk is one.
func (q *queue) pair(n int) error {
	var k Pair
	begun := false
	err := q.store.update(n, func(st *State) error {
		upper, lower, ok := jaws(st)
		if !ok {
			return nil
		}
		if about := of(upper, lower); st.Pair.Of != about {
			st.Pair = Pair{Of: about, Revision: st.Pair.Revision, Results: st.Pair.Results}
		}
		p := &st.Pair
		if p.Tries >= mostTries {
			p.Status, p.Reason = Failed, fmt.Sprintf("fornix ended %d times while it related these scans", p.Tries)
			return nil
		}
		p.Tries++
		p.Revision++
		p.Status = Waiting
		k, begun = *p, true
		return nil
	})
	if err != nil || !begun {
		return err
	}
	q.say(n, pairStep, "setting the jaws against each other")
	defer q.say(0, 0, "")
	verdict, err := q.relate(n, k)
	old := ""
	note := q.store.update(n, func(st *State) error {
		p := &st.Pair
		if p.Of != k.Of || p.Revision != k.Revision {
			old = k.folder() // another was asked for meanwhile
			return nil
		}
		old = p.Results
		p.Tries = 0
		if err != nil {
			p.Status, p.Reason, p.Results, p.Verdict = Failed, err.Error(), "", ""
			return nil
		}
		p.Status, p.Reason, p.Results, p.Verdict = Done, "", k.folder(), string(verdict)
		return nil
	})
	if errors.Is(note, ErrNoCase) {
		return nil // the case was removed meanwhile
	}
	if note != nil || old == "" {
		return note
	}
	return q.store.disk.remove(path.Join(folder(n), old))
}

// pairStep stands for a scan where the pair is being worked at.
const pairStep = -1

func (p *Pair) folder() string { return fmt.Sprintf("pair-r%d", p.Revision) }

// relate measures how the jaws close and writes all that is told of it.
func (q *queue) relate(n int, k Pair) (v inspect.Verdict, err error) {
	defer func() {
		if p := recover(); p != nil {
			q.log.Printf("serve: case %s, pair: %v\n%s", folder(n), p, debug.Stack())
			err = fmt.Errorf("fornix failed on these scans, which is a fault of fornix: %v", p)
		}
	}()
	o, err := relateCase(q.store, q.engine, n)
	if err != nil {
		return "", err
	}
	pictures, page, err := q.engine.PairPage(o)
	if err != nil {
		return "", err
	}
	d, dir := q.store.disk, path.Join(folder(n), k.folder())
	if err := d.remove(dir); err != nil { // of an attempt that was cut off
		return "", err
	}
	if err := d.mkdir(dir); err != nil {
		return "", err
	}
	put := func(name string, text []byte) error {
		return d.write(path.Join(dir, name), func(w io.Writer) error { _, err := w.Write(text); return err })
	}
	for _, p := range pictures {
		if err := put(p.Name, p.PNG); err != nil {
			return "", err
		}
	}
	var b bytes.Buffer
	if err := inspect.WriteRelationJSON(&b, o.Relation); err != nil {
		return "", err
	}
	if err := put(relationName, b.Bytes()); err != nil {
		return "", err
	}
	if err := d.write(path.Join(dir, gapName), func(w io.Writer) error { return writeGap(w, o.UpperGap, o.LowerGap) }); err != nil {
		return "", err
	}
	return o.Relation.Verdict, put(pageName, page)
}

// relateCase relates the jaws of case n from their files.
func relateCase(s *Store, e Engine, n int) (*inspect.RelateOutcome, error) {
	c, err := s.Get(n)
	if err != nil {
		return nil, err
	}
	upper, lower, ok := jaws(&c.State)
	if !ok {
		return nil, errors.New("the scans of both jaws are not inspected yet")
	}
	var scans [2]*inspect.Scan
	var opt inspect.RelateOptions
	for i, k := range [2]*Scan{upper, lower} {
		ask, read, err := k.Ask.options()
		if err != nil {
			return nil, err
		}
		if scans[i], err = s.readScan(n, k, read); err != nil {
			return nil, err
		}
		if i == 0 {
			opt.Upper = ask
		} else {
			opt.Lower = ask
		}
	}
	return e.Relate(scans[0], scans[1], opt)
}

// readScan reads the file of a scan.
func (s *Store) readScan(n int, k *Scan, read inspect.ReadOptions) (*inspect.Scan, error) {
	f, err := s.disk.open(path.Join(folder(n), k.file()))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return inspect.Read(f, k.file(), read)
}

// pairView is what the page of a case says of both jaws.
type pairView struct {
	Text    string // what is known or being done
	Bad     bool   // it could not be done
	Verdict string
	Page    string // its address; empty: there is none
}

// pairOf says what can be said of the scans together.
func (s *Server) pairOf(n int, st *State) pairView {
	count := map[string]int{}
	for _, k := range st.Scans {
		count[k.Found]++
	}
	p, now := related(st)
	switch {
	case now && p.Status == Done:
		return pairView{Verdict: p.Verdict, Page: fmt.Sprintf("/case/%d/pair/%s?r=%d", n, pageName, p.Revision),
			Text: "Both jaws are in this case and share a frame. The sheet holds both, and how they close."}
	case now && p.Status == Failed:
		return pairView{Bad: true, Text: "Both jaws are in this case, and the sheet holds both. How they close could not be told: " + p.Reason + "."}
	case count["upper"] > 0 && count["lower"] > 0 && s.queue.stepOf(n, pairStep) != "":
		return pairView{Text: "Both jaws are in this case. How they close is being worked out."}
	case count["upper"] > 0 && count["lower"] > 0:
		return pairView{Text: "Both jaws are in this case. The sheet holds both."}
	case count["upper"] > 1 || count["lower"] > 1:
		return pairView{Text: "Several scans of one jaw are in this case: rescans of one patient, or a slip?"}
	}
	return pairView{}
}

// pairFile serves a picture, the relation or the page of a case's pair; the page under the same guard as
// that of a scan (see turnable). One that another version wrote is written anew.
func (s *Server) pairFile(w http.ResponseWriter, r *http.Request) {
	n, ok := number(r, "n")
	c, err := s.store.Get(n)
	name := r.PathValue("name")
	p, now := related(&c.State)
	if !ok || err != nil || !now || p.Status != Done || !resultFile.MatchString(name) {
		fault(w, http.StatusNotFound, "There is no such page.")
		return
	}
	at := path.Join(folder(n), p.Results, name)
	if name != pageName {
		s.file(w, at)
		return
	}
	text, err := s.store.disk.read(at, 1<<28)
	if err != nil {
		s.refuse(w, err)
		return
	}
	if !bytes.Contains(text, []byte(`content="`+html.EscapeString(render.PageVersion())+`"`)) {
		err := s.store.update(n, func(st *State) error { st.Pair.Of = ""; return nil })
		if err != nil {
			s.refuse(w, err)
			return
		}
		fault(w, http.StatusServiceUnavailable, "This page is being written anew. Open it again in a minute.")
		return
	}
	sandboxed(w, text)
}
