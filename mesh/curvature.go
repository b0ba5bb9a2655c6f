package mesh

import (
	"math"
	"sync"
)

// Curv is the shape of the surface around a vertex: the quadric that fits best to the vertices
// within a length.
//
// Curvatures are 1/mm and positive where the surface is convex seen from the side of its
// normals: +1/r on a ball wound outward, -1/r on its inside, and on a ridge K1 > 0 across it.
type Curv struct {
	K1, K2 float64 // principal curvatures, K1 >= K2
	D1, D2 Vec     // their directions, unit, at right angles; the sign of each is arbitrary
	Normal Vec     // unit normal of the quadric at the vertex
	RMS    float64 // mm, of the vertices about the quadric, with 6 degrees of freedom taken off: noise, where the shape is plain
	N      int     // vertices fitted; 0: no fit was possible and all else is zero
}

// Mean returns the mean curvature in 1/mm.
func (c Curv) Mean() float64 { return (c.K1 + c.K2) / 2 }

// Gauss returns the Gaussian curvature in 1/mm².
func (c Curv) Gauss() float64 { return c.K1 * c.K2 }

// Curvature fits a quadric at every vertex (#V) over the given radius in mm; see CurvatureAt.
// O(#V times the vertices in a ball), on all processors.
func Curvature(m *Mesh, radiusMM float64) []Curv {
	all := make([]VertexID, len(m.Pos))
	for v := range all {
		all[v] = VertexID(v)
	}
	return CurvatureAt(m, all, m.Normals(), radiusMM)
}

// CurvatureAt fits a quadric at each of the vertices at, over the vertices within radiusMM of it
// that can be reached inside that ball and whose normal is within 60 degrees of its own, so that
// the far side of a thin edge stays out. normals are m.Normals().
//
// The fit is over a length, not over a ring of neighbours: noise of s mm at n vertices disturbs
// the curvature by about 5 s / (r² √n), whatever the density, and a feature smaller than r is
// flattened. Quadric with free position and slope, least squares of heights, then the shape
// operator of its graph (Cazals and Pouget, Comput Aided Geom Des 2005;22:121, degree 2).
func CurvatureAt(m *Mesh, at []VertexID, normals []Vec, radiusMM float64) []Curv {
	out := make([]Curv, len(at))
	type scratch struct {
		w   *Walker
		buf []VertexID
	}
	pool := sync.Pool{New: func() any { return &scratch{w: NewWalker(m)} }}
	InPieces(len(at), 1<<12, func(lo, hi int) {
		s := pool.Get().(*scratch)
		for i := lo; i < hi; i++ {
			s.buf = s.w.Within(at[i], radiusMM, s.buf)
			out[i] = fitQuadric(m, s.buf, normals, radiusMM)
		}
		pool.Put(s)
	})
	return out
}

// quadricTerms is how many coefficients a quadric height field has.
const quadricTerms = 6

// fitQuadric fits over the vertices near, the first of which is the centre.
func fitQuadric(m *Mesh, near []VertexID, normals []Vec, r float64) Curv {
	p, n := m.Pos[near[0]], normals[near[0]]
	if n == (Vec{}) {
		return Curv{}
	}
	u, v := basis(n)
	var sum moments
	count := 0
	for _, q := range near {
		if normals[q].Dot(n) < 0.5 {
			continue
		}
		d := m.Pos[q].Sub(p)
		sum.add(d.Dot(u)/r, d.Dot(v)/r, d.Dot(n)/r)
		count++
	}
	a, rhs := sum.normalEquations()
	if count <= quadricTerms || !cholesky(&a) {
		return Curv{}
	}
	s := solve(&a, rhs)
	left := sum.zz
	for i := range s {
		left -= float64(s[i] * rhs[i])
	}
	c := shapeOf(s, u, v, n, r)
	c.RMS = r * math.Sqrt(max(left, 0)/float64(count-quadricTerms))
	c.N = count
	return c
}

// moments are sums of products of the coordinates, named by them.
type moments struct {
	one, x, y, xx, xy, yy, xxx, xxy, xyy, yyy, xxxx, xxxy, xxyy, xyyy, yyyy float64
	z, xz, yz, xxz, xyz, yyz, zz                                            float64
}

