package render

import (
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"fornix/inspect"
	"fornix/inspect/phantom"
	"fornix/mesh"
	"fornix/mesh/shape"
	"fornix/mesh/simplify"
	"fornix/mesh/tree"
)

func pageOf(t *testing.T, m *mesh.Mesh, rep *inspect.Report, images []Image) []byte {
	t.Helper()
	out, err := Page(PageInput{Scan: NewScan(m, rep), Protocol: inspect.DefaultProtocol(), Images: images})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestPageIsTheSameBytes(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	a := pageOf(t, m, rep, nil)
	if b := pageOf(t, m, rep, nil); !bytes.Equal(a, b) {
		t.Error("two pages of one report differ")
	}
}

// cutOut returns what stands between two marks, the first of them.
func cutOut(t *testing.T, text, from, to string) string {
	t.Helper()
	_, rest, found := strings.Cut(text, from)
	got, _, closed := strings.Cut(rest, to)
	if !found || !closed {
		t.Fatalf("no %s … %s", from, to)
	}
	return got
}

// The browser runs and styles only what the policy names by its hash (CSP Level 3, 8.2).
func TestPagePolicyNamesItsOwnScriptAndStyle(t *testing.T) {
	m, rep := fullReport(inspect.Lower)
	text := string(pageOf(t, m, rep, nil))
	policy := strings.NewReplacer("&#39;", "'", "&#43;", "+").Replace(cutOut(t, text, `http-equiv="Content-Security-Policy" content="`, `"`))
	for kind, body := range map[string]string{"script-src": cutOut(t, text, "<script>", "</script>"), "style-src": cutOut(t, text, "<style>", "</style>")} {
		h := sha256.Sum256([]byte(body))
		if want := kind + " 'sha256-" + base64.StdEncoding.EncodeToString(h[:]) + "';"; !strings.Contains(policy, want) {
			t.Errorf("%q has no %q", policy, want)
		}
	}
	if !strings.HasPrefix(policy, "default-src 'none';") {
		t.Error(policy)
	}
	if n := strings.Count(text, "<script"); n != 2 {
		t.Errorf("%d scripts, not the data and the page's own", n)
	}
	for _, bad := range []string{"src=\"http", "href=", "@import", "url("} {
		if strings.Contains(strings.Replace(text, cutOut(t, text, "<script>", "</script>"), "", 1), bad) {
			t.Errorf("the page holds %s", bad)
		}
	}
}

// Names come from files that anyone may have made.
func TestPageKeepsNamesAsText(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	evil := `</script><script>alert(1)</script><img src=x onerror=alert(2)>"' onclick="alert(3).stl`
	rep.Scan.File, rep.Findings[0].Text, rep.Findings[0].Region, rep.Protocol = evil, evil, evil, evil
	rep.Border.Stations[30].Region = evil
	rep.Cautions = []string{evil}
	text := string(pageOf(t, m, rep, []Image{{Name: "tissue.png", Title: evil, Alt: evil, PNG: onePixel(t)}}))
	for _, bad := range []string{"<script>alert", "<img src=x", `" onclick=`} {
		if strings.Contains(text, bad) {
			t.Errorf("the page holds %s", bad)
		}
	}
	var d pageData
	if err := json.Unmarshal([]byte(cutOut(t, text, `id="data">`, "</script>")), &d); err != nil {
		t.Error(err)
	}
}

func onePixel(t *testing.T) []byte {
	t.Helper()
	b, err := base64.StdEncoding.DecodeString("iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg==")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Each number of the page's list leads to a place, and each place is that of its finding.
func TestPageFindingsHaveTheirPlaces(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	d, shown := pageDataOf(PageInput{Scan: NewScan(m, rep)})
	middle, _ := pageBox(m)
	for _, f := range rep.Findings {
		if at, ok := middleOf(f); ok != shown[f.Number] {
			t.Errorf("finding %d at %v: shown %v", f.Number, at, shown[f.Number])
		}
	}
	for _, c := range d.Findings {
		f := rep.Findings[slices.IndexFunc(rep.Findings, func(f inspect.Finding) bool { return f.Number == c.Number })]
		at := mesh.Vec{X: c.At[0], Y: c.At[1], Z: c.At[2]}.Add(middle)
		if p, _ := middleOf(f); f.Code != "rim-canted" && at.Dist(p) > 4 {
			t.Errorf("finding %d is %.1f mm away", c.Number, at.Dist(p))
		}
	}
}

func middleOf(f inspect.Finding) (mesh.Vec, bool) {
	p, ok := middle(f.Where)
	return p, ok && f.Number > 0
}

// What a page shows of a rough scan keeps its promise: both ways within the stated error.
func TestPageSurfaceIsNearTheScan(t *testing.T) {
	p := phantom.Random(77, "upper")
	p.Spacing, p.Noise = 0.6, 0.01
	made, err := phantom.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	m := made.Mesh
	simple := simplify.Simplify(m, pageSimplify, 2)
	lost, _ := simplify.Deviation(m, tree.New(simple.Mesh))
	strayed, new := simplify.Deviation(simple.Mesh, tree.New(m))
	t.Logf("%d faces of %d; %.4f, %.4f, %.4f mm", len(simple.Mesh.Tri), len(m.Tri), lost, strayed, new)
	var rep inspect.Report
	d, _ := pageDataOf(PageInput{Scan: NewScan(m, &rep)})
	if d.ErrorMM > ViewErrorMM || max(lost, strayed, new)+d.ErrorMM-pageSimplify > ViewErrorMM {
		t.Errorf("off by %.4f, %.4f, %.4f mm and %.4f of rounding", lost, strayed, new, d.ErrorMM-pageSimplify)
	}
	if words := deviationWords(d.ErrorMM); !regexp.MustCompile(`within 0\.02 mm `).MatchString(words) {
		t.Error(words)
	}
}

// A jaw in metres is smaller than the error that is allowed in millimetres.
func TestPageOfASmallScan(t *testing.T) {
	m := shape.Torus(0.03, 0.005, 60, 200).Mesh
	var rep inspect.Report
	d, _ := pageDataOf(PageInput{Scan: NewScan(m, &rep)})
	if large, _ := pageDataOf(PageInput{Scan: NewScan(shape.Torus(30, 5, 60, 200).Mesh, &rep)}); d.Surfaces[0].Faces < large.Surfaces[0].Faces*9/10 {
		t.Errorf("%d faces in metres, %d in millimetres", d.Surfaces[0].Faces, large.Surfaces[0].Faces)
	}
	if _, size := pageBox(m); d.ErrorMM > ViewErrorMM/pageSmallMM*size {
		t.Errorf("off by %g", d.ErrorMM)
	}
	pageOf(t, mesh.New(nil, nil), &rep, nil) // and of nothing
}

// A million faces as rough as a scan may be before it is to be scanned again.
func TestPageOfAMillionFaces(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	r := rand.New(rand.NewPCG(1, 2))
	m := shape.Map(shape.Torus(30, 8, 600, 834).Mesh, func(p mesh.Vec) mesh.Vec {
		return p.Along(0.02, mesh.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
	})
	for _, p := range m.Pos { // rough too: material, light and shade, and noise of 8 levels
		m.Colour = append(m.Colour, mesh.Colour{uint8(150 + 3*p.Z + 8*r.NormFloat64()), uint8(120 + 2*p.Z + 8*r.NormFloat64()), uint8(110 + p.X + 8*r.NormFloat64())})
	}
	_, rep := fullReport(inspect.Upper)
	start := time.Now()
	out := pageOf(t, m, rep, nil)
	t.Logf("%d faces: %.2f MB in %.1f s", len(m.Tri), float64(len(out))/1e6, time.Since(start).Seconds())
	const pictures = 0.8e6 // two of them at about 0.3 MB, in base64
	if len(out) > 4e6-pictures {
		t.Errorf("the page has %d bytes without its pictures", len(out))
	}
	part := regexp.MustCompile(`"colour":"([^"]{1000,})","levels":(\d+)`).FindSubmatch(out)
	if part == nil {
		t.Fatal("no colours")
	}
	t.Logf("colours in %s levels: %.2f MB", part[2], float64(len(part[1]))/1e6)
	// Two such scans make the page of a pair: script, style and words once, the pictures of a pair, which
	// are paler, and both surfaces with a map each. What they leave of their room is for colours.
	const pairPictures, words, maps = 0.45e6, 0.03e6, 0.03e6
	once := float64(len(pageScript()) + len(pageCSS))
	both := 2 * (float64(len(out)-len(part[1])) - once)
	if pair := max(both, pairSurfaceBytes) + once + pairPictures + words + maps; pair > 4e6 {
		t.Errorf("the page of two would have %.0f bytes, %.0f of them for the surfaces", pair, both)
	}
}

// The colours of a file are those of the page's vertices, but for the steps that there is room for; a
// million faces in rough colours stay within the page's bound.
func TestPageColours(t *testing.T) {
	m := *shape.Torus(30, 8, 60, 83).Mesh
	for _, p := range m.Pos {
		m.Colour = append(m.Colour, mesh.Colour{uint8(128 + 4*p.Z), uint8(100 + p.X), uint8(128 + 2*p.Y)})
	}
	small := newSmallSurface(&m, 1)
	simple := small.mesh
	text, levels := pageColour(m.Colour, small.of, small.encoded().Order, 1<<20)
	raw, err := base64.StdEncoding.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	planes, err := io.ReadAll(flate.NewReader(bytes.NewReader(raw)))
	n := len(small.encoded().Order)
	if err != nil || len(planes) != 3*n || levels != 64 {
		t.Fatal(err, len(planes), n, levels)
	}
	var at [3]uint8
	for i, v := range small.encoded().Order {
		for k := range at {
			at[k] += planes[k*n+i]
		}
		p := simple.Pos[v]
		want := [3]float64{math.Floor(128 + 4*p.Z), math.Floor(100 + p.X), math.Floor(128 + 2*p.Y)}
		for k, level := range [3]uint8{at[0], at[0] + at[1], at[0] + at[2]} {
			if got := float64(level) * 255 / float64(levels-1); math.Abs(got-want[k]) > 0.51*255/63 {
				t.Fatalf("vertex %d: colour %d is %g, not %g", i, k, got, want[k])
			}
		}
	}
	if none, _ := pageColour(nil, nil, nil, 10); none != "" {
		t.Error("colours out of nothing")
	}
	if none, _ := pageColour(m.Colour, small.of, small.encoded().Order, 10); none != "" {
		t.Error("more colours than there is room for")
	}
}
