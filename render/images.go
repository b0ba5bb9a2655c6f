// Package render draws the pictures of a report. Everything it draws is said by the report; it
// measures nothing and judges nothing.
package render

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"

	"fornix/inspect"
	"fornix/mesh"
)

// Options say how pictures are made. The zero value is ready for use.
type Options struct {
	Width, Height int     // pixels; default 1600 × 1200, at least 800 wide and 0.55 times as high
	CloseUps      int     // most close-ups to make; default 8, negative: none
	Workers       int     // pictures made at once; default GOMAXPROCS
	Thickness     Scale   // colours of the border
	Limits        []Limit // of border thickness, to be shown in the legend
}

// Limit is a limit of border thickness as the legend shows it.
type Limit struct {
	MM   float64
	Text string // one or two words, such as "thin"
}

// Image is one finished picture.
type Image struct {
	Name  string // of the file: "tissue.png"
	Title string // as it stands on the picture
	Alt   string // what the picture shows, for those who do not see it
	PNG   []byte
}

// Images draws the whole views (tissue side, oral side, front, left, right, back), then a
// close-up of each numbered finding that has a place, gravest first, and then, of a scan in colour,
// its first view as it was scanned.
//
// The bytes are the same for any number of workers. Each worker needs about
// 40 MB for its picture at the default size.
func Images(scan *Scan, opt Options) ([]Image, error) {
	if !scan.there() {
		return nil, errors.New("render: no mesh or no report")
	}
	opt, err := opt.orDefault()
	if err != nil {
		return nil, err
	}
	m, rep := scan.Mesh, scan.Report
	scan.begin()
	whole := scan.whole(opt.Thickness)
	base := reportContent(rep, opt, whole.tint != nil)
	all := views(rep)
	wholeViews := len(all)
	closeups := scan.closeUps(opt.CloseUps)
	all = append(all, closeups...)
	fine := sync.OnceValue(func() drawn { return scan.fine(opt.Thickness) })

	var r Raster
	var locators []*locator
	if len(closeups) > 0 {
		for _, v := range all[:2] {
			locators = append(locators, newLocator(&r, whole, v, opt.Width, opt.Workers))
		}
	}
	jobs := make([]job, len(all))
	for i, v := range all {
		c := base
		c.view, c.tint = v, whole.tint
		jobs[i].surface = whole.surface
		if i >= wholeViews {
			if !scan.shownWhole(v, opt) {
				c.tint, jobs[i].surface = fine().tint, fine().surface
			}
			c.subtitle = v.finding.Text
			c.locator = locate(locators, v)
		}
		jobs[i].content = c
	}
	if m.Colour != nil {
		jobs = append(jobs, job{scan.full(), scanned(m, base, all[0])})
	}
	return drawAll(jobs, opt.Workers)
}

// shownWhole reports whether a close-up looks the same of the surface of the whole views: what that deviates from the
// scan is less than half a pixel.
func (s *Scan) shownWhole(v View, opt Options) bool {
	l, _ := newLayout(opt.Width, opt.Height)
	return s.small().deviationMM() < pixelMM(v.Camera, l.picture)/2
}

// scannedName is the file, without its ending, of the view in the scan's own colours.
const scannedName = "scanned"

// scanned is the first view in the colours that the file gives, with nothing drawn over it.
func scanned(m *mesh.Mesh, c content, v View) content {
	c.view = View{Name: scannedName, Title: "As scanned", Camera: v.Camera}
	c.scene, c.plane = Scene{}, ""
	c.legend = legend{none: "colours are those of the scan's file"}
	c.tint = make([]color.RGBA, len(m.Colour))
	for i, k := range m.Colour {
		c.tint[i] = color.RGBA{k[0], k[1], k[2], 255}
	}
	return c
}

// job is one page to be drawn: what stands on it and, unless it is a chart, the surface.
type job struct {
	surface *Surface
	content content
}

