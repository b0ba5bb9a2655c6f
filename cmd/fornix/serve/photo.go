package serve

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	_ "image/jpeg" // to be told their size
	_ "image/png"
	"io"
	"net/http"
	"path"
	"regexp"
	"strconv"

	"fornix/inspect/casefile"
)

// Photographs of a case lie in its folder as photo-1.jpg …, without what cameras write into them. What
// is there is what there is: the state does not name them.
var photoFile = regexp.MustCompile(`^photo-([1-9][0-9]{0,2})(\.jpg|\.png)$`)

// Bounds of photographs: how many, how large, and how many pixels, which take four bytes each where
// they are shown.
const (
	mostPhotos  = 12
	photoBytes  = 32 << 20
	photoPixels = 120_000_000
)

var (
	manyPhotos = wrong{fmt.Sprintf("a case holds at most %d photographs", mostPhotos)}
	noPhoto    = wrong{"this is no JPEG or PNG picture"}
)

// photos lists the photographs of case n, in the order in which they came.
func (s *Store) photos(n int) []string {
	entries, err := s.disk.list(folder(n))
	if err != nil {
		return nil
	}
	var out [1000]string
	for _, e := range entries {
		if m := photoFile.FindStringSubmatch(e.Name()); m != nil && !e.IsDir() {
			id, _ := strconv.Atoi(m[1])
			out[id] = e.Name()
		}
	}
	var list []string
	for _, name := range out {
		if name != "" {
			list = append(list, name)
		}
	}
	return list
}

// addPhoto keeps a photograph with case n.
func (s *Store) addPhoto(n int, photo []byte) error {
	clean, ending, err := casefile.ScrubPhoto(photo)
	if err != nil {
		return noPhoto
	}
	size, _, err := image.DecodeConfig(bytes.NewReader(clean))
	if err != nil || size.Width < 1 || size.Height < 1 {
		return noPhoto
	}
	if size.Width > photoPixels/size.Height {
		return wrong{fmt.Sprintf("the picture has %d × %d pixels: make it smaller", size.Width, size.Height)}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cases[n] == nil {
		return ErrNoCase
	}
	have, id := s.photos(n), 1
	if len(have) >= mostPhotos {
		return manyPhotos
	}
	if len(have) > 0 {
		last, _ := strconv.Atoi(photoFile.FindStringSubmatch(have[len(have)-1])[1])
		id = last + 1
	}
	name := fmt.Sprintf("photo-%d%s", id, ending)
	if !photoFile.MatchString(name) {
		return manyPhotos
	}
	if err := s.disk.write(path.Join(folder(n), name), func(w io.Writer) error { _, err := w.Write(clean); return err }); err != nil {
		return err
	}
	s.tell()
	return nil
}

// removePhoto takes a photograph away.
func (s *Store) removePhoto(n int, name string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cases[n] == nil || !photoFile.MatchString(name) {
		return ErrNoCase
	}
	if err := s.disk.remove(path.Join(folder(n), name)); err != nil {
		return err
	}
	s.tell()
	return nil
}

// orderOf is the order of a case as it leaves: with the names that its photographs have in the package.
func (s *Server) orderOf(c *Case) casefile.Case {
	k := c.Order
	k.More.Photos = append([]string{}, k.More.Photos...)
	for i, name := range s.store.photos(c.N) {
		k.More.Photos = append(k.More.Photos, casefile.NeutralName(k.Order.Number, "photo", i+1, path.Ext(name)))
	}
	return k
}

// takePhoto takes in a photograph: the body is the file.
func (s *Server) takePhoto(w http.ResponseWriter, r *http.Request) {
	n, ok := number(r, "n")
	if !ok {
		fault(w, http.StatusNotFound, ErrNoCase.Error())
		return
	}
	body := patient{http.MaxBytesReader(w, r.Body, photoBytes), http.NewResponseController(w), s.opt.patience}
	photo, err := io.ReadAll(body)
	if large := new(http.MaxBytesError); errors.As(err, &large) {
		fault(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("The picture is larger than %d MiB.", photoBytes>>20))
		return
	}
	if err == nil {
		err = s.store.addPhoto(n, photo)
	}
	if err != nil {
		s.refuse(w, err)
		return
	}
	answer(w, map[string]int{"case": n})
}

// removePhoto takes a photograph out of its case.
func (s *Server) removePhoto(r *http.Request, _ []byte) (any, error) {
	n, ok := number(r, "n")
	if !ok {
		return nil, ErrNoCase
	}
	return map[string]bool{"removed": true}, s.store.removePhoto(n, r.PathValue("name"))
}

// photo serves a photograph.
func (s *Server) photo(w http.ResponseWriter, r *http.Request) {
	n, ok := number(r, "n")
	name := r.PathValue("name")
	if _, err := s.store.Get(n); !ok || err != nil || !photoFile.MatchString(name) {
		fault(w, http.StatusNotFound, "There is no such picture.")
		return
	}
	s.file(w, path.Join(folder(n), name))
}
