package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"

	"fornix/inspect"
	"fornix/render"
)

type relateCmd struct {
	Upper      string   `arg:"" help:"Scan of the upper impression with its rim." placeholder:"UPPER"`
	Lower      string   `arg:"" help:"Scan of the lower impression with its rim." placeholder:"LOWER"`
	Closed     string   `help:"Bring the two together by a scan of both closed, in FILE." placeholder:"FILE"`
	Pose       string   `help:"Bring the two together by the pose in FILE (JSON), which takes the lower's coordinates into the upper's." placeholder:"FILE"`
	References string   `help:"Ala-tragus plane, pupil line or hinge axis, as points or as angles of a transfer record, as JSON in FILE." placeholder:"FILE"`
	Raise      *float64 `help:"Work out the height raised by MM straight; negative lowers, 0 asks what closes the rims flat as they are." placeholder:"MM"`
	Turn       *float64 `help:"Work out the height raised by MM in front, by a turn about the hinge axis." placeholder:"MM"`
	Keep       string   `help:"With --raise or --turn, the rim that stays (upper, lower); else both meet half-way." enum:"upper,lower," default:"" placeholder:"JAW"`
	JSON       bool     `help:"Print the relation as JSON instead of the summary."`
	Out        string   `help:"Write DIR/relate.json, images, a page to turn both in (report.html) and the laboratory sheet." placeholder:"DIR"`
	Protocol   string   `help:"Judge by the limits in FILE instead of the default ones." placeholder:"FILE"`
	Unit       string   `help:"Say the unit of the files (mm, inch, m, um); else it is told by size and nothing is rescaled." enum:"mm,inch,m,um," default:"" placeholder:"UNIT"`
	NoImages   bool     `help:"With --out, write no images, no page and no sheet."`
	Case       string   `help:"Put the order in this case file on the sheet (see fornix case)." placeholder:"FILE"`
	Paper      string   `help:"Paper of the sheet: A4 or Letter." enum:"A4,Letter" default:"A4"`
	Quiet      bool     `short:"q" help:"Print no summary; errors are still told."`
}

// Help stands under the flags of fornix relate --help.
func (relateCmd) Help() string {
	return `Do the rims close flat and parallel, and at what height? The two scans must stand to each other as the rims close:
exported so, in one frame; or brought together by a scan of both closed, or by a pose. Scans that do not share a frame
are refused, not guessed at.

The gap is measured along the mean normal of both rims, wherever one lies over the other. A raised height moves the
lower jaw; the wax that each rim must gain or lose to meet flat again is worked out and drawn.

Examples:

  fornix relate upper.stl lower.stl --out closed
  fornix relate upper.stl lower.stl --closed both.stl
  fornix relate upper.stl lower.stl --raise 2 --keep upper
  fornix relate upper.stl lower.stl --turn 3 --references face.json

A references file holds what is known of {"in": "upper", "ala_tragus": [three points or more], "pupils": [right, left],
"hinge_axis": [right, left], "uncertainty_mm": 2, "transfer_record": {"ala_tragus_deg": 4, "pupils_deg": 1}}; "in" says in
which scan's coordinates the points are. Without a hinge axis an average one is taken, and said.

Exit code: 1 if they could not be related, else 3 if the verdict is not send, else 0.`
}

