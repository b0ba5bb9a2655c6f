package render

import (
	"bytes"
	"image/color"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"fornix/mesh"
)

// topView looks down at the x-y plane: x to the right, y up, one mm is k pixels.
func topView(k, x, y float64) Camera {
	c := Look(mesh.Vec{Z: 1}, mesh.Vec{Y: 1})
	c.Scale, c.X, c.Y = k, x, y
	return c
}

func TestRasterDepthAndFace(t *testing.T) {
	m := mesh.New([]mesh.Vec{{X: 0, Y: 0}, {X: 8, Y: 0}, {X: 8, Y: 8}, {X: 0, Y: 8},
		{X: 2, Y: 2, Z: 3}, {X: 6, Y: 2, Z: 3}, {X: 2, Y: 6, Z: 7}},
		[][3]mesh.VertexID{{0, 1, 2}, {0, 2, 3}, {4, 5, 6}})
	var r Raster
	r.Resize(100, 90)
	r.Draw(NewSurface(m, false), topView(10, 10, 85), nil, 1)
	at := func(x, y float64) (float64, int32) {
		i := int(85-10*y)*r.W + int(10+10*x)
		return float64(r.Depth[i]), r.Face[i]
	}
	for _, c := range []struct {
		x, y, z float64
		face    int32
	}{{7, 1, 0, 0}, {1, 7, 0, 1}, {2.5, 2.5, 3.5, 2}, {3.05, 4.05, 5.05, 2}, {6.5, 6, 0, 0}} {
		z, f := at(c.x, c.y)
		if math.Abs(z-c.z) > 0.11 || f != c.face { // a pixel is 0.1 mm and the slope is 1
			t.Errorf("at %g, %g: depth %.2f of face %d, want %.2f of %d", c.x, c.y, z, f, c.z, c.face)
		}
	}
	if z, f := at(8.5, 4); f != -1 || !math.IsInf(z, -1) {
		t.Errorf("beside the faces: depth %g of face %d", z, f)
	}
	// The two faces of the square share the diagonal: no sample is left out, and the square's
	// area in pixels is exact.
	n := 0
	for i, f := range r.Face {
		if f >= 0 {
			n++
			if p := r.Image.Pix[4*i : 4*i+3]; p[0] == 255 {
				t.Fatalf("pixel %d of the square is paper", i)
			}
		}
	}
	if n != 80*80 {
		t.Errorf("the square covers %d pixels, want %d", n, 80*80)
	}
}

// sphere returns a closed sphere about the origin from a grid of n × 2n quads.
func sphere(radius float64, n int) *mesh.Mesh {
	var pos []mesh.Vec
	var tri [][3]mesh.VertexID
	for i := 0; i <= n; i++ {
		for j := range 2 * n {
			a, b := math.Pi*float64(i)/float64(n), math.Pi*float64(j)/float64(n)
			pos = append(pos, mesh.Vec{X: radius * math.Sin(a) * math.Cos(b), Y: radius * math.Sin(a) * math.Sin(b), Z: radius * math.Cos(a)})
		}
	}
	for i := range n {
		for j := range 2 * n {
			k := (j + 1) % (2 * n)
			a, b, c, d := mesh.VertexID(i*2*n+j), mesh.VertexID(i*2*n+k), mesh.VertexID((i+1)*2*n+j), mesh.VertexID((i+1)*2*n+k)
			tri = append(tri, [3]mesh.VertexID{a, c, d}, [3]mesh.VertexID{a, d, b})
		}
	}
	return mesh.New(pos, tri)
}

// A sphere covers π r² and is r high in the middle; its normals point away from the middle.
func TestRasterSphere(t *testing.T) {
	m := sphere(10, 120)
	s := NewSurface(m, false)
	var r Raster
	r.Resize(260, 260)
	r.Draw(s, topView(12, 130, 130), nil, 2)
	n := 0.0
	for _, f := range r.Face {
		if f >= 0 {
			n++
		}
	}
	// A pixel counts when one of its samples is covered, which widens the disc by up to a
	// quarter of a pixel at its edge; the flat faces narrow it by 10 (1 - cos(π/240)) = 0.001 mm.
	rad := 120.0
	if lo, hi := math.Pi*(rad-0.3)*(rad-0.3), math.Pi*(rad+0.75)*(rad+0.75); n < lo || n > hi {
		t.Errorf("covers %g pixels, want %g to %g", n, lo, hi)
	}
	if z := r.Depth[130*260+130]; math.Abs(float64(z)-10) > 0.01 {
		t.Errorf("height in the middle %g, want 10", z)
	}
	for v, q := range s.normal {
		d := m.Pos[v].Unit()
		if a := d.X*float64(q[0]) + d.Y*float64(q[1]) + d.Z*float64(q[2]); a < 0.995 {
			t.Fatalf("normal of vertex %d is off by %.1f°", v, math.Acos(a)*180/math.Pi)
		}
	}
}

