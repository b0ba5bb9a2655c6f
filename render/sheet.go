package render

import (
	"bytes"
	"errors"
	"fmt"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/dejavu/dejavusans"
	"github.com/go-fonts/dejavu/dejavusansbold"
	"golang.org/x/image/font/sfnt"

	"fornix/inspect"
	"fornix/inspect/casefile"
)

// SheetInput is what a laboratory sheet says: one scan or two, the limits they were judged by, and
// the order, if there is one.
type SheetInput struct {
	Scans    []*Scan
	Protocol inspect.Protocol
	Case     *casefile.Case // nil: the sheet has no order

	// Relation is how the two scans close on each other; nil: not known.
	Relation *Pair
}

// SheetOptions say how the sheet is printed.
type SheetOptions struct {
	Paper string // "A4" (the default) or "Letter"
}

// LabSheet writes the paper that travels with a case as a PDF of two to four pages: what is to be done,
// the findings with close-ups, the views, the border's profile, what was measured with its
// uncertainty and limits, and the order. Text can be selected and is set in embedded fonts; a
// letter that they cannot set is printed as a question mark, and the sheet says in which fields. Same
// input, same bytes.
func LabSheet(in SheetInput, opt SheetOptions) ([]byte, error) {
	if len(in.Scans) < 1 || len(in.Scans) > 2 {
		return nil, errors.New("render: a sheet has one scan or two")
	}
	for _, s := range in.Scans {
		if !s.there() {
			return nil, errors.New("render: a scan of the sheet has no report or no mesh")
		}
	}
	if opt.Paper == "" {
		opt.Paper = "A4"
	}
	if opt.Paper != "A4" && opt.Paper != "Letter" {
		return nil, fmt.Errorf("render: no paper has the name %q: A4 or Letter", opt.Paper)
	}
	k := newSheet(opt.Paper)
	k.in = in
	taken := map[int]bool{}
	for _, s := range in.Scans {
		k.printers = append(k.printers, newPrinter(s, taken))
	}
	if err := k.front(); err != nil {
		return nil, err
	}
	body := k.both
	if len(in.Scans) == 1 {
		body = func() error { return k.scan(in.Scans[0].Report, k.printers[0]) }
	}
	if err := body(); err != nil {
		return nil, err
	}
	if in.Relation != nil {
		if err := k.pair(in.Relation, taken); err != nil {
			return nil, err
		}
	}
	k.order()
	var b bytes.Buffer
	if err := k.pdf.Output(&b); err != nil {
		return nil, fmt.Errorf("render: pdf: %w", err)
	}
	return b.Bytes(), nil
}

// labSheet is a laboratory sheet being made. Lengths are mm on paper.
type labSheet struct {
	pdf      *fpdf.Fpdf
	in       SheetInput
	w, h     float64 // of the paper
	y        float64 // where the next line goes
	images   int
	printers []*printer // one per scan
	buf      sfnt.Buffer
}

// The sheet's layout, mm, and its sizes of type, points. Nothing is set under 7.5 points.
const (
	sheetMargin = 15.0
	sheetFoot   = 14.0 // from the lower edge to the foot's line
	bodySize    = 8.5
	smallSize   = 7.5
	headSize    = 11.0
	lineMM      = 4.2 // of body type
)

func newSheet(paper string) *labSheet {
	f := fpdf.New("P", "mm", paper, "")
	f.SetCatalogSort(true)
	epoch := time.Unix(0, 0).UTC() // no clock in a result
	f.SetCreationDate(epoch)
	f.SetModificationDate(epoch)
	f.AddUTF8FontFromBytes("sheet", "", dejavusans.TTF)
	f.AddUTF8FontFromBytes("sheet", "B", dejavusansbold.TTF)
	f.SetTitle("Laboratory sheet", true)
	f.SetLang("en")
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(sheetMargin, sheetMargin, sheetMargin)
	f.AliasNbPages("{nb}")
	k := &labSheet{pdf: f}
	k.w, k.h = f.GetPageSize()
	return k
}

// width is that between the margins.
func (k *labSheet) width() float64 { return k.w - 2*sheetMargin }

