package main

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"

	"fornix/cmd/fornix/batch"
	"fornix/inspect"
	"fornix/inspect/study"
)

// pairing compares scans of a table with each other, as fornix compare does.
type pairing struct {
	protocol inspect.Protocol
	zone     string
	folder   string // where the scans lie now; empty: where the table says
	workers  int
	show     *progress
	maps     *mapMaker // nil: no maps are drawn
}

// mainDistances are the quantities that are shown in full wherever scans were compared.
var mainDistances = []string{
	study.DistanceColumn(study.OfRepeats, "sr", inspect.ZoneAll), study.DistanceColumn(study.OfRepeats, "rms", inspect.ZoneAll),
	study.DistanceColumn(study.ToReference, "mean", inspect.ZoneAll), study.DistanceColumn(study.ToReference, "rms", inspect.ZoneAll),
}

// compare makes the comparisons that the user asks for, and the quantities of them.
func (c studyCmd) compare(s streams, w *studyWork) error {
	w.precision = &study.Table{}
	p, err := c.pairing(s, w.design)
	if p == nil {
		return err
	}
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(p.workers))
	var references []study.Job
	if c.Reference != "" {
		if references, err = c.referenceJobs(w.table, w.design); err != nil {
			return err
		}
	}
	if err := os.MkdirAll(c.Out, 0o755); err != nil {
		return outFailure(c.Out, err)
	}
	if c.Pairs {
		all := p.run(study.PairJobs(w.table, w.design))
		w.precision = study.PrecisionTable(w.table.User, all)
		w.compared, w.overPairs = all, study.OverPairs(all)
	}
	if c.Reference != "" {
		p.maps = newMapMaker(references, c.Out, c.Scale)
		all := p.run(references)
		if w.maps, err = p.maps.done(); err != nil {
			return outFailure(c.Out, err)
		}
		study.AddTrueness(w.table, all)
		w.compared = append(w.compared, all...)
	}
	return nil
}

// pairing checks what the user said of comparing scans; nil where nothing is to be compared.
func (c studyCmd) pairing(s streams, d study.Design) (*pairing, error) {
	if !c.Pairs && c.Reference == "" {
		if c.Scans != "" || c.Zone != "" || c.Workers != 0 || c.Protocol != "" || c.Scale != 0 {
			return nil, &failure{exitUsage, "--scans, --zone, --workers, --protocol and --scale say how scans are compared", "--pairs or --reference compares them"}
		}
		return nil, nil
	}
	if c.Pairs && d.Subject == "" {
		return nil, &failure{exitUsage, "no column says which scans are of one subject, so there are no pairs", "name it by --subject"}
	}
	if c.Workers < 0 || !(c.Scale >= 0) || c.Scale > 0 && c.Reference == "" {
		return nil, &failure{exitUsage, "--workers is at least 1, and --scale a length for the maps of --reference", "leave them out"}
	}
	p := &pairing{protocol: inspect.DefaultProtocol(), zone: c.Zone, folder: c.Scans, workers: cmp.Or(c.Workers, runtime.GOMAXPROCS(0)), show: newProgress(s.err)}
	if c.Protocol != "" {
		var err error
		if p.protocol, err = readProtocol(c.Protocol); err != nil {
			return nil, err
		}
	}
	return p, nil
}

// referenceJobs lists what the reference is compared with: a file, or the scans whose column has a
// value.
func (c studyCmd) referenceJobs(t *study.Table, d study.Design) ([]study.Job, error) {
	column, value, named := strings.Cut(c.Reference, "=")
	if named && t.Has(column) {
		if d.Subject == "" {
			return nil, &failure{exitUsage, "no column says which scans are of one subject, so none has a reference", "name it by --subject, or give one file as --reference"}
		}
		return study.ReferenceJobs(t, d, column, value), nil
	}
	if info, err := os.Stat(c.Reference); err != nil || !info.Mode().IsRegular() {
		return nil, &failure{exitUsage, c.Reference + ": no such file, nor a column of the table with a value", "give the file of a reference scan, or COLUMN=VALUE, such as device=laboratory"}
	}
	return study.OneReferenceJobs(t, d, c.Reference), nil
}

