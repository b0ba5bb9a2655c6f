package main

import (
	"fmt"
	"runtime/debug"

	"github.com/alecthomas/kong"
)

// Set by the linker where a release is built (cmd/check release).
var version, commit string

// versionText is the name, the version and the commit: those of the release, or what the build
// itself knows.
func versionText() string {
	v, c := version, commit
	if info, ok := debug.ReadBuildInfo(); ok && v == "" {
		v = "(built from source)"
		if m := info.Main.Version; m != "" && m != "(devel)" {
			v = m
		}
		for _, set := range info.Settings {
			if set.Key == "vcs.revision" {
				c = set.Value
			}
		}
	}
	if len(c) >= 12 {
		v += " " + c[:12]
	}
	return "fornix " + v
}

type versionCmd struct{}

// Run prints the version.
func (versionCmd) Run(s streams) error {
	_, err := fmt.Fprintln(s.out, versionText())
	return err
}

// versionFlag is --version: the same line, before anything else is looked at.
type versionFlag bool

// BeforeReset is called by kong when the flag is there.
func (versionFlag) BeforeReset(app *kong.Kong) error {
	_, err := fmt.Fprintln(app.Stdout, versionText())
	app.Exit(exitDone)
	return err
}
