package serve

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestWhatPeoplePutIntoTheFolder(t *testing.T) {
	dir := t.TempDir()
	put := func(name, text string) {
		t.Helper()
		if err := os.MkdirAll(filepath.Join(dir, filepath.Dir(name)), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	put("0003/scan-1.stl", "a scan put there by hand")
	put("0003/case.toml", "[order]\nnumber = \"A 3\"\n")
	put("0004/notes.txt", "no case")
	put("0005/state.toml", "schema = \"another program's\"\n")
	put("0006/state.toml", "[[scan]\n")
	put("notes/readme.txt", "left alone")
	put("7/scan-1.stl", "left alone")
	put("0000/scan-1.stl", "left alone")
	put("0008/scan-1.stl", "whole")
	put("0008/state.toml", "schema = '"+stateSchema+"'\nmade = 2024-01-01T00:00:00Z\nby = 'dropped'\nsheet = ''\n[[scan]]\nid = 1\nresults = '../../etc'\nstatus = 'done'\n")
	s := openAt(t, dir, nil)
	if err := work(s); err != nil {
		t.Fatal(err)
	}
	three, err := s.Get(3)
	if err != nil || len(three.Scans) != 1 || three.Scans[0].Status != Done || three.Order.Order.Number != "A 3" {
		t.Errorf("%+v %v", three, err)
	}
	for n, want := range map[int]string{4: "neither", 5: "schema", 6: "cannot be read", 8: "not written as"} {
		if c, err := s.Get(n); err != nil || !strings.Contains(c.Broken, want) {
			t.Errorf("case %d: %q %v", n, c.Broken, err)
		}
	}
	for _, n := range []int{0, 7} {
		if _, err := s.Get(n); !errors.Is(err, ErrNoCase) {
			t.Errorf("case %d: %v", n, err)
		}
	}
	if n, _, err := s.Receive(strings.NewReader("x"), "x.stl", ByHand, 0); err != nil || n != 9 {
		t.Errorf("a new case got the number %d: %v", n, err)
	}
	// A second scan is laid into the folder, and the results of the first are thrown away.
	put("0003/scan-4.stl", "another")
	if err := os.RemoveAll(filepath.Join(dir, "0003", "scan-1-r1")); err != nil {
		t.Fatal(err)
	}
	s = openAt(t, dir, nil)
	three, err = s.Get(3)
	if err != nil || three.scan(4) == nil || three.scan(4).Status != Waiting || three.scan(1).Status != Waiting {
		t.Errorf("%+v %v", three, err)
	}
}

func TestAnInspectionThatEndsTheProgramIsNotBegunForEver(t *testing.T) {
	dir := t.TempDir()
	s := openAt(t, dir, nil)
	n, id, err := s.Receive(strings.NewReader("x"), "x.stl", ByHand, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i <= mostTries; i++ {
		if k, ok, err := s.begin(n, id); err != nil || !ok || k.Tries != i {
			t.Fatalf("try %d: %+v %v %v", i, k, ok, err)
		}
		s = openAt(t, dir, nil)
	}
	if _, ok, err := s.begin(n, id); ok || err != nil {
		t.Fatalf("begun once more: %v", err)
	}
	if c, _ := s.Get(n); c.Scans[0].Status != Failed || !strings.Contains(c.Scans[0].Reason, "3 times") {
		t.Errorf("%+v", c.Scans[0])
	}
	if err := s.Ask(n, id, Ask{}); err != nil {
		t.Fatal(err)
	}
	if _, ok, _ := s.begin(n, id); !ok {
		t.Error("asked for by hand, it is not begun")
	}
}

func TestWhatWasAskedMeanwhileWins(t *testing.T) {
	s := openAt(t, t.TempDir(), nil)
	n, id, err := s.Receive(strings.NewReader("x"), "x.stl", ByHand, 0)
	if err != nil {
		t.Fatal(err)
	}
	k, _, _ := s.begin(n, id)
	if err := s.Ask(n, id, Ask{Jaw: "lower"}); err != nil {
		t.Fatal(err)
	}
	if ok, err := s.measured(n, k, reportOf(k)); ok || err != nil {
		t.Errorf("the old inspection holds: %v", err)
	}
	c, _ := s.Get(n)
	if c.Scans[0].Status != Waiting || c.Scans[0].Results != "" {
		t.Errorf("%+v", c.Scans[0])
	}
	if _, err := s.disk.list(folder(n) + "/" + k.next()); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("its results lie about: %v", err)
	}
}

type brokenReader struct{}

func (brokenReader) Read([]byte) (int, error) { return 0, io.ErrUnexpectedEOF }

func TestAScanThatBreaksOffLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	s := openAt(t, dir, nil)
	_, _, err := s.Receive(io.MultiReader(strings.NewReader(strings.Repeat("x", 1<<20)), brokenReader{}), "x.stl", ByHand, 0)
	if !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Fatal(err)
	}
	if left, _ := os.ReadDir(dir); len(left) > 0 || len(s.List()) > 0 {
		t.Errorf("left: %v", left)
	}
}

func TestNamesAreNoPaths(t *testing.T) {
	for in, want := range map[string]string{
		"../../etc/passwd": "passwd", `D:\scans\upper.stl`: "upper.stl", "": "unnamed", "..": "..", "a\x00b\nc": "abc",
		"\u202egnp.stl": "gnp.stl", "/": "unnamed", "žluť 日本.stl": "žluť 日本.stl",
	} {
		if got := plainName(in); got != want {
			t.Errorf("%q: %q, want %q", in, got, want)
		}
	}
	if got := plainName(strings.Repeat("x", 500)); len(got) > 130 {
		t.Errorf("%d letters", len(got))
	}
}
