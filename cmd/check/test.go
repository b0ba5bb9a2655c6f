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
func test() result { return goTest("test", "-json", "-timeout", "18m", "./...") }

// raced are the tests that go under the race detector: those that set many goroutines to one
// piece of work. Elsewhere there is nothing for it to find, and it makes everything ten times
// as slow.
const raced = "Workers|Concurrent|SameBytes|Normals|Curvature"

// race runs them. Without a C compiler, which install tells, it is left out.
func race() result {
	if _, err := exec.LookPath("gcc"); err != nil {
		return pass()
	}
	r := goTest("test", "-json", "-race", "-short", "-timeout", "15m", "-run", raced, "./mesh/...", "./inspect/...", "./render", "./cmd/fornix/batch", "./cmd/fornix/share")
	if r.passed == 0 && r.failed == 0 {
		return fail("no test has a name with %s", raced)
	}
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
