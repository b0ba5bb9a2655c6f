package render

import (
	"image/color"
	"math"
	"slices"
)

// bands colours a value of every vertex in steps. The steps run from dark (low) to light (high),
// so that their order survives grey print and the common colour vision deficiencies (see ramp).
type bands struct {
	title string
	unit  string
	edges []float64 // between the steps, rising: one step more than edges
	level int       // the step that means "as it should be" and is drawn in grey; -1: none
}

// levelGrey is the colour of the step in which nothing is to be seen. Its lightness is that of the
// middle of the ramp.
var levelGrey = color.RGBA{124, 124, 122, 255}

// colours returns the colour of every step.
func (b bands) colours() []color.RGBA {
	n := len(b.edges) + 1
	cs := make([]color.RGBA, n)
	for i := range cs {
		cs[i] = ramp(float64(i) / float64(n-1))
		if i == b.level {
			cs[i] = levelGrey
		}
	}
	return cs
}

// step returns the index of the step of a value.
func (b bands) step(v float64) int {
	i, _ := slices.BinarySearch(b.edges, v)
	return i
}

// share returns where a value lies among the steps, all drawn equally wide, from 0 to 1. What lies before
// the first edge or past the last is in the middle of its step.
func (b bands) share(v float64) float64 {
	i, in := b.step(v), 0.5
	if i > 0 && i < len(b.edges) {
		in = (v - b.edges[i-1]) / (b.edges[i] - b.edges[i-1])
	}
	return (float64(i) + in) / float64(len(b.edges)+1)
}

// tint gives every vertex the colour of its value; one that is not a number leaves it plain.
func (b bands) tint(values []float64) []color.RGBA {
	cs := b.colours()
	tint := make([]color.RGBA, len(values))
	for i, v := range values {
		if !math.IsNaN(v) {
			tint[i] = cs[b.step(v)]
		}
	}
	return tint
}

// legend names the edge between every two steps.
func (b bands) legend() legend {
	g := legend{title: b.title, unit: b.unit, colours: b.colours()}
	for i, e := range b.edges {
		text := plain(e)
		if b.level >= 0 && e > 0 {
			text = "+" + text
		}
		g.ticks = append(g.ticks, tick{float64(i + 1), text})
	}
	return g
}
