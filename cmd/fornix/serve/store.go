package serve

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
	"strconv"
	"sync"
	"time"
	"unicode"

	"fornix/inspect/casefile"
)

// Store keeps cases, each in a folder of its own that people can read and copy:
//
//	0007/case.toml          the order
//	0007/state.toml         what the folder holds, and how far the scans have come
//	0007/scan-1.stl         a scan, byte for byte as it came (or .ply, .obj, each with .gz, or .zip)
//	0007/scan-1-r1/         its results: report.json, pictures, page
//	0007/pair-r1/           how both jaws close: relate.json, pictures, page
//	0007/photo-1.jpg        a photograph, without what the camera wrote into it (or .png)
//	0007/sheet.pdf          the laboratory sheet
//
// What a call has said is done is on the disk, whenever the program is ended after it; what was
// in the midst is undone or begun again when the store is opened. Safe for concurrent use.
type Store struct {
	disk *disk

	mu     sync.Mutex
	cases  map[int]*State
	broken map[int]string // folders that cannot be read, and why
	last   int            // the highest number that was given
	heard  map[chan struct{}]bool
	now    func() time.Time
}

// ErrNoCase says that there is no such case or scan.
var ErrNoCase = errors.New("there is no such case or scan")

// OpenStore opens the store in dir, which is made where it is not there. What a kill left half made
// is removed; a scan in a case folder that the state does not name is taken in. A folder that cannot
// be read is told by Broken and left alone.
func OpenStore(dir string) (*Store, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	return openStore(&disk{root: root})
}

func openStore(d *disk) (*Store, error) {
	s := &Store{disk: d, cases: map[int]*State{}, broken: map[int]string{}, heard: map[chan struct{}]bool{}, now: time.Now}
	if err := d.sweep(".", 2); err != nil {
		return nil, err
	}
	entries, err := d.list(".")
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if !e.IsDir() || !caseFolder.MatchString(e.Name()) {
			continue
		}
		n, _ := strconv.Atoi(e.Name())
		if n == 0 || folder(n) != e.Name() {
			continue
		}
		s.last = max(s.last, n)
		if err := s.load(n); err != nil {
			s.broken[n] = err.Error()
		}
	}
	return s, nil
}

// Close gives the folder back.
func (s *Store) Close() error { return s.disk.root.Close() }

// load reads the folder of case n, takes in scans that its state does not name, and asks anew for
// inspections that were not finished.
func (s *Store) load(n int) error {
	dir := folder(n)
	text, err := s.disk.read(path.Join(dir, stateName), 1<<22)
	st := State{Schema: stateSchema, By: ByHand, Made: s.now().UTC().Truncate(time.Second)}
	written := true
	switch {
	case errors.Is(err, fs.ErrNotExist):
		written = false // a folder made by hand
	case err != nil:
		return err
	default:
		if st, err = decodeState(text); err != nil {
			return err
		}
	}
	before := st.clone()
	entries, err := s.disk.list(dir)
	if err != nil {
		return err
	}
	there := map[string]bool{}
	for _, e := range entries {
		there[e.Name()] = true
		m := scanFile.FindStringSubmatch(e.Name())
		if m == nil {
			continue
		}
		if id, _ := strconv.Atoi(m[1]); st.scan(id) == nil {
			k, err := s.adopt(path.Join(dir, e.Name()))
			if err != nil {
				return err
			}
			k.ID = id
			st.Scans = append(st.Scans, k)
		}
	}
	if !written && len(st.Scans) == 0 {
		return errors.New("there is neither " + stateName + " nor a scan in it")
	}
	for i := range st.Scans {
		k := &st.Scans[i]
		if !there[k.file()] {
			k.Status, k.Reason = Failed, "its file "+k.file()+" is gone"
			continue
		}
		if k.Results != "" && !there[k.Results] {
			k.Status, k.Results, k.Reason, k.Verdict = Waiting, "", "", "" // its results were removed
		}
		if k.pending() {
			k.Status = Waiting
			if there[k.next()] {
				k.Revision++ // what shows stays until the new results are whole
			}
		}
	}
	if st.Pair.Results != "" && !there[st.Pair.Results] {
		st.Pair = Pair{Revision: st.Pair.Revision} // its results were removed
	}
	if !there[sheetName] {
		st.Sheet = ""
	}
	if same, err := equal(before, st); err != nil {
		return err
	} else if !same || !written {
		if err := s.commit(n, st); err != nil {
			return err
		}
	} else {
		s.cases[n] = &st
	}
	return s.tidy(n, there)
}

func equal(a, b State) (bool, error) {
	x, err := a.encode()
	if err != nil {
		return false, err
	}
	y, err := b.encode()
	return bytes.Equal(x, y), err
}

