package tree

import (
	"math"

	"fornix/mesh"
)

// ray holds what is the same for all faces along one ray: the axes permuted so that the
// direction is longest in z, and the shear that makes it (0, 0, 1).
//
// The edge tests of two faces that share an edge are then equal but for their sign, so that no
// ray slips between them (Woop, Benthin and Wald, J Comput Graph Tech 2013;2:65).
type ray struct {
	o          [3]float64
	inv        [3]float64
	kx, ky, kz int
	sx, sy, sz float64
}

func xyz(v mesh.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

func newRay(origin, dir mesh.Vec) (r ray, ok bool) {
	d := xyz(dir)
	r.o = xyz(origin)
	for k := range 3 {
		r.inv[k] = 1e300
		if math.Abs(d[k]) > 1e-300 {
			r.inv[k] = 1 / d[k]
		}
		if math.Abs(d[k]) > math.Abs(d[r.kz]) {
			r.kz = k
		}
	}
	if d[r.kz] == 0 || !dir.Finite() || !origin.Finite() {
		return r, false
	}
	r.kx, r.ky = (r.kz+1)%3, (r.kz+2)%3
	r.sx, r.sy, r.sz = d[r.kx]/d[r.kz], d[r.ky]/d[r.kz], 1/d[r.kz]
	return r, true
}

// span returns where the ray is inside child i of n.
func (r *ray) span(n *node, i int) (enter, leave float64) {
	enter, leave = math.Inf(-1), math.Inf(1)
	for k := range 3 {
		mid := (float64(n.centre[i][k]) - r.o[k]) * r.inv[k]
		ext := math.Abs(float64(n.half[i][k]) * r.inv[k])
		// The slack covers the rounding of both products.
		slack := 4e-16 * (math.Abs(mid) + ext)
		if e := mid - ext - slack; e > enter {
			enter = e
		}
		if l := mid + ext + slack; l < leave {
			leave = l
		}
	}
	return enter, leave
}

// meet returns where the ray meets the triangle. Edges belong to both of their faces; a
// triangle seen edge-on is not met.
func (r *ray) meet(a, b, c mesh.Vec) (t float64, ok bool) {
	ax, ay, az := r.shear(a)
	bx, by, bz := r.shear(b)
	cx, cy, cz := r.shear(c)
	u := float64(cx*by) - float64(cy*bx)
	v := float64(ax*cy) - float64(ay*cx)
	w := float64(bx*ay) - float64(by*ax)
	if (u < 0 || v < 0 || w < 0) && (u > 0 || v > 0 || w > 0) {
		return 0, false
	}
	det := u + v + w
	if det == 0 {
		return 0, false
	}
	return (float64(u*az) + float64(v*bz) + float64(w*cz)) * r.sz / det, true
}

func (r *ray) shear(p mesh.Vec) (x, y, z float64) {
	q := xyz(p)
	z = q[r.kz] - r.o[r.kz]
	return q[r.kx] - r.o[r.kx] - float64(r.sx*z), q[r.ky] - r.o[r.ky] - float64(r.sy*z), z
}

// Ray returns the first face met by origin + t dir with tmin <= t <= tmax; dir need not have
// length one. Where several faces are met at the same t, the lowest face.
func (t *Tree) Ray(origin, dir mesh.Vec, tmin, tmax float64) (RayHit, bool) {
	best := RayHit{Face: -1, T: tmax}
	t.walkRay(origin, dir, tmin, tmax, func(f mesh.FaceID, at float64) float64 {
		if at < best.T || at == best.T && (best.Face < 0 || f < best.Face) {
			best.T, best.Face = at, f
		}
		return best.T
	})
	if best.Face < 0 {
		return RayHit{Face: -1}, false
	}
	best.Point = origin.Along(best.T, dir)
	return best, true
}

// Rays calls visit for every face met by origin + t dir, on both sides of the origin, until
// visit returns false. The order is that of the tree, not of t. A ray through an edge or vertex
// meets all faces there.
func (t *Tree) Rays(origin, dir mesh.Vec, visit func(RayHit) bool) {
	t.walkRay(origin, dir, math.Inf(-1), math.Inf(1), func(f mesh.FaceID, at float64) float64 {
		if !visit(RayHit{Face: f, T: at, Point: origin.Along(at, dir)}) {
			return math.Inf(-1)
		}
		return math.Inf(1)
	})
}

// walkRay calls hit for the faces met, nearer boxes first; hit returns the new upper end.
func (t *Tree) walkRay(origin, dir mesh.Vec, tmin, tmax float64, hit func(mesh.FaceID, float64) float64) {
	r, ok := newRay(origin, dir)
	if !ok || len(t.node) == 0 {
		return
	}
	var stack [stackSize]waiting
	top := 0
	at := waiting{}
	for {
		if at.count > 0 {
			for _, f := range t.face[at.ref : at.ref+at.count] {
				a, b, c := t.m.Corners(f)
				if s, ok := r.meet(a, b, c); ok && s >= tmin && s <= tmax {
					tmax = hit(f, s)
				}
			}
		} else {
			n := &t.node[at.ref]
			var in [2]float64
			var met [2]bool
			for i := range 2 {
				enter, leave := r.span(n, i)
				in[i] = enter
				met[i] = enter <= leave && enter <= tmax && leave >= tmin && n.half[i][0] >= 0
			}
			near, far := 0, 1
			if in[1] < in[0] {
				near, far = 1, 0
			}
			if met[far] {
				stack[top] = waiting{n.ref[far], n.count[far], in[far]}
				top++
			}
			if met[near] {
				at = waiting{n.ref[near], n.count[near], in[near]}
				continue
			}
		}
		for {
			if top == 0 {
				return
			}
			top--
			if stack[top].d2 <= tmax {
				at = stack[top]
				break
			}
		}
	}
}
