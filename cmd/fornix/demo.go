package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/render"
)

type demoCmd struct {
	Out string `help:"Directory to write to." default:"fornix-demo" placeholder:"DIR"`
}

// Help stands under the flags of fornix demo --help.
func (demoCmd) Help() string {
	return `Makes two synthetic scans of an invented patient, an upper with faults in the material and a lower with a
canted rim, closed on each other so that the rims touch only behind on the right; inspects them, relates them, and
writes scans, truths, reports, images and the laboratory sheet to ./fornix-demo.`
}

// demoCases are what the demo inspects: phantoms by name, and what to look for in each.
var demoCases = [2]struct{ name, picture, look string }{
	{"upper-voids", "tissue.png", "faults of the material, ringed and numbered"},
	{"lower-canted", "front.png", "the rim, which leans to one side"},
}

// demoPair is how the two are closed on each other.
const demoPair = "pair-back-right"

// Run makes the case and inspects it. It is done when the files are there, whatever the verdicts.
func (c demoCmd) Run(s streams) error {
	show := newProgress(s.err)
	defer show.clear()
	j := job{protocol: inspect.DefaultProtocol()}
	var read [2]*inspect.Scan
	show.say("making the scans")
	if err := c.scans(); err != nil {
		return err
	}
	for i, d := range demoCases {
		var err error
		if read[i], err = readScan(filepath.Join(c.Out, "scans", d.name+".stl"), j.read); err != nil {
			return err
		}
	}
	show.say("inspecting and relating them")
	pair, err := relateScans(read[0], read[1], j.protocol, inspect.RelateOptions{})
	if err != nil {
		return err
	}
	for i, o := range [2]*inspect.Outcome{pair.Upper, pair.Lower} {
		d := demoCases[i]
		show.say("writing %s", d.name)
		if err := writeReport(filepath.Join(c.Out, d.name), o.Report, render.NewScan(o.Mesh, o.Report), j); err != nil {
			return err
		}
		show.clear()
		c.summary(s, o.Report.Findings, o.Report.Verdict, d.name)
		fmt.Fprintf(s.out, "  Open %s: %s.\n  Open %s: the scan to turn, cut and measure, and all that was found.\n\n",
			filepath.Join(c.Out, d.name, d.picture), d.look, filepath.Join(c.Out, d.name, pageName))
	}
	show.say("writing the pair")
	dir := filepath.Join(c.Out, "pair")
	if err := writeRelation(dir, pair, j, true); err != nil {
		return err
	}
	show.clear()
	c.summary(s, pair.Relation.Findings, pair.Relation.Verdict, "both closed on each other")
	fmt.Fprintf(s.out, "  Open %s: the gap between the rims, as a map.\n  Open %s: both jaws to turn, open and cut, and all that was found.\n  Open %s: all of it on paper.\n\n",
		filepath.Join(dir, "gap-lower.png"), filepath.Join(dir, pageName), filepath.Join(dir, sheetName))
	scans := filepath.Join(c.Out, "scans")
	fmt.Fprintf(s.out, "The scans and what is true of them are in %s. To see a summary:\n  fornix inspect %s\n",
		scans, filepath.Join(scans, demoCases[0].name+".stl"))
	return nil
}

// scans makes the two scans in one frame.
func (c demoCmd) scans() error {
	dir := filepath.Join(c.Out, "scans")
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	p, found := phantom.NamedPair(demoPair)
	var upper, lower bool
	p.Upper, upper = phantom.Named(demoCases[0].name)
	p.Lower, lower = phantom.Named(demoCases[1].name)
	if !found || !upper || !lower {
		return errors.New("a phantom of the demo is gone")
	}
	made, err := phantom.MakePair(p)
	if err != nil {
		return err
	}
	for i, m := range [2]*phantom.Phantom{made.Upper, made.Lower} {
		if _, err := writePhantom(filepath.Join(dir, demoCases[i].name+".stl"), m, false); err != nil {
			return err
		}
	}
	return nil
}

func (c demoCmd) summary(s streams, findings []inspect.Finding, v inspect.Verdict, name string) {
	fmt.Fprintf(s.out, "%s: %s: %s.\n", name, strings.ToUpper(string(v)), v.Means())
	shown := 0
	for _, f := range findings {
		if f.Severity != inspect.Info && shown < 3 {
			fmt.Fprintln(s.out, "  "+f.Text)
			shown++
		}
	}
}