// Run relates two scans.
func (c relateCmd) Run(s streams) error {
	j, opt, err := c.job()
	if err != nil {
		return err
	}
	if j.order != nil {
		unprinted(s, c.Case, j.order)
	}
	show := newProgress(s.err)
	defer show.clear()
	paths := []string{c.Upper, c.Lower}
	if c.Closed != "" {
		paths = append(paths, c.Closed)
	}
	var scans []*inspect.Scan
	for _, path := range paths {
		show.say("reading %s", filepath.Base(path))
		scan, err := readScan(path, j.read)
		if err != nil {
			return &failure{exitFailed, path + ": " + err.Error(), hintFor(err)}
		}
		scans = append(scans, scan)
	}
	if c.Closed != "" {
		opt.Closed = scans[2]
	}
	show.say("relating %s and %s", filepath.Base(c.Upper), filepath.Base(c.Lower))
	out, err := relateScans(scans[0], scans[1], j.protocol, opt)
	if err != nil {
		return &failure{exitFailed, err.Error(), c.hint(err)}
	}
	if c.Out != "" {
		show.say("writing %s", c.Out)
		if err := writeRelation(c.Out, out, j, !c.NoImages); err != nil {
			return &failure{exitFailed, c.Out + ": " + plain(err), hintFor(err)}
		}
	}
	show.clear()
	if err := c.print(s, out.Relation); err != nil {
		return err
	}
	if out.Relation.Verdict != inspect.Send {
		return errNotSend
	}
	return nil
}

// job reads what the flags name, before any scan is opened.
func (c relateCmd) job() (job, inspect.RelateOptions, error) {
	j := job{protocol: inspect.DefaultProtocol(), read: inspect.ReadOptions{Unit: c.Unit}, paper: c.Paper}
	var opt inspect.RelateOptions
	var err error
	switch {
	case c.NoImages && c.Out == "":
		return j, opt, &failure{exitUsage, "--no-images says nothing without --out", "images are only made with --out DIR"}
	case c.Case != "" && (c.Out == "" || c.NoImages):
		return j, opt, &failure{exitUsage, "--case says nothing without a sheet", "sheets are only written with --out DIR"}
	case c.Closed != "" && c.Pose != "":
		return j, opt, &failure{exitUsage, "a scan of both closed and a pose cannot both bring the scans together", "give one of them"}
	case c.Keep != "" && c.Raise == nil && c.Turn == nil:
		return j, opt, &failure{exitUsage, "--keep says nothing without --raise or --turn", "--raise 0 asks what closes the rims flat at their height"}
	}
	const most = 30.0 // mm; no bite is changed by more
	for _, ch := range []struct {
		flag string
		mm   *float64
		turn bool
	}{{"--raise", c.Raise, false}, {"--turn", c.Turn, true}} {
		if ch.mm == nil {
			continue
		}
		if !(*ch.mm >= -most && *ch.mm <= most) {
			return j, opt, &failure{exitUsage, fmt.Sprintf("%s %g is no change of a height", ch.flag, *ch.mm), fmt.Sprintf("give mm from -%g to %g", most, most)}
		}
		opt.Changes = append(opt.Changes, inspect.Change{FrontMM: *ch.mm, Turn: ch.turn, Keep: inspect.Jaw(c.Keep)})
	}
	if c.Protocol != "" {
		if j.protocol, err = readProtocol(c.Protocol); err != nil {
			return j, opt, err
		}
	}
	if c.Case != "" {
		k, err := readCase(c.Case)
		if err != nil {
			return j, opt, err
		}
		j.order = &k
	}
	if c.Pose != "" {
		pose, err := readPose(c.Pose)
		if err != nil {
			return j, opt, err
		}
		motion := inspect.MotionOf(*pose)
		opt.Pose = &motion
	}
	if c.References != "" {
		f, err := os.Open(c.References)
		if err != nil {
			return j, opt, &failure{exitUsage, c.References + ": " + plain(err), "give the path of a JSON file"}
		}
		defer f.Close()
		if opt.References, err = inspect.ReadReferences(f); err != nil {
			return j, opt, &failure{exitUsage, c.References + ": " + err.Error(), `a line is written "pupils": [[x, y, z], [x, y, z]], the patient's right first`}
		}
	}
	return j, opt, nil
}

