package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"

	"fornix/inspect"
	"fornix/mesh/register"
	"fornix/render"
)

type compareCmd struct {
	A          string `arg:"" help:"Scan that is compared with: the first impression, the state before, the impression, the reference." placeholder:"A"`
	B          string `arg:"" help:"Scan that is compared: the retake, the state after, the cast, the scan under test." placeholder:"B"`
	As         string `required:"" help:"What for: retake, layer, cast, repeat or reference." enum:"retake,layer,cast,repeat,reference" placeholder:"PURPOSE"`
	Zone       string `help:"Part of A that aligns: all, stable (palate and crest), tissue (fitting surface) or outer; else the usual one of the purpose." enum:"all,stable,tissue,outer," default:"" placeholder:"ZONE"`
	LandmarksA string `name:"landmarks-a" help:"Start from landmarks of A, as JSON in FILE; three or more are also needed of B." placeholder:"FILE"`
	LandmarksB string `name:"landmarks-b" help:"Landmarks of B, by the same names." placeholder:"FILE"`
	Pose       string `help:"Lay B on A by the pose in FILE (JSON: a matrix, or a compare.json) and search for none." placeholder:"FILE"`
	JSON       bool   `help:"Print the comparison as JSON instead of the summary."`
	Out        string `help:"Write DIR/compare.json, compare.csv and images." placeholder:"DIR"`
	Protocol   string `help:"Judge by the limits in FILE instead of the default ones." placeholder:"FILE"`
	Jaw        string `help:"Say which jaw it is (upper, lower) instead of having it found." enum:"upper,lower," default:"" placeholder:"JAW"`
	Unit       string `help:"Say the unit of the files (mm, inch, m, um); else it is told by size and nothing is rescaled." enum:"mm,inch,m,um," default:"" placeholder:"UNIT"`
	NoImages   bool   `help:"With --out, write no images."`
	Quiet      bool   `short:"q" help:"Print no summary; errors are still told."`
}

// Help stands under the flags of fornix compare --help.
func (compareCmd) Help() string {
	return `The two scans need not lie in one frame: B is laid on A first, on the part of the surface that the purpose
takes for unchanged, and the comparison is refused where nothing settles how.

  retake     another impression against the first: aligned on palate and crest, which do not move
  layer      after a wash or a trim against before: what was added or taken off, how thick, where it shows through
  cast       the cast against the impression that it was poured from, one of them turned inside out
  repeat     one object scanned twice: precision, as in ISO 5725-1
  reference  a scan against a reference scan: trueness, as in ISO 5725-1

Distances are positive where B lies outside A (cast: where there is a gap). Each way is weighted by area; where one
scan ends or has a hole, nothing is compared.

Examples:

  fornix compare before.stl after.stl --as layer --out wash
  fornix compare impression.stl cast.stl --as cast
  fornix compare first.stl second.stl --as repeat --json > repeat.json
  fornix compare a.stl b.stl --as retake --landmarks-a a.json --landmarks-b b.json

Exit code: 1 if they could not be compared, else 3 if the verdict is not send, else 0.`
}

// Run compares two scans.
func (c compareCmd) Run(s streams) error {
	j, opt, err := c.job()
	if err != nil {
		return err
	}
	show := newProgress(s.err)
	defer show.clear()
	var scans [2]*inspect.Scan
	for i, path := range []string{c.A, c.B} {
		show.say("reading %s", filepath.Base(path))
		if scans[i], err = readScan(path, j.read); err != nil {
			return &failure{exitFailed, path + ": " + err.Error(), hintFor(err)}
		}
	}
	show.say("comparing %s with %s", filepath.Base(c.B), filepath.Base(c.A))
	out, err := compareScans(scans[0], scans[1], j.protocol, opt)
	if err != nil {
		var u *inspect.Unlike
		if errors.As(err, &u) {
			return &failure{exitFailed, u.Text, u.Hint}
		}
		return &failure{exitFailed, err.Error(), "keep both scans, and tell the makers"}
	}
	if c.Out != "" {
		show.say("writing %s", c.Out)
		if err := writeComparison(c.Out, out, !c.NoImages); err != nil {
			return &failure{exitFailed, c.Out + ": " + plain(err), hintFor(err)}
		}
	}
	show.clear()
	if err := c.print(s, out.Comparison); err != nil {
		return err
	}
	if out.Comparison.Verdict != inspect.Send {
		return errNotSend
	}
	return nil
}

