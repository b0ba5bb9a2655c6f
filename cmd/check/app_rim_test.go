package main

import (
	"fmt"
	"math"
	"testing"

	"fornix/inspect"
	"fornix/mesh"
)

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
