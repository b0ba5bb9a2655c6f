package inspect

import (
	"strings"
	"testing"
)

func TestWorkersDoEachPieceOnce(t *testing.T) {
	for _, n := range []int{0, 1, 7, 8, 1000} {
		done := make([]int, n)
		inBlocks(n, 8, func(int) func(int) { return func(i int) { done[i]++ } })
		for i, d := range done {
			if d != 1 {
				t.Fatalf("of %d: number %d done %d times", n, i, d)
			}
		}
	}
}

// A panic on a goroutine that nobody watches would end the program, and with it every other scan.
func TestWorkersHandOnPanics(t *testing.T) {
	for name, do := range map[string]func(){
		"blocks": func() { inBlocks(100, 8, func(int) func(int) { return func(i int) { fail(i == 50) } }) },
		"aside":  func() { aside(func() { fail(true) })() },
	} {
		func() {
			defer func() {
				if p, _ := recover().(string); !strings.HasPrefix(p, "number 50") || !strings.Contains(p, "workers_test.go") {
					t.Errorf("%s: %q", name, p)
				}
			}()
			do()
			t.Errorf("%s: no panic", name)
		}()
	}
}

func fail(now bool) {
	if now {
		panic("number 50")
	}
}
