package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"

	"fornix/cmd/fornix/serve"
	"fornix/inspect"
	"fornix/inspect/casefile"
	"fornix/render"
)

type serveCmd struct {
	Dir       string `help:"Folder of the cases; made where it is not there (default: fornix-cases in your home)." placeholder:"DIR"`
	Listen    string `help:"Address to serve at. Another than this machine's own asks every browser for a key." default:"127.0.0.1:7373" placeholder:"HOST:PORT"`
	Watch     string `help:"Inspect scans that arrive in this folder too, once each; nothing in it is changed." placeholder:"DIR"`
	Protocol  string `help:"Judge by the limits in FILE instead of the default ones." placeholder:"FILE"`
	MaxUpload int    `help:"Largest scan that is taken, in MiB." default:"1024" placeholder:"MIB"`
	NoBrowser bool   `help:"Open no browser; print the address only."`
}

// Help stands under the flags of fornix serve --help.
func (serveCmd) Help() string {
	return `The page is for this machine alone: it is served at a loopback address, and nothing is fetched from anywhere.
Each case is a folder that can be read and copied. The program can be ended at any moment (Ctrl-C): what was
not finished is done when it is started again. Started twice, it opens the page that is there.

With --listen 0.0.0.0:7373 others on the network can open it by the key that is printed. What goes over the
network is not encrypted then.

Examples:

  fornix serve
  fornix serve --dir cases --no-browser
  fornix serve --watch inbox
  fornix serve --listen 127.0.0.1:0`
}

// Run serves until the program is ended.
func (c serveCmd) Run(s streams) error {
	j, dir, err := c.prepare()
	if err != nil {
		return err
	}
	said := log.New(s.err, "fornix: ", 0)
	claim, err := serve.TakeStore(dir)
	var taken *serve.Taken
	if errors.As(err, &taken) {
		fmt.Fprintln(s.out, taken.Error())
		if taken.Address != "" {
			c.browse(taken.Address, said)
		}
		return nil
	}
	if err != nil {
		return &failure{exitFailed, dir + ": " + plain(err), "give --dir a folder that you may write to"}
	}
	defer claim.Release()
	store, err := serve.OpenStore(dir)
	if err != nil {
		return &failure{exitFailed, dir + ": " + plain(err), "give --dir a folder that you may write to"}
	}
	defer store.Close()
	l, err := c.listen()
	if err != nil {
		return err
	}
	defer l.Close()
	opt := serve.Options{MaxUpload: int64(c.MaxUpload) << 20, Watch: c.Watch, Log: said}
	if !l.Addr().(*net.TCPAddr).IP.IsLoopback() {
		opt.Key = rand.Text()
	}
	server, err := serve.New(store, engine(j), l, opt)
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	if err := claim.Say(server.Address()); err != nil {
		return err
	}
	c.tell(s, server, l, opt.Key, dir)
	c.browse(server.Address(), said)
	return server.Serve(ctx, l)
}

// prepare reads what the flags name.
func (c serveCmd) prepare() (j job, dir string, err error) {
	j.protocol = inspect.DefaultProtocol()
	if c.Protocol != "" {
		if j.protocol, err = readProtocol(c.Protocol); err != nil {
			return j, "", err
		}
	}
	if c.MaxUpload < 1 {
		return j, "", &failure{exitUsage, "--max-upload is at least 1 MiB", "leave it out for 1024"}
	}
	if c.Watch != "" {
		info, err := os.Stat(c.Watch)
		if err == nil && !info.IsDir() {
			err = errors.New("is no folder")
		}
		if err != nil {
			return j, "", &failure{exitUsage, c.Watch + ": " + plain(err), "give --watch a folder that is there"}
		}
	}
	dir = c.Dir
	if dir == "" {
		home, err := os.UserHomeDir()
		if err != nil {
			return j, "", &failure{exitUsage, "no home folder is known", "give --dir DIR"}
		}
		dir = filepath.Join(home, "fornix-cases")
	}
	return j, dir, nil
}

// listen opens the address. Where the usual one is taken, by another program or for other cases, any
// free one serves as well.
func (c serveCmd) listen() (net.Listener, error) {
	const usual = "127.0.0.1:7373"
	l, err := net.Listen("tcp", c.Listen)
	if err != nil && c.Listen == usual {
		l, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		return nil, &failure{exitUsage, c.Listen + ": " + err.Error(), "give an address of this machine and a free port, such as " + usual}
	}
	return l, nil
}

// tell prints where the page is.
func (c serveCmd) tell(s streams, server *serve.Server, l net.Listener, key, dir string) {
	fmt.Fprintf(s.out, "Open %s\n", server.Address())
	if key != "" {
		at := l.Addr().(*net.TCPAddr)
		if at.IP.IsUnspecified() {
			for _, ip := range ownAddresses() {
				fmt.Fprintf(s.out, "Open http://%s/enter?key=%s\n", net.JoinHostPort(ip, fmt.Sprint(at.Port)), key)
			}
		}
		fmt.Fprintln(s.err, "fornix: whoever has this address can see and change all cases; what goes over the network is not encrypted")
	}
	fmt.Fprintf(s.out, "Cases are kept in %s. Ctrl-C ends.\n", dir)
}

// ownAddresses lists the addresses by which other machines reach this one.
func ownAddresses() []string {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return nil
	}
	var out []string
	for _, a := range all {
		if n, ok := a.(*net.IPNet); ok && n.IP.IsGlobalUnicast() {
			out = append(out, n.IP.String())
		}
	}
	return out
}

// browse opens an address in the browser, unless the user wants none.
func (c serveCmd) browse(address string, log *log.Logger) {
	if !c.NoBrowser {
		openBrowser(runtime.GOOS, address, log)
	}
}

// engine is the road of scans as the app takes it: that of every command.
func engine(j job) serve.Engine {
	return serve.Engine{
		Protocol: j.protocol,
		Inspect: func(r io.Reader, name string, read inspect.ReadOptions, opt inspect.Options) (*inspect.Outcome, error) {
			return inspectScan(r, name, job{protocol: j.protocol, read: read, options: opt})
		},
		Pictures: func(s *render.Scan) ([]render.Image, error) { return images(s, j.protocol) },
		Page: func(s *render.Scan, pictures []render.Image) ([]byte, error) {
			return page(s, j.protocol, pictures)
		},
		Relate: func(upper, lower *inspect.Scan, opt inspect.RelateOptions) (*inspect.RelateOutcome, error) {
			return relateScans(upper, lower, j.protocol, opt)
		},
		PairPage: func(o *inspect.RelateOutcome) ([]render.Image, []byte, error) {
			p := render.NewPair(o, render.NewScan(o.Upper.Mesh, o.Upper.Report), render.NewScan(o.Lower.Mesh, o.Lower.Report))
			pictures, err := relationImages(p)
			if err != nil {
				return nil, nil, err
			}
			html, err := pairPage(p, pictures)
			return pictures, html, err
		},
		Sheet: func(scans []*render.Scan, relation *inspect.RelateOutcome, order *casefile.Case, paper string) ([]byte, error) {
			in := render.SheetInput{Scans: scans}
			if relation != nil {
				in.Relation = render.NewPair(relation, scans[0], scans[1])
			}
			return sheet(in, job{protocol: j.protocol, order: order, paper: paper})
		},
	}
}
