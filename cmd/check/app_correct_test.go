package main

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"fornix/inspect"
	"fornix/mesh"
)

// A landmark is dragged on the scan, and the numbers that hang on it follow.
func TestAppCorrectsALandmark(t *testing.T) {
	base := serveApp(t)
	p := openApp(t, base, 1300, false)
	p.drop(scanFile(t, "upper-voids", "upper.stl"))
	before := dragNotch(t, p, base+"case/1/")
	// One that is chosen and clicked, by keyboard alone: the cross is in the middle of the view.
	p.await("the panel", `document.getElementById('correct').open`)
	inner := p.inner()
	p.enter(`li[data-key=incisive_papilla] .place`)
	inner.await("the cross", `document.getElementById('stage') === document.activeElement && !document.getElementById('cross').hidden`)
	inner.settle() // keys go to a frame with a process of its own a little after it has the focus
	inner.do("enter", chromedp.KeyEvent("\r"))
	p.await("the papilla to be placed", `document.querySelector('li[data-key=incisive_papilla] [data-said]').textContent.startsWith('placed by you')`)
	p.click(`li[data-key=hamular_notch_left] .back`)
	p.click("#forget")
	p.await("all as found", `document.getElementById('turn')?.src.includes('scan-1-r3') && document.getElementById('turn').dataset.ready === 'yes'`)
	if again := appReport(t, base+"case/1/scan/1/report.json"); again.Landmarks[inspect.HamularNotchLeft] != before.Landmarks[inspect.HamularNotchLeft] {
		t.Error("all as found, and the landmark is another")
	}
	placeRim(t, p, base)
	markLines(t, p, base)
}

// markLines sets midline and canine lines on the scan, and finds them in the order.
func markLines(t *testing.T, p *tab, base string) {
	t.Helper()
	p.click("#lines summary")
	inner := p.inner()
	for i, key := range []string{"midline-0", "canine-0", "canine-1"} {
		p.enter(`li[data-key=line-` + key + `] .place`)
		inner.await("the cross", `document.getElementById('stage') === document.activeElement && !document.getElementById('cross').hidden`)
		inner.settle()
		inner.do("turn, enter", chromedp.KeyEvent(kb.ArrowRight), chromedp.KeyEvent("\r"))
		p.await("the mark", `document.querySelector('li[data-key=line-`+key+`] [data-said]').textContent === '`+[]string{"in the order", "place the other side too", "in the order"}[i]+`'`)
	}
	q := openTab(t, base+"case/1/order", base, "#order", 1300, 900, false)
	q.await("the marks", `document.getElementById('marks.midline_at').value.split(',').length === 3 && document.getElementById('marks.canine_at').value.split('\n').length === 2 && document.getElementById('marks.marked_on').value === 'upper'`)
}

// dragNotch drags the left hamular notch forward and sees its numbers follow; it returns the report before.
func dragNotch(t *testing.T, p *tab, address string) inspect.Report {
	t.Helper()
	before := appReport(t, address+"scan/1/report.json")
	rowsBefore := value[string](p, `document.querySelector('.measured').innerText`)
	p.click("#correct summary")
	inner := p.inner()
	inner.click("[data-view=tissue]")
	inner.await("handles", `document.getElementById('stage').dataset.handles?.includes('hamular_notch_left')`)
	apart(t, inner, "landmarks to be dragged")
	px := func() (x, y float64) {
		t.Helper()
		for h := range strings.SplitSeq(value[string](inner, `document.getElementById('stage').dataset.handles`), ";") {
			if name, at, _ := strings.Cut(h, " "); name == inspect.HamularNotchLeft {
				fmt.Sscan(at, &x, &y)
				return x, y
			}
		}
		t.Fatal("the landmark is not seen")
		return 0, 0
	}
	// From above, up in the picture is the front: 20 pixels forward.
	x, y := px()
	at := value[[]float64](inner, `(() => { const e = document.getElementById('stage'), b = e.getBoundingClientRect(); return [b.x + e.clientLeft, b.y + e.clientTop]; })()`)
	p.drag("#turn", at[0]+x, at[1]+y, at[0]+x, at[1]+y-20)
	p.await("the landmark to be moved", `document.querySelector('li[data-key=hamular_notch_left] [data-said]').textContent.startsWith('placed by you')`)
	if _, moved := px(); math.Abs(y-20-moved) > 3 {
		t.Errorf("dragged by 20 pixels, the landmark moved by %.1f", y-moved)
	}
	p.shot("app-correct-"+strings.Trim(strings.ReplaceAll(address[strings.Index(address, "case"):], "/", "-"), "-"), false)
	p.click("#measure-again")
	p.await("new results", `document.getElementById('turn')?.src.includes('scan-1-r2') && document.getElementById('turn').dataset.ready === 'yes'`)
	after := appReport(t, address+"scan/1/report.json")
	a, b := before.Landmarks[inspect.HamularNotchLeft], after.Landmarks[inspect.HamularNotchLeft]
	forward := a.Point.Sub(b.Point).Dot(before.Frame.Posterior)
	if b.Source != "given" || forward < 0.5 {
		t.Errorf("the landmark is %s, %.2f mm farther in front", b.Source, forward)
	}
	was, is := before.Posterior.Left, after.Posterior.Left
	if was == nil || is == nil || is.ExtensionMM == nil || math.Abs(*is.ExtensionMM-*was.ExtensionMM-forward) > 0.05 {
		t.Errorf("the notch went forward by %.2f mm, and the extension from %+v to %+v", forward, was, is)
	}
	if rows := value[string](p, `document.querySelector('.measured').innerText`); rows == rowsBefore {
		t.Error("the numbers on the page are the old ones")
	}
	return before
}

