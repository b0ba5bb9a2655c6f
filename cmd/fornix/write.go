package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"sync"

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
var ours = regexp.MustCompile(`^(tissue|oral|front|left|right|back|scanned|finding-\d+)\.png$`)

// The files of the laboratory sheet and of the page.
const (
	sheetName = "sheet.pdf"
	pageName  = "report.html"
)

// made is one file of a result.
type made struct {
	name string
	data []byte
}

// reportFiles are the images, the sheet and the page of the scan, unless that is nil, and report.json, which
// comes last: where it is, everything it belongs to is there.
func reportFiles(rep *inspect.Report, scan *render.Scan, j job) (out []made, err error) {
	if scan != nil {
		var paper made
		var failed error
		var beside sync.WaitGroup
		beside.Go(func() { // the sheet is made while the pictures are drawn
			paper.name = sheetName
			paper.data, failed = sheet(render.SheetInput{Scans: []*render.Scan{scan}}, j)
		})
		out, err = pictureFiles(scan, j)
		beside.Wait()
		if err != nil {
			return nil, err
		}
		if failed != nil {
			return nil, fmt.Errorf("sheet: %w", failed)
		}
		out = append(out, paper)
	}
	var b bytes.Buffer
	if err := inspect.WriteJSON(&b, rep); err != nil {
		return nil, err
	}
	return append(out, made{"report.json", b.Bytes()}), nil
}

// pictureFiles are the images of a scan and its page.
func pictureFiles(scan *render.Scan, j job) (out []made, err error) {
	pictures, err := images(scan, j.protocol)
	if err != nil {
		return nil, fmt.Errorf("images: %w", err)
	}
	for _, im := range pictures {
		out = append(out, made{im.Name, im.PNG})
	}
	html, err := page(scan, j.protocol, pictures)
	if err != nil {
		return nil, fmt.Errorf("page: %w", err)
	}
	return append(out, made{pageName, html}), nil
}

// writeReport writes the files of a report into dir. Those of an earlier report that this one does
// not have are removed, because they would show what is no longer said.
func writeReport(dir string, rep *inspect.Report, scan *render.Scan, j job) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	files, err := reportFiles(rep, scan, j)
	if err != nil {
		return err
	}
	written := map[string]bool{}
	for _, f := range files {
		written[f.name] = true
	}
	last := len(files) - 1
	for _, f := range files[:last] {
		if err := writeFile(filepath.Join(dir, f.name), f.data); err != nil {
			return err
		}
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
	return writeFile(filepath.Join(dir, files[last].name), files[last].data)
}
