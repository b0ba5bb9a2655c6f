package main

import (
	"errors"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/rogpeppe/go-internal/testscript"
)

func TestMain(m *testing.M) {
	if args := os.Getenv("FORNIX_ARGS"); args != "" { // a test that needs a process of its own
		os.Exit(run(strings.Split(args, "\n"), os.Stdin, os.Stdout, os.Stderr))
	}
	if dir := os.Getenv("FORNIX_TEST_SERVER"); dir != "" { // a queue server of others
		port, _ := strconv.Atoi(os.Getenv("FORNIX_TEST_PORT"))
		s, err := server.NewServer(&server.Options{ServerName: "others", Host: "127.0.0.1", Port: port, JetStream: true, StoreDir: dir, Username: "lab", Password: "word", NoSigs: true, NoLog: true})
		if err != nil {
			panic(err)
		}
		s.Start()
		s.WaitForShutdown()
		return
	}
	testscript.Main(m, map[string]func(){
		"fornix": func() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) },
		"code":   code,
	})
}

// code runs fornix with the arguments behind the first and passes when its exit code is the first.
func code() {
	got := run(os.Args[2:], os.Stdin, os.Stdout, os.Stderr)
	if want := os.Args[1]; want != string(rune('0'+got)) {
		println("exit code", got, "and not", want)
		os.Exit(1)
	}
}

// The stories are command lines with what they print, make and leave alone; they go through the
// real run.
func TestStories(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "../../testdata/stories", RequireExplicitExec: true, RequireUniqueNames: true,
		Condition: func(name string) (bool, error) {
			if name != "root" {
				return false, errors.New("no such condition")
			}
			return os.Geteuid() <= 0, nil // root writes where it may not; Windows, -1, has no such modes
		},
	})
}
