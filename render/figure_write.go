package render

import (
	"bytes"
	"fmt"
	"html"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"strconv"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"github.com/go-fonts/dejavu/dejavusans"
	"golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
)

// mmText writes a length with the digits that an eye can tell, 1/1000 mm.
func mmText(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000+0, 'f', -1, 64)
}

func svgColour(c color.RGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// SVG writes the figure as scalable vector graphics 1.1, self-contained; words stay words. Discs
// with a link open it.
func (f *Figure) SVG() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s" role="img" aria-label="%s" font-family="'DejaVu Sans', Verdana, sans-serif">`+"\n",
		mmText(f.W), mmText(f.H), mmText(f.W), mmText(f.H), html.EscapeString(f.Alt))
	fmt.Fprintf(&b, `<rect width="%s" height="%s" fill="#ffffff"/>`+"\n", mmText(f.W), mmText(f.H))
	for _, p := range f.parts {
		switch p.kind {
		case partLine, partArea:
			b.WriteString(`<path d="`)
			for i, q := range p.path {
				b.WriteString([]string{"M", "L"}[min(i, 1)] + mmText(q[0]) + " " + mmText(q[1]))
			}
			if p.kind == partArea {
				fmt.Fprintf(&b, `Z" fill="%s"/>`+"\n", svgColour(p.ink))
			} else {
				fmt.Fprintf(&b, `" fill="none" stroke="%s" stroke-width="%s" stroke-linejoin="round"/>`+"\n", svgColour(p.ink), mmText(p.width))
			}
		case partDisc:
			if p.link != "" {
				fmt.Fprintf(&b, `<a href="%s">`, html.EscapeString(p.link))
			}
			fmt.Fprintf(&b, `<circle cx="%s" cy="%s" r="%s" fill="%s" stroke="#ffffff" stroke-width="0.12"><title>%s</title></circle>`, mmText(p.path[0][0]), mmText(p.path[0][1]), mmText(p.radius), svgColour(p.ink), html.EscapeString(p.tip))
			if p.link != "" {
				b.WriteString("</a>")
			}
			b.WriteByte('\n')
		case partText:
			fmt.Fprintf(&b, `<text x="%s" y="%s" font-size="%s" fill="%s">%s</text>`+"\n", mmText(p.path[0][0]), mmText(p.path[0][1]), mmText(p.size), svgColour(p.ink), html.EscapeString(p.text))
		}
	}
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// PDF writes the figure as one page of its own size, words in an embedded font.
func (f *Figure) PDF() ([]byte, error) {
	d := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: f.W, Ht: f.H}})
	d.SetCatalogSort(true)
	epoch := time.Unix(0, 0).UTC() // no clock in a result
	d.SetCreationDate(epoch)
	d.SetModificationDate(epoch)
	d.AddUTF8FontFromBytes("figure", "", dejavusans.TTF)
	d.SetTitle(f.Alt, true)
	d.SetAutoPageBreak(false, 0)
	d.SetMargins(0, 0, 0)
	d.AddPage()
	d.SetLineJoinStyle("round")
	for _, p := range f.parts {
		r, g, b := int(p.ink.R), int(p.ink.G), int(p.ink.B)
		d.SetFillColor(r, g, b)
		d.SetDrawColor(r, g, b)
		d.SetTextColor(r, g, b)
		switch p.kind {
		case partLine:
			d.SetLineWidth(p.width)
			d.MoveTo(p.path[0][0], p.path[0][1])
			for _, q := range p.path[1:] {
				d.LineTo(q[0], q[1])
			}
			d.DrawPath("D")
		case partArea:
			var points []fpdf.PointType
			for _, q := range p.path {
				points = append(points, fpdf.PointType{X: q[0], Y: q[1]})
			}
			d.Polygon(points, "F")
		case partDisc:
			d.Circle(p.path[0][0], p.path[0][1], p.radius, "F")
		case partText:
			d.SetFont("figure", "", p.size*72/25.4)
			d.Text(p.path[0][0], p.path[0][1], p.text)
		}
	}
	var b bytes.Buffer
	if err := d.Output(&b); err != nil {
		return nil, fmt.Errorf("render: pdf: %w", err)
	}
	return b.Bytes(), nil
}

// figureDots are pixels to a mm: 300 to the inch.
const figureDots = 300 / 25.4

// PNG writes the figure with 300 pixels to the inch.
func (f *Figure) PNG() ([]byte, error) {
	const u = figureDots
	img := image.NewRGBA(image.Rect(0, 0, int(math.Round(f.W*u)), int(math.Round(f.H*u))))
	draw.Draw(img, img.Bounds(), image.NewUniform(paper), image.Point{}, draw.Src)
	var q pen
	q.reset(img)
	at := func(p [2]float64) dot { return dot{p[0] * u, p[1] * u, always} }
	for _, p := range f.parts {
		switch p.kind {
		case partLine, partArea:
			var s stroke
			for _, v := range p.path {
				s = append(s, at(v))
			}
			if p.kind == partArea {
				q.area([]stroke{s}, func(float64, float64) float64 { return always })
			} else {
				q.path(s, p.width*u)
			}
		case partDisc:
			q.disc(at(p.path[0]), p.radius*u)
		case partText:
			d := font.Drawer{Dst: img, Src: image.NewUniform(p.ink), Face: f.face(p.size * u)}
			d.Dot = fixed.Point26_6{X: fixed.Int26_6(math.Round(p.path[0][0] * u * 64)), Y: fixed.Int26_6(math.Round(p.path[0][1] * u * 64))}
			d.DrawString(p.text)
			continue
		}
		q.flush(p.ink, 1)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		return nil, fmt.Errorf("render: png: %w", err)
	}
	return b.Bytes(), nil
}
