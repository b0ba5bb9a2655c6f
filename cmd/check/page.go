package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/evanw/esbuild/pkg/api"
)

// npmPackage is a package of the npm registry by version and the hash that the registry names.
type npmPackage struct{ name, version, sha512 string }

var (
	three = npmPackage{"three", "0.187.0", "Qiu7R+Cmh8CstZsY1uJOSWnVlfo7ZtNLV7mF8Jltk3LB3AtDu9cRZlcnRKkAk8Y4z6KKw35z7Y7Urd7jWY8etA=="}
	axe   = npmPackage{"axe-core", "4.14.1", "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="}
)

// pageBundle is the script of the page, packed and as text, from the module's root.
const pageBundle = "render/page/bundle.gz.b64"

// writePage makes the bundle anew.
func writePage() result {
	dir, err := os.MkdirTemp("", "page")
	if err != nil {
		return fail("%v", err)
	}
	defer os.RemoveAll(dir)
	if err := three.unpack(dir); err != nil {
		return fail("%v", err)
	}
	out, err := bundle(".", dir)
	if err != nil {
		return fail("%v", err)
	}
	var packed bytes.Buffer
	z, _ := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	z.Write(out)
	z.Close() // a bytes.Buffer takes all
	text := base64.StdEncoding.EncodeToString(packed.Bytes())
	var lines strings.Builder
	for ; len(text) > 120; text = text[120:] {
		lines.WriteString(text[:120] + "\n")
	}
	lines.WriteString(text + "\n")
	if err := os.WriteFile(pageBundle, []byte(lines.String()), 0o644); err != nil {
		return fail("%v", err)
	}
	return pass()
}

// committedPage returns the page's script as it is kept, unpacked.
func committedPage(root string) ([]byte, error) {
	f, err := os.Open(filepath.Join(root, filepath.FromSlash(pageBundle)))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	z, err := gzip.NewReader(base64.NewDecoder(base64.StdEncoding, f))
	if err != nil {
		return nil, err
	}
	return io.ReadAll(z)
}

// unpack fetches the package by npm and puts its files into dir, in a directory of its name.
func (p npmPackage) unpack(dir string) error {
	ctx, cancel := context.WithTimeout(context.Background(), 90*time.Second)
	defer cancel()
	c := exec.CommandContext(ctx, "npm", "pack", p.name+"@"+p.version, "--silent", "--pack-destination", dir)
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("npm pack %s: %w\n%s", p.name, err, out)
	}
	file := filepath.Join(dir, p.name+"-"+p.version+".tgz")
	data, err := os.ReadFile(file)
	if err != nil {
		return err
	}
	defer os.Remove(file)
	sum := sha512.Sum512(data)
	if got := base64.StdEncoding.EncodeToString(sum[:]); got != p.sha512 {
		return fmt.Errorf("%s %s has the hash %s, not %s", p.name, p.version, got, p.sha512)
	}
	return untar(data, filepath.Join(dir, p.name))
}

// untar writes the files of a package, whose paths all begin with a directory of any name.
func untar(data []byte, dir string) error {
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return err
	}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		_, name, _ := strings.Cut(h.Name, "/")
		if h.Typeflag != tar.TypeReg || !filepath.IsLocal(name) {
			continue
		}
		path := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return err
		}
		text, err := io.ReadAll(r)
		if err != nil {
			return err
		}
		if err := os.WriteFile(path, text, 0o644); err != nil {
			return err
		}
	}
}

// bundle makes one script of the page's modules under root and of three.js in the directory
// packages, with the latter's licence in front. Same input, same bytes.
func bundle(root, packages string) ([]byte, error) {
	root, err := filepath.Abs(root)
	if err != nil {
		return nil, err
	}
	licence, err := os.ReadFile(filepath.Join(packages, three.name, "LICENSE"))
	if err != nil {
		return nil, err
	}
	r := api.Build(api.BuildOptions{
		EntryPoints: []string{filepath.Join(root, "render", "page", "main.mjs")}, AbsWorkingDir: root,
		Bundle: true, Format: api.FormatIIFE, Target: api.ES2022, Charset: api.CharsetUTF8, Platform: api.PlatformBrowser,
		MinifyWhitespace: true, MinifyIdentifiers: true, MinifySyntax: true, LegalComments: api.LegalCommentsNone,
		NodePaths: []string{packages}, LineLimit: 4000,
		Banner: map[string]string{"js": "/* Made by go run ./cmd/check -page. It holds three.js " + three.version + ":\n\n" + string(licence) + "*/"},
	})
	if len(r.Errors) > 0 {
		return nil, errors.New(strings.Join(api.FormatMessages(r.Errors, api.FormatMessagesOptions{}), ""))
	}
	return r.OutputFiles[0].Contents, nil
}

// browserPackage is Debian's Chromium, in which the tests open the page.
const browserPackage = "chromium"

// installBrowser gets it by Debian's package manager. Without it the tests that need it are skipped,
// so it only says so where it cannot.
func installBrowser() result {
	if _, found := chromium(); found {
		return pass()
	}
	apt, err := exec.LookPath("apt-get")
	if err != nil || os.Geteuid() != 0 || runtime.GOOS != "linux" {
		fmt.Println("no Chromium and no way to install it: the tests of the page in a browser will be left out")
		return pass()
	}
	for _, args := range [][]string{{"update", "-q"}, {"install", "-y", "-q", "--no-install-recommends", browserPackage}} {
		c := exec.Command(apt, args...)
		c.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
		if out, err := c.CombinedOutput(); err != nil {
			fmt.Printf("%s\nno Chromium (apt-get %s: %v): the tests of the page in a browser will be left out\n", out, args[0], err)
			return pass()
		}
	}
	return pass()
}

// chromium finds the browser.
func chromium() (string, bool) {
	for _, p := range []string{"/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"} {
		if _, err := os.Stat(p); err == nil {
			return p, true
		}
	}
	return "", false
}
