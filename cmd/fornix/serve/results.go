package serve

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/png"
	"io"
	"path"

	"golang.org/x/image/draw"

	"fornix/inspect"
	"fornix/render"
)

const (
	reportName = "report.json"
	thumbName  = "thumb.png"
	givenName  = "landmarks.json"
	pageName   = "report.html"
)

// begin notes that the inspection of a scan is begun, and returns the scan. An inspection that was
// begun too often and never ended fails. ok is false where nothing is to be done.
func (s *Store) begin(n, id int) (k Scan, ok bool, err error) {
	err = s.updateScan(n, id, func(o *Scan) error {
		if o.Status != Waiting {
			return nil
		}
		if ok = o.Tries < mostTries; !ok {
			o.Status, o.Reason = Failed, fmt.Sprintf("fornix ended %d times while it inspected this scan", o.Tries)
			return nil
		}
		o.Tries++
		k = *o
		return nil
	})
	return k, ok && err == nil, err
}

// fail notes why a scan could not be inspected. Results of an earlier inspection stay.
func (s *Store) fail(n int, k Scan, why error) error {
	return s.updateScan(n, k.ID, func(o *Scan) error {
		if o.Revision == k.Revision {
			o.Status, o.Reason, o.Tries = Failed, why.Error(), 0
		}
		return nil
	})
}

// measured keeps the report of a scan; from then on it is what the case shows. ok is false where
// another inspection has been asked for meanwhile.
func (s *Store) measured(n int, k Scan, rep *inspect.Report) (ok bool, err error) {
	dir := path.Join(folder(n), k.next())
	if err := s.disk.remove(dir); err != nil { // of an attempt that was cut off
		return false, err
	}
	if err := s.disk.mkdir(dir); err != nil {
		return false, err
	}
	if given, ok := k.Ask.file(); ok {
		if err := s.disk.write(path.Join(dir, givenName), func(w io.Writer) error { _, err := w.Write(given); return err }); err != nil {
			return false, err
		}
	}
	if err := s.disk.write(path.Join(dir, reportName), func(w io.Writer) error { return inspect.WriteJSON(w, rep) }); err != nil {
		return false, err
	}
	old := ""
	err = s.updateScan(n, k.ID, func(o *Scan) error {
		if ok = o.Revision == k.Revision; ok {
			old = o.Results
			o.Status, o.Results, o.Verdict, o.Found = Drawing, k.next(), string(rep.Verdict), string(rep.Jaw)
		}
		return nil
	})
	if err != nil {
		return false, err
	}
	if !ok {
		old = k.next()
	}
	if old == "" {
		return ok, nil
	}
	return ok, s.disk.remove(path.Join(folder(n), old))
}

// drawn keeps the pictures.
func (s *Store) drawn(n int, k Scan, pictures []render.Image) error {
	dir := path.Join(folder(n), k.next())
	put := func(name string, text []byte) error {
		return s.disk.write(path.Join(dir, name), func(w io.Writer) error { _, err := w.Write(text); return err })
	}
	shown := []picture{}
	for i, p := range pictures {
		if err := put(p.Name, p.PNG); err != nil {
			return err
		}
		shown = append(shown, picture{p.Name, p.Title, p.Alt})
		if i == 0 {
			small, err := thumb(p.PNG)
			if err != nil {
				return err
			}
			if err := put(thumbName, small); err != nil {
				return err
			}
		}
	}
	list, err := json.MarshalIndent(shown, "", " ")
	if err != nil {
		return err
	}
	return put(picturesName, append(list, '\n'))
}

// finished keeps the page, and notes that the inspection is done.
func (s *Store) finished(n int, k Scan, html []byte) error {
	if err := s.disk.write(path.Join(folder(n), k.next(), pageName), func(w io.Writer) error { _, err := w.Write(html); return err }); err != nil {
		return err
	}
	return s.updateScan(n, k.ID, func(o *Scan) error {
		if o.Revision == k.Revision {
			o.Status, o.Tries, o.Reason = Done, 0, ""
		}
		return nil
	})
}

// picturesName is the list of a scan's pictures.
const picturesName = "pictures.json"

// picture is one of them: its file, its title, and what it shows, for those who do not see it.
type picture struct {
	Name  string `json:"name"`
	Title string `json:"title"`
	Alt   string `json:"alt"`
}

// thumbWide is the width of the small picture in the list of cases, in pixels; twice what it has on
// the page, for screens that are as fine.
const thumbWide = 320

// thumb makes the small picture of a large one.
func thumb(large []byte) ([]byte, error) {
	src, err := png.Decode(bytes.NewReader(large))
	if err != nil {
		return nil, fmt.Errorf("thumbnail: %w", err)
	}
	b := src.Bounds()
	dst := image.NewRGBA(image.Rect(0, 0, thumbWide, max(1, thumbWide*b.Dy()/b.Dx())))
	draw.ApproxBiLinear.Scale(dst, dst.Bounds(), src, b, draw.Src, nil)
	var out bytes.Buffer
	err = png.Encode(&out, dst)
	return out.Bytes(), err
}

// file is what was given as a file for fornix inspect --landmarks; ok is false where nothing was.
func (a Ask) file() (text []byte, ok bool) {
	all := map[string]any{}
	for name, p := range a.Landmarks {
		all[name] = p
	}
	for name, points := range map[string][][3]float64{"reference_plane": a.Plane, "rim": a.Rim} {
		if len(points) > 0 {
			all[name] = points
		}
	}
	text, err := json.MarshalIndent(all, "", " ")
	return append(text, '\n'), err == nil && len(all) > 0
}

// options are what was asked for as the inspection takes it.
func (a Ask) options() (inspect.Options, inspect.ReadOptions, error) {
	o := inspect.Options{Jaw: inspect.Jaw(a.Jaw)}
	if text, ok := a.file(); ok {
		g, err := inspect.ReadGiven(bytes.NewReader(text))
		if err != nil {
			return o, inspect.ReadOptions{}, err
		}
		o.Given = g
	}
	if o.Jaw != "" && o.Jaw != inspect.Upper && o.Jaw != inspect.Lower {
		return o, inspect.ReadOptions{}, fmt.Errorf("%q is no jaw: upper or lower", a.Jaw)
	}
	if _, known := inspect.UnitMM(a.Unit); a.Unit != "" && !known {
		return o, inspect.ReadOptions{}, fmt.Errorf("%q is no unit: mm, inch, m or um", a.Unit)
	}
	return o, inspect.ReadOptions{Unit: a.Unit}, nil
}
