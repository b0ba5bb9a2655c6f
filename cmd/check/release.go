package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// target is a system that a release is built for.
type target struct{ system, arch string }

var targets = []target{
	{"linux", "amd64"}, {"linux", "arm64"}, {"windows", "amd64"}, {"windows", "arm64"}, {"darwin", "amd64"}, {"darwin", "arm64"},
}

func (t target) String() string { return t.system + "-" + t.arch }

// program is the name of the program on the system.
func (t target) program() string {
	if t.system == "windows" {
		return "fornix.exe"
	}
	return "fornix"
}

// mostProgram is how large a program may be.
const mostProgram = 40_000_000

// release builds a release and returns the exit code:
//
//	go run ./cmd/check release [-out DIR] [-version V] [-cold]
//
// For each system one archive with the program, README.md and the licences of all that is in
// it, and beside them SHA256SUMS. Every program is built twice, the second time from a copy of
// the tree in another directory (with -cold also without the cache of compiled packages, which
// takes some minutes), and must come out the same. Those for linux are run: see runPrograms.
func release(args []string, stdout, stderr io.Writer) int {
	fs := flag.NewFlagSet("release", flag.ContinueOnError)
	fs.SetOutput(stderr)
	out := fs.String("out", "release", "write the archives to this `directory`")
	version := fs.String("version", "", "version to build in; none: the date of the commit")
	cold := fs.Bool("cold", false, "build the second time without the cache")
	if fs.Parse(args) != nil {
		return 2
	}
	if err := releaseTo(*out, *version, *cold, stdout); err != nil {
		fmt.Fprintln(stderr, "check release:", err)
		return 1
	}
	return 0
}

func releaseTo(out, version string, cold bool, stdout io.Writer) error {
	commit, date, err := commitOf()
	if err != nil {
		return err
	}
	if version == "" {
		version = date
	}
	texts, err := licences("./cmd/fornix")
	if err != nil {
		return err
	}
	readme, err := os.ReadFile("README.md")
	if err != nil {
		return err
	}
	work, err := os.MkdirTemp("", "fornix-release-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	copied := filepath.Join(work, "elsewhere")
	if err := copyTree(copied); err != nil {
		return err
	}
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	var sums strings.Builder
	built := map[target]string{}
	for _, t := range targets {
		start := time.Now()
		once, twice := filepath.Join(work, t.String(), t.program()), filepath.Join(work, t.String()+"-again", t.program())
		if err := buildProgram(t, ".", once, version, commit, ""); err != nil {
			return err
		}
		cache := ""
		if cold {
			cache = filepath.Join(work, "cache")
		}
		if err := buildProgram(t, copied, twice, version, commit, cache); err != nil {
			return err
		}
		program, err := os.ReadFile(once)
		if err != nil {
			return err
		}
		again, err := os.ReadFile(twice)
		if err != nil {
			return err
		}
		if !bytes.Equal(program, again) {
			return fmt.Errorf("%s: two builds of one commit differ", t)
		}
		if len(program) > mostProgram {
			return fmt.Errorf("%s: the program has %d bytes, over %d", t, len(program), mostProgram)
		}
		name, archive, err := pack(t, version, []packed{
			{t.program(), program, true}, {"LICENCES.txt", texts, false}, {"README.md", readme, false},
		})
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(out, name), archive, 0o644); err != nil {
			return err
		}
		sum := sha256.Sum256(archive)
		fmt.Fprintf(&sums, "%s  %s\n", hex.EncodeToString(sum[:]), name)
		fmt.Fprintf(stdout, "%-14s program %.1f MB, archive %.1f MB, the same twice (%.0f s)\n", t, mb(len(program)), mb(len(archive)), time.Since(start).Seconds())
		built[t] = once
	}
	if err := os.WriteFile(filepath.Join(out, "SHA256SUMS"), []byte(sums.String()), 0o644); err != nil {
		return err
	}
	return runPrograms(built, work, "fornix "+version+" "+commit[:12], stdout)
}

