package batch

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"fornix/inspect"
)

// fake stands for measuring: it answers at once, from the work alone.
func fake(w Work) Result {
	if strings.HasPrefix(string(w.Content), "bad") {
		return Result{Reason: "byte 0: no scan"}
	}
	text := fmt.Sprintf(`{"scan": {"file": %q, "format": "stl-binary", "bytes": %d}, "jaw": %q, "verdict": "send"}`, w.Name, len(w.Content), w.Jaw)
	return Result{Files: []File{{reportName, []byte(text)}}}
}

// told counts what a Listener is told.
type told struct {
	rows, done, measured int
	failed               []string
}

func (t *told) Counted(rows, done int) { t.rows, t.done = rows, done }
func (t *told) Measured(path, failed string) {
	t.measured++
	if failed != "" {
		t.failed = append(t.failed, path)
	}
}

func put(t *testing.T, dir string, files map[string]string) {
	t.Helper()
	for name, text := range files {
		full := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(full, []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// runIn gathers and runs in dir, which becomes the working folder, and writes the tables.
func runIn(t *testing.T, dir, out string, inputs []string, o Options) *told {
	t.Helper()
	t.Chdir(dir)
	in, err := Gather(inputs, out)
	if err != nil {
		t.Fatal(err)
	}
	s, err := OpenStore(out)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	say := &told{}
	o.Say, o.Memory = say, 1<<30
	if o.Measure == nil {
		o.Measure = fake
	}
	if err := Run(context.Background(), s, in.Rows, o); err != nil {
		t.Fatal(err)
	}
	if _, err := NewList(in, "x").WriteTables(out, out, nil); err != nil {
		t.Fatal(err)
	}
	return say
}

// contents are all files under dir by their names, but for the lock.
func contents(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == lockName {
			return err
		}
		text, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[filepath.ToSlash(rel)] = string(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func paths(rows []Row) (out []string) {
	for _, r := range rows {
		out = append(out, r.Path)
	}
	return out
}

var some = map[string]string{
	"in/a.stl": "a", "in/b/c.ply": "c", "in/b/d.obj.gz": "bad d", "in/b/e.STL": "e", "in/notes.txt": "no", "in/.old/x.stl": "x",
	"in/same.stl": "a", "in/out/reports/z.stl": "z", "more.stl": "m",
}

func TestGather(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	put(t, dir, some)
	put(t, dir, map[string]string{
		"t.csv":     "\ufeffPath,Subject,jaw\nin/a.stl,s 1,UPPER\nmore.stl,s 2\nmore.stl,s 2\n",
		"sub/u.csv": "operator,path\nkim,../gone.stl\n",
	})
	want := []string{"gone.stl", "in/a.stl", "in/b/c.ply", "in/b/d.obj.gz", "in/b/e.STL", "in/same.stl", "more.stl"}
	for _, inputs := range [][]string{{"t.csv", "in", "sub/u.csv"}, {"sub/u.csv", "./in/b/../", "t.csv"}, {"in/*.stl", "in/b", "sub/u.csv", "t.csv", "more.stl"}} {
		in, err := Gather(inputs, "in/out")
		if err != nil {
			t.Fatal(err)
		}
		if got := paths(in.Rows); !slices.Equal(got, want) {
			t.Fatalf("%q: %q", inputs, got)
		}
		if !slices.Equal(in.User, []string{"Subject", "operator"}) {
			t.Errorf("columns %q", in.User)
		}
		if r := in.Rows[1]; r.Jaw != "upper" || !slices.Equal(r.User, []string{"s 1", ""}) {
			t.Errorf("%+v", r)
		}
		if r := in.Rows[0]; !slices.Equal(r.User, []string{"", "kim"}) {
			t.Errorf("%+v", r)
		}
	}
}

func TestGatherTellsWhatIsWrong(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	for text, want := range map[string]string{
		"":                              "empty",
		"file\na.stl\n":                 "line 1: no column is called path",
		"path,path\na,b\n":              `two columns "path"`,
		"path,verdict\na.stl,x\n":       `"verdict"`,
		"path,jaw\na.stl,middle\n":      `line 2: jaw is upper`,
		"path,unit\na.stl,mm\nb,yard\n": `line 3: unit is`,
		"path\na.stl,2\n":               "line 2: more cells",
		"path,a\n,2\n":                  "line 2: no path",
		"path,a\n\"x,2\n":               "line",
	} {
		put(t, dir, map[string]string{"t.csv": text})
		if _, err := Gather([]string{"t.csv"}, "out"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
	if _, err := Gather([]string{"*.stl"}, "out"); err == nil {
		t.Error("a pattern that fits nothing passed")
	}
}

func TestWorkersAndOrderGiveSameBytes(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, some)
	for i := range 40 {
		put(t, dir, map[string]string{fmt.Sprintf("many/%d.stl", i): fmt.Sprintf("%d", i%30)})
	}
	want := map[string]string{}
	for i, o := range []struct {
		workers int
		inputs  []string
	}{{1, []string{"in", "many", "gone.stl"}}, {4, []string{"gone.stl", "many", "in"}}, {16, []string{"many", "in", "gone.stl", "in/a.stl"}}} {
		out := filepath.Join(dir, fmt.Sprint("out", i))
		say := runIn(t, dir, out, o.inputs, Options{Dir: out, Workers: o.workers})
		got := contents(t, out)
		if i == 0 {
			want = got
			if len(want) < 35+6 || say.rows != 47 || !strings.Contains(got["scans.csv"], "gone.stl,failed,no such file") {
				t.Fatalf("%d files, %+v\n%.300s", len(want), say, got["scans.csv"])
			}
			continue
		}
		for name := range want {
			if got[name] != want[name] {
				t.Errorf("%d workers: %s differs", o.workers, name)
			}
		}
		if len(got) != len(want) {
			t.Errorf("%d workers: %d files, not %d", o.workers, len(got), len(want))
		}
	}
}

func TestOnlyWhatIsNotDone(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, some)
	var n atomic.Int32
	count := func(w Work) Result { n.Add(1); return fake(w) }
	o := Options{Workers: 2, Measure: count}
	for _, step := range []struct {
		change func()
		want   int32
	}{
		{func() {}, 4}, // a, c, d, e: same.stl has the bytes of a
		{func() {}, 0},
		{func() { put(t, dir, map[string]string{"in/new.stl": "new", "in/copy.stl": "e"}) }, 1},
		{func() { put(t, dir, map[string]string{"in/a.stl": "other"}) }, 1},
		{func() { o.Version = "next" }, 6},
		{func() { o.Protocol = sha256.Sum256([]byte("p")) }, 6},
		{func() { os.RemoveAll(filepath.Join(dir, "in", "b")) }, 0},
	} {
		step.change()
		n.Store(0)
		runIn(t, dir, filepath.Join(dir, "in", "out"), []string{"in"}, o)
		if n.Load() != step.want {
			t.Errorf("%d scans were measured, not %d", n.Load(), step.want)
		}
	}
}

// One stopped batch finishes what is in hand and no more.
func TestStopFinishesWhatIsInHand(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	for i := range 20 {
		put(t, dir, map[string]string{fmt.Sprintf("in/%02d.stl", i): fmt.Sprint(i)})
	}
	in, err := Gather([]string{"in"}, "out")
	if err != nil {
		t.Fatal(err)
	}
	s, err := OpenStore("out")
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ctx, cancel := context.WithCancel(context.Background())
	var both sync.WaitGroup
	both.Add(2)
	say := &told{}
	err = Run(ctx, s, in.Rows, Options{Workers: 2, Memory: 1 << 30, Say: say, Measure: func(w Work) Result {
		both.Done()
		both.Wait() // two are in hand
		cancel()
		return fake(w)
	}})
	if !errors.Is(err, context.Canceled) || say.measured != 2 {
		t.Errorf("%v, %d measured", err, say.measured)
	}
	for _, r := range in.Rows[:2] {
		if !s.Has(r.Key, false) {
			t.Errorf("%s is not kept", r.Path)
		}
	}
	if _, err := OpenStore("out"); !errors.Is(err, ErrTaken) {
		t.Errorf("a second program came in: %v", err)
	}
}

// What a kill leaves is no result, and goes.
func TestLeftoversGo(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, map[string]string{"o [1]/reports/.tmp-A/report.json": "{", "o [1]/.tmp-B": "x", "o [1]/reports/ab/cd/report.json": "{}"})
	out := filepath.Join(dir, "o [1]")
	s, err := OpenStore(out)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got := contents(t, out); len(got) != 1 || got["reports/ab/cd/report.json"] == "" {
		t.Errorf("%q", got)
	}
	if s.Has("abcd", true) || !s.Has("abcd", false) || s.Has("abce", false) {
		t.Error("what is there is told wrong")
	}
}

func TestFileThatChanges(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, map[string]string{"in/a.stl": "a", "in/b.stl": "b", "in/c.stl": "c"})
	say := runIn(t, dir, "out", []string{"in"}, Options{Workers: 1, Measure: func(w Work) Result {
		put(t, dir, map[string]string{"in/b.stl": "B"})
		os.Remove(filepath.Join(dir, "in", "c.stl"))
		return fake(w)
	}})
	if !slices.Equal(say.failed, []string{"in/b.stl", "in/c.stl"}) {
		t.Errorf("%q", say.failed)
	}
	if rows := contents(t, filepath.Join(dir, "out"))["scans.csv"]; !strings.Contains(rows, "in/b.stl,failed,the file changed while the batch ran") {
		t.Errorf("%.200s", rows)
	}
}

// Judging anew reads no scan, and by the same word gives the same tables.
func TestTablesAgain(t *testing.T) {
	dir := t.TempDir()
	put(t, dir, some)
	runIn(t, dir, "out", []string{"in"}, Options{Workers: 2})
	before := contents(t, filepath.Join(dir, "out"))
	os.RemoveAll(filepath.Join(dir, "in"))
	l, err := ReadList("out")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.WriteTables("out", "again", nil); err != nil {
		t.Fatal(err)
	}
	n, err := l.WriteTables("out", "other", func(_ string, r *inspect.Report) { r.Verdict = inspect.Retake })
	if err != nil || n.Verdicts[inspect.Retake] != n.Scans-n.Failed || n.Failed != 1 {
		t.Errorf("%+v, %v", n, err)
	}
	again, other := contents(t, filepath.Join(dir, "again")), contents(t, filepath.Join(dir, "other"))
	for _, name := range []string{"scans.csv", "scans.parquet", "values.csv", "values.parquet", "dictionary.csv"} {
		if again[name] != before[name] {
			t.Errorf("%s differs", name)
		}
	}
	for name, text := range other {
		if filepath.Base(name) == reportName && (!strings.Contains(text, `"verdict": "retake"`) || strings.Contains(again[name], `"verdict": "retake"`)) {
			t.Errorf("%s is not the report of that judgement", name)
		}
	}
	if want := strings.ReplaceAll(again["scans.csv"], ",send,", ",retake,"); other["scans.csv"] != want || want == again["scans.csv"] {
		t.Error("the other verdict is not in the table")
	}
	if _, err := ReadList("again"); err == nil {
		t.Error("the new tables pass for a batch")
	}
}

// However many ask, no more is out than there is, except to one that is alone.
func TestWorkersShareMemory(t *testing.T) {
	b := newBudget(100)
	var out, most atomic.Int64
	var wait sync.WaitGroup
	for i := range 50 {
		wait.Go(func() {
			n := int64(10 + i)
			if i == 49 {
				n = 1000
			}
			b.take(n)
			now := out.Add(n)
			if now > 100 && now != 1000 {
				most.Store(now)
			}
			out.Add(-n)
			b.give(n)
		})
	}
	wait.Wait()
	if most.Load() > 0 || b.taken != 0 {
		t.Errorf("%d were out of 100, %d are", most.Load(), b.taken)
	}
}
