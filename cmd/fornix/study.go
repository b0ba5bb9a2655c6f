package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"fornix/inspect/study"
)

type studyCmd struct {
	Table      string   `arg:"" help:"Folder of a batch, or its table of scans (scans.csv)."`
	Out        string   `help:"Folder of the results." placeholder:"DIR" required:""`
	Quantity   []string `help:"Column to study in full, with plots; may be given again." placeholder:"NAME" sep:"none"`
	Jaw        string   `help:"Count scans of this jaw only: upper or lower." enum:"upper,lower," default:""`
	Subject    string   `help:"Column that says what was measured (default: subject)." placeholder:"COLUMN"`
	Condition  string   `help:"Column that says what changed between measurements (default: operator, device or method)." placeholder:"COLUMN"`
	Group      string   `help:"Column to describe groups by (default: group, the condition, or jaw)." placeholder:"COLUMN"`
	Confidence float64  `help:"Confidence of the intervals." default:"0.95" placeholder:"SHARE"`
	Half       float64  `help:"Half width that a next study should reach for the mean and the limits of agreement (default: half of what this one has)." placeholder:"WIDTH"`
	Pairs      bool     `help:"Precision: compare every two scans of one subject and condition, surface against surface."`
	Reference  string   `help:"Trueness: compare every scan with a reference scan: a file, or COLUMN=VALUE for the scan of each subject whose column has that value." placeholder:"REFERENCE"`
	Scans      string   `help:"Where the scans to compare lie now (default: where the table says)." placeholder:"DIR"`
	Zone       string   `help:"Part of the surface that aligns two scans: all, stable, tissue or outer, as for fornix compare (default: all)." enum:"all,stable,tissue,outer," default:"" placeholder:"ZONE"`
	Scale      float64  `help:"Colours of the maps run to ± MM (default: what holds 95 % of each)." placeholder:"MM"`
	Workers    int      `help:"Processor cores to use for comparing (default: all)." placeholder:"N"`
	Protocol   string   `help:"Compare by FILE instead of the default protocol." placeholder:"FILE"`
}

// Help stands under the flags of fornix study --help.
func (studyCmd) Help() string {
	return `Makes, in DIR, study.html (a summary that needs no network), statistics.csv (every number of it, for every column)
and, for each --quantity, plots as .svg, .pdf and .png: dots and boxes by group, and where two conditions are
compared, differences over means. The profile of the border is drawn where values.csv lies beside the table.

A subject measured more than once gives repeatability and reproducibility (ISO 5725-2), the six intraclass
correlations of Shrout and Fleiss, and for two conditions limits of agreement (Bland and Altman). Scans and values
that are not there are counted and listed.

--pairs and --reference go back to the scans themselves, lay each two on each other and measure how far apart the
surfaces lie, as fornix compare does with --as repeat and --as reference. pairs.csv has every comparison, by part of
the surface; precision_* and trueness_* are quantities like all others. A scan that was moved, changed or cannot be
aligned is a row with its reason. For each reference and condition map-N-tissue.png and map-N-oral.png show the mean
deviation of the scans on the reference, map-N-cover.png how many scans cover each place, map-N.csv both as numbers.

Examples:

  fornix study study --out paper --quantity border_thickness_median_labial_mm
  fornix study study/scans.csv --out paper --jaw upper --condition device --quantity rim_cant_crest_deg
  fornix study study --out paper --pairs
  fornix study study --out paper --condition device --reference device=laboratory --scans archive

Exit code: 0 done, 1 could not, 2 wrong use.`
}

