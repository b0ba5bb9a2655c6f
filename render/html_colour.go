package render

import (
	"bytes"
	"compress/flate"
	"encoding/base64"

	"fornix/mesh"
)

// What the surfaces of a page may hold with their colours, bytes in base64: of 4 MB, script, style and
// words need 0.8 MB, the pictures of one scan 0.8 MB, and those of a pair 0.45 MB.
const (
	pageSurfaceBytes = 2_300_000
	pairSurfaceBytes = 2_600_000
)

// paint gives surfaces their colours, each its share of what room there is.
func paint(surfaces []pageSurface, meshes []*mesh.Mesh, small []*smallSurface, room int) {
	for _, s := range surfaces {
		room -= len(s.Data) + len(s.Tint)
	}
	for i := range surfaces {
		s := &surfaces[i]
		s.Colour, s.Levels = pageColour(meshes[i].Colour, small[i].of, small[i].encoded().Order, room/len(surfaces)/4*3)
		s.unpainted = s.Colour == "" && meshes[i].Colour != nil
	}
}

// pageColour writes the colours that a scan's file gives for the vertices in order, each a vertex of the
// simplified surface whose vertex in the scan of says; empty where the file gives none, or where not even
// four levels have room. levels is how
// many steps each of red, green and blue has, as many as there is room for.
//
// Red, green less red and blue less red stand one after the other, each as its difference from the
// vertex before, modulo 256: neighbours are alike and most colours nearly grey, so that little is left
// for deflate.
func pageColour(colour []mesh.Colour, of []mesh.VertexID, order []mesh.VertexID, room int) (text string, levels int) {
	if colour == nil {
		return "", 0
	}
	for _, levels = range []int{64, 32, 16, 8, 4} {
		planes := make([]byte, 3*len(order))
		var last [3]uint8
		for i, v := range order {
			c := colour[of[v]]
			for k := range c {
				c[k] = uint8((int(c[k])*(levels-1) + 127) / 255)
			}
			c[1], c[2] = c[1]-c[0], c[2]-c[0]
			for k := range c {
				planes[k*len(order)+i] = c[k] - last[k]
			}
			last = c
		}
		var b bytes.Buffer
		z, _ := flate.NewWriter(&b, flate.DefaultCompression) // fails for levels that do not exist
		z.Write(planes)                                       // a bytes.Buffer takes all
		z.Close()
		if b.Len() <= room {
			return base64.StdEncoding.EncodeToString(b.Bytes()), levels
		}
	}
	return "", 0
}
