package mesh

// cutter cuts faces of more than three corners into triangles. Its memory is used again.
type cutter struct {
	next, prev []int32
	ear        []bool
	out        [][3]int32
	corner     []int32
	pos        []Vec
	normal     Vec
}

// cut returns the triangles of a face as indices into its corners, one fewer than two by two:
// n - 2 of them, wound like the face. They are valid until the next call.
//
// Ears are cut off one after the other: corners whose triangle, seen along the face's mean normal
// (Newell's: the sum of the cross products of neighbouring corners), is wound like the face and
// holds no other corner. Every simple polygon has two (Meisters 1975, Polygons have ears). Of
// all ears the one with the shortest new edge goes first, so that a face is cut the same way
// from whichever corner its list begins, and into stout triangles; of equal ones, the first. A
// fan would be quicker and wrong wherever a face is not convex. A face that crosses itself or
// has no area may be left without an ear; then its shortest new edge is taken. O(n²).
func (t *cutter) cut(pos []Vec, corner []int32) [][3]int32 {
	n := len(corner)
	t.pos, t.corner, t.out = pos, corner, t.out[:0]
	t.next, t.prev, t.ear = t.next[:0], t.prev[:0], t.ear[:0]
	t.normal = Vec{}
	for i := range n {
		t.next = append(t.next, int32((i+1)%n))
		t.prev = append(t.prev, int32((i+n-1)%n))
		t.ear = append(t.ear, false)
		if i >= 2 {
			a := t.at(0)
			t.normal = t.normal.Add(t.at(int32(i - 1)).Sub(a).Cross(t.at(int32(i)).Sub(a)))
		}
	}
	for i := range int32(n) {
		t.ear[i] = t.isEar(i)
	}
	first := int32(0) // of those left
	for left := n; left > 3; left-- {
		best, isEar, short := first, false, 0.0
		for k, i := 0, first; k < left; k, i = k+1, t.next[i] {
			d := t.at(t.prev[i]).Sub(t.at(t.next[i])).Norm2()
			if k == 0 || t.ear[i] && !isEar || t.ear[i] == isEar && d < short {
				best, isEar, short = i, t.ear[i], d
			}
		}
		p, q := t.prev[best], t.next[best]
		t.out = append(t.out, [3]int32{p, best, q})
		t.next[p], t.prev[q] = q, p
		if best == first {
			first = q
		}
		t.ear[p], t.ear[q] = t.isEar(p), t.isEar(q)
	}
	return append(t.out, [3]int32{t.prev[first], first, t.next[first]})
}

func (t *cutter) at(i int32) Vec { return t.pos[t.corner[i]] }

// isEar reports whether the triangle at corner i is wound like the face and holds no other of
// the corners that are left. A corner at the same place as one of the triangle's does not count:
// a face with a hole is written with one edge there and back.
func (t *cutter) isEar(i int32) bool {
	a, b, c := t.at(t.prev[i]), t.at(i), t.at(t.next[i])
	if !(t.turn(a, b, c) > 0) {
		return false
	}
	for k := t.next[t.next[i]]; k != t.prev[i]; k = t.next[k] {
		p := t.at(k)
		if p != a && p != b && p != c && t.turn(a, b, p) >= 0 && t.turn(b, c, p) >= 0 && t.turn(c, a, p) >= 0 {
			return false
		}
	}
	return true
}

// turn is twice the area of a triangle seen along the face's normal, negative where it is wound
// the other way, times the normal's length.
func (t *cutter) turn(a, b, c Vec) float64 { return b.Sub(a).Cross(c.Sub(a)).Dot(t.normal) }
