package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"fornix/cmd/fornix/batch"
	"fornix/inspect"
)

type judgeCmd struct {
	Dir      string `arg:"" help:"Folder of a batch (its --out)."`
	Protocol string `help:"Judge by the limits in FILE instead of the default ones." placeholder:"FILE"`
	Out      string `help:"Write tables and reports of the new judgement into this folder." placeholder:"DIR"`
}

// Help stands under the flags of fornix judge --help.
func (judgeCmd) Help() string {
	return `Lists the scans whose verdict changes. Numbers stay as they were measured: what a protocol file says under
[method] measures nothing anew. The results of the batch are not changed; --out makes tables as fornix batch does,
and beside them the reports as they are judged now.

Example:

  fornix judge study --protocol our-clinic.toml --out study-ours

Exit code: 0 done, 1 could not, 2 wrong use.`
}

// Run judges each stored result anew.
func (c judgeCmd) Run(s streams) error {
	p := inspect.DefaultProtocol()
	if c.Protocol != "" {
		var err error
		if p, err = readProtocol(c.Protocol); err != nil {
			return err
		}
	}
	l, err := batch.ReadList(c.Dir)
	if errors.Is(err, fs.ErrNotExist) {
		return &failure{exitUsage, c.Dir + ": no batch that ran to its end is there", "fornix batch makes one, or goes on with it"}
	}
	if err != nil {
		return &failure{exitFailed, c.Dir + ": " + err.Error(), "run the batch again"}
	}
	if a, err := os.Stat(c.Out); c.Out != "" && err == nil {
		if b, err := os.Stat(c.Dir); err == nil && os.SameFile(a, b) {
			return &failure{exitUsage, "--out is the folder of the batch itself", "give another folder"}
		}
	}
	changed := 0
	each := func(path string, r *inspect.Report) {
		before := r.Verdict
		r.Findings, r.Verdict = inspect.Judge(&r.Results, p)
		r.Protocol = p.ID()
		if r.Verdict != before {
			changed++
			fmt.Fprintf(s.out, "%s: %s -> %s\n", path, before, r.Verdict)
		}
	}
	var n batch.Count
	if c.Out == "" {
		n, err = l.Walk(c.Dir, each, func(batch.Row, string, *inspect.Report) error { return nil })
	} else {
		n, err = l.WriteTables(c.Dir, c.Out, each)
	}
	if err != nil {
		return &failure{exitFailed, err.Error(), "run the batch again, which measures what is damaged when its folder is removed"}
	}
	fmt.Fprintf(s.out, "%d of %d verdicts change by %s\n", changed, n.Scans-n.Failed, p.ID())
	if c.Out != "" {
		tellBatch(s.out, n, c.Out)
	}
	return nil
}