func (s *moments) add(x, y, z float64) {
	xx, xy, yy := x*x, x*y, y*y
	s.one++
	s.x += x
	s.y += y
	s.xx += float64(xx)
	s.xy += float64(xy)
	s.yy += float64(yy)
	s.xxx += float64(xx * x)
	s.xxy += float64(xx * y)
	s.xyy += float64(x * yy)
	s.yyy += float64(yy * y)
	s.xxxx += float64(xx * xx)
	s.xxxy += float64(xx * xy)
	s.xxyy += float64(xx * yy)
	s.xyyy += float64(xy * yy)
	s.yyyy += float64(yy * yy)
	s.z += z
	s.xz += float64(x * z)
	s.yz += float64(y * z)
	s.xxz += float64(xx * z)
	s.xyz += float64(xy * z)
	s.yyz += float64(yy * z)
	s.zz += float64(z * z)
}

// normalEquations returns the lower half of the matrix and the right side of the least squares
// problem for the terms 1, x, y, x²/2, xy, y²/2.
func (s *moments) normalEquations() (a [quadricTerms][quadricTerms]float64, b [quadricTerms]float64) {
	return [quadricTerms][quadricTerms]float64{
		{s.one},
		{s.x, s.xx},
		{s.y, s.xy, s.yy},
		{s.xx / 2, s.xxx / 2, s.xxy / 2, s.xxxx / 4},
		{s.xy, s.xxy, s.xyy, s.xxxy / 2, s.xxyy},
		{s.yy / 2, s.xyy / 2, s.yyy / 2, s.xxyy / 4, s.xyyy / 2, s.yyyy / 4},
	}, [quadricTerms]float64{s.z, s.xz, s.yz, s.xxz / 2, s.xyz, s.yyz / 2}
}

// shapeOf returns the principal curvatures of the graph of the quadric, in units of r.
func shapeOf(s [quadricTerms]float64, u, v, n Vec, r float64) Curv {
	zx, zy := s[1], s[2]
	e, f, g := 1+float64(zx*zx), float64(zx*zy), 1+float64(zy*zy)
	w := math.Sqrt(e + float64(zy*zy))
	// Heights fall away from the normal where the surface is convex: hence the minus.
	ll, mm, nn := -s[3]/w, -s[4]/w, -s[5]/w
	det := float64(e*g) - float64(f*f)
	h := (float64(e*nn) - 2*float64(f*mm) + float64(g*ll)) / (2 * det)
	k := (float64(ll*nn) - float64(mm*mm)) / det
	root := math.Sqrt(max(float64(h*h)-k, 0))
	k1, k2 := h+root, h-root
	// The direction of k1 spans the kernel of II - k1 I; the longer row tells it best.
	r0x, r0y, r1y := ll-float64(k1*e), mm-float64(k1*f), nn-float64(k1*g)
	dx, dy := -r0y, r0x
	if math.Hypot(r0y, r1y) > math.Hypot(r0x, r0y) {
		dx, dy = r1y, -r0y
	}
	if dx == 0 && dy == 0 {
		dx = 1 // all directions alike
	}
	normal := n.Along(-zx, u).Along(-zy, v).Unit()
	d1 := u.Along(zx, n).Scale(dx).Add(v.Along(zy, n).Scale(dy)).Unit()
	return Curv{K1: k1 / r, K2: k2 / r, D1: d1, D2: normal.Cross(d1), Normal: normal}
}

// basis returns two unit vectors at right angles to n and to each other.
func basis(n Vec) (u, v Vec) {
	a := Vec{X: 1}
	if math.Abs(n.X) > 0.6 {
		a = Vec{Y: 1}
	}
	u = n.Cross(a).Unit()
	return u, n.Cross(u)
}

// cholesky replaces the lower half of a by its factor; false when a is not safely positive.
func cholesky(a *[quadricTerms][quadricTerms]float64) bool {
	for i := range a {
		diag := a[i][i]
		for j := range i + 1 {
			sum := a[i][j]
			for k := range j {
				sum -= float64(a[i][k] * a[j][k])
			}
			if i == j {
				if !(sum > 1e-10*diag) || diag == 0 {
					return false
				}
				a[i][i] = math.Sqrt(sum)
			} else {
				a[i][j] = sum / a[j][j]
			}
		}
	}
	return true
}

// solve solves with the factor of cholesky.
func solve(a *[quadricTerms][quadricTerms]float64, b [quadricTerms]float64) [quadricTerms]float64 {
	for i := range b {
		for k := range i {
			b[i] -= float64(a[i][k] * b[k])
		}
		b[i] /= a[i][i]
	}
	for i := quadricTerms - 1; i >= 0; i-- {
		for k := i + 1; k < quadricTerms; k++ {
			b[i] -= float64(a[k][i] * b[k])
		}
		b[i] /= a[i][i]
	}
	return b
}