// Colours change linearly across a face, whether wide or high, and a tint's band ends where its field is 128.
func TestRasterColoursAcrossFace(t *testing.T) {
	corners := [3]mesh.Vec{{X: 1, Y: 1}, {X: 25, Y: 3}, {X: 4, Y: 19}}
	colours := [3]color.RGBA{{R: 250, G: 10, B: 40}, {R: 20, G: 240, B: 60}, {R: 30, G: 80, B: 230}}
	s := NewSurface(mesh.New(corners[:], [][3]mesh.VertexID{{0, 1, 2}}), false)
	for _, alpha := range [2][3]uint8{{255, 255, 255}, {255, 40, 40}} {
		tint := colours
		for k := range tint {
			tint[k].A = alpha[k]
		}
		var r Raster
		r.Resize(280, 220)
		r.Draw(s, topView(10, 5, 210), tint[:], 1)
		for i, f := range r.Face {
			x, y := (float64(i%r.W)+0.5-5)/10, (210-float64(i/r.W)-0.5)/10
			share := [3]float64{}
			least, field := math.Inf(1), 0.0
			for k := range share {
				a, b, p := corners[(k+1)%3], corners[(k+2)%3], corners[k]
				share[k] = ((b.X-a.X)*(y-a.Y) - (b.Y-a.Y)*(x-a.X)) / ((b.X-a.X)*(p.Y-a.Y) - (b.Y-a.Y)*(p.X-a.X))
				least, field = min(least, share[k]), field+share[k]*float64(alpha[k])
			}
			if least < 0.01 || math.Abs(field-128) < 3 { // a pixel of the edge has samples of two kinds
				continue
			}
			want := [3]float64{}
			for k := range share {
				v := r.light[k].front
				if field > 128 {
					v = r.light[k].tinted
				}
				for j := range want {
					want[j] += share[k] * float64(v[j])
				}
			}
			for j, w := range want {
				if got := float64(r.Image.Pix[4*i+j]); f != 0 || math.Abs(got-w) > 1.1 { // half a level of rounding, and half of averaging
					t.Fatalf("at %.2f, %.2f of face %d: %v, want %.1f", x, y, f, r.Image.Pix[4*i:4*i+3], want)
				}
			}
		}
	}
}

func TestRasterSameBytesForAnyWorkers(t *testing.T) {
	s := NewSurface(sphere(10, 90), false)
	c := Look(mesh.Vec{X: 1, Y: 2, Z: 3}, mesh.Vec{Z: 1})
	c.Scale, c.X, c.Y = 11, 150, 111.3
	tint := make([]color.RGBA, len(s.mesh.Pos))
	for v := range tint {
		tint[v] = color.RGBA{uint8(v), uint8(v / 7), 90, uint8(v / 3)}
	}
	var want Raster
	want.Resize(301, 223)
	want.Draw(s, c, tint, 1)
	var got Raster
	for _, workers := range []int{2, 3, 7, 1} {
		got.Resize(301, 223)
		got.Draw(s, c, tint, workers)
		if !bytes.Equal(got.Image.Pix, want.Image.Pix) {
			t.Errorf("%d workers: other pixels", workers)
		}
		for i := range want.Depth {
			if got.Depth[i] != want.Depth[i] || got.Face[i] != want.Face[i] {
				t.Fatalf("%d workers: other depth or face at pixel %d", workers, i)
			}
		}
	}
}

