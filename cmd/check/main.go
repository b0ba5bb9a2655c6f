// Command check is the one command that tells whether the tree is good: it installs what the
// tests need, looks at the form of the code, runs every test, builds for each system, and runs
// the commands of README.md.
//
//	go run ./cmd/check           everything
//	go run ./cmd/check -quick    no race detector, no other systems, no static checker
//	go run ./cmd/check -readme   write the real output into README.md instead of comparing
//	go run ./cmd/check -page     make the page's script anew from its modules and three.js
//	go run ./cmd/check release   build the programs that are handed out, into ./release
//	go run ./cmd/check speed     time the main work beside general-purpose libraries
//	go run ./cmd/check accuracy  measure phantoms of random parameters and print what was reached
package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"time"
)

// staticcheck is run by version, so that nothing of it enters this module's go.mod.
const staticcheck = "honnef.co/go/tools/cmd/staticcheck@v0.8.2"

// result is what one step says.
type result struct {
	passed, failed int
	said           string // what was wrong, or ""
}

type step struct {
	name string
	slow bool // left out by -quick
	run  func() result
}

func main() {
	if len(os.Args) > 1 && os.Args[1] == "accuracy" {
		os.Exit(accuracy(os.Args[2:], os.Stdout, os.Stderr))
	}
	if len(os.Args) > 1 && os.Args[1] == "release" {
		os.Exit(release(os.Args[2:], os.Stdout, os.Stderr))
	}
	if len(os.Args) > 1 && os.Args[1] == "speed" {
		os.Exit(speed(os.Args[2:], os.Stdout, os.Stderr))
	}
	quick := flag.Bool("quick", false, "leave out the race detector, the other systems and the static checker")
	readme := flag.Bool("readme", false, "write the real output of its commands into README.md")
	page := flag.Bool("page", false, "make the page's script anew")
	flag.Parse()
	for _, write := range []struct {
		asked bool
		run   func() result
	}{{*readme, func() result { return readmeCommands(true) }}, {*page, writePage}} {
		if !write.asked {
			continue
		}
		if r := write.run(); r.failed > 0 {
			fmt.Print(r.said)
			os.Exit(1)
		}
		return
	}
	steps := []step{
		{"tools", true, install},
		{"reference libraries", true, installOracles},
		{"browser", true, installBrowser},
		{"gofmt", false, gofmt},
		{"vet", false, command("go", "vet", "./...")},
		{"staticcheck", true, command("go", "run", staticcheck, "./...")},
		{"test", false, test},
		{"race", true, race},
		{"build linux", true, build("linux", "amd64")},
		{"build windows", true, build("windows", "amd64")},
		{"build darwin", true, build("darwin", "arm64")},
		{"readme", false, func() result { return readmeCommands(false) }},
	}
	var sum result
	for _, s := range steps {
		if s.slow && *quick {
			continue
		}
		start := time.Now()
		r := s.run()
		sum.passed += r.passed
		sum.failed += r.failed
		word := "ok"
		if r.failed > 0 {
			word = "FAIL"
			fmt.Println(strings.TrimRight(r.said, "\n"))
		}
		fmt.Printf("%-4s  %s (%.1f s)\n", word, s.name, time.Since(start).Seconds())
	}
	fmt.Printf("%d passed, %d failed\n", sum.passed, sum.failed)
	if sum.failed > 0 {
		os.Exit(1)
	}
}

func pass() result { return result{passed: 1} }

func fail(format string, args ...any) result {
	return result{failed: 1, said: fmt.Sprintf(format, args...)}
}

// command passes when the command does.
func command(name string, args ...string) func() result {
	return func() result {
		out, err := exec.Command(name, args...).CombinedOutput()
		if err != nil {
			return fail("%s\n%s: %v", out, strings.Join(append([]string{name}, args...), " "), err)
		}
		return pass()
	}
}

// gofmt passes when no file would be changed.
func gofmt() result {
	out, err := exec.Command("gofmt", "-l", ".").CombinedOutput()
	if err != nil || len(bytes.TrimSpace(out)) > 0 {
		return fail("not formatted:\n%s", out)
	}
	return pass()
}

// install gets the C compiler that the race detector needs, by Debian's package manager. On
// another system, or without the right to install, it only says so: the race step then tells.
func install() result {
	if _, err := exec.LookPath("gcc"); err == nil {
		return pass()
	}
	apt, err := exec.LookPath("apt-get")
	if err != nil || os.Geteuid() != 0 {
		fmt.Println("no C compiler and no way to install one: the race detector will be left out")
		return pass()
	}
	for _, args := range [][]string{{"update", "-q"}, {"install", "-y", "-q", "--no-install-recommends", "gcc", "libc6-dev"}} {
		c := exec.Command(apt, args...)
		c.Env = append(os.Environ(), "DEBIAN_FRONTEND=noninteractive")
		if out, err := c.CombinedOutput(); err != nil {
			return fail("%s\napt-get %s: %v", out, args[0], err)
		}
	}
	return pass()
}

// build passes when every command builds for the system without cgo.
func build(system, arch string) func() result {
	return func() result {
		c := exec.Command("go", "build", "-o", os.DevNull, "./cmd/fornix")
		c.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+system, "GOARCH="+arch)
		if out, err := c.CombinedOutput(); err != nil {
			return fail("%s\nbuild for %s: %v", out, system, err)
		}
		return pass()
	}
}
