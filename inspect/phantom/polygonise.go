package phantom

import (
	"fmt"
	"math"
	"sync"

	"fornix/mesh"
)

const (
	blockCells = 8    // cells along a block
	halfDiag   = 0.92 // of a cell, with 6 % for the wax, whose value changes a little faster than the distance
)

// surface is the polygonised solid, in the patient's frame.
type surface struct {
	pos  []vec
	n    []vec     // outward
	f    []float64 // the solid's value left over
	part []uint8   // of the solid
	tri  [][3]mesh.VertexID
}

// polygonise makes the surface of s with vertices about spacing apart: marching cubes on blocks
// of cells that the solid's bound does not rule out, then even spacing of the vertices and
// projection onto the exact surface. Each vertex depends on positions alone, so the result is the
// same for any number of workers.
func (s *solid) polygonise(spacing float64, workers int) (*surface, error) {
	// Marching cubes puts 1.5/h² vertices on a square mm, an even net of equilateral triangles
	// 1.155/spacing².
	g := &grid{s: s, h: spacing * 1.14}
	ext := s.hi.Sub(s.lo)
	for k, e := range [3]float64{ext.X, ext.Y, ext.Z} {
		g.dim[k] = int(e/(g.h*blockCells)) + 1
	}
	n := g.dim[0] * g.dim[1] * g.dim[2]
	out := make([]*block, n)
	each(n, workers, func(i int) { out[i] = g.block(i) })
	sf := g.join(out)
	if len(sf.tri) == 0 {
		return nil, fmt.Errorf("phantom: the solid is empty")
	}
	s.relax(sf, workers)
	return sf, nil
}

// each calls f for 0 … n-1 on some workers, in chunks.
func each(n, workers int, f func(int)) {
	const chunk = 64
	if workers == 1 {
		for i := 0; i < n; i++ {
			f(i)
		}
		return
	}
	var next sync.Mutex
	at := 0
	var wg sync.WaitGroup
	for w := 0; w < workers; w++ {
		wg.Add(1)
		go func() {
			defer wg.Done()
			for {
				next.Lock()
				from := at
				at += chunk
				next.Unlock()
				if from >= n {
					return
				}
				for i := from; i < min(n, from+chunk); i++ {
					f(i)
				}
			}
		}()
	}
	wg.Wait()
}

type grid struct {
	s   *solid
	h   float64
	dim [3]int // blocks
}

// block holds the part of the surface in one block: vertices on the grid's edges, by key.
type block struct {
	key []uint64
	pos []vec
	tri [][3]int32 // into key
}

const side1 = blockCells + 1

func (g *grid) at(i, j, k int) vec {
	return g.s.lo.Add(vec{X: float64(i), Y: float64(j), Z: float64(k)}.Scale(g.h))
}

