package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"fornix/inspect"
	"fornix/inspect/phantom"
)

type demoCmd struct {
	Out string `help:"Directory to write to." default:"fornix-demo" placeholder:"DIR"`
}

// Help stands under the flags of fornix demo --help.
func (demoCmd) Help() string {
	return `Makes two synthetic scans of an invented patient, an upper with faults in the material and a lower with a
canted rim, inspects them, and writes scans, truths, reports and images to ./fornix-demo.`
}

// demoCases are what the demo inspects: phantoms by name, and what to look for in each.
var demoCases = []struct{ name, picture, look string }{
	{"upper-voids", "tissue.png", "faults of the material, ringed and numbered"},
	{"lower-canted", "front.png", "the rim, which leans to one side"},
}

// Run makes the case and inspects it. It is done when the files are there, whatever the verdicts.
func (c demoCmd) Run(s streams) error {
	scans := filepath.Join(c.Out, "scans")
	if err := os.MkdirAll(scans, 0o755); err != nil {
		return err
	}
	show := newProgress(s.err)
	defer show.clear()
	j := job{protocol: inspect.DefaultProtocol()}
	for _, d := range demoCases {
		show.say("making %s", d.name)
		p, found := phantom.Named(d.name)
		if !found {
			return fmt.Errorf("the phantom %s is gone", d.name)
		}
		made, err := phantom.Make(p)
		if err != nil {
			return err
		}
		path := filepath.Join(scans, d.name+".stl")
		if _, err := writePhantom(path, made, false); err != nil {
			return err
		}
		show.say("inspecting %s", d.name)
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		o, err := inspectScan(f, d.name+".stl", j)
		f.Close()
		if err != nil {
			return err
		}
		if err := writeReport(filepath.Join(c.Out, d.name), o, j, true); err != nil {
			return err
		}
		show.clear()
		c.summary(s, o.Report, d.name, d.picture, d.look)
	}
	fmt.Fprintf(s.out, "The scans and what is true of them are in %s. To see a summary:\n  fornix inspect %s\n",
		scans, filepath.Join(scans, demoCases[0].name+".stl"))
	return nil
}

func (c demoCmd) summary(s streams, r *inspect.Report, name, picture, look string) {
	fmt.Fprintf(s.out, "%s: %s: %s.\n", name, strings.ToUpper(string(r.Verdict)), r.Verdict.Means())
	shown := 0
	for _, f := range r.Findings {
		if f.Severity != inspect.Info && shown < 3 {
			fmt.Fprintln(s.out, "  "+f.Text)
			shown++
		}
	}
	fmt.Fprintf(s.out, "  Open %s: %s.\n  Open %s: the scan to turn, cut and measure, and all that was found.\n\n",
		filepath.Join(c.Out, name, picture), look, filepath.Join(c.Out, name, pageName))
}