// onFlat returns three places in the middle of the rim's flat, far apart: each halfway between a point of
// its outline and the nearest one across.
func onFlat(rep *inspect.Report) (out []mesh.Vec) {
	path := rep.Occlusal.Outline[0]
	n := len(path)
	for _, at := range []int{n / 8, 3 * n / 8, 5 * n / 8} {
		best, near := mesh.Vec{}, math.Inf(1)
		for k := range path {
			away := min((k-at+n)%n, (at-k+n)%n)
			if d := path[k].Dist(path[at]); away > n/10 && d < near {
				best, near = path[k], d
			}
		}
		out = append(out, best.Add(path[at]).Scale(0.5))
	}
	return out
}

// Three points are set on the rim's flat, which say where the rim is; two are refused.
func placeRim(t *testing.T, p *tab, base string) {
	t.Helper()
	before := appReport(t, base+"case/1/scan/1/report.json")
	inner := p.inner()
	inner.click("[data-view=oral]")
	inner.settle()
	right, up := before.Frame.Left.Scale(-1), before.Frame.Posterior.Scale(-1)
	toward := before.Frame.TowardTissue.Scale(-1)
	if up.Cross(toward).Dot(right) < 0 {
		right = right.Scale(-1)
	}
	middle := value[[]float64](inner, `JSON.parse(document.getElementById('data').textContent).middle`)
	for i, at := range onFlat(&before) {
		p.click(fmt.Sprintf(`li[data-key=rim-%d] .place`, i+1))
		inner.await("the cross", `!document.getElementById('cross').hidden`)
		c, half := inner.stage()
		size := value[[2]float64](inner, `[document.getElementById('stage').clientWidth, document.getElementById('stage').clientHeight]`)
		d := at.Sub(mesh.Vec{X: middle[0] + c[0], Y: middle[1] + c[1], Z: middle[2] + c[2]})
		perMM := min(size[0], size[1]) / 2 / half
		corner := value[[2]float64](inner, `(() => { const e = document.getElementById('stage'), b = e.getBoundingClientRect(); return [b.x + e.clientLeft, b.y + e.clientTop]; })()`)
		p.press("#turn", corner[0]+size[0]/2+perMM*d.Dot(right), corner[1]+size[1]/2-perMM*d.Dot(up))
		p.await("the point", fmt.Sprintf(`document.querySelector('li[data-key=rim-%d] [data-said]').textContent.startsWith('placed by you')`, i+1))
		if i == 1 {
			p.click("#measure-again")
			p.await("the refusal", `document.getElementById('notice').textContent.includes('all three points')`)
		}
	}
	p.click("#measure-again")
	p.await("the rim about the points", `document.getElementById('turn')?.src.includes('scan-1-r4') && document.getElementById('turn').dataset.ready === 'yes'`)
	after := appReport(t, base+"case/1/scan/1/report.json")
	told := false
	for _, d := range after.Decisions {
		told = told || d.About == "rim"
	}
	turn := math.Acos(min(1, after.Occlusal.Normal.Dot(before.Occlusal.Normal))) * 180 / math.Pi
	if !told || turn > 0.05 {
		t.Errorf("about three points on its flat the rim turned by %.2f degrees; told: %v", turn, told)
	}
	p.shot("app-rim", false)
}