// job reads what the flags name, before any scan is opened.
func (c compareCmd) job() (job, inspect.CompareOptions, error) {
	j := job{protocol: inspect.DefaultProtocol(), read: inspect.ReadOptions{Unit: c.Unit}}
	opt := inspect.CompareOptions{Purpose: inspect.Purpose(c.As), Zone: c.Zone, Jaw: inspect.Jaw(c.Jaw)}
	var err error
	switch {
	case c.NoImages && c.Out == "":
		return j, opt, &failure{exitUsage, "--no-images says nothing without --out", "images are only made with --out DIR"}
	case (c.LandmarksA == "") != (c.LandmarksB == ""):
		return j, opt, &failure{exitUsage, "landmarks of one scan alone start nothing", "give both --landmarks-a and --landmarks-b"}
	case c.Pose != "" && c.LandmarksA != "":
		return j, opt, &failure{exitUsage, "a pose and landmarks cannot both be the start", "give one of them"}
	}
	if c.Protocol != "" {
		if j.protocol, err = readProtocol(c.Protocol); err != nil {
			return j, opt, err
		}
	}
	if c.LandmarksA != "" {
		if opt.GivenA, err = readGiven(c.LandmarksA); err != nil {
			return j, opt, err
		}
		if opt.GivenB, err = readGiven(c.LandmarksB); err != nil {
			return j, opt, err
		}
	}
	if c.Pose != "" {
		if opt.Pose, err = readPose(c.Pose); err != nil {
			return j, opt, err
		}
	}
	return j, opt, nil
}

// readScan reads a scan from a file.
func readScan(path string, opt inspect.ReadOptions) (*inspect.Scan, error) {
	f, err := openScan(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return inspect.Read(f, filepath.Base(path), opt)
}

// readPose reads a file with a pose.
func readPose(path string) (*register.Pose, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &failure{exitUsage, path + ": " + plain(err), "give the path of a JSON file"}
	}
	defer f.Close()
	pose, err := inspect.ReadPose(f)
	if err != nil {
		return nil, &failure{exitUsage, path + ": " + err.Error(), "a pose is written [[1, 0, 0, x], [0, 1, 0, y], [0, 0, 1, z], [0, 0, 0, 1]]"}
	}
	return &pose, nil
}

func (c compareCmd) print(s streams, r *inspect.Comparison) error {
	var b bytes.Buffer
	var err error
	switch {
	case c.JSON:
		err = inspect.WriteComparisonJSON(&b, r)
	case c.Quiet:
	default:
		err = inspect.WriteComparisonText(&b, r)
	}
	if err != nil {
		return err
	}
	_, err = s.out.Write(b.Bytes())
	return err
}

// compareScans compares two scans; a fault in the program is an error.
func compareScans(a, b *inspect.Scan, p inspect.Protocol, opt inspect.CompareOptions) (out *inspect.CompareOutcome, err error) {
	defer func() {
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("fornix failed on these scans, which is a fault of fornix: %v", p)
		}
	}()
	return inspect.Compare(a, b, p, opt)
}

// comparisonImages draws the pictures of a comparison.
func comparisonImages(o *inspect.CompareOutcome) (out []render.Image, err error) {
	defer func() {
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("fornix failed to draw this comparison, which is a fault of fornix: %v", p)
		}
	}()
	return render.ComparisonImages(o, render.Options{})
}

// compared are the names of images that an earlier comparison may have left.
var compared = regexp.MustCompile(`^([ab]-(tissue|oral|front|left|right|back)|spread)\.png$`)

// writeComparison writes the images, compare.csv and, last, compare.json into dir. Images of an earlier
// comparison that this one does not have are removed.
func writeComparison(dir string, o *inspect.CompareOutcome, withImages bool) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	written := map[string]bool{}
	if withImages {
		pictures, err := comparisonImages(o)
		if err != nil {
			return fmt.Errorf("images: %w", err)
		}
		for _, im := range pictures {
			if err := writeFile(filepath.Join(dir, im.Name), im.PNG); err != nil {
				return err
			}
			written[im.Name] = true
		}
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if compared.MatchString(e.Name()) && !written[e.Name()] {
			if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
				return err
			}
		}
	}
	var table, text bytes.Buffer
	if err := inspect.WriteComparisonCSV(&table, o.Comparison); err != nil {
		return err
	}
	if err := inspect.WriteComparisonJSON(&text, o.Comparison); err != nil {
		return err
	}
	if err := writeFile(filepath.Join(dir, "compare.csv"), table.Bytes()); err != nil {
		return err
	}
	return writeFile(filepath.Join(dir, "compare.json"), text.Bytes())
}
