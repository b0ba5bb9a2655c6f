package main

import (
	"flag"
	"fmt"
	"io"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"time"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
)

// accuracy makes impressions of random parameters whose answers are known, measures them as any
// command would, and prints what was reached beside what is to be reached.
//
//	go run ./cmd/check accuracy [-n 200] [-seed S] [-json FILE] [-only SEED:jaw,…] [-stl DIR]
func accuracy(args []string, stdout, stderr io.Writer) int {
	fs := flag.NewFlagSet("accuracy", flag.ContinueOnError)
	fs.SetOutput(stderr)
	n := fs.Int("n", 200, "number of phantoms")
	seed := fs.Int64("seed", 0, "first seed; 0: from the clock")
	file := fs.String("json", "", "write everything as JSON to this `file`")
	only := fs.String("only", "", "these cases alone: `SEED:jaw`, separated by commas")
	stl := fs.String("stl", "", "with -only: write the scans to this `directory`")
	most := fs.Int("worst", 40, "number of cases whose failures are listed")
	if err := fs.Parse(args); err != nil {
		return 2
	}
	if *seed == 0 {
		*seed = time.Now().UnixNano() % 1e9
	}
	var names []string
	for i := range *n {
		jaw := "upper"
		if i%2 == 1 {
			jaw = "lower"
		}
		names = append(names, fmt.Sprintf("%d:%s", *seed+int64(i), jaw))
	}
	if *only != "" {
		names = strings.Split(*only, ",")
	} else {
		fmt.Fprintf(stdout, "seed %d, %d phantoms\n", *seed, *n)
	}
	for _, name := range names {
		if _, _, err := caseName(name); err != nil {
			fmt.Fprintln(stderr, err)
			return 2
		}
	}
	start := time.Now()
	protocol := inspect.DefaultProtocol()
	t := measureCases(names, protocol, nil, *stl, stderr)
	var real []gumRow
	if *only == "" {
		real = gum(protocol)
	}
	rows := t.rows()
	t.print(stdout, rows, real, *most)
	fmt.Fprintf(stderr, "%.0f s\n", time.Since(start).Seconds())
	if *file != "" {
		f, err := os.Create(*file)
		if err == nil {
			err = t.encode(f, *seed, rows, real)
			if e := f.Close(); err == nil {
				err = e
			}
		}
		if err != nil {
			fmt.Fprintln(stderr, err)
			return 1
		}
	}
	return 0
}

// caseName takes a case's name apart.
func caseName(name string) (seed int64, jaw string, err error) {
	s, jaw, _ := strings.Cut(name, ":")
	seed, err = strconv.ParseInt(s, 10, 64)
	if err != nil || jaw != "upper" && jaw != "lower" {
		return 0, "", fmt.Errorf("%q is no case: give SEED:upper or SEED:lower", name)
	}
	return seed, jaw, nil
}

// measureCases makes, measures and compares each case; change alters the parameters first. One
// worker for each processor does a whole case, so that one makes while another measures. The
// tallies are added in the order of the names.
func measureCases(names []string, protocol inspect.Protocol, change func(*phantom.Params), stl string, progress io.Writer) *tally {
	parts := make([]*tally, len(names))
	var next sync.Mutex
	at := 0
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for {
				next.Lock()
				i := at
				at++
				next.Unlock()
				if i >= len(names) {
					return
				}
				parts[i] = measureCase(names[i], protocol, change, stl)
				if i%20 == 19 {
					fmt.Fprintf(progress, "%d of %d\n", i+1, len(names))
				}
			}
		}()
	}
	wg.Wait()
	sum := newTally()
	for _, p := range parts {
		sum.add(p)
	}
	return sum
}

func measureCase(name string, protocol inspect.Protocol, change func(*phantom.Params), stl string) *tally {
	seed, jaw, err := caseName(name)
	if err != nil {
		panic("check: " + err.Error())
	}
	p := caseOf(seed, jaw)
	if change != nil {
		change(&p)
	}
	ph, err := phantom.MakeWith(p, 1)
	if err != nil {
		t := newTally()
		t.fails = append(t.fails, failure{name, err.Error()})
		return t
	}
	if stl != "" {
		if err := writeSTL(stl+"/"+strings.ReplaceAll(name, ":", "-")+".stl", ph.Mesh); err != nil {
			t := newTally()
			t.fails = append(t.fails, failure{name, err.Error()})
			return t
		}
	}
	rep := inspect.Run(scanOf(ph.Mesh, name), protocol, inspect.Options{}).Report
	return compare(name, p, ph, rep, &protocol.Limits)
}

// scanOf is the mesh as reading it from a file gives it.
func scanOf(m *mesh.Mesh, name string) *inspect.Scan {
	s := &inspect.Scan{Mesh: m}
	s.Info = inspect.ScanInfo{File: name, Faces: len(m.Tri), Vertices: len(m.Pos), Unit: "mm", UnitHow: "made so", UnitToMM: 1}
	return s
}

func writeSTL(name string, m *mesh.Mesh) error {
	f, err := os.Create(name)
	if err != nil {
		return err
	}
	if err := mesh.WriteSTL(f, m, "phantom"); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
