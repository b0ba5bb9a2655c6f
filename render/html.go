package render

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"image/jpeg"
	"image/png"
	"io"
	"math"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"fornix/inspect"
)

// PageInput is what a page shows: a scan, its report, and pictures for paper and for browsers that
// draw nothing in three dimensions.
type PageInput struct {
	Scan     *Scan
	Protocol inspect.Protocol
	Images   []Image // as of Images; two of the whole views are taken in
	Limits   []Limit // of border thickness, as for Images
}

// The bundle is written by go run ./cmd/check -page from the .mjs files beside it and three.js. It is
// packed, in a third of its size, and still text, which every patch carries.
var (
	//go:embed page/page.html
	pageHTML string
	//go:embed page/page.css
	pageCSS string
	//go:embed page/bundle.gz.b64
	pagePacked string

	pageTemplate = template.Must(template.New("page").Parse(pageHTML))
)

// pageScript unpacks the bundle once.
var pageScript = sync.OnceValue(func() string {
	z, err := gzip.NewReader(base64.NewDecoder(base64.StdEncoding, strings.NewReader(pagePacked)))
	if err != nil {
		panic(err)
	}
	out, err := io.ReadAll(z)
	if err != nil {
		panic(err)
	}
	return string(out)
})

// Page writes one HTML file that holds all it needs and asks nothing of any network, which its
// content security policy also forbids: the scan to be turned, cut and measured, the findings,
// what was measured, the cautions. The surface in it lies within ViewErrorMM of the scan; every
// number outside of the page's own tools is that of the report. Same input, same bytes.
func Page(in PageInput) ([]byte, error) {
	if !in.Scan.there() {
		return nil, errors.New("render: a page needs a report and a mesh")
	}
	data, shown := pageDataOf(in)
	pictures, err := pagePictures(in)
	if err != nil {
		return nil, err
	}
	rep := in.Scan.Report
	return writePage(pageContent{
		Title: rep.Scan.File, Verdict: rep.Verdict, About: pageAbout(rep), Findings: pageFindings(rep.Findings, shown),
		Rows: Rows(rep, &in.Protocol.Limits), Limits: true, Pictures: pictures, Cautions: rep.Cautions,
		Caption: "± is the expanded uncertainty (k = 2); border: median (least to most); limits are the protocol's: review / fail.",
		Hashes:  []pageHash{{"the scan", rep.Scan.SHA256}},
		Sides:   rep.Frame != nil, Thickness: data.Surfaces[0].Tint != "", Plane: len(data.Planes) > 0,
	}, data)
}

// writePage fills the template of both kinds of page.
func writePage(c pageContent, data pageData) ([]byte, error) {
	raw, err := json.Marshal(data)
	if err != nil {
		return nil, fmt.Errorf("render: page: %w", err)
	}
	for _, s := range data.Surfaces {
		c.Colour = c.Colour || s.Colour != ""
		c.Unpainted = c.Unpainted || s.unpainted
	}
	c.Word, c.Means = strings.ToUpper(string(c.Verdict)), capital(c.Verdict.Means())
	c.Views, c.Caution, c.Deviation = data.Views, caution+".", deviationWords(data.ErrorMM)
	c.Policy, c.Version, c.Style, c.Data, c.Script = PagePolicy(), PageVersion(), template.CSS(pageCSS), template.JS(raw), template.JS(pageScript())
	var b bytes.Buffer
	if err := pageTemplate.Execute(&b, c); err != nil {
		return nil, fmt.Errorf("render: page: %w", err)
	}
	return b.Bytes(), nil
}

// pageContent is what the template of the page writes.
type pageContent struct {
	Title                   string
	Verdict                 inspect.Verdict
	Word, Means, About      string // Word: the verdict as it is shown
	Caution, Deviation      string
	Cautions                []string
	Caption                 string // of the table
	Limits                  bool   // the table has them
	Hashes                  []pageHash
	Findings                []pageFinding
	Rows                    []Row
	Views                   []pageView
	Pictures                []pagePicture
	Policy, Version         string
	Style                   template.CSS
	Data, Script            template.JS
	Sides, Thickness, Plane bool // what there is to be shown
	Colour, Unpainted       bool // there are the colours of the scan's file; for some there was no room
	Pair                    bool // two jaws closed on each other
	Jaws                    []pageJaw
}

