package inspect

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"fornix/mesh/register"
	"fornix/mesh/shape"
)

// shellCompared is a small comparison of two spheres, as a layer.
func shellCompared(t *testing.T) *Comparison {
	t.Helper()
	pose := anyMotion(rand.New(rand.NewPCG(1, 2))).pose()
	pose.T = Vec{}
	out, err := Compare(aScan("before.stl", shape.Icosphere(20, 3).Mesh), aScan("after.stl", shape.Icosphere(21, 3).Mesh), DefaultProtocol(), CompareOptions{Purpose: AsLayer, Pose: &pose})
	if err != nil {
		t.Fatal(err)
	}
	return out.Comparison
}

func TestComparisonText(t *testing.T) {
	for _, p := range []Purpose{AsRetake, AsLayer, AsCast, AsRepeat, AsReference} {
		c := soundComparison(p)
		for _, w := range append(c.Regions, c.Zone, c.Overall) {
			for _, d := range []*Deviation{w.AtA, w.AtB} {
				d.Within = []Within{{0.05, 0.9}, {0.1, 0.95}, {0.3, 1}}
			}
		}
		c.A.File, c.B.File = "a.stl", "b.stl"
		c.Alignment.FitRMSMM, c.Alignment.OverlapShare, c.Alignment.TurnUDeg, c.Alignment.ShiftUMM = num(0.01), num(0.9), num(0.01), num(0.01)
		c.Alignment.Freedoms = []Freedom{{Name: "turn about left"}}
		c.Findings, c.Verdict = JudgeComparison(c, DefaultProtocol())
		var b bytes.Buffer
		if err := WriteComparisonText(&b, c); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		for _, want := range []string{"b.stl against a.stl: SEND\n", "Findings\n", "not held by the shape: turn about left", "zone to align ", " 0.012 ", "  border "} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: no %q in\n%s", p, want, text)
			}
		}
		if strings.Contains(text, "Added") != (p == AsLayer) || strings.Contains(text, "NaN") || strings.Contains(text, "%!") {
			t.Errorf("%s:\n%s", p, text)
		}
		for _, line := range strings.Split(text, "\n") {
			if len(line) > 110 {
				t.Errorf("%s: a line of %d bytes: %s", p, len(line), line)
			}
		}
	}
}

// The table has a line for each part and way, and its numbers are those of the JSON.
func TestComparisonCSV(t *testing.T) {
	c := shellCompared(t)
	var b bytes.Buffer
	if err := WriteComparisonCSV(&b, c); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll() // refuses rows of unequal length
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) != 1+2*(2+len(c.Regions)) {
		t.Fatalf("%d rows", len(rows))
	}
	at := func(row int, name string) string {
		for i, h := range rows[0] {
			if h == name {
				return rows[row][i]
			}
		}
		t.Fatalf("no column %s", name)
		return ""
	}
	mean, err := strconv.ParseFloat(at(2, "mean_mm"), 64)
	if err != nil || at(2, "at") != "b" || at(1, "part") != "all" || at(3, "part") != "zone all" {
		t.Errorf("%v: %v", err, rows[:3])
	}
	near(t, "mean", mean, c.Overall.AtB.MeanMM, 1e-4)
	c.Overall.AtB = nil
	b.Reset()
	if err := WriteComparisonCSV(&b, c); err != nil {
		t.Fatal(err)
	}
	if rows, err = csv.NewReader(&b).ReadAll(); err != nil || at(2, "mean_mm") != "" {
		t.Errorf("%v: a missing mean is %q", err, at(2, "mean_mm"))
	}
}

// The JSON is JSON without NaN, holds what was measured, and its pose can be given back.
func TestComparisonJSON(t *testing.T) {
	c := shellCompared(t)
	text := asText(t, c)
	var back Comparison
	if err := json.Unmarshal([]byte(text), &back); err != nil {
		t.Fatal(err)
	}
	if back.Schema.Name != "fornix comparison" || back.Layer == nil || len(back.Layer.Parts) != 1 || back.Overall.AtA == nil || back.Verdict != c.Verdict {
		t.Errorf("%+v", back)
	}
	near(t, "mean", back.Overall.AtA.MeanMM, c.Overall.AtA.MeanMM, 1e-4)
	pose, err := ReadPose(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if !pose.Proper(1e-12) {
		t.Errorf("no rotation: %v", pose.R)
	}
	near(t, "turn", pose.AngleDeg(), c.Alignment.TurnDeg, 1e-4)
}

func TestReadPose(t *testing.T) {
	want := register.Pose{R: [3][3]float64{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}, T: Vec{X: 10, Y: 20, Z: 30}}
	rows := "[[0,-1,0,10],[1,0,0,20],[0,0,1,30],[0,0,0,1]]"
	for _, text := range []string{rows, `{"pose": ` + rows + `}`, `{"alignment": {"pose": ` + rows + `}, "verdict": "send"}`} {
		got, err := ReadPose(strings.NewReader(text))
		if err != nil || got.T != want.T || got.Apply(Vec{X: 1}).Dist(want.Apply(Vec{X: 1})) > 1e-12 {
			t.Errorf("%s: %v, %v", text, got, err)
		}
	}
	// Written to three digits it is still a rotation, the nearest.
	c, s := math.Round(1000*math.Cos(0.3))/1000, math.Round(1000*math.Sin(0.3))/1000
	m, err := json.Marshal([][]float64{{c, -s, 0, 0}, {s, c, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}})
	if err != nil {
		t.Fatal(err)
	}
	got, err := ReadPose(bytes.NewReader(m))
	if err != nil || !got.Proper(1e-12) {
		t.Errorf("%v: %v", err, got)
	}
	near(t, "turn", got.AngleDeg()*math.Pi/180, 0.3, 1e-3)

	for text, want := range map[string]string{
		"":                                  "no JSON matrix",
		"{}":                                "four rows",
		"[[1,0,0,0],[0,1,0,0],[0,0,1,0]]":   "not 3 rows",
		"[[1,0,0],[0,1,0],[0,0,1],[0,0,0]]": "row 1 of the pose has 3 numbers",
		"[[1,0,0,0],[0,1,0,0],[0,0,1,0],[0,0,1,1]]":     "last row",
		"[[-1,0,0,0],[0,1,0,0],[0,0,1,0],[0,0,0,1]]":    "no rigid motion",
		"[[2,0,0,0],[0,2,0,0],[0,0,2,0],[0,0,0,1]]":     "no rigid motion",
		"[[1,0.1,0,0],[0,1,0,0],[0,0,1,0],[0,0,0,1]]":   "no rigid motion",
		"[[1,0,0,0],[0,1,0,0],[0,0,1e999,0],[0,0,0,1]]": "no JSON matrix",
	} {
		if _, err := ReadPose(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %s", text, err, want)
		}
	}
}
