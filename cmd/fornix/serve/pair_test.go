package serve

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fornix/inspect"
	"fornix/inspect/casefile"
	"fornix/render"
)

// jawsEngine finds the jaw in the header of a scan, and relates scans unless apart is set. It counts.
func jawsEngine(t *testing.T, count *int, apart *bool) Engine {
	e := pretend()
	e.Inspect = func(r io.Reader, name string, read inspect.ReadOptions, opt inspect.Options) (*inspect.Outcome, error) {
		text, err := io.ReadAll(r)
		rep := reportOf(Scan{ID: 1})
		rep.Verdict = inspect.Send
		if strings.Contains(string(text), "lower") {
			rep.Jaw = inspect.Lower
		}
		return &inspect.Outcome{Report: rep}, err
	}
	e.Relate = func(upper, lower *inspect.Scan, opt inspect.RelateOptions) (*inspect.RelateOutcome, error) {
		*count++
		if *apart {
			return nil, inspect.ErrNotShared
		}
		if len(opt.Lower.Given.Landmarks) > 0 {
			t.Error("what was given of one jaw is told of the other")
		}
		out := &inspect.RelateOutcome{Relation: &inspect.Relation{Verdict: inspect.Correct, Findings: []inspect.Finding{}}}
		out.UpperGap, out.LowerGap = make([]float64, len(upper.Mesh.Pos)), make([]float64, len(lower.Mesh.Pos))
		out.UpperGap[0], out.LowerGap[1] = math.NaN(), 0.1
		return out, nil
	}
	e.PairPage = func(o *inspect.RelateOutcome) ([]render.Image, []byte, error) {
		return []render.Image{{Name: "closed-front.png", PNG: dot()}}, []byte(`<meta name="generator" content="` + render.PageVersion() + `">both`), nil
	}
	return e
}

// Two jaws in a case are related by themselves, again when one is measured anew, and what is told of
// them leaves with the package.
func TestBothJawsAreRelated(t *testing.T) {
	count, apart := 0, false
	e := jawsEngine(t, &count, &apart)
	var sheeted *inspect.RelateOutcome
	e.Sheet = func(scans []*render.Scan, relation *inspect.RelateOutcome, order *casefile.Case, paper string) ([]byte, error) {
		sheeted = relation
		return []byte("%PDF"), nil
	}
	s := start(t, e, Options{})
	upper := s.drop("/scan", "a.stl", string(stl(t, "upper", false)))
	s.drop(fmt.Sprintf("/case/%d/scan", upper.Case), "b.stl", string(stl(t, "lower", false)))
	done := func(revision int) func() bool {
		return func() bool {
			c, _ := s.store.Get(1)
			p, now := related(&c.State)
			return now && p.Status == Done && p.Revision == revision
		}
	}
	s.until("the pair", done(1))
	c, _ := s.store.Get(1)
	if v := c.Verdict(); v != inspect.Correct {
		t.Errorf("both jaws are sound and do not close, and the case says %s", v)
	}
	if _, page := s.ask("GET", "/case/1", nil, nil); !strings.Contains(page, "/case/1/pair/report.html") || !strings.Contains(page, "share a frame") {
		t.Errorf("the case says nothing of the pair:\n%s", page)
	}
	w, text := s.ask("GET", "/case/1/pair/report.html", nil, nil)
	if policy := w.Header.Get("Content-Security-Policy"); !strings.HasPrefix(policy, "sandbox allow-scripts;") || !strings.HasSuffix(text, "both") {
		t.Errorf("the page of both under %q: %s", policy, text)
	}
	w, text = s.ask("GET", "/case/1/pair/relate.json", nil, nil)
	var r inspect.Relation
	if err := json.Unmarshal([]byte(text), &r); err != nil || r.Verdict != inspect.Correct {
		t.Errorf("%s %v: %s", w.Status, err, text)
	}
	for _, name := range []string{"..%2fstate.toml", "state.toml", "x", "..%2f..%2f0001%2fcase.toml"} {
		if w, _ := s.ask("GET", "/case/1/pair/"+name, nil, nil); w.StatusCode != 404 {
			t.Errorf("%s: %s", name, w.Status)
		}
	}
	names := map[string]bool{}
	list, err := s.entries(&c)
	for _, e := range list {
		names[e.name] = true
	}
	for _, want := range []string{"case-pair/relate.json", "case-pair/report.html", "case-pair/closed-front.png"} {
		if err != nil || !names[want] {
			t.Errorf("the package has no %s: %v, %v", want, names, err)
		}
	}
	for name := range names {
		if strings.Contains(name, gapName) {
			t.Errorf("%s leaves the house", name)
		}
	}
	if w, _ := s.ask("GET", "/case/1/pair/"+gapName, nil, nil); w.StatusCode != 404 {
		t.Errorf("the gap: %s", w.Status)
	}
	// A sheet says how they close without relating them again; results that are gone are made anew.
	if w, said := s.ask("POST", "/case/1/sheet", strings.NewReader("{}"), nil); w.StatusCode != 200 || count != 1 || sheeted == nil || sheeted.Relation.Verdict != inspect.Correct ||
		len(sheeted.UpperGap) != len(sheeted.Upper.Mesh.Pos) || !math.IsNaN(sheeted.UpperGap[0]) || sheeted.LowerGap[1] != 0.1 {
		t.Errorf("%s %s, related %d times: %+v", w.Status, said, count, sheeted)
	}
	if err := s.store.disk.remove("0001/" + c.Pair.Results + "/" + gapName); err != nil {
		t.Fatal(err)
	}
	if w, said := s.ask("POST", "/case/1/sheet", strings.NewReader("{}"), nil); w.StatusCode != 400 || !strings.Contains(said, "worked out anew") {
		t.Errorf("%s %s", w.Status, said)
	}
	s.until("the pair anew", done(2))
	c, _ = s.store.Get(1)
	count = 1
	was := s.print(&c, "A4")
	if w, body := s.ask("POST", "/case/1/scan/1/given", strings.NewReader(`{"landmarks":{"labial_frenum":[1,2,3]}}`), nil); w.StatusCode != 200 {
		t.Fatal(w.Status, body)
	}
	s.until("the pair of what was given", done(3))
	if c, _ = s.store.Get(1); s.print(&c, "A4") == was || count != 2 {
		t.Errorf("related %d times; the sheet counts as new", count)
	}
}