func (g *grid) block(id int) *block {
	bi, bj, bk := id%g.dim[0]*blockCells, id/g.dim[0]%g.dim[1]*blockCells, id/g.dim[0]/g.dim[1]*blockCells
	mid := g.at(bi, bj, bk).Add(vec{X: 1, Y: 1, Z: 1}.Scale(g.h * blockCells / 2))
	if f, _, _ := g.s.at(mid); math.Abs(f) > g.h*blockCells*halfDiag {
		return nil
	}
	var v [side1 * side1 * side1]float64
	var known [side1 * side1 * side1]bool
	idx := func(i, j, k int) int { return (k*side1+j)*side1 + i }
	var fill func(i, j, k, n int)
	fill = func(i, j, k, n int) {
		if n > 1 {
			c := g.at(bi+i, bj+j, bk+k).Add(vec{X: 1, Y: 1, Z: 1}.Scale(g.h * float64(n) / 2))
			f, _, _ := g.s.at(c)
			if math.Abs(f) > g.h*float64(n)*halfDiag {
				for z := k; z <= k+n; z++ {
					for y := j; y <= j+n; y++ {
						for x := i; x <= i+n; x++ {
							if q := idx(x, y, z); !known[q] {
								v[q] = f
							}
						}
					}
				}
				return
			}
			if n > 2 {
				n /= 2
				for o := 0; o < 8; o++ {
					fill(i+o&1*n, j+o>>1&1*n, k+o>>2*n, n)
				}
				return
			}
		}
		for z := k; z <= k+n; z++ {
			for y := j; y <= j+n; y++ {
				for x := i; x <= i+n; x++ {
					if q := idx(x, y, z); !known[q] {
						v[q], _, _ = g.s.at(g.at(bi+x, bj+y, bk+z))
						known[q] = true
					}
				}
			}
		}
	}
	half := blockCells / 2
	for o := 0; o < 8; o++ {
		fill(o&1*half, o>>1&1*half, o>>2*half, half)
	}
	b := &block{}
	var made [side1 * side1 * side1 * 3]int32
	nx, ny := uint64(g.dim[0]*blockCells+1), uint64(g.dim[1]*blockCells+1)
	for k := 0; k < blockCells; k++ {
		for j := 0; j < blockCells; j++ {
			for i := 0; i < blockCells; i++ {
				var code int
				for c := 0; c < 8; c++ {
					if v[idx(i+c&1, j+c>>1&1, k+c>>2)] < 0 {
						code |= 1 << c
					}
				}
				for _, t := range cubeFaces[code] {
					var f [3]int32
					for m, e := range t {
						a, axis := cubeEdges[e].from, cubeEdges[e].axis
						x, y, z := i+a&1, j+a>>1&1, k+a>>2
						q := idx(x, y, z)
						if made[3*q+axis] == 0 {
							o := q + [3]int{1, side1, side1 * side1}[axis]
							u := math.Max(0.05, math.Min(0.95, v[q]/(v[q]-v[o])))
							p := g.at(bi+x, bj+y, bk+z)
							switch axis {
							case 0:
								p.X += u * g.h
							case 1:
								p.Y += u * g.h
							default:
								p.Z += u * g.h
							}
							b.key = append(b.key, 3*((uint64(bk+z)*ny+uint64(bj+y))*nx+uint64(bi+x))+uint64(axis))
							b.pos = append(b.pos, p)
							made[3*q+axis] = int32(len(b.key))
						}
						f[m] = made[3*q+axis] - 1
					}
					b.tri = append(b.tri, f)
				}
			}
		}
	}
	return b
}

// join numbers the blocks' vertices, in the order of the blocks, each once.
func (g *grid) join(blocks []*block) *surface {
	sf := &surface{}
	seen := map[uint64]mesh.VertexID{}
	var id []mesh.VertexID
	for _, b := range blocks {
		if b == nil {
			continue
		}
		id = id[:0]
		for i, k := range b.key {
			v, ok := seen[k]
			if !ok {
				v = mesh.VertexID(len(sf.pos))
				seen[k] = v
				sf.pos = append(sf.pos, b.pos[i])
			}
			id = append(id, v)
		}
		for _, t := range b.tri {
			sf.tri = append(sf.tri, [3]mesh.VertexID{id[t[0]], id[t[1]], id[t[2]]})
		}
	}
	return sf
}

// relax evens out the vertices over the surface: each goes to the middle of its neighbours,
// within the tangent plane, and back onto the exact surface.
func (s *solid) relax(sf *surface, workers int) {
	n := len(sf.pos)
	start := make([]int32, n+1)
	for _, t := range sf.tri {
		for _, v := range t {
			start[v+1]++
		}
	}
	for i := 0; i < n; i++ {
		start[i+1] += start[i]
	}
	ring := make([]mesh.VertexID, start[n])
	fill := append([]int32(nil), start[:n]...)
	for _, t := range sf.tri {
		for k, v := range t { // on a closed surface each neighbour comes once as the next
			ring[fill[v]] = t[(k+1)%3]
			fill[v]++
		}
	}
	sf.n, sf.f, sf.part = make([]vec, n), make([]float64, n), make([]uint8, n)
	next := make([]vec, n)
	const passes = 4
	each(n, workers, func(i int) { next[i], sf.n[i], _ = s.project(sf.pos[i]) })
	sf.pos, next = next, sf.pos
	for pass := 0; pass < passes; pass++ {
		each(n, workers, func(i int) {
			var m vec
			for _, v := range ring[start[i]:start[i+1]] {
				m = m.Add(sf.pos[v])
			}
			d := m.Scale(1 / float64(start[i+1]-start[i])).Sub(sf.pos[i]).Scale(0.6)
			d = d.Along(-d.Dot(sf.n[i]), sf.n[i])
			p := sf.pos[i].Add(d)
			if pass < passes-1 { // one step is near enough to go on from
				f, g, _ := s.at(p)
				next[i] = p.Along(-f, g)
				return
			}
			next[i], _, _ = s.project(p)
		})
		sf.pos, next = next, sf.pos
	}
	each(n, workers, func(i int) { sf.f[i], sf.n[i], sf.part[i] = s.at(sf.pos[i]) })
}
