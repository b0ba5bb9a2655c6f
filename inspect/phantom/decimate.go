package phantom

import (
	"math/rand/v2"

	"fornix/mesh"
)

// decimate takes about the given part of the vertices out by joining them to a neighbour, in
// random order, as long as the surface stays a manifold and no face turns by more than 25
// degrees. The vertices that remain keep their places on the exact surface.
func decimate(sf *surface, part float64, rng *rand.Rand) {
	faces := make([][]int32, len(sf.pos)) // at each vertex
	for i, t := range sf.tri {
		for _, v := range t {
			faces[v] = append(faces[v], int32(i))
		}
	}
	dead := make([]bool, len(sf.tri))
	locked := make([]bool, len(sf.pos))
	mark := make([]int32, len(sf.pos))
	normal := func(t [3]mesh.VertexID) vec {
		a, b, c := sf.pos[t[0]], sf.pos[t[1]], sf.pos[t[2]]
		return b.Sub(a).Cross(c.Sub(a)).Unit()
	}
	goal := int(part * float64(len(sf.pos)))
	stamp := int32(0)
	for pass := 0; pass < 3 && goal > 0; pass++ {
		clear(locked)
		for _, vi := range rng.Perm(len(sf.pos)) {
			v := mesh.VertexID(vi)
			if goal == 0 {
				break
			}
			if locked[v] || len(faces[v]) == 0 {
				continue
			}
			// The nearest neighbour takes the vertex over.
			var to mesh.VertexID = -1
			stamp++
			for _, f := range faces[v] {
				for _, o := range sf.tri[f] {
					mark[o] = stamp
					if o != v && (to < 0 || sf.pos[o].Dist(sf.pos[v]) < sf.pos[to].Dist(sf.pos[v])) {
						to = o
					}
				}
			}
			// Link condition: the two share exactly two neighbours.
			common := 0
			stamp2 := stamp + 1
			for _, f := range faces[to] {
				for _, o := range sf.tri[f] {
					if o != v && o != to && mark[o] == stamp {
						common++
						mark[o] = stamp2
					}
				}
			}
			stamp = stamp2
			ok := common == 2 && len(faces[to])+len(faces[v]) < 22
			for _, f := range faces[v] {
				t := sf.tri[f]
				if !ok {
					break
				}
				if t[0] == to || t[1] == to || t[2] == to {
					continue
				}
				was := normal(t)
				for k := range t {
					if t[k] == v {
						t[k] = to
					}
				}
				ok = normal(t).Dot(was) > 0.9
			}
			if !ok {
				continue
			}
			for _, f := range faces[v] {
				t := &sf.tri[f]
				if t[0] == to || t[1] == to || t[2] == to {
					dead[f] = true
					continue
				}
				for k := range t {
					if t[k] == v {
						t[k] = to
					}
				}
				faces[to] = append(faces[to], f)
			}
			for _, f := range faces[v] {
				for _, o := range sf.tri[f] {
					if o == v {
						continue
					}
					locked[o] = pass < 2
					live := faces[o][:0]
					for _, g := range faces[o] {
						if !dead[g] {
							live = append(live, g)
						}
					}
					faces[o] = live
				}
			}
			faces[v] = nil
			goal--
		}
	}
	kept := sf.tri[:0]
	for i, t := range sf.tri {
		if !dead[i] {
			kept = append(kept, t)
		}
	}
	sf.tri = kept
	compact(sf)
}
