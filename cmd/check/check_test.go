package main

import (
	"strings"
	"testing"
)

func TestCountTellsFailuresApart(t *testing.T) {
	r := count(strings.NewReader(`{"Action":"output","Package":"a","Test":"T1","Output":"noise\n"}
{"Action":"pass","Package":"a","Test":"T1"}
{"Action":"output","Package":"a","Test":"T2","Output":"it broke\n"}
{"Action":"fail","Package":"a","Test":"T2"}
{"Action":"skip","Package":"a","Test":"T3"}
{"Action":"fail","Package":"a"}
{"Action":"build-output","ImportPath":"b","Output":"undefined: x\n"}
{"Action":"fail","Package":"b"}
not an event
`))
	if r.passed != 1 || r.failed != 2 {
		t.Errorf("%d passed, %d failed", r.passed, r.failed)
	}
	if !strings.Contains(r.said, "it broke") || !strings.Contains(r.said, "undefined: x") || strings.Contains(r.said, "noise") {
		t.Errorf("said %q", r.said)
	}
}

func TestCommandsOfABlock(t *testing.T) {
	got := commandsOf("$ fornix a\nx\ny\n$ fornix b # exit 3\n")
	if len(got) != 2 || got[0].output != "x\ny\n" || got[1].line != "fornix b # exit 3" || got[1].output != "" {
		t.Errorf("%+v", got)
	}
}
