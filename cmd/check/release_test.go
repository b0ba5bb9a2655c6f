package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"io"
	"strings"
	"testing"
)

// TestLicencesOfAllThatIsShipped: every module of go.mod that the program is built of is there, and
// what is no module: Go, the fonts and three.js.
func TestLicencesOfAllThatIsShipped(t *testing.T) {
	t.Chdir("../..")
	text, err := licences("./cmd/fornix")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"==== the Go standard library: LICENSE", "==== codeberg.org/go-pdf/fpdf v", "==== github.com/alecthomas/kong v", "==== github.com/go-fonts/dejavu v",
		"LICENSE-DejaVu", "==== github.com/pelletier/go-toml/v2 v", "==== golang.org/x/image v", "==== gonum.org/v1/gonum v", "==== three.js", "Bitstream Vera",
		"Redistribution and use in source and binary forms", "THE SOFTWARE IS PROVIDED \"AS IS\"",
	} {
		if !strings.Contains(string(text), want) {
			t.Errorf("%q is not there", want)
		}
	}
	if strings.Contains(string(text), "chromedp") || strings.Contains(string(text), "esbuild v") {
		t.Error("what only the tests need is there too")
	}
	again, err := licences("./cmd/fornix")
	if err != nil || !bytes.Equal(text, again) {
		t.Error("other bytes the second time", err)
	}
}

// TestReleaseArchives: the same bytes each time, the program runnable, everything in one directory.
func TestReleaseArchives(t *testing.T) {
	for _, target := range targets {
		files := []packed{{target.program(), []byte("program"), true}, {"README.md", []byte("read me"), false}}
		name, archive, err := pack(target, "1.2", files)
		_, again, _ := pack(target, "1.2", files)
		if err != nil || !bytes.Equal(archive, again) {
			t.Fatal(target, err)
		}
		got := map[string]string{}
		if strings.HasSuffix(name, ".zip") {
			z, err := zip.NewReader(bytes.NewReader(archive), int64(len(archive)))
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range z.File {
				r, err := f.Open()
				if err != nil {
					t.Fatal(err)
				}
				b, _ := io.ReadAll(r)
				got[f.Name] = string(b)
			}
		} else {
			g, err := gzip.NewReader(bytes.NewReader(archive))
			if err != nil {
				t.Fatal(err)
			}
			for z := tar.NewReader(g); ; {
				h, err := z.Next()
				if err != nil {
					break
				}
				b, _ := io.ReadAll(z)
				got[h.Name] = string(b)
				if run := h.Mode&0o111 != 0; run != strings.HasSuffix(h.Name, "/fornix") {
					t.Errorf("%s: mode %o", h.Name, h.Mode)
				}
			}
		}
		dir := "fornix-1.2-" + target.String()
		if len(got) != 2 || got[dir+"/"+target.program()] != "program" || got[dir+"/README.md"] != "read me" {
			t.Errorf("%s holds %q", name, got)
		}
	}
}
