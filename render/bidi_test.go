package render

import (
	"bufio"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// unicodeData opens a file of the Unicode Character Database where Debian's package unicode-data puts it.
func unicodeData(t *testing.T, name string) *bufio.Scanner {
	t.Helper()
	f, err := os.Open(filepath.Join("/usr/share/unicode", name))
	if err != nil {
		t.Skip("no Unicode Character Database: go run ./cmd/check installs unicode-data on Debian")
	}
	t.Cleanup(func() { f.Close() })
	s := bufio.NewScanner(f)
	s.Buffer(nil, 1<<20)
	return s
}

// Each case of BidiCharacterTest.txt, by which the Unicode Consortium checks implementations of UAX #9:
// levels of the letters and the order in which they are seen.
func TestOrderIsThatOfTheStandard(t *testing.T) {
	s := unicodeData(t, "BidiCharacterTest.txt")
	cases, wrong := 0, 0
	for s.Scan() {
		line, _, _ := strings.Cut(s.Text(), "#")
		fields := strings.Split(line, ";")
		if len(fields) != 5 {
			continue
		}
		var runes []rune
		for h := range strings.FieldsSeq(fields[0]) {
			r, err := strconv.ParseUint(h, 16, 32)
			if err != nil {
				t.Fatal(err)
			}
			runes = append(runes, rune(r))
		}
		base := map[string]int8{"0": 0, "1": 1, "2": auto}[fields[1]]
		level, para := levels(runes, base)
		level = settled(runes, level, para, 0, len(runes))
		found := strings.ReplaceAll(strings.Trim(fmt.Sprint(level), "[]"), "-1", "x")
		order := strings.Trim(fmt.Sprint(turned(level)), "[]")
		if fmt.Sprint(para) != fields[2] || found != strings.TrimSpace(fields[3]) || order != strings.TrimSpace(fields[4]) {
			if wrong++; wrong < 10 {
				t.Errorf("%s: paragraph %d, levels %s, order %s", s.Text(), para, found, order)
			}
		}
		cases++
	}
	t.Logf("%d cases, %d wrong", cases, wrong)
	if cases < 90000 {
		t.Errorf("only %d cases", cases)
	}
}
