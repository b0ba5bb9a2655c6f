// Command fornix inspects scans of final impressions of edentulous jaws.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/alecthomas/kong"
)

// Exit codes: what a script may rely on.
const (
	exitDone    = 0
	exitFailed  = 1 // could not
	exitUsage   = 2 // wrong use
	exitNotSend = 3 // done, and the verdict is not send
)

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// command is everything that can be asked for on the command line.
type command struct {
	Inspect  inspectCmd  `cmd:"" help:"Measure and judge scans; write reports and images."`
	Relate   relateCmd   `cmd:"" help:"Measure an upper and a lower with their rims closed: flat, parallel, at what height."`
	Compare  compareCmd  `cmd:"" help:"Measure one scan against another: a retake, a layer, a cast, precision, trueness."`
	Batch    batchCmd    `cmd:"" help:"Measure many scans and make tables of them; goes on where it was stopped."`
	Judge    judgeCmd    `cmd:"" help:"Judge the results of a batch by another protocol, without the scans."`
	Study    studyCmd    `cmd:"" help:"Statistics and plots for a paper from the tables of a batch."`
	Worker   workerCmd   `cmd:"" help:"Measure scans of a batch that another machine shares."`
	Serve    serveCmd    `cmd:"" help:"Open the app in the browser: drop scans, see results, fill in the order."`
	Demo     demoCmd     `cmd:"" help:"Make an invented case, inspect it, and show what comes out."`
	Phantom  phantomCmd  `cmd:"" help:"Write a synthetic scan and the truth about it."`
	Case     caseCmd     `cmd:"" help:"Write a case file with the order for the laboratory, or check one."`
	Protocol protocolCmd `cmd:"" help:"Show the limits that judge, or check a file with your own."`
	Explain  explainCmd  `cmd:"" help:"Tell what stands behind a finding, or a number of a study."`
	Version  versionCmd  `cmd:"" help:"Tell the version."`

	TellVersion versionFlag `name:"version" help:"Tell the version."`
}

const description = `Inspects scans (STL, PLY, OBJ) of final impressions of edentulous jaws: finds openings, voids, folds, thin and
short borders, measures how far back the impression goes and how level the rim is, judges all that by a
protocol, and draws it. The last word is send, correct, rescan or retake.

Examples:

  fornix demo                              see it work on an invented case
  fornix inspect upper.stl                 read the summary of one scan
  fornix inspect upper.stl lower.stl --out reports
                                           write reports/upper/report.json, reports/lower/... and images
  fornix relate upper.stl lower.stl        read how the rims close and at what height
  fornix compare before.stl after.stl --as layer
                                           read how thick a wash is, and where it is missing
  fornix batch scans --out study           measure a folder of scans and make tables of them
  fornix study study --out paper           statistics and plots from the tables
  fornix explain border-thin               read what a finding means

It is a screening aid, no medical device and no diagnosis: a licensed clinician decides. Nothing leaves this
computer unless you share a batch with another one.

Exit codes: 0 done, 1 could not, 2 wrong use, 3 done and the verdict is not send.`

// streams are where a command reads and writes. out holds the result, err everything else.
type streams struct {
	in  io.Reader
	out io.Writer
	err io.Writer
}

// output keeps the first error of writing the result, so that no command can overlook it: a disk
// that is full, a pipe that nobody reads.
type output struct {
	w   io.Writer
	err error
}

func (o *output) Write(b []byte) (int, error) {
	n, err := o.w.Write(b)
	if o.err == nil {
		o.err = err
	}
	return n, err
}

// failure is an error with an exit code and a hint that works.
type failure struct {
	code int
	text string
	hint string
}

func (f *failure) Error() string { return f.text }

// errNotSend says that all went well and the verdict is not send.
var errNotSend = errors.New("the verdict is not send")

// stop is how kong's own exit (after --help) leaves the parser.
type stop int

// run is the whole program: it returns the exit code and ends nothing itself.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) (code int) {
	out := &output{w: stdout}
	stdout = out
	defer func() {
		if out.err != nil && code != exitFailed {
			code = report(stderr, out.err)
		}
	}()
	defer func() {
		switch p := recover().(type) {
		case nil:
		case stop:
			code = int(p)
			if len(args) == 0 {
				code = exitUsage // the help was not asked for
			}
		default:
			panic(p)
		}
	}()
	var c command
	parser, err := kong.New(&c, kong.Name("fornix"), kong.Description(description), kong.Writers(stdout, stderr),
		kong.Exit(func(n int) { panic(stop(n)) }), kong.ConfigureHelp(kong.HelpOptions{Compact: true, WrapUpperBound: 110}))
	if err != nil {
		return report(stderr, err)
	}
	asked := args
	if len(args) == 0 {
		asked = []string{"--help"}
		parser.Stdout = stderr
	}
	ctx, err := parser.Parse(asked)
	if err != nil {
		text := strings.Replace(err.Error(), `,"" but`, " but", 1)
		return report(stderr, &failure{exitUsage, text, "fornix" + commandOf(err) + " --help lists what can be asked for"})
	}
	ctx.BindTo(stdin, (*io.Reader)(nil))
	return report(stderr, ctx.Run(streams{stdin, stdout, stderr}))
}

// commandOf is " NAME" of the command that was typed wrongly.
func commandOf(err error) string {
	var p *kong.ParseError
	if errors.As(err, &p) && p.Context != nil && p.Context.Command() != "" {
		return " " + strings.Fields(p.Context.Command())[0]
	}
	return ""
}

// report tells an error on stderr and turns it into an exit code.
func report(stderr io.Writer, err error) int {
	if err == nil {
		return exitDone
	}
	if errors.Is(err, errNotSend) {
		return exitNotSend
	}
	code := exitFailed
	fmt.Fprintln(stderr, "fornix:", err)
	var f *failure
	if errors.As(err, &f) {
		code = f.code
		if f.hint != "" {
			fmt.Fprintln(stderr, "hint:", f.hint)
		}
	}
	return code
}