type pageHash struct{ Of, SHA256 string }

// pageJaw says how one scan of a pair was judged by itself.
type pageJaw struct{ Name, File, Word string }

type pageFinding struct {
	Number              int
	Severity, Text, Say string // Say: the region and what it asks for
	Place               bool   // it has a place to fly to
}

type pagePicture struct {
	Title, Alt string
	Source     template.URL
}

// PagePolicy lets the page run its own script and style, told by their hashes (Content Security Policy
// Level 3, W3C), and show pictures that it holds itself. All else is forbidden.
func PagePolicy() string {
	hash := func(s string) string {
		h := sha256.Sum256([]byte(s))
		return "'sha256-" + base64.StdEncoding.EncodeToString(h[:]) + "'"
	}
	return "default-src 'none'; script-src " + hash(pageScript()) + "; style-src " + hash(pageCSS) +
		"; img-src data:; base-uri 'none'; form-action 'none'"
}

// PageVersion names the script, style and form of the pages that this program writes. A page holds it
// as its generator; one that holds another was written by another version.
func PageVersion() string {
	h := sha256.New()
	for _, s := range []string{pageHTML, pageCSS, pageScript()} {
		fmt.Fprintf(h, "%d %s", len(s), s)
	}
	return "fornix page " + hex.EncodeToString(h.Sum(nil))[:16]
}

// deviationWords say how far the picture is from the scan, rounded up.
func deviationWords(mm float64) string {
	return fmt.Sprintf("The picture is simplified to within %g mm of the scan. The report's measurements come from the full scan.",
		math.Ceil(mm*1000-1e-6)/1000)
}

// pageAbout says what was inspected, in one line.
func pageAbout(rep *inspect.Report) string {
	jaw := "Jaw unknown"
	if rep.Jaw != "" {
		jaw = capital(string(rep.Jaw)) + " jaw"
	}
	parts := []string{jaw}
	for _, s := range []string{rep.Surface, rep.Coverage, fmt.Sprintf("%d faces", rep.Scan.Faces)} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	if rep.Protocol != "" {
		parts = append(parts, "judged by "+rep.Protocol)
	}
	return strings.Join(parts, ", ") + "."
}

// pageFindings lists the findings as the report does; shown holds the numbers of those with a place.
func pageFindings(all []inspect.Finding, shown map[int]bool) []pageFinding {
	out := make([]pageFinding, len(all))
	for i := range all {
		f := &all[i]
		say := string(f.Severity)
		if f.Region != "" {
			say += ", " + f.Region
		}
		out[i] = pageFinding{Number: f.Number, Severity: string(f.Severity), Text: f.Text, Say: say, Place: shown[f.Number]}
	}
	return out
}

// pagePictures takes the first whole view, and the front where a finding is about the rim, else the
// second.
func pagePictures(in PageInput) ([]pagePicture, error) {
	second := 1
	for _, f := range in.Scan.Report.Findings {
		if strings.HasPrefix(f.Code, "rim-") && f.Number > 0 {
			second = 2
		}
	}
	var chosen []Image
	for i, im := range in.Images {
		if i == 0 || i == second || im.Name == scannedName+".png" {
			chosen = append(chosen, im)
		}
	}
	return smallPictures(chosen)
}

// smallPictures makes JPEG of pictures, which is a third of their size.
func smallPictures(images []Image) ([]pagePicture, error) {
	out := make([]pagePicture, len(images))
	var g errgroup.Group
	for i, im := range images {
		g.Go(func() error {
			picture, err := png.Decode(bytes.NewReader(im.PNG))
			var b bytes.Buffer
			if err == nil {
				err = jpeg.Encode(&b, picture, &jpeg.Options{Quality: 85})
			}
			if err != nil {
				return fmt.Errorf("render: page: %s: %w", im.Name, err)
			}
			source := "data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(b.Bytes())
			out[i] = pagePicture{im.Title, im.Alt, template.URL(source)}
			return nil
		})
	}
	return out, g.Wait()
}
