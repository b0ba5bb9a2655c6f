package phantom

import (
	"math"
	"math/rand/v2"
	"slices"

	"fornix/mesh"
	"fornix/mesh/tree"
)

// closed makes the scan of both jaws held together: of each the surface that a scanner sees from the
// front and the sides, polygonised anew, with noise of its own, in a frame of its own. What faces the
// other rim or the tongue, and most of the tissue sides, is not seen. It returns the motion from the
// upper scan too.
func (p *PairParams) closed(u, l *half, workers int) (*mesh.Mesh, [3][4]float64, error) {
	var sides []*surface
	var trees []*tree.Tree
	for _, h := range []*half{u, l} {
		sf, err := h.m.s.polygonise(h.m.p.Spacing*1.13, workers)
		if err != nil {
			return nil, [3][4]float64{}, err
		}
		for i := range sf.pos {
			sf.pos[i], sf.n[i] = h.to.apply(h.upright(sf.pos[i])), h.to.turn(h.upright(sf.n[i]))
		}
		if h.mirror < 0 { // turned over, the faces are too
			for i, t := range sf.tri {
				sf.tri[i] = [3]mesh.VertexID{t[0], t[2], t[1]}
			}
		}
		sides = append(sides, sf)
		// The surface is cut down below; the tree keeps all of it.
		trees = append(trees, tree.New(mesh.New(slices.Clone(sf.pos), slices.Clone(sf.tri))))
	}
	looks := lookingFrom()
	r := rand.New(rand.NewPCG(uint64(p.Seed), 0xc105ed))
	f := frame(r)
	q := Params{Jaw: "upper", Frame: f}
	world := q.placed()
	var pos []vec
	var tri [][3]mesh.VertexID
	for k, sf := range sides {
		seen := make([]bool, len(sf.pos))
		each(len(seen), workers, func(i int) {
			for _, d := range looks {
				if seen[i] = sf.n[i].Dot(d) > 0.25 && free(trees, sf.pos[i].Along(0.02, sf.n[i]), d); seen[i] {
					return
				}
			}
		})
		kept := sf.tri[:0]
		for _, t := range sf.tri {
			if seen[t[0]] && seen[t[1]] && seen[t[2]] {
				kept = append(kept, t)
			}
		}
		sf.tri = kept
		dropSmall(sf, 200)
		compact(sf)
		noise := [2]float64{p.Upper.Noise, p.Lower.Noise}[k]
		first := mesh.VertexID(len(pos))
		for i := range sf.pos {
			v := world.apply(sf.pos[i].Along(noise*r.NormFloat64(), sf.n[i]))
			pos = append(pos, vec{X: float64(float32(v.X)), Y: float64(float32(v.Y)), Z: float64(float32(v.Z))})
		}
		for _, t := range sf.tri {
			tri = append(tri, [3]mesh.VertexID{t[0] + first, t[1] + first, t[2] + first})
		}
	}
	return mesh.New(pos, tri), u.m.p.placed().inverse().then(world).rows(), nil
}

// free reports whether the ray meets neither jaw.
func free(trees []*tree.Tree, from, dir vec) bool {
	for _, t := range trees {
		if _, hit := t.Ray(from, dir, 0, math.Inf(1)); hit {
			return false
		}
	}
	return true
}

// lookingFrom lists the directions from the surface to the scanner, in the upper's upright axes: from
// the front and both sides, level and a little from above and below, as in a mouth.
func lookingFrom() []vec {
	var out []vec
	for _, up := range []float64{0, 20, -20} {
		s, c := math.Sincos(up * math.Pi / 180)
		for a := -105.0; a <= 105; a += 30 {
			x, y := math.Sincos(a * math.Pi / 180)
			out = append(out, vec{X: c * x, Y: -c * y, Z: s})
		}
	}
	return out
}
