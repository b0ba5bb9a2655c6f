package mesh

// Colour is red, green and blue as a file gives them, from 0 to 255.
type Colour [3]uint8

// plain is the colour of a vertex to which the file gives none while it gives others one.
var plain = Colour{200, 200, 200}

// colours gathers those of a file's numbered vertices until faces use them.
type colours struct {
	file []Colour // of the file's vertices; shorter where the last ones have none
	mesh []Colour // of the mesh's vertices, those of the file that became them first
	any  bool
}

// give keeps the colour of the file's vertex k.
func (c *colours) give(k int, colour Colour) {
	for len(c.file) < k {
		c.file = append(c.file, plain)
	}
	c.file = append(c.file, colour)
	c.any = true
}

// use hands the colour of the file's vertex k on to vertex v of the mesh; where the vertex has none,
// that of its face.
func (c *colours) use(k int32, v VertexID, face *Colour) {
	if int(v) < len(c.mesh) {
		return
	}
	colour := plain
	switch {
	case int(k) < len(c.file):
		colour = c.file[k]
	case face != nil:
		colour, c.any = *face, true
	}
	c.mesh = append(c.mesh, colour)
}

// colourOf makes a colour of three values from 0 to most.
func colourOf(v [3]float64, most float64) (c Colour) {
	for i, x := range v {
		c[i] = uint8(min(max(255*x/most, 0), 255) + 0.5) // NaN is 0
	}
	return c
}
