package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"time"
)

// runPrograms runs what this machine can run, the linux programs, that of another processor under
// qemu's emulator where Debian's is there: each must tell its version, make a phantom and inspect
// it, and all must say the same of it to the byte. What was not run is told.
func runPrograms(built map[target]string, work, version string, stdout io.Writer) error {
	var said []byte
	var by target
	for _, t := range targets {
		how, why := runner(t)
		if why != "" {
			fmt.Fprintf(stdout, "%-14s not run: %s\n", t, why)
			continue
		}
		dir := filepath.Join(work, "run", t.String())
		if err := os.MkdirAll(dir, 0o755); err != nil {
			return err
		}
		program := func(code int, args ...string) ([]byte, error) {
			all := append(slices.Clone(how), built[t])
			c := exec.Command(all[0], append(all[1:], args...)...)
			c.Dir = dir
			out, err := c.Output()
			var exit *exec.ExitError
			if errors.As(err, &exit) && exit.ExitCode() == code {
				err = nil
			}
			if err != nil {
				err = fmt.Errorf("%s: fornix %s: %w", t, strings.Join(args, " "), err)
			}
			return out, err
		}
		got, err := program(0, "--version")
		if err != nil {
			return err
		}
		if strings.TrimSpace(string(got)) != version {
			return fmt.Errorf("%s: --version says %q, want %q", t, got, version)
		}
		start := time.Now()
		if _, err := program(0, "--help"); err != nil {
			return err
		}
		help := time.Since(start)
		if _, err := program(0, "phantom", "lower-holes", "--spacing", "0.8", "--out", "scan.stl"); err != nil {
			return err
		}
		report, err := program(3, "inspect", "scan.stl", "--json")
		if err != nil {
			return err
		}
		if said != nil && !bytes.Equal(said, report) {
			return fmt.Errorf("%s and %s say different things of one phantom", by, t)
		}
		said, by = report, t
		fmt.Fprintf(stdout, "%-14s run: version, help (%d ms), a phantom and its report\n", t, help.Milliseconds())
	}
	return nil
}

// runner returns what a program for t is run with on this machine, or why it cannot be.
func runner(t target) (with []string, why string) {
	if t.system != runtime.GOOS {
		return nil, "this machine runs " + runtime.GOOS
	}
	if t.arch == runtime.GOARCH {
		return nil, ""
	}
	machine := map[string]string{"arm64": "aarch64", "amd64": "x86_64"}[t.arch]
	for range 2 {
		for _, name := range []string{"qemu-" + machine, "qemu-" + machine + "-static"} {
			if path, err := exec.LookPath(name); err == nil {
				return []string{path}, ""
			}
		}
		apt, err := exec.LookPath("apt-get")
		if err != nil || os.Geteuid() != 0 {
			break
		}
		c := exec.Command(apt, "install", "-y", "-q", "--no-install-recommends", "qemu-user")
		c.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
		if out, err := c.CombinedOutput(); err != nil {
			return nil, fmt.Sprintf("no emulator (apt-get install qemu-user: %v: %s)", err, lastLine(out))
		}
	}
	return nil, "no emulator (Debian's qemu-user)"
}

func lastLine(b []byte) string {
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")
	return lines[len(lines)-1]
}

// licenceFile fits the names of the files in which modules state their licences.
var licenceFile = regexp.MustCompile(`(?i)^(licen[cs]e|copying|notice|patents|third_party_licen[cs]es)[^/]*$`)

// licences returns the licences of all that is built into a program: Go itself, every module, the
// fonts (which are in modules) and three.js, which stands at the head of the page's script.
func licences(program string) ([]byte, error) {
	root, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("go env: %w", err)
	}
	list, err := exec.Command("go", "list", "-deps", "-f", "{{with .Module}}{{if not .Main}}{{.Path}} {{.Version}}\t{{.Dir}}{{end}}{{end}}", program).Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	modules := strings.Split(strings.TrimSpace(string(list)), "\n")
	slices.Sort(modules)
	modules = append([]string{"the Go standard library\t" + strings.TrimSpace(string(root))}, slices.Compact(modules)...)
	var out bytes.Buffer
	out.WriteString("What is built into fornix, and under which licences.\n")
	for _, m := range modules {
		name, dir, _ := strings.Cut(m, "\t")
		entries, err := os.ReadDir(dir)
		if err != nil {
			return nil, fmt.Errorf("licence of %s: %w", name, err)
		}
		found := false
		for _, e := range entries {
			if e.IsDir() || !licenceFile.MatchString(e.Name()) {
				continue
			}
			text, err := os.ReadFile(filepath.Join(dir, e.Name()))
			if err != nil {
				return nil, err
			}
			fmt.Fprintf(&out, "\n==== %s: %s\n\n%s\n", name, e.Name(), bytes.TrimSpace(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n"))))
			found = true
		}
		if !found {
			return nil, fmt.Errorf("%s states no licence", name)
		}
	}
	script, err := committedPage(".")
	if err != nil {
		return nil, err
	}
	banner, _, found := strings.Cut(string(script), "*/")
	if !found || !strings.Contains(banner, "The MIT License") {
		return nil, errors.New("the page's script does not begin with the licence of three.js")
	}
	fmt.Fprintf(&out, "\n==== three.js\n\n%s\n", strings.TrimSpace(strings.TrimPrefix(banner, "/*")))
	return out.Bytes(), nil
}
