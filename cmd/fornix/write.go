package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"

	"fornix/inspect"
	"fornix/render"
)

// writeFile writes data under a temporary name in the same directory and renames it, so that a
// reader never sees half a file, and an old file stays whole when writing fails.
func writeFile(path string, data []byte) (err error) {
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(f.Name())
		}
	}()
	if _, err = f.Write(data); err != nil {
		f.Close()
		return err
	}
	if err = f.Chmod(0o644); err != nil {
		f.Close()
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// ours are the names of images that an earlier run may have left.
var ours = regexp.MustCompile(`^(tissue|oral|front|left|right|back|finding-\d+)\.png$`)

// The files of the laboratory sheet and of the page.
const (
	sheetName = "sheet.pdf"
	pageName  = "report.html"
)

// writeReport writes report.json, the images, the page and the sheet into dir. Those of an earlier report that
// this one does not have are removed, because they would show what is no longer said. The report
// comes last: where it is, everything it belongs to is there.
func writeReport(dir string, o *inspect.Outcome, j job, withImages bool) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	written := map[string]bool{}
	if withImages {
		pictures, err := images(o, j.protocol)
		if err != nil {
			return fmt.Errorf("images: %w", err)
		}
		for _, im := range pictures {
			if err := writeFile(filepath.Join(dir, im.Name), im.PNG); err != nil {
				return err
			}
			written[im.Name] = true
		}
		paper, err := sheet(render.SheetInput{Scans: []render.SheetScan{{Report: o.Report, Mesh: o.Mesh}}}, j)
		if err != nil {
			return fmt.Errorf("sheet: %w", err)
		}
		if err := writeFile(filepath.Join(dir, sheetName), paper); err != nil {
			return err
		}
		written[sheetName] = true
		html, err := page(o, j.protocol, pictures)
		if err != nil {
			return fmt.Errorf("page: %w", err)
		}
		if err := writeFile(filepath.Join(dir, pageName), html); err != nil {
			return err
		}
		written[pageName] = true
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if (ours.MatchString(e.Name()) || e.Name() == sheetName || e.Name() == pageName) && !written[e.Name()] {
			if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
				return err
			}
		}
	}
	var b bytes.Buffer
	if err := inspect.WriteJSON(&b, o.Report); err != nil {
		return err
	}
	return writeFile(filepath.Join(dir, "report.json"), b.Bytes())
}
