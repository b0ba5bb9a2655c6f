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

// pair returns what is asked of a pair, if the name is that of one.
func (c phantomCmd) pair() (phantom.PairParams, bool) {
	p, found := phantom.NamedPair(c.Name)
	seed := int64(1)
	if c.Seed != nil {
		seed = *c.Seed
	}
	if c.Name == "random-pair" {
		p, found = phantom.RandomPair(seed), true
	} else if c.Seed != nil {
		p.Reseed(seed)
	}
	for _, j := range []*phantom.Params{&p.Upper, &p.Lower} {
		if c.Spacing != nil {
			j.Spacing = *c.Spacing
		}
		if c.Noise != nil {
			j.Noise = *c.Noise
		}
	}
	p.Apart, p.Closed = c.Apart, c.Closed
	return p, found
}

// runPair writes both scans, their truths and the pair's.
func (c phantomCmd) runPair(s streams, p phantom.PairParams) error {
	show := newProgress(s.err)
	show.say("making %s", c.Name)
	made, err := phantom.MakePair(p)
	show.clear()
	if err != nil {
		return &failure{exitUsage, err.Error(), "leave --spacing and --noise as they are, or give others"}
	}
	stem := strings.TrimSuffix(c.Out, filepath.Ext(c.Out))
	for _, j := range []*phantom.Phantom{made.Upper, made.Lower} {
		path := stem + "-" + j.Truth.Jaw + ".stl"
		truth, err := writePhantom(path, j, c.ASCII)
		if err != nil {
			return err
		}
		fmt.Fprintf(s.out, "%s: %d faces\n%s: what is true of it\n", path, len(j.Mesh.Tri), truth)
	}
	if made.Closed != nil {
		var b bytes.Buffer
		if err := mesh.WriteSTL(&b, made.Closed, c.Name+" closed"); err != nil {
			return err
		}
		path := stem + "-closed.stl"
		if err := writeFile(path, b.Bytes()); err != nil {
			return err
		}
		fmt.Fprintf(s.out, "%s: %d faces, both closed\n", path, len(made.Closed.Tri))
	}
	truth, err := json.MarshalIndent(made.Truth, "", " ")
	if err != nil {
		return err
	}
	path := stem + ".truth.json"
	fmt.Fprintf(s.out, "%s: what is true of both, seed %d\n", path, p.Seed)
	return writeFile(path, append(truth, '\n'))
}
