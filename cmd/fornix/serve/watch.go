package serve

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/pelletier/go-toml/v2"

	"fornix/mesh"
)

// seenName is the file in the store that lists what was taken from the inbox.
const seenName = "inbox.toml"

// inbox is a folder into which others put scans. Each scan in it becomes a case, once: when it is
// complete and has not changed for a while. It is looked at again and again, since folders on a network
// tell nobody of changes. Nothing in it is changed. What cannot be taken is told and stops nothing else.
type inbox struct {
	store *Store
	dir   string
	most  int64 // bytes of one scan

	every  time.Duration // between two looks
	settle time.Duration // without change, before a complete file is taken
	giveUp time.Duration // without change, before an incomplete one is taken as it is

	last map[string]look // by name
	seen map[seenFile]bool

	mu       sync.Mutex
	problems map[string]string // by name; "" is the folder itself
}

// look is a file as it was when it was looked at.
type look struct {
	bytes    int64
	modified time.Time
	since    time.Time // when it was first seen so
}

// seenFile is a file that was taken.
type seenFile struct {
	Name     string    `toml:"name"`
	Bytes    int64     `toml:"bytes"`
	Modified time.Time `toml:"modified"`
}

type seenList struct {
	Files []seenFile `toml:"file" comment:"What was taken from the inbox: each is inspected once."`
}

// openInbox reads what was taken before.
func openInbox(s *Store, dir string, most int64) (*inbox, error) {
	in := &inbox{
		store: s, dir: dir, most: most, every: 2 * time.Second, settle: 3 * time.Second, giveUp: 30 * time.Second,
		last: map[string]look{}, seen: map[seenFile]bool{}, problems: map[string]string{},
	}
	text, err := s.disk.read(seenName, 1<<26)
	if errors.Is(err, fs.ErrNotExist) {
		return in, nil
	}
	if err != nil {
		return nil, err
	}
	var list seenList
	if err := toml.Unmarshal(text, &list); err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", seenName, err)
	}
	for _, f := range list.Files {
		f.Modified = f.Modified.UTC()
		in.seen[f] = true
	}
	return in, nil
}

// run looks until ctx is done.
func (in *inbox) run(ctx context.Context) {
	for ctx.Err() == nil {
		in.poll(time.Now())
		wait(ctx, in.every)
	}
}

// poll looks once and takes what is ready.
func (in *inbox) poll(now time.Time) {
	entries, err := os.ReadDir(in.dir)
	in.problem("", err)
	here := map[string]bool{}
	for _, e := range entries {
		name := e.Name()
		if mesh.Ending(name) == "" || strings.HasPrefix(name, ".") {
			continue
		}
		info, err := os.Stat(filepath.Join(in.dir, name))
		if errors.Is(err, fs.ErrNotExist) || err == nil && !info.Mode().IsRegular() {
			continue
		}
		here[name] = true
		if err == nil {
			err = in.file(name, info, now)
		}
		in.problem(name, err)
	}
	if err != nil {
		return // what cannot be seen now is not gone
	}
	for name := range in.last {
		if !here[name] {
			delete(in.last, name)
		}
	}
	in.mu.Lock()
	for name := range in.problems {
		if name != "" && !here[name] {
			delete(in.problems, name)
		}
	}
	in.mu.Unlock()
}

// file takes a file if it is ready and was not taken before.
func (in *inbox) file(name string, info fs.FileInfo, now time.Time) error {
	f := seenFile{name, info.Size(), info.ModTime().UTC()}
	if in.seen[f] {
		return nil
	}
	l, known := in.last[name]
	if !known || l.bytes != f.Bytes || !l.modified.Equal(f.Modified) {
		in.last[name] = look{f.Bytes, f.Modified, now}
		return nil
	}
	still := now.Sub(l.since)
	if still < in.settle {
		return nil
	}
	if f.Bytes > in.most {
		return fmt.Errorf("it is larger than %d MiB", in.most>>20)
	}
	r, err := os.Open(filepath.Join(in.dir, name))
	if err != nil {
		return err
	}
	defer r.Close()
	if whole, err := complete(r); err != nil || !whole && still < in.giveUp {
		return err // it may still be coming
	}
	sum, err := hashOf(r)
	if err != nil {
		return err
	}
	if !in.store.hasInbox(name, sum) {
		n, _, err := in.store.Receive(io.LimitReader(r, in.most), name, ByInbox, 0)
		if err != nil {
			return err
		}
		if c, err := in.store.Get(n); err != nil || c.Scans[0].SHA256 != sum {
			delete(in.last, name) // it changed meanwhile
			return errors.Join(err, in.store.Remove(n))
		}
	}
	return in.keep(f)
}

// keep notes that a file was taken.
func (in *inbox) keep(f seenFile) error {
	all := append(slices.Collect(maps.Keys(in.seen)), f)
	slices.SortFunc(all, func(a, b seenFile) int {
		if c := a.Modified.Compare(b.Modified); c != 0 {
			return c
		}
		return strings.Compare(a.Name, b.Name)
	})
	text, err := toml.Marshal(seenList{all})
	if err != nil {
		return err
	}
	if err := in.store.disk.write(seenName, func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
		return err
	}
	in.seen[f] = true
	return nil
}

// problem notes why something cannot be taken; nil: it can.
func (in *inbox) problem(name string, err error) {
	in.mu.Lock()
	defer in.mu.Unlock()
	was := in.problems[name]
	delete(in.problems, name)
	if err != nil {
		in.problems[name] = plainError(err)
	}
	if in.problems[name] != was {
		in.store.mu.Lock()
		in.store.tell()
		in.store.mu.Unlock()
	}
}

// told lists the problems for the page of cases.
func (in *inbox) told() []string {
	in.mu.Lock()
	defer in.mu.Unlock()
	var out []string
	for _, name := range slices.Sorted(maps.Keys(in.problems)) {
		what := plainName(name)
		if name == "" {
			what = "The folder"
		}
		out = append(out, what+": "+in.problems[name])
	}
	return out
}

// hasInbox reports whether a scan with this name and content came from the inbox already.
func (s *Store) hasInbox(name, sum string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, st := range s.cases {
		for _, k := range st.Scans {
			if st.By == ByInbox && k.CameAs == plainName(name) && k.SHA256 == sum {
				return true
			}
		}
	}
	return false
}

// complete reports whether a file is there to its end, which reading it tells: every format but OBJ
// says how long it is or where it ends. What is no scan at all is complete too. The reader stands
// at the beginning again.
func complete(r io.ReadSeeker) (bool, error) {
	_, _, err := mesh.Read(r, mesh.ReadOptions{})
	var format *mesh.FormatError
	if err != nil && !errors.As(err, &format) {
		return false, err
	}
	_, back := r.Seek(0, io.SeekStart)
	return err == nil || !format.Early, back
}

// hashOf is the SHA-256 of what is left of r, which then stands at the beginning.
func hashOf(r io.ReadSeeker) (string, error) {
	h := sha256.New()
	if _, err := io.Copy(h, r); err != nil {
		return "", err
	}
	_, err := r.Seek(0, io.SeekStart)
	return hex.EncodeToString(h.Sum(nil)), err
}
