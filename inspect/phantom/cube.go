package phantom

// Marching cubes (Lorensen & Cline 1987) with its table derived here: on each face of the cube
// the corners inside the solid are kept apart, which makes neighbouring cubes agree, and no
// triangle's inner edge lies in a face of the cube, which keeps the surface a manifold.

type cubeEdge struct{ from, to, axis int }

var (
	cubeEdges [12]cubeEdge
	cubeFaces [256][][3]int // triangles by edges, normals out of the solid
)

func init() {
	n := 0
	for axis := 0; axis < 3; axis++ {
		for c := 0; c < 8; c++ {
			if c>>axis&1 == 0 {
				cubeEdges[n] = cubeEdge{c, c | 1<<axis, axis}
				n++
			}
		}
	}
	edge := func(a, b int) int {
		for i, e := range cubeEdges {
			if e.from == a && e.to == b || e.from == b && e.to == a {
				return i
			}
		}
		panic("phantom: no such edge")
	}
	// Corners of each face, counter-clockwise from outside.
	faces := [6][4]int{{0, 4, 6, 2}, {1, 3, 7, 5}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 2, 3, 1}, {4, 5, 7, 6}}
	var onFace [12]int // bit set of faces
	for f, c := range faces {
		for k := range c {
			onFace[edge(c[k], c[(k+1)%4])] |= 1 << f
		}
	}
	for code := range cubeFaces {
		in := func(c int) bool { return code>>c&1 == 1 }
		var next [12]int
		for i := range next {
			next[i] = -1
		}
		for _, c := range faces {
			for k := range c {
				if in(c[k]) || !in(c[(k+1)%4]) {
					continue
				}
				// A run of inside corners is entered here; find where it is left.
				m := (k + 1) % 4
				for in(c[(m+1)%4]) {
					m = (m + 1) % 4
				}
				next[edge(c[k], c[(k+1)%4])] = edge(c[m], c[(m+1)%4])
			}
		}
		var done [12]bool
		for e := range next {
			if next[e] < 0 || done[e] {
				continue
			}
			var loop []int
			for q := e; !done[q]; q = next[q] {
				done[q] = true
				loop = append(loop, q)
			}
			cubeFaces[code] = append(cubeFaces[code], cut(loop, onFace)...)
		}
	}
}

// cut triangulates a loop of edges by clipping corners, never along a face of the cube.
func cut(loop []int, onFace [12]int) [][3]int {
	if len(loop) == 3 {
		return [][3]int{{loop[0], loop[1], loop[2]}}
	}
	for i := range loop {
		n := len(loop)
		a, b, c := loop[(i+n-1)%n], loop[i], loop[(i+1)%n]
		if n > 3 && onFace[a]&onFace[c] != 0 {
			continue
		}
		var rest []int
		for k, e := range loop {
			if k != i {
				rest = append(rest, e)
			}
		}
		if r := cut(rest, onFace); r != nil {
			return append([][3]int{{a, b, c}}, r...)
		}
	}
	return nil
}