func mb(n int) float64 { return float64(n) / 1e6 }

// commitOf returns the commit of the tree, marked where files differ from it, and its date.
func commitOf() (commit, date string, err error) {
	git := func(args ...string) (string, error) {
		b, err := exec.Command("git", args...).Output()
		if err != nil {
			return "", fmt.Errorf("git %s: %w", args[0], err)
		}
		return strings.TrimSpace(string(b)), nil
	}
	if commit, err = git("rev-parse", "HEAD"); err != nil {
		return "", "", err
	}
	if date, err = git("show", "-s", "--format=%cd", "--date=format:%Y.%m.%d", "HEAD"); err != nil {
		return "", "", err
	}
	changed, err := git("status", "--porcelain", "--untracked-files=no")
	if changed != "" {
		date += "-changed"
	}
	return commit, date, err
}

// copyTree copies the files that git knows, as they are.
func copyTree(to string) error {
	list, err := exec.Command("git", "ls-files", "-z").Output()
	if err != nil {
		return fmt.Errorf("git ls-files: %w", err)
	}
	for name := range strings.SplitSeq(strings.TrimRight(string(list), "\x00"), "\x00") {
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		at := filepath.Join(to, name)
		if err := os.MkdirAll(filepath.Dir(at), 0o755); err != nil {
			return err
		}
		if err := os.WriteFile(at, text, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// shippedTags leave out of the programs what they never use: the app's pages come from the user's own
// machine, without TLS, and browsers speak HTTP/2 over TLS alone.
const shippedTags = "nethttpomithttp2"

// buildProgram builds the program for t from the tree in dir. No path, time or host gets into it:
// -trimpath takes paths out, -buildid= what the linker adds of them.
func buildProgram(t target, dir, to, version, commit, cache string) error {
	to, err := filepath.Abs(to)
	if err != nil {
		return err
	}
	c := exec.Command("go", "build", "-trimpath", "-buildvcs=false", "-tags", shippedTags,
		"-ldflags", "-s -w -buildid= -X main.version="+version+" -X main.commit="+commit, "-o", to, "./cmd/fornix")
	c.Dir = dir
	c.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+t.system, "GOARCH="+t.arch)
	if cache != "" {
		c.Env = append(c.Env, "GOCACHE="+cache)
	}
	if out, err := c.CombinedOutput(); err != nil {
		return fmt.Errorf("%s\nbuild for %s: %w", out, t, err)
	}
	return nil
}

// packed is a file of an archive.
type packed struct {
	name string
	text []byte
	run  bool
}

// pack makes the archive of one system, zip for Windows and tar with gzip elsewhere, in a
// directory of its own, with no time and nobody's name in it.
func pack(t target, version string, files []packed) (name string, archive []byte, err error) {
	dir := "fornix-" + version + "-" + t.String()
	var b bytes.Buffer
	mode := func(f packed) int64 {
		if f.run {
			return 0o755
		}
		return 0o644
	}
	if t.system == "windows" {
		z := zip.NewWriter(&b)
		for _, f := range files {
			w, err := z.CreateHeader(&zip.FileHeader{Name: dir + "/" + f.name, Method: zip.Deflate})
			if err != nil {
				return "", nil, err
			}
			if _, err := w.Write(f.text); err != nil {
				return "", nil, err
			}
		}
		err := z.Close()
		return dir + ".zip", b.Bytes(), err
	}
	g := gzip.NewWriter(&b)
	z := tar.NewWriter(g)
	for _, f := range files {
		if err := z.WriteHeader(&tar.Header{Name: dir + "/" + f.name, Mode: mode(f), Size: int64(len(f.text)), ModTime: time.Unix(0, 0), Format: tar.FormatUSTAR}); err != nil {
			return "", nil, err
		}
		if _, err := z.Write(f.text); err != nil {
			return "", nil, err
		}
	}
	if err := z.Close(); err != nil {
		return "", nil, err
	}
	err = g.Close()
	return dir + ".tar.gz", b.Bytes(), err
}
