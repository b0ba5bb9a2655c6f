package serve

import (
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"

	"fornix/inspect/casefile"
	"fornix/render"
)

// orderState is what is said of an order while it is filled in.
type orderState struct {
	Errors   map[string]string `json:"errors"`   // by key: what cannot be right
	Missing  map[string]string `json:"missing"`  // by key: what must be said for the stage of the work
	First    []string          `json:"first"`    // keys of both, in the order of the form
	Unset    map[string]string `json:"unset"`    // by key: what the sheet cannot print as it is written
	Personal []string          `json:"personal"` // what looks like a person
	Teeth    []string          `json:"teeth"`    // ranges from the face, with what they are worth
	Saved    bool              `json:"saved"`
}

// filled puts what a form holds into the order of a case.
func filled(k casefile.Case, form map[string]string) (casefile.Case, orderState) {
	st := orderState{Errors: map[string]string{}, Missing: map[string]string{}, Unset: map[string]string{}, First: []string{}, Personal: []string{}, Teeth: []string{}}
	for _, key := range slices.Sorted(maps.Keys(form)) {
		if err := k.Set(key, form[key]); err != nil {
			st.Errors[key] = err.Error()
		}
	}
	for _, g := range k.Missing("") {
		if st.Errors[g.Key] == "" {
			st.Missing[g.Key] = g.Text
		}
	}
	for _, s := range k.Form() {
		for _, f := range s.Fields {
			if st.Errors[f.Key] != "" || st.Missing[f.Key] != "" {
				st.First = append(st.First, f.Key)
			}
		}
	}
	for _, u := range render.UnprintedFields(&k) {
		st.Unset[u.Key] = u.Text()
	}
	for _, w := range k.Personal() {
		st.Personal = append(st.Personal, fmt.Sprintf("%q looks like a %s. %s", w.Text, w.Kind, w.Why))
	}
	for _, w := range k.Face.FrontTeeth() {
		st.Teeth = append(st.Teeth, fmt.Sprintf("%s: %.0f to %.0f mm, from %s (%s)", capital(w.What), w.FromMM, w.ToMM, w.From, w.Honesty))
	}
	return k, st
}

// orderForm reads what the form of case n holds.
func (s *Server) orderForm(r *http.Request, body []byte) (c Case, form map[string]string, err error) {
	n, ok := number(r, "n")
	if !ok {
		return c, nil, ErrNoCase
	}
	if c, err = s.store.Get(n); err != nil {
		return c, nil, err
	}
	if c.OrderBad != "" {
		return c, nil, wrong{"the order in this case's folder cannot be read: " + c.OrderBad}
	}
	return c, form, strict(body, &form)
}

// checkOrder says what a form would come to, and keeps nothing.
func (s *Server) checkOrder(r *http.Request, body []byte) (any, error) {
	c, form, err := s.orderForm(r, body)
	if err != nil {
		return nil, err
	}
	_, st := filled(c.Order, form)
	return st, nil
}

// saveOrder keeps what a form holds, but nothing while one of its fields cannot be right.
func (s *Server) saveOrder(r *http.Request, body []byte) (any, error) {
	c, form, err := s.orderForm(r, body)
	if err != nil {
		return nil, err
	}
	k, st := filled(c.Order, form)
	if len(st.Errors) > 0 {
		return st, nil
	}
	if err := s.store.SetOrder(c.N, k); err != nil {
		return nil, err
	}
	st.Saved = true
	return st, nil
}

// orderView is the page of an order.
type orderView struct {
	Case
	Title    string
	Sections []casefile.Section
	State    orderState
	Stages   []string
	Before   map[string]string // clinic and laboratory of the case before, where this one has none
}

// showOrder is the page on which the order of a case is filled in.
func (s *Server) showOrder(w http.ResponseWriter, r *http.Request) {
	n, ok := number(r, "n")
	c, err := s.store.Get(n)
	if !ok || err != nil || c.Broken != "" {
		s.show(w, http.StatusNotFound, "gone", "No such case", "", c.Broken)
		return
	}
	v := orderView{Case: c, Title: titleOf(&c), Sections: c.Order.Form(), Stages: casefile.Stages()}
	_, v.State = filled(c.Order, nil)
	if c.Order.Clinic == (casefile.Clinic{}) && c.Order.Laboratory == (casefile.Laboratory{}) {
		v.Before = s.before(n)
	}
	s.show(w, http.StatusOK, "order", "Order of "+v.Title, "order.js", v)
}

// before is the clinic and laboratory of the newest other case that has them, by key.
func (s *Server) before(n int) map[string]string {
	for _, c := range s.store.List() {
		if c.N == n || c.Order.Clinic.Name == "" {
			continue
		}
		out := map[string]string{}
		for _, sec := range c.Order.Form() {
			if sec.Name != "Clinic" && sec.Name != "Laboratory" {
				continue
			}
			for _, f := range sec.Fields {
				out[f.Key] = f.Value
			}
		}
		return out
	}
	return nil
}

// leaveView is what a case's page says of what leaves the house with it.
type leaveView struct {
	Ready   bool // a scan has been inspected
	Gaps    []casefile.Gap
	Sheet   string // "", "old", "new"
	Paper   string // of the sheet
	Papers  []string
	Package string // its file's name
	Person  []casefile.Warning
	Unset   []render.Unset
	Photos  []string
}

func (s *Server) leaveOf(c *Case) leaveView {
	v := leaveView{Ready: len(chosen(&c.State)) > 0, Gaps: c.Order.Missing(""), Sheet: s.sheetState(c), Papers: papers, Person: c.Order.Personal(), Unset: render.UnprintedFields(&c.Order)}
	v.Paper, _, _ = strings.Cut(c.Sheet, " ")
	v.Package, v.Photos = packageName(c), s.store.photos(c.N)
	return v
}