// The back of a face has its own colour, inside-out scans are turned, and faces with a corner
// that is not finite or far out of the picture do no harm.
func TestRasterSidesAndOddFaces(t *testing.T) {
	pos := []mesh.Vec{{X: -5, Y: -5}, {X: 5, Y: -5}, {X: 0, Y: 5}, {X: math.NaN()}, {X: 1e12}}
	draw := func(tri [][3]mesh.VertexID, insideOut bool) (color.RGBA, int32) {
		var r Raster
		r.Resize(60, 60)
		r.Draw(NewSurface(mesh.New(pos, tri), insideOut), topView(4, 30, 30), nil, 1)
		return r.Image.RGBAAt(30, 30), r.Face[30*60+30]
	}
	front, _ := draw([][3]mesh.VertexID{{0, 1, 2}}, false)
	back, _ := draw([][3]mesh.VertexID{{0, 2, 1}}, false)
	turned, _ := draw([][3]mesh.VertexID{{0, 2, 1}}, true)
	if front == back || front != turned {
		t.Errorf("front %v, back %v, back of an inside-out scan %v", front, back, turned)
	}
	if c, f := draw([][3]mesh.VertexID{{0, 1, 3}, {0, 1, 4}, {0, 0, 1}, {0, 1, 2}}, false); c != front || f != 3 {
		t.Errorf("with odd faces beside it: %v of face %d, want %v of face 3", c, f, front)
	}
}

// Faces left out in blocks because they lie beside the picture show in none: on its edges, and among corners that
// are not finite or far away.
func TestRasterLeavesOutWhatIsBeside(t *testing.T) {
	ball := sphere(10, 160)
	rng := rand.New(rand.NewPCG(4, 4))
	for range 40 {
		n := mesh.VertexID(len(ball.Pos))
		far := math.Pow(10, 20*rng.Float64())
		ball.Pos = append(ball.Pos, mesh.Vec{X: math.NaN()}, mesh.Vec{X: far * (rng.Float64() - 0.5), Y: far * (rng.Float64() - 0.5), Z: rng.Float64()})
		i := rng.IntN(len(ball.Tri))
		ball.Tri = slices.Insert(ball.Tri, i, [3]mesh.VertexID{n, 1, 2}, [3]mesh.VertexID{n + 1, mesh.VertexID(rng.IntN(5000)), 2})
	}
	m := mesh.New(ball.Pos, ball.Tri)
	all := NewSurface(m, false)
	all.boxed.Do(func() {})
	for range (len(m.Tri) + blockFaces - 1) / blockFaces {
		all.boxes = append(all.boxes, faceBox{mesh.Vec{X: -1e30, Y: -1e30, Z: -1e30}, mesh.Vec{X: 1e30, Y: 1e30, Z: 1e30}})
	}
	s := NewSurface(m, false)
	placed := func(r *Raster) (n int) {
		for _, v := range r.spot {
			if v.round == r.round {
				n++
			}
		}
		return n
	}
	few, of := 0, 0
	var got, want Raster
	for range 40 {
		c := Look(mesh.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}, mesh.Vec{Z: 1})
		c.Centre = ball.Pos[rng.IntN(5000)]
		c.Scale, c.X, c.Y = 20+60*rng.Float64(), 100*rng.Float64(), 80*rng.Float64()
		got.Resize(100, 80)
		want.Resize(100, 80)
		got.Draw(s, c, nil, 1)
		want.Draw(all, c, nil, 1)
		if !bytes.Equal(got.Image.Pix, want.Image.Pix) || !slices.Equal(got.Depth, want.Depth) || !slices.Equal(got.Face, want.Face) {
			t.Fatal("another picture")
		}
		few, of = few+placed(&got), of+placed(&want)
	}
	if few > of/2 {
		t.Errorf("%d vertices placed of %d", few, of)
	}
}

func BenchmarkRaster(b *testing.B) {
	s := NewSurface(sphere(30, 354), false) // 501,264 faces
	c := Look(mesh.Vec{X: 1, Y: 2, Z: 3}, mesh.Vec{Z: 1})
	c.Scale, c.X, c.Y = 19, 800, 600
	var r Raster
	r.Resize(1600, 1200)
	for b.Loop() {
		r.Draw(s, c, nil, 2)
	}
}

