package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"

	"fornix/inspect/phantom"
	"fornix/mesh"
)

type phantomCmd struct {
	Name    string   `arg:"" optional:"" help:"Name of the phantom, or random-upper, random-lower or random-pair."`
	Out     string   `help:"File to write: STL, or PLY or OBJ by its ending; the truth goes beside it as FILE.truth.json." placeholder:"FILE"`
	List    bool     `help:"List the names."`
	Seed    *int64   `help:"Seed of asymmetry, noise and, for a random one, of everything." placeholder:"N"`
	Spacing *float64 `help:"Mean distance of neighbouring vertices, mm." placeholder:"MM"`
	Noise   *float64 `help:"Standard deviation of the noise along the normals, mm." placeholder:"MM"`
	ASCII   bool     `help:"Write STL or PLY as text."`
	Apart   bool     `help:"Of a pair: put each scan in a frame of its own."`
	Closed  bool     `help:"Of a pair: write a scan of both closed too."`
}

// Help stands under the flags of fornix phantom --help.
func (phantomCmd) Help() string {
	return `A phantom is a synthetic scan whose answers are known by construction: what border, rim, voids and openings
it has stands in the truth file, in the scan's own coordinates. A pair is an upper and a lower with their rims
closed on each other; of --out pair.stl it makes pair-upper.stl, pair-lower.stl, their truths, and pair.truth.json
about both.

Examples:

  fornix phantom --list
  fornix phantom upper-voids --out upper-voids.stl
  fornix phantom random-lower --seed 7 --out lower-7.stl
  fornix phantom pair-back-right --out pair.stl`
}

// Run writes the scan and its truth.
func (c phantomCmd) Run(s streams) error {
	if c.List {
		names := append(phantom.Names(), phantom.PairNames()...)
		for _, name := range append(names, "random-lower", "random-pair", "random-upper") {
			fmt.Fprintln(s.out, name)
		}
		return nil
	}
	if c.Name == "" || c.Out == "" {
		return &failure{exitUsage, "a name and --out FILE are needed", "fornix phantom --list lists the names"}
	}
	if e := mesh.Ending(c.Out); e == ".zip" || strings.HasSuffix(e, ".gz") {
		return &failure{exitUsage, c.Out + ": phantoms are not written packed", "end the name in .stl, .ply or .obj"}
	}
	if pair, found := c.pair(); found {
		return c.runPair(s, pair)
	}
	if c.Apart || c.Closed {
		return &failure{exitUsage, "--apart and --closed say nothing of a single scan", "name a pair, such as pair-sound"}
	}
	p, err := c.params()
	if err != nil {
		return err
	}
	show := newProgress(s.err)
	show.say("making %s", c.Name)
	made, err := phantom.Make(p)
	show.clear()
	if err != nil {
		return &failure{exitUsage, err.Error(), "leave --spacing and --noise as they are, or give others"}
	}
	truth, err := writePhantom(c.Out, made, c.ASCII)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "%s: %d faces, seed %d\n%s: what is true of it\n", c.Out, len(made.Mesh.Tri), p.Seed, truth)
	return nil
}

func (c phantomCmd) params() (phantom.Params, error) {
	p, found := phantom.Named(c.Name)
	if jaw, random := strings.CutPrefix(c.Name, "random-"); random && (jaw == "upper" || jaw == "lower") {
		seed := int64(1)
		if c.Seed != nil {
			seed = *c.Seed
		}
		p, found = phantom.Random(seed, jaw), true
	}
	if !found {
		return p, &failure{exitUsage, fmt.Sprintf("no phantom has the name %q", c.Name), "fornix phantom --list lists the names"}
	}
	if c.Seed != nil {
		p.Seed = *c.Seed
	}
	if c.Spacing != nil {
		p.Spacing = *c.Spacing
	}
	if c.Noise != nil {
		p.Noise = *c.Noise
	}
	return p, nil
}

// writePhantom writes the scan, and its truth beside it, and returns the truth's path.
func writePhantom(path string, p *phantom.Phantom, ascii bool) (string, error) {
	var b bytes.Buffer
	var err error
	switch ending := mesh.Ending(path); {
	case ending == ".ply" && ascii:
		err = mesh.WritePLY(&b, p.Mesh, mesh.PLYASCII, p.Truth.Name)
	case ending == ".ply":
		err = mesh.WritePLY(&b, p.Mesh, mesh.PLYLittle, p.Truth.Name)
	case ending == ".obj":
		err = mesh.WriteOBJ(&b, p.Mesh)
	case ascii:
		err = mesh.WriteSTLASCII(&b, p.Mesh, p.Truth.Name)
	default:
		err = mesh.WriteSTL(&b, p.Mesh, p.Truth.Name)
	}
	if err != nil {
		return "", err
	}
	if err := writeFile(path, b.Bytes()); err != nil {
		return "", err
	}
	truth, err := json.MarshalIndent(p.Truth, "", " ")
	if err != nil {
		return "", err
	}
	beside := strings.TrimSuffix(path, filepath.Ext(path)) + ".truth.json"
	return beside, writeFile(beside, append(truth, '\n'))
}
