package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
)

// event is one line of go test -json (see go doc test2json).
type event struct {
	Action, Package, Test, Output string
}

// test runs every test and prints each package's line.
func test() result { return goTest("test", "-json", "-timeout", "15m", "./...") }

// race runs the tests of the packages that start goroutines under the race detector, in their
// short form: elsewhere there is nothing for it to find.
func race() result {
	if _, err := exec.LookPath("gcc"); err != nil {
		return pass()
	}
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}{{range .Imports}} {{.}}{{end}}{{range .TestImports}} {{.}}{{end}}`, "./...").Output()
	if err != nil {
		return fail("go list: %v", err)
	}
	args := []string{"test", "-json", "-race", "-short", "-timeout", "15m"}
	n := len(args)
	for line := range strings.Lines(string(out)) {
		words := strings.Fields(line)
		for _, imported := range words[1:] {
			if imported == "sync" {
				args = append(args, words[0])
				break
			}
		}
	}
	if len(args) == n {
		return pass()
	}
	r := goTest(args...)
	r.passed = 0 // they were counted without the detector
	if r.failed == 0 {
		r.passed = 1
	}
	return r
}

func goTest(args ...string) result {
	c := exec.Command("go", args...)
	c.Env = os.Environ()
	pipe, err := c.StdoutPipe()
	if err != nil {
		return fail("%v", err)
	}
	var stderr strings.Builder
	c.Stderr = &stderr
	if err := c.Start(); err != nil {
		return fail("%v", err)
	}
	r := count(pipe)
	if err := c.Wait(); err != nil && r.failed == 0 {
		r.failed++
	}
	if r.failed > 0 {
		r.said += stderr.String()
	}
	return r
}

// count reads the events of a test run, prints the package lines, and keeps what failed tests
// said. A package that fails without a failed test (it did not build, or it panicked) counts once.
func count(events io.Reader) result {
	var r result
	said := map[string]*strings.Builder{}
	failedIn := map[string]int{}
	lines := bufio.NewScanner(events)
	lines.Buffer(nil, 1<<26)
	for lines.Scan() {
		var e event
		if json.Unmarshal(lines.Bytes(), &e) != nil {
			continue
		}
		key := e.Package + " " + e.Test
		switch e.Action {
		case "output":
			if e.Test == "" && isPackageLine(e.Output) {
				fmt.Print(e.Output)
				continue
			}
			if said[key] == nil {
				said[key] = &strings.Builder{}
			}
			said[key].WriteString(e.Output)
		case "pass":
			if e.Test != "" {
				r.passed++
			}
			delete(said, key)
		case "skip":
			delete(said, key)
		case "fail", "build-fail":
			if e.Test == "" && failedIn[e.Package] > 0 {
				continue
			}
			r.failed++
			failedIn[e.Package]++
			if b := said[key]; b != nil {
				r.said += b.String()
			}
		case "build-output":
			r.said += e.Output
		}
	}
	if err := lines.Err(); err != nil {
		r.failed++
		r.said += err.Error()
	}
	return r
}

func isPackageLine(s string) bool {
	for _, head := range []string{"ok  \t", "FAIL\t", "?   \t", "---\t"} {
		if strings.HasPrefix(s, head) {
			return true
		}
	}
	return false
}