// drawAll draws the pages with so many workers at once.
func drawAll(jobs []job, workers int) ([]Image, error) {
	out := make([]Image, len(jobs))
	errs := make([]error, len(jobs))
	var next atomic.Int32
	var wg sync.WaitGroup
	pages := min(workers, len(jobs))
	if pages < 1 {
		return out, nil
	}
	// Two for a page at least, so that the last one is not drawn by one alone; no more, since each has memory.
	each := min(workers, max(2, (workers+pages-1)/pages))
	for range pages {
		wg.Go(func() {
			var p page
			for {
				i := int(next.Add(1)) - 1
				if i >= len(jobs) {
					return
				}
				c := jobs[i].content
				c.opt.Workers = each
				out[i], errs[i] = p.image(jobs[i].surface, c)
			}
		})
	}
	wg.Wait()
	return out, errors.Join(errs...)
}

// reportContent gathers what the pictures of one scan share.
func reportContent(rep *inspect.Report, opt Options, coloured bool) content {
	c := content{
		scene: NewScene(rep), opt: opt, verdict: rep.Verdict, frame: rep.Frame,
		third: [2]string{"tissue side", "oral side"}, of: "scan", plane: planeWords(rep.Occlusal), subtitle: subtitle(rep),
	}
	if rep.Jaw != "" {
		c.of += " of the " + string(rep.Jaw) + " jaw"
	}
	c.legend = thicknessLegend(rep, opt, coloured)
	return c
}

// locate chooses the small picture in which the place of a close-up shows; nil for the occlusal
// plane, whose close-up shows the whole rim.
func locate(ls []*locator, v View) *locator {
	if v.Plane {
		return nil
	}
	if ls[0].hides(v.Camera.Centre) && !ls[1].hides(v.Camera.Centre) {
		return ls[1]
	}
	return ls[0]
}

// image draws one page. What goes wrong inside becomes an error, since the caller cannot
// recover from a panic in a worker.
func (p *page) image(s *Surface, c content) (out Image, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("render: %s: %v", c.view.Name, r)
		}
	}()
	var img *image.RGBA
	if c.chart != nil {
		img = p.spread(c)
	} else {
		img = p.draw(s, c)
	}
	out = Image{Name: c.view.Name + ".png", Title: c.view.Title, Alt: alt(c, p.shown)}
	out.PNG, err = encode(img)
	return out, err
}

func (o Options) orDefault() (Options, error) {
	if o.Width == 0 && o.Height == 0 {
		o.Width, o.Height = 1600, 1200
	}
	if o.Width < 800 || o.Width > 8000 || o.Height < o.Width*11/20 || o.Height > 8000 {
		return o, fmt.Errorf("render: no picture of %d × %d pixels: 800 to 8000 wide and at least 0.55 times as high", o.Width, o.Height)
	}
	if o.CloseUps == 0 {
		o.CloseUps = 8
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	o.Thickness = o.Thickness.orDefault()
	return o, nil
}

// subtitle says in one line what was scanned.
func subtitle(rep *inspect.Report) string {
	var parts []string
	if rep.Jaw != "" {
		parts = append(parts, string(rep.Jaw)+" jaw")
	}
	for _, s := range []string{rep.Surface, rep.Coverage} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	if len(parts) == 0 {
		return rep.Scan.File
	}
	return strings.TrimSuffix(strings.Join(parts, ", ")+" · "+rep.Scan.File, " · ")
}

// alt says what a picture shows.
func alt(c content, shown []string) string {
	if f := c.view.finding; f != nil {
		return fmt.Sprintf("Close-up of finding %d: %s", f.Number, f.Text)
	}
	if c.chart != nil {
		return c.view.Title + ": " + c.chart.alt
	}
	s := c.view.Title + ": " + c.of
	if c.view.Name == scannedName {
		return s + ", in the colours of its file."
	}
	if c.frame == nil {
		s += ", patient side unknown"
	}
	if len(shown) > 0 {
		return s + ". Findings that show: " + strings.Join(shown, ", ") + "."
	}
	return s + ". No finding shows."
}