// left is how much room the page still has.
func (k *labSheet) left() float64 { return k.h - sheetFoot - 3 - k.y }

// page begins a new page with its head and foot.
func (k *labSheet) page(title string) {
	f := k.pdf
	f.AddPage()
	f.SetTextColor(0, 0, 0)
	k.font("B", headSize+2)
	k.say(sheetMargin, sheetMargin+3, title)
	k.font("", bodySize)
	right := k.line(k.number())
	k.put(k.w-sheetMargin-f.GetStringWidth(right.text), sheetMargin+3, right)
	k.rule(sheetMargin+5.5, 0.4)
	k.rule(k.h-sheetFoot, 0.2)
	k.font("", smallSize)
	f.Text(sheetMargin, k.h-sheetFoot+4, caution)
	of := fmt.Sprintf("page %d of ", f.PageNo())
	f.Text(k.w-sheetMargin-f.GetStringWidth(of+"4"), k.h-sheetFoot+4, of+"{nb}") // a sheet has fewer than ten pages
	k.y = sheetMargin + 11
}

// number names the case at the head of every page.
func (k *labSheet) number() string {
	if c := k.in.Case; c != nil && c.Order.Number != "" {
		return "case " + isolated(c.Order.Number)
	}
	return "no case number given"
}

func (k *labSheet) font(style string, size float64) { k.pdf.SetFont("sheet", style, size) }

func (k *labSheet) rule(y, width float64) {
	k.pdf.SetDrawColor(0, 0, 0)
	k.pdf.SetLineWidth(width)
	k.pdf.Line(sheetMargin, y, k.w-sheetMargin, y)
}

// head sets a heading.
func (k *labSheet) head(text string) {
	k.font("B", headSize-1)
	k.say(sheetMargin, k.y+3.5, text)
	k.y += 6
}

// says is text as the sheet can set it, in the order in which it is read.
func (k *labSheet) says(text string) string { return asSet(&k.buf, text) }

// lines sets a paragraph x mm from the left margin and w wide, and returns its height. With lines
// over most the rest is cut off with an ellipsis.
func (k *labSheet) lines(text string, x, y, w float64, most int) float64 {
	return k.linesOf(text, x, y, w, most, lineMM)
}

// linesOf does so with lines of another height.
func (k *labSheet) linesOf(text string, x, y, w float64, most int, lineMM float64) float64 {
	return k.set(k.split(text, w, 0, most), x, y, w, lineMM)
}

// picture sets a printed picture with its upper left corner at x, y (from the page's edge), w wide,
// with its name under it, its sides and a scale.
func (k *labSheet) picture(p printed, x, y, w float64) {
	f := k.pdf
	k.images++
	name := fmt.Sprintf("image-%d", k.images)
	opt := fpdf.ImageOptions{ImageType: "JPG"}
	f.RegisterImageOptionsReader(name, opt, bytes.NewReader(p.jpeg))
	h := w * float64(p.h) / float64(p.w)
	f.ImageOptions(name, x, y, w, h, false, opt, 0, "")
	f.SetDrawColor(170, 170, 170)
	f.SetLineWidth(0.15)
	f.Rect(x, y, w, h, "D")
	k.font("B", bodySize)
	if p.left != "" {
		k.say(x+1.5, y+4, p.left)
	}
	if p.right != "" {
		k.say(x+w-1.5-f.GetStringWidth(p.right), y+4, p.right)
	}
	k.font("", smallSize)
	k.say(x, y+h+3.4, p.title)
	mm := 10.0
	for _, mm = range []float64{10, 5, 2, 1} {
		if mm*p.perMM/float64(p.w)*w <= 0.4*w {
			break
		}
	}
	long := mm * p.perMM / float64(p.w) * w
	f.SetDrawColor(0, 0, 0)
	f.SetLineWidth(0.4)
	f.Line(x+w-long, y+h+2.6, x+w, y+h+2.6)
	f.Line(x+w-long, y+h+1.6, x+w-long, y+h+3.6)
	f.Line(x+w, y+h+1.6, x+w, y+h+3.6)
	t := plain(mm) + " mm"
	f.Text(x+w-long-1.5-f.GetStringWidth(t), y+h+3.4, t)
}