// run compares the two scans of each job. A worker has one pair in hand, and there are no more of them
// than what all need together fits into the memory that is free. What comes out is the same for any
// number of them.
func (p *pairing) run(jobs []study.Job) []study.Compared {
	out := make([]study.Compared, len(jobs))
	var next atomic.Int64
	var mu sync.Mutex
	var wg sync.WaitGroup
	done := 0
	for range max(1, min(p.workers, len(jobs), p.fit(jobs))) {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(jobs) {
					return
				}
				var o *inspect.CompareOutcome
				out[i], o = p.compare(jobs[i])
				if p.maps != nil {
					p.maps.put(i, o)
				}
				mu.Lock()
				done++
				p.show.say("%d of %d comparisons done", done, len(jobs))
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	p.show.clear()
	return out
}

// fit is how many pairs fit into the memory at once.
func (p *pairing) fit(jobs []study.Job) int {
	most := int64(1)
	for _, j := range jobs {
		sum := int64(0)
		for _, r := range []study.Row{j.A, j.B} {
			path := p.find(r)
			if info, err := os.Stat(path); err == nil {
				sum += batch.Need(path, info.Size())
			}
		}
		most = max(most, sum)
	}
	return int(max(1, batch.FreeMemory()/most))
}

// find is where a scan lies: where its table says or, in the folder that the user named, under the same
// path or the same name.
func (p *pairing) find(r study.Row) string {
	path := filepath.FromSlash(r.Path)
	if p.folder == "" || r.Line == 0 { // a reference is given by its own path
		return path
	}
	for _, there := range []string{filepath.Join(p.folder, path), filepath.Join(p.folder, filepath.Base(path))} {
		if _, err := os.Stat(there); err == nil {
			return there
		}
	}
	return filepath.Join(p.folder, filepath.Base(path))
}

// compare does one job. The outcome is nil where it could not be done.
func (p *pairing) compare(j study.Job) (study.Compared, *inspect.CompareOutcome) {
	c := study.Compared{Job: j, Why: j.Why}
	if c.Why != "" {
		return c, nil
	}
	opt := inspect.CompareOptions{Purpose: inspect.AsRepeat, Zone: p.zone}
	if j.Kind == study.ToReference {
		opt.Purpose = inspect.AsReference
	}
	if j.A.Line != 0 {
		opt.Jaw = inspect.Jaw(j.B.Jaw)
	}
	var scans [2]*inspect.Scan
	var sums [2]string
	for i, r := range []study.Row{j.A, j.B} {
		var err error
		if scans[i], sums[i], err = p.read(r); err != nil {
			c.Why = r.Path + ": " + err.Error()
			return c, nil
		}
	}
	if sums[0] == sums[1] {
		c.Why = "both files hold the same bytes: one scan, not two"
		return c, nil
	}
	o, err := compareScans(scans[0], scans[1], p.protocol, opt)
	if err != nil {
		c.Why = err.Error()
		return c, nil
	}
	c.Parts = []inspect.BothWays{o.Comparison.Overall}
	if o.Comparison.Zone.Region != inspect.ZoneAll {
		c.Parts = append(c.Parts, o.Comparison.Zone)
	}
	c.Parts = append(c.Parts, o.Comparison.Regions...)
	for _, f := range o.Comparison.Findings {
		c.Codes = append(c.Codes, f.Code)
	}
	return c, o
}

// errGone says that a scan is not where it is looked for.
var errGone = errors.New("no such file; --scans DIR says where the scans lie now")

// read reads a scan, which must have the bytes that the table tells of, and gives their hash.
func (p *pairing) read(r study.Row) (*inspect.Scan, string, error) {
	content, err := os.ReadFile(p.find(r))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, "", errGone
	}
	if err != nil {
		return nil, "", errors.New(plain(err))
	}
	h := sha256.Sum256(content)
	sum := hex.EncodeToString(h[:])
	if r.SHA256 != "" && r.SHA256 != sum {
		return nil, "", fmt.Errorf("its bytes are not those that the batch measured (SHA-256 %.12s, not %.12s)", sum, r.SHA256)
	}
	opt := inspect.ReadOptions{}
	if _, known := inspect.UnitMM(r.Unit); known {
		opt.Unit = r.Unit
	}
	s, err := inspect.Read(bytes.NewReader(content), filepath.Base(filepath.FromSlash(r.Path)), opt)
	return s, sum, err
}
