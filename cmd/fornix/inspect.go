package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"fornix/inspect"
	"fornix/mesh"
)

type inspectCmd struct {
	Scans     []string `arg:"" name:"scan" help:"Scans: STL, PLY or OBJ files, plain, gzip or zip; - reads one from standard input."`
	JSON      bool     `help:"Print the report as JSON instead of the summary."`
	Out       string   `help:"Write DIR/NAME/report.json, report.html, images and the laboratory sheet for each scan." placeholder:"DIR"`
	Protocol  string   `help:"Judge by the limits in FILE instead of the default ones." placeholder:"FILE"`
	Jaw       string   `help:"Say which jaw it is (upper, lower) instead of having it found." enum:"upper,lower," default:"" placeholder:"JAW"`
	Landmarks string   `help:"Give landmarks or a reference plane, as JSON in FILE." placeholder:"FILE"`
	Unit      string   `help:"Say the unit of the files (mm, inch, m, um); else it is told by size and nothing is rescaled." enum:"mm,inch,m,um," default:"" placeholder:"UNIT"`
	NoImages  bool     `help:"With --out, write no images, no page and no sheet."`
	Case      string   `help:"Put the order in this case file on the sheet (see fornix case)." placeholder:"FILE"`
	Paper     string   `help:"Paper of the sheet: A4 or Letter." enum:"A4,Letter" default:"A4"`
	Quiet     bool     `short:"q" help:"Print no summary; errors are still told."`
}

// Help stands under the flags of fornix inspect --help.
func (inspectCmd) Help() string {
	return `Without --out nothing is written. Scans with one file name get directories NAME, NAME-2 and so on, in the
order in which they were given. A scan that cannot be read is told and the others are still inspected.

Examples:

  fornix inspect upper.stl
  fornix inspect upper.stl --json > upper.json
  fornix inspect upper.stl lower.stl --out reports
  fornix inspect scan.stl --unit inch --jaw lower
  fornix inspect upper.stl --protocol our-clinic.toml
  fornix inspect upper.stl --out reports --case case.toml
  fornix inspect upper.stl --landmarks corrected.json

A landmarks file holds points in the scan's coordinates, such as {"incisive_papilla": [1.5, 20.0, -3.2]}, and
may hold "reference_plane" and "rim" (on the flat of the rim, where another flat was taken for it): three points each.

Exit code: 1 if a scan could not be inspected, else 3 if a verdict is not send, else 0.`
}

// Run inspects each scan in turn.
func (c inspectCmd) Run(s streams) error {
	j, err := c.job()
	if err != nil {
		return err
	}
	if j.order != nil {
		unprinted(s, c.Case, j.order)
	}
	show := newProgress(s.err)
	defer show.clear()
	c.Scans = expand(c.Scans)
	dirs := directories(c.Scans)
	failed, kept := false, true
	for i, path := range c.Scans {
		show.say("inspecting %s (%d of %d)", filepath.Base(path), i+1, len(c.Scans))
		rep, err := c.one(s, j, path, dirs[i])
		show.clear()
		if err != nil {
			failed = true
			fmt.Fprintf(s.err, "fornix: %s: %v\n", path, err)
			fmt.Fprintln(s.err, "hint:", hintFor(err))
			continue
		}
		kept = kept && rep.Verdict == inspect.Send
		if err := c.print(s.out, rep, i); err != nil {
			return err
		}
	}
	switch {
	case failed:
		return &failure{code: exitFailed, text: "not every scan could be inspected"}
	case !kept:
		return errNotSend
	}
	return nil
}

// job reads what the flags name, before any scan is opened.
func (c inspectCmd) job() (job, error) {
	j := job{protocol: inspect.DefaultProtocol(), read: inspect.ReadOptions{Unit: c.Unit}}
	j.options.Jaw = inspect.Jaw(c.Jaw)
	if c.Protocol != "" {
		p, err := readProtocol(c.Protocol)
		if err != nil {
			return j, err
		}
		j.protocol = p
	}
	if c.Landmarks != "" {
		g, err := readGiven(c.Landmarks)
		if err != nil {
			return j, err
		}
		j.options.Given = g
	}
	j.paper = c.Paper
	if c.Case != "" {
		if c.Out == "" || c.NoImages {
			return j, &failure{exitUsage, "--case says nothing without a sheet", "sheets are only written with --out DIR"}
		}
		k, err := readCase(c.Case)
		if err != nil {
			return j, err
		}
		j.order = &k
	}
	if c.NoImages && c.Out == "" {
		return j, &failure{exitUsage, "--no-images says nothing without --out", "images are only made with --out DIR"}
	}
	return j, nil
}

