package main

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"
)

// smallDisk is a file system of its own of a few KiB, or the test is skipped: only root may mount one.
func smallDisk(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	if runtime.GOOS != "linux" || os.Geteuid() != 0 || exec.Command("mount", "-t", "tmpfs", "-o", options, "fornix-test", dir).Run() != nil {
		t.Skip("no file system can be mounted here")
	}
	t.Cleanup(func() {
		if err := exec.Command("umount", dir).Run(); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// scanOf writes a small phantom once.
func scanOf(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "scan.stl")
	var errs bytes.Buffer
	if code := run([]string{"phantom", "lower-norim", "--spacing", "1.2", "--out", path}, nil, io.Discard, &errs); code != 0 {
		t.Fatal(errs.String())
	}
	return path
}

// filesIn lists the files under dir.
func filesIn(t *testing.T, dir string) (out []string) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			out = append(out, filepath.Base(path))
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestFullDisk: the error says what is wrong and what helps, no report speaks of files that are not
// there, and nothing half-written is left.
func TestFullDisk(t *testing.T) {
	scan := scanOf(t)
	for _, args := range [][]string{{"inspect", scan, "--out"}, {"inspect", scan, "--no-images", "--out"}, {"phantom", "lower-norim", "--spacing", "1.2", "--out"}} {
		disk := smallDisk(t, "size=4k")
		dir := disk
		if args[0] == "phantom" {
			dir = filepath.Join(dir, "file.stl")
		}
		var out, errs bytes.Buffer
		code := run(append(args, dir), nil, &out, &errs)
		if code != exitFailed || !strings.Contains(errs.String(), "no space left on device") {
			t.Errorf("%v: exit %d, %s", args, code, errs.String())
		}
		if args[0] == "inspect" && !strings.Contains(errs.String(), "hint: give --out a directory on a disk with room") {
			t.Errorf("%v: %s", args, errs.String())
		}
		if left := filesIn(t, disk); len(left) > 0 {
			t.Errorf("%v leaves %v", args, left)
		}
	}
}

// TestReadOnlyFolder: the same where nothing may be written.
func TestReadOnlyFolder(t *testing.T) {
	scan := scanOf(t)
	dir := smallDisk(t, "size=4k,ro")
	var out, errs bytes.Buffer
	if code := run([]string{"inspect", scan, "--out", dir}, nil, &out, &errs); code != exitFailed || !strings.Contains(errs.String(), "read-only file system") ||
		!strings.Contains(errs.String(), "hint: give --out a directory on a disk with room that you may write to") {
		t.Errorf("exit %d, %s", code, errs.String())
	}
}

// broken fails after some bytes, as a full disk or a closed pipe does.
type broken struct {
	left int
	err  error
}

func (b *broken) Write(p []byte) (int, error) {
	if b.left -= len(p); b.left < 0 {
		return 0, b.err
	}
	return len(p), nil
}

// TestOutputThatTakesNoMore: every command that prints a result says that it could not.
func TestOutputThatTakesNoMore(t *testing.T) {
	scan := scanOf(t)
	for _, err := range []error{syscall.ENOSPC, syscall.EPIPE} {
		for _, args := range [][]string{{"inspect", scan}, {"inspect", scan, "--json"}, {"explain", "void"}, {"explain"}, {"protocol", "show"}, {"version"}, {"--version"}, {"phantom", "--list"}} {
			var errs bytes.Buffer
			if code := run(args, nil, &broken{0, err}, &errs); code != exitFailed || !strings.Contains(errs.String(), err.Error()) {
				t.Errorf("%v, %v: exit %d, %q", args, err, code, errs.String())
			}
		}
	}
}

// TestInputThatBreaksOff: a scan that cannot be read to its end is told by what happened, not as bad
// bytes, and one that is not there by its name.
func TestInputThatBreaksOff(t *testing.T) {
	text, err := os.ReadFile(scanOf(t))
	if err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	in := io.MultiReader(bytes.NewReader(text[:len(text)/2]), failing{errors.New("input/output error")})
	if code := run([]string{"inspect", "-"}, in, &out, &errs); code != exitFailed || !strings.Contains(errs.String(), "input/output error") || out.Len() > 0 {
		t.Errorf("exit %d, %s", code, errs.String())
	}
	errs.Reset()
	if code := run([]string{"inspect", filepath.Join(t.TempDir(), "gone.ply.gz")}, nil, &out, &errs); code != exitFailed || !strings.Contains(errs.String(), "gone.ply.gz: no such file") ||
		!strings.Contains(errs.String(), "hint: check the path") {
		t.Errorf("exit %d, %s", code, errs.String())
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// TestNamesWithBothSeparators: a scan's name is what stands behind the last separator of either
// kind, so that reports of scans from another system get the same directories.
func TestNamesWithBothSeparators(t *testing.T) {
	for path, want := range map[string]string{
		"a/b/upper.stl": "upper", `a\b\upper.stl`: "upper", `\\server\scans\upper.PLY.GZ`: "upper", `a/b\c/up.per.obj`: "up.per", "upper.zip": "upper",
		"../upper.stl": "upper", `..\..\upper`: "upper", ".stl": "scan", "...": "scan", "upper.gz": "upper", "a.b/c": "c", "-": "stdin", " upper .stl": "upper",
		`a\..`: "scan", "nul.stl": "nul-scan", "COM1.ply": "COM1-scan", "a:b.stl": "a-b", "what?.stl": "what-", "line\nend.stl": "line-end",
	} {
		if got := directories([]string{path})[0]; got != want {
			t.Errorf("%q: %q, want %q", path, got, want)
		}
	}
	got := directories([]string{"x/a.stl", `y\A.ply`, "a-2.obj", "z/a.stl.gz"})
	if strings.Join(got, " ") != "a A-3 a-2 a-4" {
		t.Errorf("%q", got)
	}
}