// Run reads the table, counts, and writes.
func (c studyCmd) Run(s streams) error {
	path := c.Table
	if i, err := os.Stat(path); err == nil && i.IsDir() {
		path = filepath.Join(path, "scans.csv")
	}
	data, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return &failure{exitUsage, path + ": no such table", "fornix batch makes one"}
	}
	if err != nil {
		return &failure{exitFailed, err.Error(), ""}
	}
	t, err := study.ReadTable(bytes.NewReader(data))
	if err != nil {
		return &failure{exitFailed, path + ": " + err.Error(), "give the table scans.csv of a batch"}
	}
	if !(c.Confidence > 0 && c.Confidence < 1) || !(c.Half >= 0) {
		return &failure{exitUsage, "--confidence is a share between 0 and 1, --half a width", "0.95 is usual"}
	}
	d, err := c.design(t)
	if err != nil {
		return err
	}
	if c.Jaw != "" {
		t.Rows = slices.DeleteFunc(t.Rows, func(r study.Row) bool { return r.Failed == "" && r.Jaw != c.Jaw })
		if d.Group == "jaw" && c.Group == "" {
			d.Group = ""
		}
	}
	w := &studyWork{table: t, design: d, confidence: c.Confidence, from: path, out: c.Out}
	for _, q := range c.Quantity {
		later := c.Pairs && strings.HasPrefix(q, study.OfRepeats+"_") || c.Reference != "" && strings.HasPrefix(q, study.ToReference+"_")
		if !later && !slices.Contains(t.Numbers, q) {
			return noColumn(q)
		}
	}
	if err := c.compare(s, w); err != nil {
		return err
	}
	for _, t := range []*study.Table{t, w.precision} {
		for _, q := range t.Numbers {
			r, err := study.Study(t, q, d, c.Half, c.Confidence)
			if err != nil {
				return &failure{exitFailed, path + ": " + q + ": " + err.Error(), ""}
			}
			w.all = append(w.all, r)
			if slices.Contains(c.Quantity, q) || slices.Contains(mainDistances, q) {
				w.chosen = append(w.chosen, r)
			}
		}
	}
	for _, q := range c.Quantity {
		if !slices.Contains(t.Numbers, q) && !slices.Contains(w.precision.Numbers, q) {
			return noColumn(q)
		}
	}
	if err := w.profiles(); err != nil {
		return &failure{exitFailed, err.Error(), "run the batch again, or move values.csv away"}
	}
	if err := os.MkdirAll(c.Out, 0o755); err != nil {
		return outFailure(c.Out, err)
	}
	if err := w.write(); err != nil {
		return outFailure(c.Out, err)
	}
	w.tell(s.out)
	if len(w.chosen) == 0 {
		fmt.Fprintln(s.err, "hint: --quantity NAME draws plots of a column")
	}
	return nil
}

func noColumn(name string) error {
	return &failure{exitUsage, "no column of numbers is called " + name, "dictionary.csv beside the table lists them; fornix explain precision, or trueness, those of comparisons"}
}

// design is what the user said and, where that is nothing, what the columns' names say.
func (c studyCmd) design(t *study.Table) (study.Design, error) {
	for _, name := range []string{c.Subject, c.Condition, c.Group} {
		if name != "" && !t.Has(name) {
			return study.Design{}, &failure{exitUsage, "no column of the user is called " + name, "there are: " + strings.Join(append([]string{"jaw"}, t.User...), ", ")}
		}
	}
	d := study.Guess(t)
	if c.Condition != "" {
		if d.Group == d.Condition {
			d.Group = c.Condition
		}
		d.Condition = c.Condition
	}
	if c.Subject != "" {
		d.Subject = c.Subject
	}
	if c.Group != "" {
		d.Group = c.Group
	}
	return d, nil
}

// profiles reads how the borders run, where the long table lies beside the wide one.
func (w *studyWork) profiles() error {
	path := filepath.Join(filepath.Dir(w.from), "values.csv")
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	kept := map[string]bool{}
	for _, r := range w.table.Rows {
		kept[r.Path] = true
	}
	w.borders, err = study.ReadProfiles(f, "border_thickness", "outer", func(p string) bool { return kept[p] }, w.confidence)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	return nil
}
