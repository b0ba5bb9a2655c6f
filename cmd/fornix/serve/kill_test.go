package serve

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fornix/inspect"
	"fornix/inspect/casefile"
	"fornix/render"
)

var errKilled = errors.New("killed")

// kill ends all writing from the step with the given count on, as the end of a process does.
type kill struct{ at, done int }

func (k *kill) step() error {
	k.done++
	if k.at > 0 && k.done >= k.at {
		return errKilled
	}
	return nil
}

func openAt(t *testing.T, dir string, k *kill) *Store {
	t.Helper()
	if err := os.MkdirAll(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	d := &disk{root: root, loose: true}
	if k != nil {
		d.step = k.step
	}
	s, err := openStore(d)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func dot() []byte {
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, 8, 6))); err != nil {
		panic(err)
	}
	return b.Bytes()
}

// reportOf is a report that names the scan's bytes, so that a report of another is told.
func reportOf(k Scan) *inspect.Report {
	r := &inspect.Report{Schema: inspect.Schema{Name: inspect.SchemaName, Version: inspect.SchemaVersion}, Verdict: inspect.Correct}
	r.Jaw, r.Scan.SHA256, r.Scan.File = inspect.Upper, k.SHA256, k.file()
	return r
}

// work ends every inspection that waits, as the queue does.
func work(s *Store) error {
	for _, c := range s.List() {
		for _, o := range c.Scans {
			k, ok, err := s.begin(c.N, o.ID)
			if err != nil {
				return err
			}
			if !ok {
				continue
			}
			if ok, err = s.measured(c.N, k, reportOf(k)); err != nil || !ok {
				return err
			}
			if err := s.drawn(c.N, k, []render.Image{{Name: "tissue.png", PNG: dot()}}); err != nil {
				return err
			}
			if err := s.finished(c.N, k, []byte("<p>page")); err != nil {
				return err
			}
		}
	}
	return nil
}

// story is all that a user does with a store, each step noted in said once it has been told as done.
func story(s *Store, said map[string]bool) error {
	do := func(name string, f func() error) error {
		if err := f(); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		said[name] = true
		return nil
	}
	for _, step := range []struct {
		name string
		f    func() error
	}{
		{"drop", func() error {
			n, id, err := s.Receive(strings.NewReader(strings.Repeat("first scan ", 20000)), "../Zott Zara.stl", ByHand, 0)
			if err == nil && (n != 1 || id != 1) {
				return fmt.Errorf("came to %d, %d", n, id)
			}
			return err
		}},
		{"inspect", func() error { return work(s) }},
		{"order", func() error { return s.SetOrder(1, casefile.Case{Order: casefile.Order{Number: "2024-117"}}) }},
		{"second", func() error {
			_, _, err := s.Receive(strings.NewReader("second scan"), "lower.stl", ByHand, 1)
			return err
		}},
		{"ask", func() error {
			return s.Ask(1, 1, Ask{Jaw: "lower", Landmarks: map[string][3]float64{"labial_frenum": {1, 2, 3}}})
		}},
		{"inspect again", func() error { return work(s) }},
		{"other case", func() error {
			_, _, err := s.Receive(strings.NewReader("third scan"), "third.stl", ByInbox, 0)
			return err
		}},
		{"remove scan", func() error { return s.RemoveScan(1, 2) }},
		{"inspect third", func() error { return work(s) }},
		{"remove", func() error { return s.Remove(2) }},
		{"photograph", func() error { return s.addPhoto(1, dot()) }},
	} {
		if err := do(step.name, step.f); err != nil {
			return err
		}
	}
	return nil
}

