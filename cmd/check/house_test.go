package main

import (
	"bytes"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// goFiles calls f for each Go file of the module, with its path from the module's root.
func goFiles(t *testing.T, f func(path string, text []byte)) {
	t.Helper()
	n := 0
	err := fs.WalkDir(os.DirFS("../.."), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && path != "." && strings.HasPrefix(d.Name(), ".") {
			return fs.SkipDir
		}
		if d.IsDir() || filepath.Ext(path) != ".go" {
			return nil
		}
		text, err := os.ReadFile(filepath.Join("../..", path))
		if err != nil {
			return err
		}
		n++
		f(path, text)
		return nil
	})
	if err != nil || n < 50 {
		t.Fatalf("%d files: %v", n, err)
	}
}

// rooms from the ground up: each may import those before it, never one behind it.
var rooms = []string{"mesh", "inspect", "render", "cmd"}

// outside holds what the measuring room must not know: pictures, pages, networks, files.
var outside = []string{"image", "html", "net", "os", "embed/fs", "golang.org/x/image"}

func TestImportsRunOneWay(t *testing.T) {
	goFiles(t, func(path string, text []byte) {
		f, err := parser.ParseFile(token.NewFileSet(), path, text, parser.ImportsOnly)
		if err != nil {
			t.Error(err)
			return
		}
		room, _, _ := strings.Cut(path, "/")
		level := slices.Index(rooms, room)
		if level < 0 {
			t.Errorf("%s stands in no room", path)
		}
		test := strings.HasSuffix(path, "_test.go")
		for _, s := range f.Imports {
			name, _ := strconv.Unquote(s.Path.Value)
			if inner, ours := strings.CutPrefix(name, "fornix/"); ours {
				to, _, _ := strings.Cut(inner, "/")
				if slices.Index(rooms, to) > level {
					t.Errorf("%s imports %s, which stands above it", path, name)
				}
			}
			for _, o := range outside {
				if (room == "inspect" || room == "mesh") && !test && (name == o || strings.HasPrefix(name, o+"/")) {
					t.Errorf("%s imports %s", path, name)
				}
			}
		}
	})
}

// Only the batch that is shared with other machines, when asked to, opens a connection: nothing else
// names what opens one.
func TestNothingElseCallsOut(t *testing.T) {
	calls := map[string][]string{
		"net":      {"Dial", "DialTimeout", "DialTCP", "DialUDP", "DialIP", "DialUnix", "Dialer", "Resolver", "LookupHost", "LookupIP", "LookupAddr", "DefaultResolver"},
		"net/http": {"Get", "Post", "PostForm", "Head", "Client", "DefaultClient", "NewRequest", "NewRequestWithContext", "Transport", "DefaultTransport"},
		"net/rpc":  nil, "net/smtp": nil, "crypto/tls": nil, // nil: not even imported
	}
	files := 0
	goFiles(t, func(file string, text []byte) {
		if strings.HasSuffix(file, "_test.go") || strings.HasPrefix(file, "cmd/check/") || strings.HasPrefix(file, "cmd/fornix/share/") {
			return
		}
		files++
		f, err := parser.ParseFile(token.NewFileSet(), file, text, 0)
		if err != nil {
			t.Error(err)
			return
		}
		named := map[string][]string{} // what may not be called, by the package's name in the file
		for _, s := range f.Imports {
			at, _ := strconv.Unquote(s.Path.Value)
			list, bound := calls[at]
			if !bound {
				continue
			}
			if list == nil || s.Name != nil {
				t.Errorf("%s imports %s", file, s.Path.Value)
			}
			named[path.Base(at)] = list
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if s, ok := n.(*ast.SelectorExpr); ok {
				if x, ok := s.X.(*ast.Ident); ok && slices.Contains(named[x.Name], s.Sel.Name) {
					t.Errorf("%s calls %s.%s", file, x.Name, s.Sel.Name)
				}
			}
			return true
		})
	})
	if files < 100 {
		t.Errorf("looked at %d files only", files)
	}
}

// longest is what a reader can hold: a longer file is two files.
const longest = 400

func TestNoFileIsTooLong(t *testing.T) {
	goFiles(t, func(path string, text []byte) {
		if n := bytes.Count(text, []byte("\n")); n > longest {
			t.Errorf("%s has %d lines", path, n)
		}
	})
}

func TestNoRoomForOddments(t *testing.T) {
	goFiles(t, func(path string, _ []byte) {
		for _, part := range strings.Split(filepath.ToSlash(filepath.Dir(path)), "/") {
			if slices.Contains([]string{"util", "utils", "common", "helpers", "types", "pkg", "internal"}, part) {
				t.Errorf("%s: %s says nothing of what is in it", path, part)
			}
		}
	})
}

// What git ignores (.gitignore) may lie about in a working tree, and nothing else.
func TestTopLevelIsFixed(t *testing.T) {
	entries, err := os.ReadDir("../..")
	if err != nil {
		t.Fatal(err)
	}
	ignored, err := os.ReadFile("../../.gitignore")
	if err != nil {
		t.Fatal(err)
	}
	allowed := []string{"cmd", "mesh", "inspect", "render", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md"}
	for line := range strings.Lines(string(ignored)) {
		allowed = append(allowed, strings.Trim(strings.TrimSpace(line), "/"))
	}
	for _, e := range entries {
		name := e.Name()
		if strings.HasPrefix(name, ".") || strings.HasSuffix(name, ".test") || strings.HasSuffix(name, ".prof") || slices.Contains(allowed, name) {
			continue
		}
		t.Errorf("%s has no place at the top", name)
	}
}

// Notes to oneself and paths of one machine belong to no file.
func TestNoLeftovers(t *testing.T) {
	words := []string{"TO" + "DO", "FIX" + "ME", "XX" + "X", "/ho" + "me/", "/wo" + "rk/", "C:" + `\`}
	goFiles(t, func(path string, text []byte) {
		for i, line := range bytes.Split(text, []byte("\n")) {
			for _, w := range words {
				if bytes.Contains(line, []byte(w)) {
					t.Errorf("%s:%d: %s", path, i+1, w)
				}
			}
		}
	})
}
