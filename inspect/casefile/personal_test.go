package casefile

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"fornix/mesh"
)

// All names are invented.
func TestWhatLooksPersonal(t *testing.T) {
	for text, want := range map[string]string{
		"Quibbleton_Zara_upper.stl":             "name Quibbleton Zara",
		"quibbleton zara lower.stl":             "name quibbleton zara",
		"ZaraQuibbleton-OK.stl":                 "name Zara Quibbleton",
		"QUIBBLETON, ZARA":                      "name QUIBBLETON ZARA",
		"patient: zott":                         "name zott",
		"Frau Zott, upper scan":                 "name Zott",
		"Mrs. O'Zott":                           "name Zott",
		"Zott-upper.stl":                        "name Zott",
		"Жужа_Пуговкина.stl":                    "name Жужа Пуговкина",
		"張三-upper.stl":                          "name 張三",
		"upper 12.03.1948.stl":                  "birth date 12.03.1948",
		"case17_1948-03-12.stl":                 "birth date 17_1948-03-12",
		"19480312 lower":                        "birth date 19480312",
		"03/12/48":                              "birth date 03/12/48",
		"born 1948":                             "birth date 1948",
		"geb. 1.2.2020":                         "birth date 1.2.2020",
		"Zott Quibb 1.2.1951 final impression":  "name Zott Quibb; birth date 1.2.1951",
		"upper.stl":                             "",
		"case-2024-117-lower-rescan.stl":        "",
		"Exported by fornix, binary STL":        "",
		"solid final impression upper jaw":      "",
		"upper-voids.stl":                       "",
		"scan 2024-03-31 12":                    "", // the day of the scan
		"A17 x 30 mm":                           "",
		"Visualization Toolkit generated SOLID": "",
		"12031948":                              "birth date 12031948",
		"4711":                                  "",
		"":                                      "",
	} {
		var got []string
		for _, w := range LooksPersonal(text) {
			got = append(got, w.Kind+" "+w.Text)
			if w.Why == "" {
				t.Errorf("%q: no reason", text)
			}
		}
		if s := strings.Join(got, "; "); s != want && !(text == "Mrs. O'Zott" && strings.Contains(s, "Zott")) {
			t.Errorf("%q: %q, want %q", text, s, want)
		}
	}
}

func TestNeutralNames(t *testing.T) {
	for _, c := range []struct {
		number, what string
		n            int
		want         string
	}{
		{"2024-117", "upper", 1, "2024-117-upper.stl"}, {"A/17", "lower", 2, "a-17-lower-2.stl"},
		{"Zara Quibbleton", "upper", 1, "case-upper.stl"}, {"../../etc", "upper", 1, "etc-upper.stl"}, {"", "sheet", 0, "case-sheet.stl"},
		{strings.Repeat("9", 99), "upper", 1, "case-upper.stl"},
	} {
		if got := NeutralName(c.number, c.what, c.n, ".stl"); got != c.want {
			t.Errorf("%q %q: %q, want %q", c.number, c.what, got, c.want)
		}
	}
}

func tetra(t *testing.T, ascii bool, header string) []byte {
	t.Helper()
	m := mesh.New([]mesh.Vec{{}, {X: 1}, {Y: 1}, {Z: 1}}, [][3]mesh.VertexID{{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {0, 3, 2}})
	var b bytes.Buffer
	write := mesh.WriteSTL
	if ascii {
		write = mesh.WriteSTLASCII
	}
	if err := write(&b, m, header); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestScrubbedHeadersKeepTheFaces(t *testing.T) {
	const name = "Zara Quibbleton 12.03.1948"
	for _, ascii := range []bool{false, true} {
		stl := tetra(t, ascii, name)
		if h := Header(stl); !strings.Contains(h, "Quibbleton") || len(LooksPersonal(h)) != 2 {
			t.Fatalf("ascii %v: header %q", ascii, h)
		}
		if !ascii {
			stl = append(stl, "Quibbleton behind the last face"...)
		}
		out, _, err := ScrubHeader(stl)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Contains(out, []byte("Zara")) || bytes.Contains(out, []byte("Quibb")) || bytes.Contains(out, []byte("1948")) {
			t.Errorf("ascii %v: the name is still there", ascii)
		}
		if w := LooksPersonal(Header(out)); len(w) > 0 {
			t.Errorf("ascii %v: the scrubbed header looks personal: %v", ascii, w)
		}
		a, _, err1 := mesh.Read(bytes.NewReader(stl), mesh.ReadOptions{})
		b, _, err2 := mesh.Read(bytes.NewReader(out), mesh.ReadOptions{})
		if err2 != nil || err1 == nil && len(a.Tri) != len(b.Tri) || len(b.Tri) != 4 {
			t.Errorf("ascii %v: %v %v", ascii, err1, err2)
		}
		again, _, err := ScrubHeader(out)
		if err != nil || !bytes.Equal(out, again) {
			t.Errorf("ascii %v: scrubbing twice changes the file: %v", ascii, err)
		}
	}
}

// A program reads the beginning of a scan alone for its header: longer scans than that have one too.
func TestHeaderOfABeginning(t *testing.T) {
	for _, ascii := range []bool{false, true} {
		stl := tetra(t, ascii, "Zara Quibbleton 12.03.1948")
		if h := Header(stl[:130]); len(LooksPersonal(h)) != 2 {
			t.Errorf("ascii %v: of a beginning the header is %q", ascii, h)
		}
	}
}

// A writer that cannot go back leaves the count at 0 or all ones; the faces that follow leave the house with
// the count that they have.
func TestScrubbingKeepsFacesWithoutACount(t *testing.T) {
	for _, count := range []uint32{0, math.MaxUint32} {
		stl := tetra(t, false, "Zara Quibbleton")
		binary.LittleEndian.PutUint32(stl[80:], count)
		out, _, err := ScrubHeader(stl)
		if err != nil {
			t.Fatal(err)
		}
		m, stats, err := mesh.Read(bytes.NewReader(out), mesh.ReadOptions{})
		if err != nil || len(m.Tri) != 4 || len(stats.Notes) > 0 {
			t.Errorf("count %d: %v, %v", count, err, stats.Notes)
		}
		if h := Header(stl); !strings.Contains(h, "Quibbleton") || len(h) > 80 {
			t.Errorf("count %d: the header is %q", count, h)
		}
	}
}

func TestWhatIsNoSTLIsNotScrubbed(t *testing.T) {
	for _, text := range []string{"", "Zara", "solid a\n; a comment on Zara\nendsolid", "solid a\nvertex zara 1 2\nendsolid a", strings.Repeat("x", 200)} {
		if out, _, err := ScrubHeader([]byte(text)); err == nil {
			t.Errorf("%q became %q", text, out)
		}
	}
}
