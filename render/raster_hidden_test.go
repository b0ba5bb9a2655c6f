package render

import (
	"math"
	"math/rand/v2"
	"testing"

	"fornix/inspect"
	"fornix/mesh"
)

// Every pixel has the depth of the nearest face at one of its samples, however faces are wound and whatever hides
// what: held against every face at every sample.
func TestRasterDrawsTheNearest(t *testing.T) {
	const w, h = 67, 53 // no whole number of tiles nor of bands
	rng := rand.New(rand.NewPCG(7, 9))
	var r Raster
	r.Resize(w, h)
	for round := range 12 {
		var pos []mesh.Vec
		var tri [][3]mesh.VertexID
		for range 500 {
			// One mm is a sample, and corners lie on positions, half of one away from where they would be rounded.
			at := func() float64 { return float64(rng.IntN(over*w*sub)) / sub }
			size := 4 + 60*rng.Float64()*rng.Float64()
			mid := mesh.Vec{X: at(), Y: -at(), Z: 40 * rng.Float64()}
			id := mesh.VertexID(len(pos))
			for range 3 {
				x, y := math.Round(size*rng.NormFloat64()*sub)/sub, math.Round(size*rng.NormFloat64()*sub)/sub
				pos = append(pos, mid.Add(mesh.Vec{X: x, Y: y, Z: 3 * rng.Float64()}))
			}
			// A sliver's depth is rounded by the side it leans on.
			if e, f := pos[id+1].Sub(pos[id]), pos[id+2].Sub(pos[id]); math.Abs(e.X*f.Y-e.Y*f.X) > 80 {
				tri = append(tri, [3]mesh.VertexID{id, id + 1, id + 2})
			}
		}
		s := NewSurface(mesh.New(pos, tri), round%2 == 1)
		r.Draw(s, topView(1./over, 0.5/(over*sub), 0.5/(over*sub)), nil, 1)
		wrong, asked := 0, 0
		for y := range h {
			for x := range w {
				want, onEdge := math.Inf(-1), false
				for k := range over * over {
					z, edge := nearestAt(pos, tri, float64(over*x+k%over)+0.5, -(float64(over*y+k/over) + 0.5))
					want, onEdge = max(want, z), onEdge || edge
				}
				if onEdge {
					continue
				}
				asked++
				if got := float64(r.Depth[y*w+x]); got != want && !(math.Abs(got-want) < 1e-3) {
					wrong++
				}
			}
		}
		if wrong > 0 || asked < w*h/2 {
			t.Errorf("round %d: %d of %d pixels have another depth", round, wrong, asked)
		}
	}
}

// nearestAt is the height of the highest face over a place, -Inf where none is, and whether the place lies on an edge.
func nearestAt(pos []mesh.Vec, tri [][3]mesh.VertexID, x, y float64) (z float64, onEdge bool) {
	z = math.Inf(-1)
	for _, t := range tri {
		a, b, c := pos[t[0]], pos[t[1]], pos[t[2]]
		side := func(p, q mesh.Vec) float64 { return (q.X-p.X)*(y-p.Y) - (q.Y-p.Y)*(x-p.X) }
		wa, wb, wc := side(b, c), side(c, a), side(a, b)
		if wa+wb+wc < 0 {
			wa, wb, wc = -wa, -wb, -wc
		}
		if wa < 0 || wb < 0 || wc < 0 {
			continue
		}
		all := wa + wb + wc
		onEdge = onEdge || wa == 0 || wb == 0 || wc == 0
		if all > 0 {
			z = max(z, (wa*a.Z+wb*b.Z+wc*c.Z)/all)
		}
	}
	return z, onEdge
}

// A close-up that is drawn from the surface of the whole views looks like that of the scan; one that shows less
// of the scan is drawn from the scan itself.
func TestWideCloseUpIsThatOfTheScan(t *testing.T) {
	m, rep := fullReport(inspect.Upper)
	s := NewScan(m, rep)
	opt, _ := Options{}.orDefault()
	v := closeUps(rep, s.full(), 1)[0]
	wide := 0.0
	for wide = 8; wide < 45; wide++ {
		if v.Camera.Scale = wide; s.shownWhole(v, opt) {
			break
		}
	}
	if wide < 12 || wide > 25 {
		t.Errorf("drawn from the surface of whole views from %g mm on", wide)
	}
	c := reportContent(rep, opt, true)
	c.view = v
	var pages [2]page
	for i, d := range []drawn{s.fine(opt.Thickness), s.whole(opt.Thickness)} {
		c.tint = d.tint
		pages[i].draw(d.surface, c)
	}
	a, b := &pages[0].raster, &pages[1].raster
	deep, colours, seen := 0, 0, 0
	for i, z := range a.Depth {
		if math.IsInf(float64(z), -1) {
			continue
		}
		seen++
		if math.Abs(float64(z-b.Depth[i])) > 3*ViewErrorMM {
			deep++
		}
		for k := range 3 {
			if abs(int(a.Image.Pix[4*i+k])-int(b.Image.Pix[4*i+k])) > 60 {
				colours++
				break
			}
		}
	}
	t.Logf("from %g mm on: of %d pixels %d are deeper or less deep, %d of another colour", wide, seen, deep, colours)
	if seen == 0 || deep*100 > seen || colours*100 > seen {
		t.Errorf("of %d pixels %d are deeper or less deep, %d of another colour", seen, deep, colours)
	}
}
