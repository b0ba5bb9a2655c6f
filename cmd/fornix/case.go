package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"fornix/inspect/casefile"
	"fornix/mesh"
	"fornix/render"
)

type caseCmd struct {
	New   caseNewCmd   `cmd:"" help:"Write an empty case file to fill in."`
	Check caseCheckCmd `cmd:"" help:"Tell what a case file lacks for its stage."`
}

type caseNewCmd struct {
	File  string `arg:"" help:"File to write; one that is there is left alone." placeholder:"FILE"`
	Stage string `help:"Stage of the work: final-impression, jaw-relation, tooth-set-up or finish." enum:"final-impression,jaw-relation,tooth-set-up,finish" default:"final-impression" placeholder:"STAGE"`
}

// Help stands under the flags of fornix case new --help.
func (caseNewCmd) Help() string {
	return `A case file holds the order that travels to the laboratory, as commented text to fill in. It names the patient
by a number only.

Examples:

  fornix case new case.toml
  fornix case new case.toml --stage jaw-relation
  fornix inspect upper.stl --case case.toml --out reports`
}

// Run writes the template.
func (c caseNewCmd) Run(s streams) error {
	if _, err := os.Lstat(c.File); err == nil {
		return &failure{exitUsage, c.File + ": is there already", "give another name, or move the file away"}
	}
	stage := strings.ReplaceAll(c.Stage, "-", " ")
	if c.Stage == "tooth-set-up" {
		stage = casefile.ToothSetUp
	}
	var b bytes.Buffer
	if err := casefile.WriteTemplate(&b, stage); err != nil {
		return err
	}
	if err := writeFile(c.File, b.Bytes()); err != nil {
		return &failure{exitFailed, c.File + ": " + plain(err), "give a path that you may write to"}
	}
	_, err := fmt.Fprintf(s.out, "%s: fill it in, then: fornix case check %s\n", c.File, c.File)
	return err
}

type caseCheckCmd struct {
	File string `arg:"" help:"Case file." placeholder:"FILE"`
}

// Help stands under the flags of fornix case check --help.
func (caseCheckCmd) Help() string {
	return `Exit code: 0 if the case can be sent, 3 if something is missing or looks like a person, 2 if the file is wrong.`
}

// Run lists what is missing.
func (c caseCheckCmd) Run(s streams) error {
	k, err := readCase(c.File)
	if err != nil {
		return err
	}
	gaps := k.Missing("")
	for _, g := range gaps {
		fmt.Fprintf(s.out, "%s: %s\n", g.Key, g.Text)
	}
	unprinted(s, c.File, &k)
	warnings := personal(s, c.File)
	if len(gaps) > 0 || warnings {
		return errNotSend
	}
	_, err = fmt.Fprintf(s.out, "%s: nothing is missing for the stage %s\n", c.File, k.Order.Stage)
	return err
}

// readCase reads a case file.
func readCase(path string) (casefile.Case, error) {
	f, err := os.Open(path)
	if err != nil {
		return casefile.Case{}, &failure{exitUsage, path + ": " + plain(err), "fornix case new FILE writes one"}
	}
	defer f.Close()
	k, err := casefile.Read(f, path)
	if err != nil {
		return k, &failure{exitUsage, err.Error(), "fornix case new FILE writes one with every key"}
	}
	return k, nil
}

// unprinted warns of fields that the laboratory sheet cannot print as they are written.
func unprinted(s streams, path string, k *casefile.Case) {
	for _, u := range render.UnprintedFields(k) {
		fmt.Fprintf(s.err, "fornix: %s, %s: %s\n", path, u.Key, u.Text())
	}
}

// personal warns where a file's name, or the text in a scan's header, looks like a person's name or
// date of birth, and reports whether it did.
func personal(s streams, path string) (found bool) {
	tell := func(where, text string) {
		for _, w := range casefile.LooksPersonal(text) {
			fmt.Fprintf(s.err, "fornix: %s, %s: %q looks like a %s; it would leave the house with the scan\n", path, where, w.Text, w.Kind)
			found = true
		}
	}
	tell("file name", filepath.Base(path))
	if mesh.Ending(path) == "" {
		return found
	}
	f, err := os.Open(path)
	if err != nil {
		return found // told when it is read
	}
	defer f.Close()
	head, err := io.ReadAll(io.LimitReader(f, 1<<16))
	if err == nil {
		tell("header", casefile.Header(head))
	}
	return found
}
