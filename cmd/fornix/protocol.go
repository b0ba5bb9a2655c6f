package main

import (
	"fmt"
	"io"
	"os"

	"fornix/inspect"
)

type protocolCmd struct {
	Show  protocolShowCmd  `cmd:"" help:"Print the protocol: every limit with unit and source."`
	Check protocolCheckCmd `cmd:"" help:"Tell whether a protocol file is right, and what it changes."`
}

type protocolShowCmd struct {
	File string `arg:"" optional:"" help:"Print the default protocol with this file's changes." placeholder:"FILE"`
}

// Help stands under the flags of fornix protocol show --help.
func (protocolShowCmd) Help() string {
	return `Examples:

  fornix protocol show                     the default protocol, with its comments
  fornix protocol show our-clinic.toml     every value that would judge with that file`
}

// Run prints the embedded file as it is, or all values of the file laid over it.
func (c protocolShowCmd) Run(s streams) error {
	if c.File == "" {
		_, err := io.WriteString(s.out, inspect.DefaultProtocolText)
		return err
	}
	p, err := readProtocol(c.File)
	if err != nil {
		return err
	}
	return inspect.WriteProtocol(s.out, p)
}

type protocolCheckCmd struct {
	File string `arg:"" help:"TOML file with your limits."`
}

// Help stands under the flags of fornix protocol check --help.
func (protocolCheckCmd) Help() string {
	return `A protocol file names only what differs from the default:

  [protocol]
  name = "our clinic"
  version = "1"

  [limits.void]
  review = 1.0
  source = "own choice: voids over 1 mm were remade last year"`
}

// Run tells what the file changes.
func (c protocolCheckCmd) Run(s streams) error {
	p, err := readProtocol(c.File)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s is right: %s\n", c.File, p.ID())
	for _, line := range inspect.Differences(inspect.DefaultProtocol(), p) {
		fmt.Fprintln(s.out, "  "+line)
	}
	return nil
}

func readProtocol(path string) (inspect.Protocol, error) {
	f, err := os.Open(path)
	if err != nil {
		return inspect.Protocol{}, &failure{exitUsage, path + ": " + plain(err), "give the path of a TOML file"}
	}
	defer f.Close()
	p, err := inspect.ReadProtocol(f, path)
	if err != nil {
		return p, &failure{exitUsage, err.Error(), "fornix protocol show prints a protocol with every key"}
	}
	return p, nil
}