// Scans that do not share a frame are told as such; that is asked once.
func TestJawsApartAreTold(t *testing.T) {
	count, apart := 0, true
	s := start(t, jawsEngine(t, &count, &apart), Options{})
	s.drop("/scan", "a.stl", string(stl(t, "upper", false)))
	s.drop("/case/1/scan", "b.stl", string(stl(t, "lower", false)))
	s.until("the pair", func() bool { c, _ := s.store.Get(1); return c.Pair.Status == Failed })
	if _, page := s.ask("GET", "/case/1", nil, nil); !strings.Contains(page, "could not be told: "+inspect.ErrNotShared.Error()) {
		t.Errorf("the case does not say why:\n%s", page)
	}
	if w, _ := s.ask("GET", "/case/1/pair/report.html", nil, nil); w.StatusCode != 404 {
		t.Error(w.Status)
	}
	if c, _ := s.store.Get(1); c.Verdict() != inspect.Send || count != 1 {
		t.Errorf("verdict %s, asked %d times", c.Verdict(), count)
	}
}

// However often the program ends while it relates, the pair is whole or not there, and comes in the end.
func TestKillWhileRelating(t *testing.T) {
	count, apart := 0, false
	e := jawsEngine(t, &count, &apart)
	relating := func(s *Store) error {
		q := newQueue(s, e, log.New(io.Discard, "", 0))
		for n, found := q.nextPair(); found; n, found = q.nextPair() {
			if err := q.pair(n); err != nil {
				return err
			}
		}
		return nil
	}
	ended := 0
	for at := 1; ; at++ {
		dir := t.TempDir()
		s := openAt(t, dir, nil)
		for _, jaw := range []string{"upper", "lower"} {
			n, id, err := s.Receive(strings.NewReader(string(stl(t, jaw, false))), jaw+".stl", ByHand, boolInt(jaw == "lower"))
			if err != nil {
				t.Fatal(err)
			}
			k, _, err := s.begin(n, id)
			rep := reportOf(k)
			rep.Jaw = inspect.Jaw(jaw)
			if _, err2 := s.measured(n, k, rep); errors.Join(err, err2, s.drawn(n, k, []render.Image{{Name: "tissue.png", PNG: dot()}}), s.finished(n, k, []byte("p"))) != nil {
				t.Fatal(err, err2)
			}
		}
		k := &kill{at: at}
		s.disk.step = k.step
		err := relating(s)
		if err == nil && ended > 5 {
			if k.done < at {
				break // it was not ended any more
			}
		}
		ended++
		s = openAt(t, dir, nil)
		if err := relating(s); err != nil {
			t.Fatal(err)
		}
		c, err := s.Get(1)
		p, now := related(&c.State)
		if err != nil || !now || p.Status != Done || p.Tries != 0 {
			t.Errorf("step %d: %+v, %v", at, p, err)
		}
		for _, name := range []string{relationName, gapName, pageName, "closed-front.png"} {
			if _, err := os.Stat(filepath.Join(dir, "0001", p.Results, name)); err != nil {
				t.Errorf("step %d: %v", at, err)
			}
		}
	}
	if ended < 6 {
		t.Errorf("ended at %d steps only", ended)
	}
}

func boolInt(b bool) int {
	if b {
		return 1
	}
	return 0
}
