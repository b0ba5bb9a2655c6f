package serve

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"fornix/inspect/casefile"
)

// entry is one file of a package: its name there, and what writes it.
type entry struct {
	name string
	text []byte // its contents, or
	from string // the file of the store that holds them
}

// epoch is the date of every entry: that of a file would tell when somebody worked, and equal cases
// give equal packages.
var epoch = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// entries lists what leaves the house with case c: the sheet, the order, photographs, and for each scan the scan
// without its free text, report, page and pictures. Names are made of the case number and never
// of names that files came with.
func (s *Server) entries(c *Case) ([]entry, error) {
	number := c.Order.Order.Number
	name := func(what string, n int, ending string) string { return casefile.NeutralName(number, what, n, ending) }
	var order bytes.Buffer
	if err := casefile.Write(&order, s.orderOf(c)); err != nil {
		return nil, err
	}
	out := []entry{{name: name("sheet", 1, ".pdf"), from: path.Join(folder(c.N), sheetName)}, {name: name("order", 1, ".toml"), text: order.Bytes()}}
	for i, photo := range s.store.photos(c.N) {
		out = append(out, entry{name: name("photo", i+1, path.Ext(photo)), from: path.Join(folder(c.N), photo)})
	}
	var notes strings.Builder
	of := map[string]int{}
	for i := range c.Scans {
		k := &c.Scans[i]
		jaw := k.Found
		if jaw == "" {
			jaw = "scan"
		}
		of[jaw]++
		text, err := s.store.disk.read(path.Join(folder(c.N), k.file()), k.Bytes)
		if err != nil {
			return nil, err
		}
		clean, ending, err := casefile.ScrubHeader(text)
		if err != nil {
			return nil, wrong{fmt.Sprintf("scan %d cannot leave: its free text, which may name a person, cannot be taken out (%v). Export it again as binary STL, or remove it from the case", k.ID, err)}
		}
		scan := name(jaw, of[jaw], ending)
		out = append(out, entry{name: scan, text: clean})
		fmt.Fprintf(&notes, "# %s is %s of the reports; as it came it had sha256 %s\n", scan, k.file(), k.SHA256)
		if k.Results == "" {
			continue
		}
		files, err := s.store.disk.list(path.Join(folder(c.N), k.Results))
		if err != nil {
			return nil, err
		}
		for _, f := range files {
			if resultFile.MatchString(f.Name()) && f.Name() != thumbName && f.Name() != picturesName {
				out = append(out, entry{name: path.Join(name(jaw, of[jaw], ""), f.Name()), from: path.Join(folder(c.N), k.Results, f.Name())})
			}
		}
	}
	if p, now := related(&c.State); now && p.Status == Done {
		files, err := s.store.disk.list(path.Join(folder(c.N), p.Results))
		if err != nil {
			return nil, err
		}
		for _, f := range files {
			if resultFile.MatchString(f.Name()) {
				out = append(out, entry{name: path.Join(name("pair", 1, ""), f.Name()), from: path.Join(folder(c.N), p.Results, f.Name())})
			}
		}
	}
	return append(out, entry{name: name("hashes", 1, ".txt"), text: []byte(notes.String())}), nil
}

// pack writes the package of a case. The last entry gives the SHA-256 of every other one, as sha256sum
// checks them.
func (s *Server) pack(w io.Writer, entries []entry) error {
	z := zip.NewWriter(w)
	z.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) { return flate.NewWriter(w, flate.BestSpeed) })
	var sums strings.Builder
	last := len(entries) - 1
	for i, e := range entries {
		if !safe(e.name) || slices.ContainsFunc(entries[:i], func(o entry) bool { return strings.EqualFold(o.name, e.name) }) {
			return fmt.Errorf("%q is no name for an entry", e.name)
		}
		head := &zip.FileHeader{Name: e.name, Method: zip.Deflate, Modified: epoch}
		if ending := path.Ext(e.name); ending == ".png" || ending == ".pdf" || ending == ".jpg" {
			head.Method = zip.Store // packed already
		}
		to, err := z.CreateHeader(head)
		if err != nil {
			return err
		}
		h := sha256.New()
		if i == last {
			_, err = io.WriteString(to, sums.String()+string(e.text))
		} else if e.from == "" {
			_, err = io.MultiWriter(to, h).Write(e.text)
		} else {
			err = s.copy(io.MultiWriter(to, h), e.from)
		}
		if err != nil {
			return err
		}
		fmt.Fprintf(&sums, "%s  %s\n", hex.EncodeToString(h.Sum(nil)), e.name)
	}
	return z.Close()
}

func (s *Server) copy(w io.Writer, name string) error {
	f, err := s.store.disk.open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = io.Copy(w, f)
	return err
}

// safe reports whether a name leads to one file under the folder that a package is unpacked in, on
// every system.
func safe(name string) bool {
	for part := range strings.SplitSeq(name, "/") {
		ok := part != "" && part != "." && part != ".." && !strings.HasPrefix(part, ".")
		for _, r := range part {
			ok = ok && (r == '-' || r == '.' || r >= '0' && r <= '9' || r >= 'a' && r <= 'z')
		}
		if !ok {
			return false
		}
	}
	return len(name) < 200
}

// download serves the package of a case. It is made beside the cases first, so that an error is told
// and never half a package sent.
func (s *Server) download(w http.ResponseWriter, r *http.Request) {
	n, ok := number(r, "n")
	c, err := s.store.Get(n)
	if !ok || err != nil || c.Broken != "" {
		fault(w, http.StatusNotFound, ErrNoCase.Error())
		return
	}
	if s.sheetState(&c) != "new" {
		paper := papers[0]
		if p, _, found := strings.Cut(c.Sheet, " "); found {
			paper = p
		}
		if err := s.makeSheet(n, paper); err != nil {
			s.refuse(w, err)
			return
		}
	}
	list, err := s.entries(&c)
	if err != nil {
		s.refuse(w, err)
		return
	}
	tmp, err := s.store.disk.temp(".", func(w io.Writer) error { return s.pack(w, list) })
	if err != nil {
		s.refuse(w, err)
		return
	}
	defer s.store.disk.remove(tmp)
	f, err := s.store.disk.open(tmp)
	if err != nil {
		s.refuse(w, err)
		return
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		s.refuse(w, err)
		return
	}
	w.Header().Set("Content-Type", "application/zip")
	w.Header().Set("Content-Length", strconv.FormatInt(info.Size(), 10))
	w.Header().Set("Content-Disposition", "attachment; filename="+packageName(&c))
	io.Copy(steady{w, http.NewResponseController(w), s.opt.patience}, f)
}

// packageName is the file of the package of case c.
func packageName(c *Case) string {
	return casefile.NeutralName(c.Order.Order.Number, "package", 1, ".zip")
}

// steady writes an answer that may take as long as it likes, as long as it is taken.
type steady struct {
	w    io.Writer
	rc   *http.ResponseController
	wait time.Duration
}

func (t steady) Write(b []byte) (int, error) {
	t.rc.SetWriteDeadline(time.Now().Add(t.wait))
	return t.w.Write(b)
}
