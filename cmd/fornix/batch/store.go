package batch

import (
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"

	"fornix/cmd/fornix/lock"
	"fornix/inspect"
)

// Names in the folder of a batch.
const (
	reportsName = "reports"
	reportName  = "report.json"
	pageName    = "report.html"
	failedName  = "failed.json"
	lockName    = ".measuring"
	tempPrefix  = ".tmp-" // what is being made; what a kill left of it is removed when the store is opened
)

// File is one file of a result.
type File struct {
	Name string
	Data []byte
}

// Result is what came of one scan: its files, or why there are none.
type Result struct {
	Files  []File
	Reason string
}

// Store keeps results in a folder, each in a folder of its own by its key. That folder comes into
// its place whole, by one renaming, so the end of the program at any moment leaves no half result.
type Store struct {
	dir  string
	held *os.File
}

// ErrTaken says that another program writes into the folder.
var ErrTaken = errors.New("another fornix batch is at work in this folder")

// OpenStore opens the store in dir for this process alone and removes what a kill left.
func OpenStore(dir string) (*Store, error) {
	if err := os.MkdirAll(filepath.Join(dir, reportsName), 0o755); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(filepath.Join(dir, lockName), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if lock.Take(f) != nil {
		f.Close()
		return nil, ErrTaken
	}
	s := &Store{dir: dir, held: f}
	for _, pattern := range []string{tempPrefix + "*", filepath.Join(reportsName, tempPrefix+"*")} {
		left, err := filepath.Glob(filepath.Join(escape(dir), pattern))
		for _, name := range left {
			err = errors.Join(err, os.RemoveAll(name))
		}
		if err != nil {
			f.Close()
			return nil, err
		}
	}
	return s, nil
}

// escape keeps a folder's name from being read as a pattern.
func escape(dir string) string {
	if os.PathSeparator != '/' { // Windows has no escapes, and no * or ? in names
		return dir
	}
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(dir)
}

// Close gives the folder back.
func (s *Store) Close() error { return s.held.Close() }

// Key names the result of a scan: a hash of all that it depends on.
func Key(row Row, protocol [sha256.Size]byte, version string) string {
	h := sha256.New()
	fmt.Fprintf(h, "scan %s\nprotocol %x\nprogram %q\njaw %q\nunit %q\n", row.SHA256, protocol, version, row.Jaw, row.Unit)
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// Folder is where the result of a key lies, from the batch's folder. Two letters part the results,
// so that no folder has too many.
func Folder(key string) string { return path.Join(reportsName, key[:2], key[2:]) }

func (s *Store) folder(key string) string {
	return filepath.Join(s.dir, filepath.FromSlash(Folder(key)))
}

// Has tells whether the result is there, with its page where that is asked for.
func (s *Store) Has(key string, page bool) bool {
	there := func(name string) bool {
		_, err := os.Stat(filepath.Join(s.folder(key), name))
		return err == nil
	}
	return there(failedName) || there(reportName) && (!page || there(pageName))
}

// Put keeps a result. One that is there gives way: results of one key are alike.
func (s *Store) Put(key string, r Result) error {
	if r.Reason != "" {
		text, err := json.MarshalIndent(failed{r.Reason}, "", "  ")
		if err != nil {
			return err
		}
		r.Files = []File{{failedName, append(text, '\n')}}
	}
	temp := filepath.Join(s.dir, reportsName, tempPrefix+rand.Text())
	if err := os.Mkdir(temp, 0o755); err != nil {
		return err
	}
	err := s.fill(temp, key, r.Files)
	if err != nil {
		os.RemoveAll(temp) // the first error tells more
	}
	return err
}

func (s *Store) fill(temp, key string, files []File) error {
	for _, f := range files {
		if err := writeSynced(filepath.Join(temp, f.Name), f.Data); err != nil {
			return err
		}
	}
	to := s.folder(key)
	if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
		return err
	}
	if err := os.RemoveAll(to); err != nil {
		return err
	}
	return os.Rename(temp, to)
}

// writeSynced writes a file and brings it to the disk.
func writeSynced(name string, data []byte) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}

// failed is the file that stands for a scan that could not be read.
type failed struct {
	Reason string `json:"reason"`
}

// Load returns the report of a key, or why there is none.
func Load(dir, key string) (r *inspect.Report, reason string, err error) {
	folder := filepath.Join(dir, filepath.FromSlash(Folder(key)))
	text, err := os.ReadFile(filepath.Join(folder, reportName))
	if err == nil {
		r = &inspect.Report{}
		if err := json.Unmarshal(text, r); err != nil {
			return nil, "", fmt.Errorf("%s is damaged: %w", filepath.Join(folder, reportName), err)
		}
		return r, "", nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return nil, "", err
	}
	var f failed
	if text, err = os.ReadFile(filepath.Join(folder, failedName)); err != nil {
		return nil, "", err
	}
	if err := json.Unmarshal(text, &f); err != nil {
		return nil, "", fmt.Errorf("%s is damaged: %w", filepath.Join(folder, failedName), err)
	}
	return nil, f.Reason, nil
}
