package main

import (
	"fmt"
	"io"

	"fornix/inspect"
	"fornix/inspect/casefile"
	"fornix/mesh"
	"fornix/render"
)

// job is what the user asks of every scan.
type job struct {
	protocol inspect.Protocol
	options  inspect.Options
	read     inspect.ReadOptions
	order    *casefile.Case // of the sheet; nil: none
	paper    string         // of the sheet; empty: A4
}

// inspectScan reads, measures and judges one scan. A fault in the program is an error of this
// scan alone, so that the others are still inspected.
func inspectScan(r io.Reader, name string, j job) (out *inspect.Outcome, err error) {
	defer func() {
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("fornix failed on this scan, which is a fault of fornix: %v", p)
		}
	}()
	scan, err := inspect.Read(r, name, j.read)
	if err != nil {
		return nil, err
	}
	return inspect.Run(scan, j.protocol, j.options), nil
}

// inspectAndDraw inspects one scan, and where it is to be drawn begins with that while it is measured; else
// the second is nil.
func inspectAndDraw(r io.Reader, name string, j job, draw bool) (rep *inspect.Report, scan *render.Scan, err error) {
	var begun func(*inspect.Report) *render.Scan
	if draw {
		j.options.Surface = func(m *mesh.Mesh) { begun = render.Ahead(m) }
	}
	o, err := inspectScan(r, name, j)
	if err != nil {
		return nil, nil, err
	}
	if draw {
		scan = begun(o.Report)
	}
	return o.Report, scan, nil
}

// sheet writes the laboratory sheet of one scan or two; protocol and order are the job's.
func sheet(in render.SheetInput, j job) (out []byte, err error) {
	defer func() {
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("fornix failed to write the sheet, which is a fault of fornix: %v", p)
		}
	}()
	in.Protocol, in.Case = j.protocol, j.order
	return render.LabSheet(in, render.SheetOptions{Paper: j.paper})
}

// images draws the pictures of an outcome.
func images(s *render.Scan, p inspect.Protocol) (out []render.Image, err error) {
	defer func() {
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("fornix failed to draw this scan, which is a fault of fornix: %v", p)
		}
	}()
	return render.Images(s, render.Options{Limits: thicknessLimits(p)})
}

// page writes the page of an outcome, with some of its pictures.
func page(s *render.Scan, p inspect.Protocol, pictures []render.Image) (out []byte, err error) {
	defer func() {
		if p := recover(); p != nil {
			out, err = nil, fmt.Errorf("fornix failed to write the page of this scan, which is a fault of fornix: %v", p)
		}
	}()
	return render.Page(render.PageInput{Scan: s, Protocol: p, Images: pictures, Limits: thicknessLimits(p)})
}

// thicknessLimits are the limits of the border that legends show.
func thicknessLimits(p inspect.Protocol) []render.Limit {
	return []render.Limit{
		{MM: p.Limits.BorderThin.Fail, Text: "too thin"},
		{MM: p.Limits.BorderThin.Review, Text: "thin"},
		{MM: p.Limits.BorderThick.Review, Text: "thick"},
	}
}
