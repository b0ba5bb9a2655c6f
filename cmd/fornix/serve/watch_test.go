package serve

import (
	"bytes"
	"compress/gzip"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"fornix/mesh"
)

// box is an inbox under test, looked at by a clock of its own.
type box struct {
	*inbox
	t   *testing.T
	dir string
	now time.Time
}

func newBox(t *testing.T, s *Store, dir string) *box {
	t.Helper()
	in, err := openInbox(s, dir, 1<<20)
	if err != nil {
		t.Fatal(err)
	}
	return &box{in, t, dir, time.Now()}
}

func (b *box) put(name string, text []byte) {
	b.t.Helper()
	if err := os.WriteFile(filepath.Join(b.dir, name), text, 0o644); err != nil {
		b.t.Fatal(err)
	}
}

// after looks once a second for a while.
func (b *box) after(d time.Duration) {
	for end := b.now.Add(d); b.now.Before(end); b.now = b.now.Add(time.Second) {
		b.poll(b.now)
	}
}

func (b *box) names() string {
	var out []string
	for _, c := range b.store.List() {
		if c.By != ByInbox {
			b.t.Errorf("case %d came by %s", c.N, c.By)
		}
		out = append(out, c.Scans[0].CameAs)
	}
	return strings.Join(out, " ")
}

func TestInboxTakesCompleteFilesOnce(t *testing.T) {
	dir, inDir := t.TempDir(), t.TempDir()
	b := newBox(t, openAt(t, dir, nil), inDir)
	scan, text := stl(t, "scan", false), stl(t, "scan", true)
	b.put("one.stl", scan)
	b.put("notes.txt", []byte("no scan"))
	b.put(".hidden.stl", scan)
	if err := os.Mkdir(filepath.Join(inDir, "folder.stl"), 0o755); err != nil {
		t.Fatal(err)
	}
	b.after(2 * time.Second)
	if b.names() != "" {
		t.Errorf("taken before it was still: %s", b.names())
	}
	b.after(4 * time.Second)
	if b.names() != "one.stl" {
		t.Errorf("%q", b.names())
	}
	// One that comes slowly is waited for, whatever its pauses; one that never ends is taken as it is.
	b.put("TWO.STL", scan[:200])
	b.after(20 * time.Second)
	b.put("TWO.STL", scan)
	b.put("three.stl", text[:len(text)/2])
	b.after(5 * time.Second)
	if b.names() != "TWO.STL one.stl" {
		t.Errorf("%q", b.names())
	}
	b.after(30 * time.Second)
	if b.names() != "three.stl TWO.STL one.stl" {
		t.Errorf("%q", b.names())
	}
	b.put("three.stl", text)
	b.after(10 * time.Second)
	if b.names() != "three.stl three.stl TWO.STL one.stl" {
		t.Errorf("a file that was replaced: %q", b.names())
	}
	// Nothing is taken again: not later, not after a start, not when what was noted is lost.
	b.after(time.Minute)
	b = newBox(t, openAt(t, dir, nil), inDir)
	b.after(time.Minute)
	if err := os.Remove(filepath.Join(dir, seenName)); err != nil {
		t.Fatal(err)
	}
	b = newBox(t, openAt(t, dir, nil), inDir)
	b.after(time.Minute)
	if b.names() != "three.stl three.stl TWO.STL one.stl" {
		t.Errorf("%q", b.names())
	}
	// Nor when its case was removed.
	if err := b.store.Remove(1); err != nil {
		t.Fatal(err)
	}
	b.after(time.Minute)
	if b.names() != "three.stl three.stl TWO.STL" {
		t.Errorf("%q", b.names())
	}
	if left, err := os.ReadFile(filepath.Join(inDir, "one.stl")); err != nil || !bytes.Equal(left, scan) {
		t.Errorf("the inbox was changed: %v", err)
	}
}

