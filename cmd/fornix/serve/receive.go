package serve

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"path"
	"time"

	"fornix/inspect/casefile"
)

// mostScans is how many scans a case holds: both jaws, some rescans, a closed bite.
const mostScans = 12

// errFull says that a case takes no more scans.
var errFull = fmt.Errorf("a case holds at most %d scans", mostScans)

// errOnly says that a scan is all that a case has.
var errOnly = errors.New("it is the case's only scan: remove the case")

// Receive takes a scan from r into case n, or into a new case where n is 0, and returns where it
// is. cameAs is the file's own name, which is kept for people to see and is no path. The bytes go
// straight to the disk. The scan then waits for its inspection; whether it is a scan at all, that
// tells.
func (s *Store) Receive(r io.Reader, cameAs, by string, n int) (at, id int, err error) {
	h := sha256.New()
	k := Scan{CameAs: plainName(cameAs), Status: Waiting, Revision: 1, Came: s.now().UTC().Truncate(time.Second)}
	var failed error // of the sender, not of the disk
	tmp, err := s.disk.temp(".", func(w io.Writer) error {
		k.Bytes, failed = io.Copy(io.MultiWriter(w, h), r)
		return failed
	})
	if err != nil {
		return 0, 0, err
	}
	k.SHA256 = hex.EncodeToString(h.Sum(nil))
	s.mu.Lock()
	defer s.mu.Unlock()
	if n == 0 {
		at, id, err = s.found(tmp, k, by)
	} else {
		at, id, err = s.join(tmp, k, n)
	}
	if err != nil {
		return 0, 0, errors.Join(err, s.disk.remove(tmp))
	}
	s.tell()
	return at, id, nil
}

// found makes a new case of one scan. It is there as a whole or not at all.
func (s *Store) found(tmp string, k Scan, by string) (int, int, error) {
	k.ID = 1
	n := s.last + 1
	st := State{Schema: stateSchema, Made: k.Came, By: by, Scans: []Scan{k}}
	text, err := st.encode()
	if err != nil {
		return 0, 0, err
	}
	var order bytes.Buffer
	if err := casefile.WriteTemplate(&order, casefile.FinalImpression); err != nil {
		return 0, 0, err
	}
	dir := newPrefix + folder(n)
	if err := s.disk.remove(dir); err != nil { // of an attempt that failed
		return 0, 0, err
	}
	if err := s.disk.mkdir(dir); err != nil {
		return 0, 0, err
	}
	for name, text := range map[string][]byte{stateName: text, caseName: order.Bytes()} {
		if err := s.disk.write(path.Join(dir, name), func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
			return 0, 0, err
		}
	}
	if err := s.disk.rename(tmp, path.Join(dir, k.file())); err != nil {
		return 0, 0, err
	}
	if err := s.disk.rename(dir, folder(n)); err != nil {
		return 0, 0, err
	}
	s.last = n
	s.cases[n] = &st
	return n, 1, nil
}

// join puts a scan into a case that is there.
func (s *Store) join(tmp string, k Scan, n int) (int, int, error) {
	old := s.cases[n]
	if old == nil {
		return 0, 0, ErrNoCase
	}
	if len(old.Scans) >= mostScans {
		return 0, 0, errFull
	}
	k.ID = 1
	for _, o := range old.Scans {
		k.ID = max(k.ID, o.ID+1)
	}
	if err := s.disk.rename(tmp, path.Join(folder(n), k.file())); err != nil {
		return 0, 0, err
	}
	st := old.clone()
	st.Scans = append(st.Scans, k)
	return n, k.ID, s.commit(n, st)
}

// SetOrder writes the order of case n.
func (s *Store) SetOrder(n int, k casefile.Case) error {
	var b bytes.Buffer
	if err := casefile.Write(&b, k); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cases[n] == nil {
		return ErrNoCase
	}
	if err := s.disk.write(path.Join(folder(n), caseName), func(w io.Writer) error { _, err := w.Write(b.Bytes()); return err }); err != nil {
		return err
	}
	s.tell()
	return nil
}

// Ask asks for a new inspection of a scan with what the user knows of it. What holds until it is
// done stays.
func (s *Store) Ask(n, id int, a Ask) error {
	return s.updateScan(n, id, func(k *Scan) error {
		k.Ask, k.Status, k.Reason, k.Tries = a, Waiting, "", 0
		k.Revision++
		return nil
	})
}

// Remove takes a case away with all that is in it.
func (s *Store) Remove(n int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cases[n] == nil {
		return ErrNoCase
	}
	if err := s.disk.remove(folder(n)); err != nil {
		return err
	}
	delete(s.cases, n)
	s.tell()
	return nil
}

// RemoveScan takes a scan out of a case that has others.
func (s *Store) RemoveScan(n, id int) error {
	var results string
	err := s.update(n, func(st *State) error {
		k := st.scan(id)
		if k == nil {
			return ErrNoCase
		}
		if len(st.Scans) == 1 {
			return errOnly
		}
		results = k.Results
		// The file goes before the state says so: after a kill between the two it is told as gone, and
		// never taken in again.
		if err := s.disk.remove(path.Join(folder(n), k.file())); err != nil {
			return err
		}
		keep := st.Scans[:0:0]
		for _, o := range st.Scans {
			if o.ID != id {
				keep = append(keep, o)
			}
		}
		st.Scans = keep
		return nil
	})
	if err != nil || results == "" {
		return err
	}
	return s.disk.remove(path.Join(folder(n), results))
}
