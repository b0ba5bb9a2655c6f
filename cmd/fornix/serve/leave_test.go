package serve

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"fornix/inspect"
	"fornix/inspect/casefile"
	"fornix/mesh"
	"fornix/mesh/shape"
)

// order posts a form and returns what is said of it.
func (s *served) order(path string, form map[string]string) (st orderState) {
	s.t.Helper()
	body, _ := json.Marshal(form)
	w, said := s.ask("POST", path, bytes.NewReader(body), nil)
	if w.StatusCode != 200 || json.Unmarshal([]byte(said), &st) != nil {
		s.t.Fatalf("%s %s", w.Status, said)
	}
	return st
}

func TestOrderIsCheckedAndKept(t *testing.T) {
	s := start(t, pretend(), Options{})
	s.drop("/scan", "a.stl", "good")
	form := map[string]string{"order.number": "2024-117", "order.date": "31.3.2024", "vertical.rest_mm": "6,5", "face.nose_width_mm": "36", "order.stage": "jaw relation"}
	st := s.order("/case/1/order/check", form)
	if !strings.Contains(st.Errors["order.date"], "no date") || !strings.Contains(st.Errors["vertical.rest_mm"], "not between") || len(st.Errors) != 2 {
		t.Errorf("errors %v", st.Errors)
	}
	if st.Missing["clinic.name"] == "" || st.Missing["vertical.how"] == "" || st.Missing["order.number"] != "" || st.Missing["teeth.shade"] != "" || st.Missing["order.date"] != "" {
		t.Errorf("missing %v", st.Missing)
	}
	if len(st.Teeth) != 1 || len(st.First) != len(st.Errors)+len(st.Missing) || st.First[0] != "order.date" || st.Saved {
		t.Errorf("%+v", st)
	}
	if st = s.order("/case/1/order", form); st.Saved {
		t.Error("kept with errors in it")
	}
	if c, _ := s.store.Get(1); c.Order.Order.Number != "" {
		t.Error("half of the form was kept")
	}
	form["order.date"], form["vertical.rest_mm"] = "2024-03-31", "65,5"
	if st = s.order("/case/1/order", form); !st.Saved {
		t.Errorf("%+v", st)
	}
	c, err := s.store.Get(1)
	if err != nil || c.Order.Order.Number != "2024-117" || *c.Order.Vertical.RestMM != 65.5 || c.Order.Order.Stage != casefile.JawRelation {
		t.Errorf("%+v %v", c.Order, err)
	}
	// What the sheet cannot print is told before it is sent, and hinders nothing.
	if st = s.order("/case/1/order", map[string]string{"more.notes": "義歯床 2", "clinic.address": "Zürich"}); !st.Saved || len(st.Unset) != 1 || !strings.HasPrefix(st.Unset["more.notes"], "3 of 4 letters cannot be printed") {
		t.Errorf("%+v", st)
	}
	if _, page := s.ask("GET", "/case/1", nil, nil); !strings.Contains(page, "Notes: 3 of 4 letters cannot be printed") {
		t.Error("the case's page does not tell what the sheet cannot print")
	}
	if st = s.order("/case/1/order/check", map[string]string{"order.number": "Zara Quibbleton", "nose": "1"}); len(st.Personal) != 1 || st.Errors["nose"] == "" {
		t.Errorf("%+v", st)
	}
	_, page := s.ask("GET", "/case/1/order", nil, nil)
	for _, want := range []string{`value="2024-117"`, `<option value="jaw relation" selected>`, `value="65.5"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the form lacks %s", want)
		}
	}
	// Clinic and laboratory of the case before are offered to the next one.
	s.order("/case/1/order", map[string]string{"clinic.name": "Clinic <1>", "laboratory.name": "Lab 1"})
	s.drop("/scan", "b.stl", "good")
	if _, page = s.ask("GET", "/case/2/order", nil, nil); !strings.Contains(page, `<data value="Clinic &lt;1&gt;" data-key="clinic.name">`) {
		t.Error("the clinic of the case before is not offered")
	}
}

func stl(t *testing.T, header string, ascii bool) []byte {
	t.Helper()
	var b bytes.Buffer
	write := mesh.WriteSTL
	if ascii {
		write = mesh.WriteSTLASCII
	}
	if err := write(&b, shape.Icosphere(20, 1).Mesh, header); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// unzip returns the entries of a package, in its order.
func unzip(t *testing.T, text string) (names []string, files map[string][]byte) {
	t.Helper()
	z, err := zip.NewReader(strings.NewReader(text), int64(len(text)))
	if err != nil {
		t.Fatal(err)
	}
	files = map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if files[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
		names = append(names, f.Name)
		if !f.Modified.Equal(epoch) || f.Mode().Perm()&0o111 != 0 {
			t.Errorf("%s: %v %v", f.Name, f.Modified, f.Mode())
		}
	}
	return names, files
}

// All names are invented.
func TestThePackageNamesNobody(t *testing.T) {
	s := start(t, pretend(), Options{})
	s.drop("/scan", "Zara_Quibbleton_upper.stl", string(stl(t, "Zara Quibbleton 12.03.1948", false)))
	s.drop("/case/1/scan", "Quibbleton-lower.stl", string(stl(t, "Zara Quibbleton", true)))
	s.settled(1)
	s.order("/case/1/order", map[string]string{"order.number": "2024/117"})
	w, text := s.ask("GET", "/case/1/package.zip", nil, nil)
	if w.StatusCode != 200 || w.Header.Get("Content-Disposition") != "attachment; filename=2024-117-package.zip" {
		t.Fatalf("%s %v", w.Status, w.Header)
	}
	names, files := unzip(t, text)
	if got := strings.Join(names, " "); got != "2024-117-sheet.pdf 2024-117-order.toml 2024-117-upper.stl 2024-117-upper/finding-1.png 2024-117-upper/report.html 2024-117-upper/report.json 2024-117-upper/tissue.png "+
		"2024-117-upper-2.stl 2024-117-upper-2/finding-1.png 2024-117-upper-2/report.html 2024-117-upper-2/report.json 2024-117-upper-2/tissue.png 2024-117-hashes.txt" {
		t.Errorf("%s", got)
	}
	sums := string(files["2024-117-hashes.txt"])
	for name, body := range files {
		low := bytes.ToLower(body)
		if bytes.Contains(low, []byte("quibble")) || bytes.Contains(low, []byte("zara")) || bytes.Contains(low, []byte("1948")) {
			t.Errorf("%s names a person", name)
		}
		h := sha256.Sum256(body)
		if line := hex.EncodeToString(h[:]) + "  " + name + "\n"; !strings.HasSuffix(name, "hashes.txt") && !strings.Contains(sums, line) {
			t.Errorf("the hash of %s is not in the list", name)
		}
	}
	for _, name := range []string{"2024-117-upper.stl", "2024-117-upper-2.stl"} {
		m, _, err := mesh.Read(bytes.NewReader(files[name]), mesh.ReadOptions{})
		if err != nil || len(m.Tri) != len(shape.Icosphere(20, 1).Mesh.Tri) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if k, err := casefile.Read(bytes.NewReader(files["2024-117-order.toml"]), "order"); err != nil || k.Order.Number != "2024/117" {
		t.Errorf("%v", err)
	}
	var rep inspect.Report
	if err := json.Unmarshal(files["2024-117-upper/report.json"], &rep); err != nil || rep.Scan.File != "scan-1.stl" {
		t.Errorf("%v %s", err, rep.Scan.File)
	}
	if _, again := s.ask("GET", "/case/1/package.zip", nil, nil); again != text {
		t.Error("packed twice, the bytes differ")
	}
	s.until("nothing is left of it", func() bool { left, _ := s.store.disk.list("."); return len(left) == 1 })
}

func TestWhatCannotBePackedIsTold(t *testing.T) {
	s := start(t, pretend(), Options{})
	s.drop("/scan", "a.stl", "bad")
	s.settled(1)
	if w, said := s.ask("GET", "/case/1/package.zip", nil, nil); w.StatusCode != 400 || !strings.Contains(said, "no scan of this case") {
		t.Errorf("%s %s", w.Status, said)
	}
	s.drop("/scan", "a.stl", "good but no STL: Zott") // the engine of these tests takes it
	c := s.settled(2)
	if _, err := s.entries(&c); !errors.As(err, new(wrong)) || !strings.Contains(err.Error(), "cannot leave") {
		t.Errorf("%v", err)
	}
	for _, path := range []string{"/case/9/package.zip", "/case/9/sheet.pdf", "/case/2x/package.zip", "/case/9/order"} {
		if w, _ := s.ask("GET", path, nil, nil); w.StatusCode != 404 {
			t.Errorf("%s: %s", path, w.Status)
		}
	}
}

func TestEntriesLeadOutOfNoFolder(t *testing.T) {
	for name, want := range map[string]bool{
		"a.stl": true, "a-1/b.png": true, "../a": false, "/a": false, "a/../b": false, `a\b`: false, "a//b": false, "c:a": false, "": false,
		".a": false, "a/.b": false, "a\x00": false, "A.stl": false, "é.stl": false, "a/": false, strings.Repeat("a", 300): false, "con|": false,
	} {
		if safe(name) != want {
			t.Errorf("%q: %v", name, !want)
		}
	}
	s := start(t, pretend(), Options{})
	for _, list := range [][]entry{{{name: "../a"}, {name: "b"}}, {{name: "a"}, {name: "a"}, {name: "b"}}} {
		if err := s.pack(io.Discard, list); err == nil {
			t.Errorf("%v was packed", list)
		}
	}
	// Whatever the case number is, the package's names are safe.
	for _, number := range []string{"", "../../x", "..", "CON", "a/b\\c:d", strings.Repeat("x", 500), "日本", "\x00"} {
		c := Case{N: 1, Order: casefile.Case{Order: casefile.Order{Number: number}}}
		list, err := s.entries(&c)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			if !safe(e.name) {
				t.Errorf("number %q: %q", number, e.name)
			}
		}
	}
}

func TestTheSheetIsOldWhenSomethingChanges(t *testing.T) {
	s := start(t, pretend(), Options{})
	s.drop("/scan", "a.stl", string(stl(t, "scan", false)))
	s.settled(1)
	state := func() string {
		c, err := s.store.Get(1)
		if err != nil {
			t.Fatal(err)
		}
		return s.sheetState(&c)
	}
	write := func(paper string) {
		t.Helper()
		if w, said := s.ask("POST", "/case/1/sheet", strings.NewReader(fmt.Sprintf(`{"paper": %q}`, paper)), nil); w.StatusCode != 200 {
			t.Fatalf("%s %s", w.Status, said)
		}
	}
	if state() != "" {
		t.Error("there is a sheet already")
	}
	write("Letter")
	if _, pdf := s.ask("GET", "/case/1/sheet.pdf", nil, nil); pdf != "%PDF Letter" || state() != "new" {
		t.Errorf("%q %s", pdf, state())
	}
	s.order("/case/1/order", map[string]string{"order.number": "7"})
	if state() != "old" {
		t.Error("the order was changed, and the sheet is not old")
	}
	write("A4")
	s.ask("POST", "/case/1/scan/1/given", strings.NewReader(`{"jaw": "lower"}`), nil)
	s.settled(1)
	if state() != "old" {
		t.Error("the scan was inspected anew, and the sheet is not old")
	}
	if w, _ := s.ask("POST", "/case/1/sheet", strings.NewReader(`{"paper": "A0"}`), nil); w.StatusCode != 400 {
		t.Errorf("A0: %s", w.Status)
	}
}

func TestTheSheetIsAboutTheNewestScanOfEachJaw(t *testing.T) {
	st := State{Scans: []Scan{{ID: 1, Found: "lower", Results: "a"}, {ID: 2, Found: "upper", Results: "b"}, {ID: 3, Found: "upper", Results: "c"}, {ID: 4, Found: "upper"}, {ID: 5, Results: "d"}}}
	got := chosen(&st)
	if len(got) != 2 || got[0].ID != 3 || got[1].ID != 1 {
		t.Errorf("%+v", got)
	}
	st.Scans = []Scan{{ID: 1, Results: "a"}, {ID: 2}}
	if got = chosen(&st); len(got) != 1 || got[0].ID != 1 {
		t.Errorf("%+v", got)
	}
}