// adopt describes a scan that lies in a case folder unnamed.
func (s *Store) adopt(name string) (Scan, error) {
	f, err := s.disk.open(name)
	if err != nil {
		return Scan{}, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	return Scan{CameAs: path.Base(name), Came: s.now().UTC().Truncate(time.Second), Bytes: n, SHA256: hex.EncodeToString(h.Sum(nil)), Status: Waiting, Revision: 1}, err
}

// tidy removes folders of results that the state of case n does not name.
func (s *Store) tidy(n int, there map[string]bool) error {
	for name := range there {
		named := name == s.cases[n].Pair.Results || slices.ContainsFunc(s.cases[n].Scans, func(k Scan) bool { return k.Results == name })
		if (resultFolder.MatchString(name) || pairFolder.MatchString(name)) && !named {
			if err := s.disk.remove(path.Join(folder(n), name)); err != nil {
				return err
			}
		}
	}
	return nil
}

// commit writes the state of case n and makes it the one that holds. The caller has the lock.
func (s *Store) commit(n int, st State) error {
	text, err := st.encode()
	if err != nil {
		return err
	}
	if err := s.disk.write(path.Join(folder(n), stateName), func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
		return err
	}
	s.cases[n] = &st
	return nil
}

// update changes the state of case n by f, on the disk first.
func (s *Store) update(n int, f func(*State) error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	old := s.cases[n]
	if old == nil {
		return ErrNoCase
	}
	st := old.clone()
	if err := f(&st); err != nil {
		return err
	}
	if err := s.commit(n, st); err != nil {
		return err
	}
	s.tell()
	return nil
}

// updateScan changes one scan.
func (s *Store) updateScan(n, id int, f func(*Scan) error) error {
	return s.update(n, func(st *State) error {
		k := st.scan(id)
		if k == nil {
			return ErrNoCase
		}
		return f(k)
	})
}

// Case is a case as it stands: a copy.
type Case struct {
	N int
	State
	Order    casefile.Case
	OrderBad string // why case.toml cannot be read; empty: it can
	Broken   string // why the folder cannot be read; empty: it can
}

// Get returns case n.
func (s *Store) Get(n int) (Case, error) {
	s.mu.Lock()
	st, why := s.cases[n], s.broken[n]
	c := Case{N: n, Broken: why}
	if st != nil {
		c.State = st.clone()
	}
	s.mu.Unlock()
	if st == nil && why == "" {
		return c, ErrNoCase
	}
	if st != nil {
		c.Order, c.OrderBad = s.order(n)
	}
	return c, nil
}

// order reads the order of case n; a case without one has an empty one.
func (s *Store) order(n int) (casefile.Case, string) {
	f, err := s.disk.open(path.Join(folder(n), caseName))
	if errors.Is(err, fs.ErrNotExist) {
		return casefile.Case{}, ""
	}
	if err != nil {
		return casefile.Case{}, err.Error()
	}
	defer f.Close()
	k, err := casefile.Read(f, caseName)
	if err != nil {
		return casefile.Case{}, err.Error()
	}
	return k, ""
}

// List returns all cases, the newest first.
func (s *Store) List() []Case {
	s.mu.Lock()
	var ns []int
	for n := range s.cases {
		ns = append(ns, n)
	}
	for n := range s.broken {
		ns = append(ns, n)
	}
	s.mu.Unlock()
	slices.Sort(ns)
	slices.Reverse(ns)
	var out []Case
	for _, n := range ns {
		if c, err := s.Get(n); err == nil {
			out = append(out, c)
		}
	}
	return out
}

// plainName is a file's own name as it is kept for people to see: without its path, without signs that
// show nothing or turn the line round, and not without end.
func plainName(name string) string {
	if i := max(bytes.LastIndexByte([]byte(name), '/'), bytes.LastIndexByte([]byte(name), '\\')); i >= 0 {
		name = name[i+1:]
	}
	var out []rune
	for _, r := range name {
		if unicode.IsPrint(r) && r != unicode.ReplacementChar {
			out = append(out, r)
		}
	}
	if len(out) > 120 {
		out = append(out[:110], []rune("… (cut)")...)
	}
	if len(out) == 0 {
		return "unnamed"
	}
	return string(out)
}

// Listen returns a channel that holds a value whenever something has changed since it was last
// read, and a function that ends this.
func (s *Store) Listen() (<-chan struct{}, func()) {
	c := make(chan struct{}, 1)
	s.mu.Lock()
	s.heard[c] = true
	s.mu.Unlock()
	return c, func() {
		s.mu.Lock()
		delete(s.heard, c)
		s.mu.Unlock()
	}
}

// tell says that something has changed. The caller has the lock.
func (s *Store) tell() {
	for c := range s.heard {
		select {
		case c <- struct{}{}:
		default:
		}
	}
}
