package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"fornix/inspect"
	"fornix/inspect/study"
	"fornix/render"
)

// mapMaker gathers, for each reference and condition, the mean of the scans' distances at the vertices of
// the reference, and draws it when the last of its comparisons is done. Jobs of one map stand together
// and are taken in order, so that no more maps than workers are begun and not finished.
type mapMaker struct {
	dir   string
	scale float64
	of    []int // of each job: its map; -1: none
	maps  []*openMap
}

// openMap is one map, and what it is drawn from until then.
type openMap struct {
	mu    sync.Mutex
	job   study.Job // the first
	left  int       // comparisons that are not done
	sum   *study.MeanMap
	first *inspect.CompareOutcome // for the reference in it
	shown *shownMap               // nil: nothing was drawn
	err   error
}

// shownMap is what the page says of a map.
type shownMap struct {
	Name string // of its files, without what follows
	Says string
	Alt  string
}

func newMapMaker(jobs []study.Job, dir string, scale float64) *mapMaker {
	k := &mapMaker{dir: dir, scale: scale, of: make([]int, len(jobs))}
	for i, j := range jobs {
		if k.of[i] = -1; j.Why != "" {
			continue
		}
		if n := len(k.maps); n == 0 || k.maps[n-1].job.A.Path != j.A.Path || k.maps[n-1].job.Condition != j.Condition {
			k.maps = append(k.maps, &openMap{job: j})
		}
		k.of[i] = len(k.maps) - 1
		k.maps[k.of[i]].left++
	}
	return k
}

// put takes the outcome of a job, nil where there is none. A fault in drawing becomes an error.
func (k *mapMaker) put(job int, o *inspect.CompareOutcome) {
	if k.of[job] < 0 {
		return
	}
	m := k.maps[k.of[job]]
	m.mu.Lock()
	defer m.mu.Unlock()
	defer func() {
		if p := recover(); p != nil {
			m.err = fmt.Errorf("fornix failed to draw a map, which is a fault of fornix: %v", p)
		}
	}()
	if o != nil {
		if m.first == nil {
			kept := *o
			kept.B, kept.ADist, kept.BDist = nil, nil, nil
			m.first, m.sum = &kept, study.NewMeanMap(len(o.ADist))
		}
		m.sum.Add(o.ADist)
	}
	if m.left--; m.left == 0 && m.first != nil {
		m.err = k.draw(m, fmt.Sprintf("map-%d", k.of[job]+1))
		m.first, m.sum = nil, nil
	}
}

// draw writes the pictures and the numbers of a map.
func (k *mapMaker) draw(m *openMap, name string) error {
	c := m.first.Comparison
	of := "reference: " + filepath.Base(filepath.FromSlash(m.job.A.Path))
	if m.job.A.Line != 0 { // else all subjects have one reference
		of = "subject " + m.job.Subject + " · " + of
	}
	if m.job.Condition != "" {
		of = m.job.Condition + " · " + of
	}
	d := render.MeanDeviation{
		Reference: m.first.A, InsideOut: m.first.AnatomyA != nil && m.first.AnatomyA.InsideOut, Frame: c.Frame, Jaw: c.Jaw, Surface: c.SurfaceA,
		MeanMM: m.sum.Mean(), Covered: m.sum.Covered, Scans: m.sum.Scans, Of: of, ScaleMM: k.scale,
	}
	pictures, err := render.MeanDeviationImages(d, render.Options{Workers: 1})
	if err != nil {
		return err
	}
	for _, im := range pictures {
		if err := writeFile(filepath.Join(k.dir, name+"-"+im.Name), im.PNG); err != nil {
			return err
		}
	}
	m.shown = &shownMap{Name: name, Says: fmt.Sprintf("Mean deviation of %d scans · %s", m.sum.Scans, of), Alt: pictures[0].Alt}
	return writeFile(filepath.Join(k.dir, name+".csv"), mapNumbers(&d))
}

// mapNumbers lists the vertices of a map in the coordinates of the reference's file, mm.
func mapNumbers(d *render.MeanDeviation) []byte {
	var b bytes.Buffer
	b.WriteString("x,y,z,scans,mean_mm\n")
	for v, p := range d.Reference.Pos {
		mean := ""
		if x := d.MeanMM[v]; !math.IsNaN(x) {
			mean = brief(math.Round(x*1e6) / 1e6)
		}
		b.WriteString(strings.Join([]string{brief(p.X), brief(p.Y), brief(p.Z), strconv.Itoa(int(d.Covered[v])), mean}, ",") + "\n")
	}
	return b.Bytes()
}

// mapFiles are names that an earlier study may have left.
var mapFiles = regexp.MustCompile(`^(map-\d+)(-(tissue|oral|cover)\.png|\.csv)$`)

// done lists the maps that were drawn and removes those of an earlier study, which would show what is
// no longer said.
func (k *mapMaker) done() ([]shownMap, error) {
	var out []shownMap
	kept := map[string]bool{}
	for _, m := range k.maps {
		if m.err != nil {
			return nil, m.err
		}
		if m.shown != nil {
			out = append(out, *m.shown)
			kept[m.shown.Name] = true
		}
	}
	entries, err := os.ReadDir(k.dir)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if name := mapFiles.FindStringSubmatch(e.Name()); name != nil && !kept[name[1]] {
			if err := os.Remove(filepath.Join(k.dir, e.Name())); err != nil {
				return nil, err
			}
		}
	}
	return out, nil
}
