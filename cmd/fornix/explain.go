package main

import (
	"fmt"

	"fornix/inspect"
	"fornix/inspect/study"
)

type explainCmd struct {
	Code     string `arg:"" optional:"" help:"Code of a finding, such as border-thin, or of a statistic of fornix study; none lists all."`
	Protocol string `help:"Tell the limits of this protocol file." placeholder:"FILE"`
}

// Help stands under the flags of fornix explain --help.
func (explainCmd) Help() string {
	return `Examples:

  fornix explain                           list every code
  fornix explain border-thin               what it is, how it is measured, the limits and their sources
  fornix explain limits-of-agreement       what a number of fornix study means; s_r and the like are known too`
}

// Run prints one help page, or the list of all codes.
func (c explainCmd) Run(s streams) error {
	if c.Code == "" {
		for _, e := range inspect.Explanations() {
			fmt.Fprintf(s.out, "%-22s %s\n", e.Code, e.Title)
		}
		for _, e := range study.Pages() {
			fmt.Fprintf(s.out, "%-22s %s\n", e.Code, e.Title)
		}
		return nil
	}
	p := inspect.DefaultProtocol()
	if c.Protocol != "" {
		var err error
		if p, err = readProtocol(c.Protocol); err != nil {
			return err
		}
	}
	e, found := inspect.Explain(c.Code)
	if !found {
		e, found = study.Explain(c.Code)
	}
	if !found {
		return &failure{exitUsage, fmt.Sprintf("%q is the code of no finding and of no statistic", c.Code), "fornix explain lists every code"}
	}
	return inspect.WriteExplanation(s.out, e, p)
}