// A surface far behind, where it comes into sight, lightens what stands before it little by little: no
// outline shows that is in no scan.
func TestDeepeningDrawsNoOutline(t *testing.T) {
	const w, h = 240, 200
	r := &Raster{}
	r.Resize(w, h)
	for y := range h {
		for x := range w {
			i := y*w + x
			r.Depth[i], r.Face[i] = float32(math.Inf(-1)), -1
			switch {
			case y >= h/2:
				r.Depth[i], r.Face[i] = 0, 0
			case x >= w/2 && y >= h/2-8:
				r.Depth[i], r.Face[i] = -40, 0
			}
			for k := range 3 {
				r.Image.Pix[y*r.Image.Stride+4*x+k] = 200
			}
		}
	}
	r.deepen(12)
	most, lightened := 0, 0
	for y := h/2 + 1; y < h-1; y++ {
		for x := 1; x < w; x++ {
			at := func(x, y int) int { return int(r.Image.Pix[y*r.Image.Stride+4*x]) }
			most = max(most, max(at(x, y)-at(x-1, y), at(x-1, y)-at(x, y)))
			lightened = max(lightened, at(x, y)-200)
		}
	}
	if most > 12 || lightened < 5 {
		t.Errorf("a step of %d levels in an even surface; lightened by %d", most, lightened)
	}
}

// The samples of a row before a side's inner one are as many as counting one after the other finds.
func TestOutside(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for range 20000 {
		e := edge{dx: rng.Int64N(401) - 200, at: rng.Int64N(40001) - 20000}
		want := 0
		for e.at+int64(want)*e.dx < 0 && want < 20001 {
			want++
		}
		got := e.outside()
		if want > 20000 {
			want = never
		}
		if got != want {
			t.Fatalf("%+v: %d, not %d", e, got, want)
		}
	}
}

// A face's colour stepped in whole numbers is that of its corners, mixed by areas, within a level: of
// large faces, small ones and slivers.
func TestShadeIsMixed(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 8))
	seen, plain := 0, 0
	for k := range 9000 {
		wide, high := []int32{60, 2000, stepsAcross * sub}[k%3], int32(60+(k%7)*70)
		var v [3]struct {
			spot
			light
		}
		for i := range v {
			v[i].spot = spot{x: rng.Int32N(wide), y: rng.Int32N(high)}
			for j := range v[i].front {
				v[i].front[j] = 255 * rng.Float32()
			}
		}
		if k%2 == 0 { // hardly wider than a line
			v[2].x, v[2].y = (v[0].x+v[1].x)/2, (v[0].y+v[1].y)/2+1+rng.Int32N(20)
		}
		area := int64(v[1].x-v[0].x)*int64(v[2].y-v[0].y) - int64(v[1].y-v[0].y)*int64(v[2].x-v[0].x)
		if area < 0 {
			v[1], v[2], area = v[2], v[1], -area
		}
		if area == 0 {
			continue
		}
		ea, eb, ec := newEdge(&v[1].spot, &v[2].spot, 0, 0), newEdge(&v[2].spot, &v[0].spot, 0, 0), newEdge(&v[0].spot, &v[1].spot, 0, 0)
		s := newShade(&v[0].front, &v[1].front, &v[2].front, eb, ec, 1/float32(area), int(wide)/sub, int(high)/sub)
		if s.dx == 0 && s.dy == 0 {
			plain++
			continue
		}
		for range 50 {
			x, y := rng.Int64N(int64(wide)/sub+1), rng.Int64N(int64(high)/sub+1)
			la, lb, lc := ea.at+x*ea.dx+y*ea.dy, eb.at+x*eb.dx+y*eb.dy, ec.at+x*ec.dx+y*ec.dy
			if la|lb|lc < 0 {
				continue
			}
			seen++
			c := inRGB(s.at + x*s.dx + y*s.dy)
			for j := range 3 {
				a := float64(area)
				want := ((a-float64(lb)-float64(lc))*float64(v[0].front[j]) + float64(lb)*float64(v[1].front[j]) + float64(lc)*float64(v[2].front[j])) / a
				if got := float64(c >> (16 - 8*j) & 255); math.Abs(got-want) > 1 {
					t.Fatalf("face %d, area %d, sample %d %d, channel %d: %g, not %.2f", k, area, x, y, j, got, want)
				}
			}
		}
	}
	if seen < 10000 || plain > 30 {
		t.Errorf("only %d samples; %d faces in one colour", seen, plain)
	}
}