func TestInboxTellsWhatItCannotTake(t *testing.T) {
	inDir := t.TempDir()
	b := newBox(t, openAt(t, t.TempDir(), nil), inDir)
	b.put("big.stl", make([]byte, 1<<20+1))
	if err := os.Symlink("nowhere", filepath.Join(inDir, "lost.stl")); err != nil {
		t.Log(err)
	}
	b.put("good.stl", stl(t, "scan", false))
	b.after(time.Minute)
	if b.names() != "good.stl" {
		t.Errorf("%q", b.names())
	}
	if told := strings.Join(b.told(), "\n"); told != "big.stl: it is larger than 1 MiB" {
		t.Errorf("%q", told)
	}
	if err := os.Remove(filepath.Join(inDir, "big.stl")); err != nil {
		t.Fatal(err)
	}
	b.after(time.Second)
	if told := b.told(); len(told) > 0 {
		t.Errorf("%q", told)
	}
	// A folder that goes and comes again, as on a network, brings nothing twice.
	if err := os.Rename(inDir, inDir+"-away"); err != nil {
		t.Fatal(err)
	}
	b.after(time.Minute)
	if told := b.told(); len(told) != 1 || !strings.HasPrefix(told[0], "The folder: ") {
		t.Errorf("%q", told)
	}
	if err := os.Rename(inDir+"-away", inDir); err != nil {
		t.Fatal(err)
	}
	b.after(time.Minute)
	if b.names() != "good.stl" || len(b.told()) > 0 {
		t.Errorf("%q %q", b.names(), b.told())
	}
}

// A kill at every step between the arrival of a file and its being noted makes one case of it.
func TestKillWhileTakingFromTheInbox(t *testing.T) {
	inDir := t.TempDir()
	if err := os.WriteFile(filepath.Join(inDir, "one.stl"), stl(t, "scan", false), 0o644); err != nil {
		t.Fatal(err)
	}
	for at := 1; ; at++ {
		dir := filepath.Join(t.TempDir(), "cases")
		k := &kill{at: at}
		newBox(t, openAt(t, dir, k), inDir).after(10 * time.Second)
		if k.done < at {
			if at < 10 {
				t.Errorf("only %d steps", at)
			}
			return
		}
		b := newBox(t, openAt(t, dir, nil), inDir)
		b.after(10 * time.Second)
		if b.names() != "one.stl" {
			t.Errorf("step %d: %q", at, b.names())
		}
	}
}

func TestCompleteFiles(t *testing.T) {
	scan, text := stl(t, "scan", false), stl(t, "scan", true)
	solid := bytes.Clone(scan)
	copy(solid, "solid but binary")
	var plyFile, objFile, gzipFile bytes.Buffer
	m, _, err := mesh.Read(bytes.NewReader(scan), mesh.ReadOptions{})
	z := gzip.NewWriter(&gzipFile)
	_, err1 := z.Write(scan)
	if err := errors.Join(err, mesh.WritePLY(&plyFile, m, mesh.PLYLittle, ""), mesh.WriteOBJ(&objFile, m), err1, z.Close()); err != nil {
		t.Fatal(err)
	}
	ply, obj, packed := plyFile.Bytes(), objFile.Bytes(), gzipFile.Bytes()
	for name, c := range map[string]struct {
		text []byte
		want bool
	}{
		"binary": {scan, true}, "binary cut": {scan[:len(scan)-1], false}, "binary with more behind it": {append(bytes.Clone(scan), 1, 2), true},
		"binary that begins with solid": {solid, true}, "and cut": {solid[:len(solid)-50], false},
		"text": {text, true}, "text cut": {text[:len(text)-20], false}, "text with lines behind it": {append(bytes.Clone(text), "\n\n"...), true},
		"header": {scan[:84], false}, "less": {scan[:20], false}, "empty": {nil, false}, "only solid": {[]byte("solid x\nendsolid x"), true},
		"ply": {ply, true}, "ply cut": {ply[:len(ply)-1], false}, "ply header cut": {ply[:60], false}, "obj": {obj, true}, "obj without faces yet": {obj[:30], false},
		"gzip": {packed, true}, "gzip cut": {packed[:len(packed)-1], false}, "zip cut": {[]byte("PK\x03\x04 and so on"), false}, "no scan": {bytes.Repeat([]byte("hello "), 20), true},
	} {
		r := bytes.NewReader(c.text)
		if got, err := complete(r); err != nil || got != c.want {
			t.Errorf("%s: %v %v", name, got, err)
		}
		if r.Len() != len(c.text) {
			t.Errorf("%s: the reader stands elsewhere", name)
		}
	}
}

// Through the server: scans from a folder show up by themselves, bad ones with their reason.
func TestServerWatches(t *testing.T) {
	dir := t.TempDir()
	s := start(t, pretend(), Options{Watch: dir})
	for name, text := range map[string]string{"a.stl": "solid bad\nendsolid", "b.stl": "solid good\nendsolid"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	s.until("both cases", func() bool {
		_, page := s.ask("GET", "/", nil, nil)
		return strings.Contains(page, "Not inspected: line 1: that is no scan") && strings.Contains(page, "CORRECT") && strings.Contains(page, "from the inbox")
	})
}
