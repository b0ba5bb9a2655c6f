package mesh

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"
)

// Bounds of unpacking. Scans shrink to a half or, as text, to a tenth; deflate can shrink zeros a
// thousandfold, and nobody packs a scan of those.
const (
	unpackFree  = 64 << 20 // bytes that may come out of any file
	unpackTimes = 100      // beyond those: bytes out for each byte in
)

// Unpack returns the bytes of a scan as they were before it was packed, or as they are where it
// is not. Errors and bounds are those of Read.
func Unpack(r io.Reader) ([]byte, error) {
	buf := make([]byte, blockBytes)
	n, err := readHead(r, buf)
	if err != nil {
		return nil, err
	}
	how := packing(buf[:n])
	if how == "" {
		return io.ReadAll(io.MultiReader(bytes.NewReader(buf[:n]), r))
	}
	in, _, err := unpacked(r, buf[:n], how)
	if err != nil {
		return nil, unpackError(how, err)
	}
	all, err := io.ReadAll(in)
	if len(all) == 0 && err == nil {
		err = &FormatError{Early: true, Reason: "the file is empty"}
	}
	return all, unpackError(how, err)
}

// readPacked reads a packed scan of which head came already.
func readPacked(r io.Reader, head []byte, how string, opt ReadOptions) (*Mesh, ReadStats, error) {
	in, came, err := unpacked(r, head, how)
	if err != nil {
		return nil, ReadStats{}, unpackError(how, err)
	}
	buf := make([]byte, blockBytes)
	n, err := readHead(in, buf)
	if err != nil {
		return nil, ReadStats{}, unpackError(how, err)
	}
	if again := packing(buf[:n]); again != "" {
		return nil, ReadStats{}, &FormatError{Reason: fmt.Sprintf("a %s file inside a %s file is not read: unpack it first", again, how)}
	}
	m, s, err := readPlain(in, buf, n, opt)
	s.Packed, s.Bytes = how, came.n
	return m, s, unpackError(how, err)
}

// unpacked returns what comes out of a packed file, and the count of what came of it.
//
// Nothing is written, so that names in an archive, whatever they are, lead nowhere.
func unpacked(r io.Reader, head []byte, how string) (io.Reader, *counted, error) {
	came := &counted{r: io.MultiReader(bytes.NewReader(head), r)}
	if how == Gzip {
		z, err := gzip.NewReader(came)
		return &bounded{r: z, from: came}, came, err
	}
	all, err := io.ReadAll(came) // the list of entries stands at the end
	if err != nil {
		return nil, nil, err
	}
	z, err := zip.NewReader(bytes.NewReader(all), int64(len(all)))
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, nil, err
	}
	f, err := theScan(z.File)
	if err != nil {
		return nil, nil, err
	}
	in, err := f.Open()
	return &bounded{r: in, from: came}, came, err
}

// theScan returns the one entry of an archive that is a scan: by its ending, or the only file.
func theScan(files []*zip.File) (*zip.File, error) {
	var named, any []*zip.File
	for _, f := range files {
		base := path.Base(strings.ReplaceAll(f.Name, `\`, "/"))
		if strings.HasSuffix(f.Name, "/") || strings.HasPrefix(base, ".") || strings.HasPrefix(f.Name, "__MACOSX/") {
			continue
		}
		any = append(any, f)
		if Ending(base) != "" {
			named = append(named, f)
		}
	}
	if len(named) == 0 && len(any) == 1 {
		named = any
	}
	switch {
	case len(named) == 0:
		return nil, &FormatError{Reason: fmt.Sprintf("there is no scan (STL, PLY or OBJ) among the %d files of the zip archive", len(any))}
	case len(named) > 1:
		return nil, &FormatError{Reason: fmt.Sprintf("the zip archive holds %d scans (%q, %q …): unpack it and give each by itself", len(named), named[0].Name, named[1].Name)}
	case named[0].Flags&1 != 0:
		return nil, &FormatError{Reason: fmt.Sprintf("%q in the zip archive is locked by a password", named[0].Name)}
	}
	return named[0], nil
}

// unpackError makes what an unpacker says of bad bytes an error of the format; errors of reading
// stay as they are.
func unpackError(how string, err error) error {
	var format *FormatError
	switch {
	case err == nil || errors.As(err, &format):
		return err
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, io.EOF):
		return &FormatError{Early: true, Reason: "the " + how + " file ends early"}
	case errors.Is(err, zip.ErrFormat):
		return &FormatError{Early: true, Reason: "the list of files that ends every zip archive is not there"}
	case errors.Is(err, gzip.ErrHeader), errors.Is(err, gzip.ErrChecksum), errors.Is(err, zip.ErrChecksum),
		errors.Is(err, zip.ErrAlgorithm), strings.HasPrefix(err.Error(), "flate: "):
		return &FormatError{Reason: fmt.Sprintf("the %s file cannot be unpacked (%v)", how, err)}
	}
	return err
}

// counted counts the bytes that come.
type counted struct {
	r io.Reader
	n int64
}

func (c *counted) Read(b []byte) (int, error) {
	n, err := c.r.Read(b)
	c.n += int64(n)
	return n, err
}

// bounded gives what is unpacked until it is out of proportion to what came.
type bounded struct {
	r    io.Reader
	from *counted
	n    int64
}

func (b *bounded) Read(p []byte) (int, error) {
	n, err := b.r.Read(p)
	if b.n += int64(n); b.n > unpackFree && b.n/unpackTimes > b.from.n {
		return n, &FormatError{Reason: fmt.Sprintf("the packed file grows to more than %d times its size, which no scan does", unpackTimes)}
	}
	return n, err
}

// Ending returns the ending by which a file's name says that it may hold a scan, in small
// letters: .stl, .ply, .obj, each with .gz behind it or not, or .zip; empty where it is none.
// The content decides, not the name.
func Ending(name string) string {
	name = strings.ToLower(name)
	if strings.HasSuffix(name, ".zip") {
		return ".zip"
	}
	gz := ""
	if rest, found := strings.CutSuffix(name, ".gz"); found {
		name, gz = rest, ".gz"
	}
	for _, e := range [3]string{".stl", ".ply", ".obj"} {
		if strings.HasSuffix(name, e) {
			return e + gz
		}
	}
	return ""
}
