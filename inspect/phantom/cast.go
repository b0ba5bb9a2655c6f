package phantom

import (
	"fmt"
	"math"

	"fornix/mesh"
)

// base closes a jaw surface to a cast: walls along z from its outer boundary to a flat foot,
// 6 mm past the highest border. Triangles of the foot are long; walls are as fine as the scan.
func (m *maker) base(sf *surface) error {
	loop, err := outerLoop(sf)
	if err != nil {
		return err
	}
	foot := m.s.hi.Z + 6
	n := len(loop)
	var mean float64
	for _, v := range loop {
		mean += sf.pos[v].Z / float64(n)
	}
	rows := int(math.Ceil((foot - mean) / m.p.Spacing))
	prev := loop
	for r := 1; r <= rows; r++ {
		row := make([]mesh.VertexID, n)
		for i, v := range loop {
			p := sf.pos[v]
			p.Z += (foot - p.Z) * float64(r) / float64(rows)
			row[i] = mesh.VertexID(len(sf.pos))
			sf.pos = append(sf.pos, p)
			sf.n, sf.part, sf.f = append(sf.n, vec{}), append(sf.part, partSheet), append(sf.f, 0)
		}
		for i := range row {
			k := (i + 1) % n
			sf.tri = append(sf.tri, [3]mesh.VertexID{prev[k], prev[i], row[i]}, [3]mesh.VertexID{prev[k], row[i], row[k]})
		}
		prev = row
	}
	// The foot is walked the other way round.
	rest := make([]mesh.VertexID, n)
	for i, v := range prev {
		rest[n-1-i] = v
	}
	cross := func(a, b, c mesh.VertexID) float64 {
		p, q, r := sf.pos[a], sf.pos[b], sf.pos[c]
		return (q.X-p.X)*(r.Y-p.Y) - (q.Y-p.Y)*(r.X-p.X)
	}
	turn := 0.0 // twice the loop's area in plan
	for i := range rest {
		p, q := sf.pos[rest[i]], sf.pos[rest[(i+1)%n]]
		turn += p.X*q.Y - p.Y*q.X
	}
	sign := math.Copysign(1, turn)
	for at, stuck := 0, 0; len(rest) > 3; {
		k := len(rest)
		a, b, c := rest[(at+k-1)%k], rest[at%k], rest[(at+1)%k]
		ear := sign*cross(a, b, c) > 0
		if ear && stuck <= k {
			for _, v := range rest {
				if v != a && v != b && v != c && sign*cross(a, b, v) >= 0 && sign*cross(b, c, v) >= 0 && sign*cross(c, a, v) >= 0 {
					ear = false
					break
				}
			}
		}
		if !ear && stuck <= 2*k {
			at, stuck = (at+1)%k, stuck+1
			continue
		}
		sf.tri = append(sf.tri, [3]mesh.VertexID{a, b, c})
		rest = append(rest[:at%k], rest[at%k+1:]...)
		stuck = 0
		at = (at + 1) % len(rest) // not the same corner again, or fans arise
	}
	sf.tri = append(sf.tri, [3]mesh.VertexID{rest[0], rest[1], rest[2]})
	return nil
}

// outerLoop returns the longest boundary of a surface in the direction of its faces. Faces at
// which boundaries touch in a single vertex are taken out first.
func outerLoop(sf *surface) ([]mesh.VertexID, error) {
	for try := 0; try < 20; try++ {
		ms := mesh.New(sf.pos, sf.tri)
		next := make([]mesh.VertexID, len(sf.pos))
		for i := range next {
			next[i] = -1
		}
		var edges []mesh.Corner
		pinched := map[mesh.VertexID]bool{}
		for c, o := range ms.Across {
			if o != mesh.OnBoundary {
				continue
			}
			a, b := ms.Vertex(mesh.Corner(c)), ms.Vertex(mesh.Corner(c).Next())
			if next[a] >= 0 {
				pinched[a] = true
			}
			next[a] = b
			edges = append(edges, mesh.Corner(c))
		}
		if len(pinched) > 0 {
			kept := make([][3]mesh.VertexID, 0, len(sf.tri))
			for _, t := range sf.tri {
				if !pinched[t[0]] && !pinched[t[1]] && !pinched[t[2]] {
					kept = append(kept, t)
				}
			}
			sf.tri = kept
			continue
		}
		var best []mesh.VertexID
		longest := 0.0
		done := make([]bool, len(sf.pos))
		for _, c := range edges {
			var loop []mesh.VertexID
			length := 0.0
			for v := ms.Vertex(c); !done[v]; v = next[v] {
				done[v] = true
				loop = append(loop, v)
				length += sf.pos[v].Dist(sf.pos[next[v]])
			}
			if length > longest {
				best, longest = loop, length
			}
		}
		if len(best) >= 3 {
			return best, nil
		}
		break
	}
	return nil, fmt.Errorf("phantom: the jaw's surface has no outer boundary to build a cast on")
}