// readGiven reads a file of landmarks.
func readGiven(path string) (inspect.Given, error) {
	f, err := os.Open(path)
	if err != nil {
		return inspect.Given{}, &failure{exitUsage, path + ": " + plain(err), "give the path of a JSON file"}
	}
	defer f.Close()
	g, err := inspect.ReadGiven(f)
	if err != nil {
		return g, &failure{exitUsage, path + ": " + err.Error(), `a landmark is written "incisive_papilla": [1.5, 20.0, -3.2]`}
	}
	return g, nil
}

// openScan opens a file that is to be read as a scan.
func openScan(path string) (*os.File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, errors.New(plain(err))
	}
	if info, err := f.Stat(); err == nil && info.IsDir() {
		f.Close()
		return nil, errors.New("is a directory")
	}
	return f, nil
}

// one inspects one scan and writes its files.
func (c inspectCmd) one(s streams, j job, path, dir string) (*inspect.Report, error) {
	if j.order != nil {
		personal(s, path)
	}
	in, name := s.in, "standard input"
	if path != "-" {
		f, err := openScan(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		in, name = f, filepath.Base(path)
	}
	rep, drawn, err := inspectAndDraw(in, name, j, c.Out != "" && !c.NoImages)
	if err != nil || c.Out == "" {
		return rep, err
	}
	return rep, writeReport(filepath.Join(c.Out, dir), rep, drawn, j)
}

func (c inspectCmd) print(w io.Writer, r *inspect.Report, i int) error {
	var b bytes.Buffer
	var err error
	switch {
	case c.JSON:
		err = inspect.WriteJSON(&b, r)
	case c.Quiet:
	default:
		if i > 0 {
			b.WriteString("\n")
		}
		err = inspect.WriteText(&b, r)
	}
	if err != nil {
		return err
	}
	_, err = w.Write(b.Bytes())
	return err
}

// expand replaces each pattern such as *.stl by the files that fit it, since not every shell
// does. What names a file, or fits none, stays as it is.
func expand(paths []string) []string {
	var out []string
	for _, path := range paths {
		found, err := filepath.Glob(path)
		if _, missing := os.Lstat(path); missing == nil || err != nil || len(found) == 0 {
			found = []string{path}
		}
		out = append(out, found...)
	}
	return out
}

// directories names a directory for each scan: its file's name without the extension, and -2,
// -3 … behind it where another scan had the name. Names differ by more than case, because some
// file systems do not tell case apart.
func directories(paths []string) []string {
	taken := map[string]bool{}
	out := make([]string, len(paths))
	for pass := range 2 { // first come the names as they are, so that a-2.stl keeps its own
		for i, path := range paths {
			name := nameOf(path)
			if pass == 0 && !taken[strings.ToLower(name)] {
				taken[strings.ToLower(name)] = true
				out[i] = name
			}
			for n := 2; out[i] == "" && pass == 1; n++ {
				if next := fmt.Sprintf("%s-%d", name, n); !taken[strings.ToLower(next)] {
					taken[strings.ToLower(next)] = true
					out[i] = next
				}
			}
		}
	}
	return out
}

// nameOf is a scan's name as a directory on any system can bear it: what stands behind the last
// separator of either kind, without the ending that says that it is a scan, or without any, without
// signs that Windows forbids, and no name of one of its devices.
func nameOf(path string) string {
	if path == "-" {
		return "stdin"
	}
	name := path[strings.LastIndexAny(path, `/\`)+1:]
	if e := mesh.Ending(name); e != "" {
		name = name[:len(name)-len(e)]
	} else {
		name = strings.TrimSuffix(name, filepath.Ext(name))
	}
	name = strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`<>:"|?*`, r) {
			return '-'
		}
		return r
	}, name)
	name = strings.TrimLeft(strings.TrimRight(name, " ."), " ")
	if strings.Trim(name, ".") == "" {
		return "scan"
	}
	if devices.MatchString(name) {
		return name + "-scan"
	}
	return name
}

// devices are names that Windows keeps for itself, with any ending (Microsoft, Naming Files, Paths,
// and Namespaces).
var devices = regexp.MustCompile(`(?i)^(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?$`)

// hintFor says what helps against an error of one scan.
func hintFor(err error) string {
	text := err.Error()
	switch {
	case strings.Contains(text, "no such file"):
		return "check the path; names with spaces need quotes"
	case strings.Contains(text, "not a directory"):
		return "give --out a directory; a file has that name"
	case strings.Contains(text, "is a directory"):
		return "name the files, such as " + filepath.Join("DIR", "*.stl")
	case strings.Contains(text, "permission denied"):
		return "check that you may read the scan and write to --out"
	case strings.Contains(text, "no space") || strings.Contains(text, "read-only"):
		return "give --out a directory on a disk with room that you may write to"
	case strings.Contains(text, "a fault of fornix"):
		return "keep the scan, and tell the makers; the other scans were inspected"
	}
	return "export the scan again as binary STL or PLY in millimetres"
}

// plain is an error of the file system without the operation's name in front.
func plain(err error) string {
	var p *os.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}
