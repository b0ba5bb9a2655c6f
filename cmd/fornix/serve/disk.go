package serve

import (
	"bufio"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"strings"
)

// Names of what is being made. Nothing that begins so belongs to a case; what a kill left of it is
// removed when the store is opened.
const (
	tempPrefix = ".tmp-" // a file that is being written
	newPrefix  = ".new-" // a case or a folder of results that is being made
	oldPrefix  = ".old-" // one that is being removed
)

// disk is the store's only way to its files. All lie under one root that no name, however odd,
// leads out of (os.Root). A file is written under a temporary name, brought to the disk and
// renamed, so that a name always stands for whole contents, whenever the program ends.
type disk struct {
	root *os.Root
	// step is asked before each change of the disk; nil: nothing is asked. When it gives an error the
	// change is not made. Tests stop here from one step on, as a kill does.
	step func() error
	// loose leaves it to the system when what was written comes to the disk. The end of the program
	// loses nothing by it, that of the machine may: tests only.
	loose bool
}

func (d *disk) may() error {
	if d.step == nil {
		return nil
	}
	return d.step()
}

// write makes or replaces the file name with what fill writes.
func (d *disk) write(name string, fill func(io.Writer) error) error {
	tmp, err := d.temp(path.Dir(name), fill)
	if err != nil {
		return err
	}
	if err := d.rename(tmp, name); err != nil {
		d.remove(tmp) // the first error tells more
		return err
	}
	return nil
}

// temp writes a file under a temporary name in dir and returns that name.
func (d *disk) temp(dir string, fill func(io.Writer) error) (string, error) {
	name := path.Join(dir, tempPrefix+rand.Text())
	if err := d.may(); err != nil {
		return "", err
	}
	f, err := d.root.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return "", err
	}
	w := bufio.NewWriterSize(writer{f, d}, 1<<16)
	err = fill(w)
	if err == nil {
		err = w.Flush()
	}
	if err == nil && !d.loose {
		err = f.Sync()
	}
	if shut := f.Close(); err == nil {
		err = shut
	}
	if err != nil {
		d.remove(name) // the first error tells more
		return "", err
	}
	return name, nil
}

// writer writes a file step by step.
type writer struct {
	f *os.File
	d *disk
}

func (w writer) Write(p []byte) (int, error) {
	if err := w.d.may(); err != nil {
		n, _ := w.f.Write(p[:len(p)/2]) // a kill leaves half of it
		return n, err
	}
	return w.f.Write(p)
}

// rename moves a file, over one that is there, or a folder, where none is.
func (d *disk) rename(from, to string) error {
	if err := d.may(); err != nil {
		return err
	}
	if err := d.root.Rename(from, to); err != nil {
		return err
	}
	return d.sync(path.Dir(to))
}

// sync brings the names in a folder to the disk. Systems that cannot do so for folders keep their
// names well enough by themselves.
func (d *disk) sync(dir string) error {
	if d.loose {
		return nil
	}
	f, err := d.root.Open(dir)
	if err != nil {
		return err
	}
	f.Sync()
	return f.Close()
}

func (d *disk) mkdir(name string) error {
	if err := d.may(); err != nil {
		return err
	}
	return d.root.Mkdir(name, 0o755)
}

// remove takes away a file, or a folder with all in it. A folder is renamed first, so that it goes
// as a whole.
func (d *disk) remove(name string) error {
	if err := d.may(); err != nil {
		return err
	}
	info, err := d.root.Lstat(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if info.IsDir() && !strings.HasPrefix(path.Base(name), ".") {
		old := path.Join(path.Dir(name), oldPrefix+rand.Text())
		if err := d.root.Rename(name, old); err != nil {
			return err
		}
		name = old
		if err := d.may(); err != nil {
			return err
		}
	}
	return d.root.RemoveAll(name)
}

func (d *disk) list(dir string) ([]fs.DirEntry, error) { return fs.ReadDir(d.root.FS(), dir) }

func (d *disk) open(name string) (*os.File, error) { return d.root.Open(name) }

// read reads a file that is shorter than most bytes.
func (d *disk) read(name string, most int64) ([]byte, error) {
	f, err := d.root.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(text)) > most {
		err = fmt.Errorf("%s is longer than %d bytes", name, most)
	}
	return text, err
}

// sweep removes what a kill left half made in a folder, and in the folders of its cases and results
// where deep says how far down to look.
func (d *disk) sweep(dir string, deep int) error {
	entries, err := d.list(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		name := path.Join(dir, e.Name())
		switch {
		case strings.HasPrefix(e.Name(), tempPrefix), strings.HasPrefix(e.Name(), newPrefix), strings.HasPrefix(e.Name(), oldPrefix):
			err = errors.Join(err, d.remove(name))
		case e.IsDir() && deep > 0 && !strings.HasPrefix(e.Name(), "."):
			err = errors.Join(err, d.sweep(name, deep-1))
		}
	}
	return err
}
