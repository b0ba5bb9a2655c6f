package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"fornix/inspect"
)

// The table of findings in README.md stands between these.
const (
	tableBegin = "<!-- findings: written by go run ./cmd/check -readme -->\n"
	tableEnd   = "<!-- end of findings -->\n"
)

// pictures are those of README, and where the demo makes them.
var pictures = [...]struct{ shown, made string }{
	{"testdata/demo-tissue.png", "fornix-demo/upper-voids/tissue.png"},
	{"testdata/demo-gap.png", "fornix-demo/pair/gap-lower.png"},
}

// readmeCommands runs the commands of README.md in an empty directory and compares what they
// print with what stands there; with write it puts the real output there instead.
//
// Commands stand in blocks fenced with ```console, one after "$ " each, their output under them.
// Every command must begin with fornix; "# exit N" behind it is the exit code that it has.
func readmeCommands(write bool) result {
	text, err := os.ReadFile("README.md")
	if err != nil {
		return fail("%v", err)
	}
	dir, err := os.MkdirTemp("", "fornix-readme-")
	if err != nil {
		return fail("%v", err)
	}
	defer os.RemoveAll(dir)
	bin := filepath.Join(dir, "bin", "fornix")
	if out, err := exec.Command("go", "build", "-o", bin, "./cmd/fornix").CombinedOutput(); err != nil {
		return fail("%s\n%v", out, err)
	}
	work := filepath.Join(dir, "work")
	if err := os.Mkdir(work, 0o755); err != nil {
		return fail("%v", err)
	}
	var r result
	var out strings.Builder
	before, rest, found := strings.Cut(string(text), tableBegin)
	old, rest, found2 := strings.Cut(rest, tableEnd)
	if !found || !found2 {
		return fail("README.md: the marks of the table of findings are gone")
	}
	table := findingsTable()
	if old != table && !write {
		r.failed++
		r.said += "README.md: the table of findings is old (go run ./cmd/check -readme writes it)\n"
	}
	rest = before + tableBegin + table + tableEnd + rest
	const open, shut = "```console\n", "```\n"
	for {
		before, after, found := strings.Cut(rest, open)
		out.WriteString(before)
		if !found {
			break
		}
		block, tail, found := strings.Cut(after, shut)
		if !found {
			return fail("README.md: a block is not closed")
		}
		out.WriteString(open)
		for _, c := range commandsOf(block) {
			got, err := runReadme(bin, work, c.line)
			if err != nil {
				return fail("README.md: %s: %v", c.line, err)
			}
			if got != c.output && !write {
				r.failed++
				r.said += fmt.Sprintf("README.md says of %q\n%s\nand it prints\n%s\n(go run ./cmd/check -readme writes it)\n", c.line, c.output, got)
			} else {
				r.passed++
			}
			out.WriteString("$ " + c.line + "\n" + got)
		}
		out.WriteString(shut)
		rest = tail
	}
	if r.passed == 0 && r.failed == 0 {
		return fail("README.md has no commands")
	}
	for _, p := range pictures {
		drawn, err := os.ReadFile(filepath.Join(work, p.made))
		if err != nil {
			return fail("README.md does not make its picture: %v", err)
		}
		if shown, _ := os.ReadFile(p.shown); !write && !bytes.Equal(shown, drawn) {
			r.failed++
			r.said += p.shown + " is not what the demo draws: look at both (go run ./cmd/check -readme writes it)\n"
		}
		if write {
			if err := os.WriteFile(p.shown, drawn, 0o644); err != nil {
				return fail("%v", err)
			}
		}
	}
	if write {
		if err := os.WriteFile("README.md", []byte(out.String()), 0o644); err != nil {
			return fail("%v", err)
		}
	}
	return r
}

// findingsTable is made of the explanations and of the default limits.
func findingsTable() string {
	var b strings.Builder
	b.WriteString("| code | what is measured | method | default limits | source of the method |\n|---|---|---|---|---|\n")
	p := inspect.DefaultProtocol()
	cell := strings.NewReplacer("|", "/", "\n", " ")
	for _, e := range inspect.Explanations() {
		var bands []string
		for _, name := range e.Limits {
			bands = append(bands, name+": "+p.Limits.Bands(name))
		}
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s |\n", e.Code, cell.Replace(e.What), cell.Replace(e.How),
			strings.Join(bands, "<br>"), cell.Replace(e.Source))
	}
	return b.String()
}

type readmeCommand struct{ line, output string }

func commandsOf(block string) []readmeCommand {
	var out []readmeCommand
	for line := range strings.Lines(block) {
		if c, found := strings.CutPrefix(line, "$ "); found {
			out = append(out, readmeCommand{line: strings.TrimSpace(c)})
		} else if len(out) > 0 {
			out[len(out)-1].output += line
		}
	}
	return out
}

// runReadme runs one command line: words parted by spaces, no shell.
func runReadme(bin, dir, line string) (string, error) {
	words, note, _ := strings.Cut(line, "#")
	args := strings.Fields(words)
	if len(args) == 0 || args[0] != "fornix" {
		return "", fmt.Errorf("only fornix itself is run")
	}
	want := 0
	if note = strings.TrimSpace(note); note != "" {
		if _, err := fmt.Sscanf(note, "exit %d", &want); err != nil {
			return "", fmt.Errorf("the note must be: exit N")
		}
	}
	var stdout, stderr bytes.Buffer
	c := exec.Command(bin, args[1:]...)
	c.Dir, c.Stdout, c.Stderr = dir, &stdout, &stderr
	err := c.Run()
	if got := c.ProcessState.ExitCode(); got != want {
		return "", fmt.Errorf("exit code %d, not %d: %v\n%s", got, want, err, stderr.String())
	}
	return stdout.String(), nil
}