// hint says what helps where two scans could not be related.
func (c relateCmd) hint(err error) string {
	switch {
	case errors.Is(err, inspect.ErrNotPair):
		return "give the upper impression first, then the lower, both with their rims"
	case errors.Is(err, inspect.ErrReference):
		return "check in which scan's coordinates the points are (\"in\"), and that the patient's right comes first"
	case errors.Is(err, inspect.ErrNotShared) && c.Pose != "":
		return "the pose must take the lower scan's coordinates into the upper's; its inverse may be the one"
	case errors.Is(err, inspect.ErrNotShared) && c.Closed != "":
		return "the scan of both must show much of the outer side of each, with the rims closed"
	case errors.Is(err, inspect.ErrNotShared):
		return "export both as they close, or give --closed with a scan of both closed, or --pose"
	}
	return "keep both scans, and tell the makers"
}

func (c relateCmd) print(s streams, r *inspect.Relation) error {
	var b bytes.Buffer
	var err error
	switch {
	case c.JSON:
		err = inspect.WriteRelationJSON(&b, r)
	case c.Quiet:
	default:
		err = inspect.WriteRelationText(&b, r)
	}
	if err != nil {
		return err
	}
	_, err = s.out.Write(b.Bytes())
	return err
}

// relateScans relates two scans; a fault in the program is an error.
func relateScans(upper, lower *inspect.Scan, p inspect.Protocol, opt inspect.RelateOptions) (out *inspect.RelateOutcome, err error) {
	defer func() {
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("fornix failed on these scans, which is a fault of fornix: %v", p)
		}
	}()
	return inspect.Relate(upper, lower, p, opt)
}

// relationImages draws the pictures of a relation.
func relationImages(p *render.Pair) (out []render.Image, err error) {
	defer func() {
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("fornix failed to draw these scans, which is a fault of fornix: %v", p)
		}
	}()
	return render.RelationImages(p, render.Options{})
}

// pairPage writes the page of a relation, with some of its pictures.
func pairPage(p *render.Pair, pictures []render.Image) (out []byte, err error) {
	defer func() {
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("fornix failed to write the page of these scans, which is a fault of fornix: %v", p)
		}
	}()
	return render.PairPage(p, pictures)
}

// related are the names of images that an earlier run may have left.
var related = regexp.MustCompile(`^(closed-(front|left|right|back)|gap-(upper|lower)|overlap|wax-\d+-(upper|lower))\.png$`)

// writeRelation writes relate.json, the images, the page and the sheet into dir, as writeReport does a report.
func writeRelation(dir string, o *inspect.RelateOutcome, j job, withImages bool) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	written := map[string]bool{}
	if withImages {
		upper, lower := render.NewScan(o.Upper.Mesh, o.Upper.Report), render.NewScan(o.Lower.Mesh, o.Lower.Report)
		pair := render.NewPair(o, upper, lower)
		pictures, err := relationImages(pair)
		if err != nil {
			return fmt.Errorf("images: %w", err)
		}
		for _, im := range pictures {
			if err := writeFile(filepath.Join(dir, im.Name), im.PNG); err != nil {
				return err
			}
			written[im.Name] = true
		}
		html, err := pairPage(pair, pictures)
		if err != nil {
			return fmt.Errorf("page: %w", err)
		}
		if err := writeFile(filepath.Join(dir, pageName), html); err != nil {
			return err
		}
		written[pageName] = true
		paper, err := sheet(render.SheetInput{
			Scans:    []*render.Scan{upper, lower},
			Relation: pair,
		}, j)
		if err != nil {
			return fmt.Errorf("sheet: %w", err)
		}
		if err := writeFile(filepath.Join(dir, sheetName), paper); err != nil {
			return err
		}
		written[sheetName] = true
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if (related.MatchString(e.Name()) || e.Name() == sheetName || e.Name() == pageName) && !written[e.Name()] {
			if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
				return err
			}
		}
	}
	var b bytes.Buffer
	if err := inspect.WriteRelationJSON(&b, o.Relation); err != nil {
		return err
	}
	return writeFile(filepath.Join(dir, "relate.json"), b.Bytes())
}
