package render

import (
	"bytes"
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
	"math"
	"strings"

	"fornix/inspect"
	"fornix/mesh"
)

// PageInput is what a page shows: a scan, its report, and pictures for paper and for browsers that
// draw nothing in three dimensions.
type PageInput struct {
	Report   *inspect.Report
	Mesh     *mesh.Mesh
	Protocol inspect.Protocol
	Images   []Image // as of Images; two of the whole views are taken in
	Limits   []Limit // of border thickness, as for Images
}

// The bundle is written by go run ./cmd/check -page from the .mjs files beside it and three.js.
var (
	//go:embed page/page.html
	pageHTML string
	//go:embed page/page.css
	pageCSS string
	//go:embed page/bundle.js
	pageScript string

	pageTemplate = template.Must(template.New("page").Parse(pageHTML))
)

// Page writes one HTML file that holds all it needs and asks nothing of any network, which its
// content security policy also forbids: the scan to be turned, cut and measured, the findings,
// what was measured, the cautions. The surface in it lies within ViewErrorMM of the scan; every
// number outside of the page's own tools is that of the report. Same input, same bytes.
func Page(in PageInput) ([]byte, error) {
	if in.Report == nil || in.Mesh == nil {
		return nil, errors.New("render: a page needs a report and a mesh")
	}
	data, shown := pageDataOf(in)
	pictures, err := pagePictures(in)
	if err != nil {
		return nil, err
	}
	raw, err := json.Marshal(data)
	if err != nil {
		return nil, fmt.Errorf("render: page: %w", err)
	}
	var b bytes.Buffer
	err = pageTemplate.Execute(&b, pageContent{
		Report: in.Report, Verdict: strings.ToUpper(string(in.Report.Verdict)), Means: capital(in.Report.Verdict.Means()),
		About: pageAbout(in.Report), Findings: pageFindings(in.Report, shown), Rows: Rows(in.Report, &in.Protocol.Limits), Views: data.Views,
		Pictures: pictures, Caution: caution + ".", Deviation: deviationWords(data.ErrorMM),
		Policy: PagePolicy(), Version: PageVersion(), Style: template.CSS(pageCSS), Data: template.JS(raw), Script: template.JS(pageScript),
		Sides: in.Report.Frame != nil, Thickness: data.Surface.Tint != "", Plane: data.Plane != nil,
	})
	if err != nil {
		return nil, fmt.Errorf("render: page: %w", err)
	}
	return b.Bytes(), nil
}

// pageContent is what the template of the page writes.
type pageContent struct {
	Report                  *inspect.Report
	Verdict, Means, About   string
	Caution, Deviation      string
	Findings                []pageFinding
	Rows                    []Row
	Views                   []pageView
	Pictures                []pagePicture
	Policy, Version         string
	Style                   template.CSS
	Data, Script            template.JS
	Sides, Thickness, Plane bool // what there is to be shown
}

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
	return "default-src 'none'; script-src " + hash(pageScript) + "; style-src " + hash(pageCSS) +
		"; img-src data:; base-uri 'none'; form-action 'none'"
}

// PageVersion names the script, style and form of the pages that this program writes. A page holds it
// as its generator; one that holds another was written by another version.
func PageVersion() string {
	h := sha256.New()
	for _, s := range []string{pageHTML, pageCSS, pageScript} {
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
func pageFindings(rep *inspect.Report, shown map[int]bool) []pageFinding {
	out := make([]pageFinding, len(rep.Findings))
	for i := range rep.Findings {
		f := &rep.Findings[i]
		say := string(f.Severity)
		if f.Region != "" {
			say += ", " + f.Region
		}
		out[i] = pageFinding{Number: f.Number, Severity: string(f.Severity), Text: f.Text, Say: say, Place: shown[f.Number]}
	}
	return out
}

// pagePictures takes the first whole view, and the front where a finding is about the rim, else the
// second. They become JPEG, which is a third of the size.
func pagePictures(in PageInput) ([]pagePicture, error) {
	second := 1
	for _, f := range in.Report.Findings {
		if strings.HasPrefix(f.Code, "rim-") && f.Number > 0 {
			second = 2
		}
	}
	var out []pagePicture
	for i, im := range in.Images {
		if i != 0 && i != second {
			continue
		}
		picture, err := png.Decode(bytes.NewReader(im.PNG))
		if err != nil {
			return nil, fmt.Errorf("render: page: %s: %w", im.Name, err)
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, picture, &jpeg.Options{Quality: 85}); err != nil {
			return nil, fmt.Errorf("render: page: %s: %w", im.Name, err)
		}
		source := "data:image/jpeg;base64," + base64.StdEncoding.EncodeToString(b.Bytes())
		out = append(out, pagePicture{im.Title, im.Alt, template.URL(source)})
	}
	return out, nil
}