// whole checks that nothing half made lies in the store, that each state names only what is there,
// and that what was told as done is still so.
func whole(t *testing.T, dir string, s *Store, said map[string]bool, at int) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if strings.HasPrefix(d.Name(), ".") && path != dir {
			t.Errorf("step %d: %s was left", at, path)
		}
		if d.Name() == reportName {
			var r inspect.Report
			text, _ := os.ReadFile(path)
			if json.Unmarshal(text, &r) != nil {
				t.Errorf("step %d: %s is half", at, path)
			}
		}
		if filepath.Ext(path) == ".png" {
			f, _ := os.Open(path)
			defer f.Close()
			if _, err := png.Decode(f); err != nil {
				t.Errorf("step %d: %s is half: %v", at, path, err)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.broken) > 0 {
		t.Errorf("step %d: %v", at, s.broken)
	}
	for _, c := range s.List() {
		if c.OrderBad != "" {
			t.Errorf("step %d: order: %s", at, c.OrderBad)
		}
		for _, k := range c.Scans {
			text, err := os.ReadFile(filepath.Join(dir, folder(c.N), k.file()))
			sum := sha256.Sum256(text)
			if gone := said["other case"] && !said["remove scan"] && k.ID == 2; err != nil && gone && k.Status == Failed {
				continue // it was being removed
			}
			if err != nil || hex.EncodeToString(sum[:]) != k.SHA256 || int64(len(text)) != k.Bytes {
				t.Errorf("step %d: %s of case %d is not what came: %v", at, k.file(), c.N, err)
			}
			if k.Status != Done {
				t.Errorf("step %d: case %d scan %d is %s after its inspection: %s", at, c.N, k.ID, k.Status, k.Reason)
				continue
			}
			for _, name := range []string{reportName, "tissue.png", picturesName, thumbName, pageName} {
				if _, err := os.Stat(filepath.Join(dir, folder(c.N), k.Results, name)); err != nil {
					t.Errorf("step %d: %v", at, err)
				}
			}
			if k.Verdict != "correct" || k.Found != "upper" || k.Tries != 0 {
				t.Errorf("step %d: %+v", at, k)
			}
		}
	}
	one, err := s.Get(1)
	if said["drop"] && (err != nil || one.scan(1) == nil || one.scan(1).CameAs != "Zott Zara.stl") {
		t.Errorf("step %d: the scan that was taken in is gone: %+v %v", at, one, err)
	}
	if said["order"] && one.Order.Order.Number != "2024-117" {
		t.Errorf("step %d: the order that was saved is gone", at)
	}
	if photos := s.photos(1); said["photograph"] && len(photos) != 1 || len(photos) > 1 {
		t.Errorf("step %d: photographs %v", at, photos)
	}
	if said["second"] && !said["other case"] && one.scan(2) == nil {
		t.Errorf("step %d: the second scan is gone", at)
	}
	if said["ask"] && (one.scan(1).Ask.Jaw != "lower" || one.scan(1).Ask.Landmarks["labial_frenum"] != [3]float64{1, 2, 3}) {
		t.Errorf("step %d: what was given is gone", at)
	}
	if _, err := s.Get(2); said["other case"] && !said["inspect third"] && err != nil || said["remove"] && err == nil {
		t.Errorf("step %d: case 2: %v", at, err)
	}
}

// A kill at every single step of everything a user can do: nothing half written is ever seen, nothing
// that was told as done is lost, and what was not finished is done when the store is opened again.
func TestKillAtEveryStep(t *testing.T) {
	t.Parallel()
	free := &kill{}
	if err := story(openAt(t, t.TempDir(), free), map[string]bool{}); err != nil {
		t.Fatal(err)
	}
	if free.done < 100 {
		t.Fatalf("the story has only %d steps", free.done)
	}
	for at := 1; at <= free.done; at++ {
		dir := filepath.Join(t.TempDir(), "cases")
		said := map[string]bool{}
		if err := story(openAt(t, dir, &kill{at: at}), said); !errors.Is(err, errKilled) {
			t.Fatalf("step %d of %d: %v", at, free.done, err)
		}
		s := openAt(t, dir, nil)
		if err := work(s); err != nil {
			t.Fatalf("step %d: %v", at, err)
		}
		whole(t, dir, s, said, at)
	}
}

// A kill while the store is being opened after a kill loses nothing either.
func TestKillWhileOpening(t *testing.T) {
	t.Parallel()
	most := 0
	for first := 30; first < 120; first += 30 {
		for at := 1; ; at++ {
			dir := filepath.Join(t.TempDir(), "cases")
			said := map[string]bool{}
			if err := story(openAt(t, dir, &kill{at: first}), said); !errors.Is(err, errKilled) {
				t.Fatal(err)
			}
			root, err := os.OpenRoot(dir)
			if err != nil {
				t.Fatal(err)
			}
			k := &kill{at: at}
			s, err := openStore(&disk{root: root, loose: true, step: k.step})
			root.Close()
			if k.done < at { // it ended before the kill
				if err != nil || len(s.broken) > 0 {
					t.Fatal(err, s.broken)
				}
				most = max(most, k.done)
				break
			}
			s = openAt(t, dir, nil)
			if err := work(s); err != nil {
				t.Fatal(err)
			}
			whole(t, dir, s, said, at)
		}
	}
	if most < 4 {
		t.Errorf("opening after a kill took %d steps at most", most)
	}
}
