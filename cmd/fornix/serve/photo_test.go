package serve

import (
	"bytes"
	"image"
	"image/jpeg"
	"io"
	"strings"
	"testing"

	"fornix/inspect"
	"fornix/inspect/casefile"
	"fornix/render"
)

// photograph is one whose camera wrote a name into it. The name is invented.
func photograph(t *testing.T) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewRGBA(image.Rect(0, 0, 64, 48)), nil); err != nil {
		t.Fatal(err)
	}
	note := "Zara Quibbleton 12.03.1948"
	return append(append([]byte{0xff, 0xd8, 0xff, 0xfe, 0, byte(2 + len(note))}, note...), b.Bytes()[2:]...)
}

// Photographs are attached without what the camera noted, shown, named on the sheet and in the order,
// packed under neutral names, and removed.
func TestPhotographs(t *testing.T) {
	var told []string
	e := pretend()
	e.Sheet = func(scans []*render.Scan, relation *inspect.RelateOutcome, order *casefile.Case, paper string) ([]byte, error) {
		told = order.More.Photos
		return []byte("%PDF"), nil
	}
	s := start(t, e, Options{})
	s.drop("/scan", "a.stl", string(stl(t, "scan", false)))
	s.settled(1)
	s.order("/case/1/order", map[string]string{"order.number": "K-7", "more.photos": "face.jpg"})
	attach := func(body io.Reader, want int) {
		t.Helper()
		if w, said := s.ask("POST", "/case/1/photo?name=../Zara%20Quibbleton.jpg", body, nil); w.StatusCode != want {
			t.Errorf("%s %s, want %d", w.Status, said, want)
		}
	}
	if w, said := s.ask("POST", "/case/1/sheet", strings.NewReader("{}"), nil); w.StatusCode != 200 {
		t.Fatal(said)
	}
	attach(bytes.NewReader(photograph(t)), 200)
	c, _ := s.store.Get(1)
	if s.sheetState(&c) != "old" {
		t.Error("a photograph came, and the sheet is not old")
	}
	for what, body := range map[string]string{"none": "", "a scan": "solid x", "a page": "<script>", "cut off": string(photograph(t)[:300])} {
		if w, said := s.ask("POST", "/case/1/photo", strings.NewReader(body), nil); w.StatusCode != 400 || !strings.Contains(said, "no JPEG or PNG") {
			t.Errorf("%s: %s %s", what, w.Status, said)
		}
	}
	attach(io.LimitReader(endless{}, photoBytes+1), 413)
	if w, _ := s.ask("POST", "/case/9/photo", bytes.NewReader(photograph(t)), nil); w.StatusCode != 404 {
		t.Errorf("into no case: %s", w.Status)
	}
	w, got := s.ask("GET", "/case/1/photo/photo-1.jpg", nil, nil)
	if w.Header.Get("Content-Type") != "image/jpeg" || strings.Contains(got, "Quibble") || w.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("%v", w.Header)
	}
	for _, name := range []string{"state.toml", "..%2fstate.toml", "photo-1.jpg%2f..%2fstate.toml", "photo-01.jpg", "photo-2.jpg", "PHOTO-1.JPG"} {
		if w, _ := s.ask("GET", "/case/1/photo/"+name, nil, nil); w.StatusCode != 404 {
			t.Errorf("%s: %s", name, w.Status)
		}
		if w, _ := s.ask("POST", "/case/1/photo/"+name+"/remove", nil, nil); name != "photo-2.jpg" && w.StatusCode != 404 {
			t.Errorf("%s removed: %s", name, w.Status)
		}
	}
	if _, page := s.ask("GET", "/case/1", nil, nil); !strings.Contains(page, `src="/case/1/photo/photo-1.jpg"`) {
		t.Error("the case does not show its photograph")
	}
	_, text := s.ask("GET", "/case/1/package.zip", nil, nil)
	names, files := unzip(t, text)
	if !strings.Contains(strings.Join(names, " "), "k-7-photo.jpg") || string(files["k-7-photo.jpg"]) != got || len(told) != 2 || told[1] != "k-7-photo.jpg" {
		t.Errorf("%v; on the sheet %v", names, told)
	}
	if k, err := casefile.Read(bytes.NewReader(files["k-7-order.toml"]), "order"); err != nil || len(k.More.Photos) != 2 || k.More.Photos[1] != "k-7-photo.jpg" {
		t.Errorf("%v %v", k.More.Photos, err)
	}
	for range mostPhotos - 1 {
		attach(bytes.NewReader(photograph(t)), 200)
	}
	attach(bytes.NewReader(photograph(t)), 400)
	if w, _ := s.ask("POST", "/case/1/photo/photo-1.jpg/remove", nil, nil); w.StatusCode != 200 || len(s.store.photos(1)) != mostPhotos-1 {
		t.Errorf("%s %v", w.Status, s.store.photos(1))
	}
}

type endless struct{}

func (endless) Read(b []byte) (int, error) { return len(b), nil }

// What the text inside a scan gives away is told on the page. The name is invented.
func TestWhatTheFileHoldsIsTold(t *testing.T) {
	s := start(t, pretend(), Options{})
	s.drop("/scan", "a.stl", string(stl(t, "Zara Quibbleton 12.03.1948", false)))
	s.drop("/scan", "a.stl", string(stl(t, "scan", false)))
	s.settled(2)
	if _, page := s.ask("GET", "/case/1", nil, nil); !strings.Contains(page, "The text inside the file looks like") || !strings.Contains(page, "12.03.1948") {
		t.Error("a date of birth in the header is not told")
	}
	if _, page := s.ask("GET", "/case/2", nil, nil); strings.Contains(page, "The text inside the file") {
		t.Error("a header without a name is told")
	}
}
