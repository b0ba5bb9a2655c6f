package serve

import (
	"fmt"

	"fornix/inspect/casefile"
)

// lineMark is a mark of the order that can be set on a scan.
type lineMark struct {
	Key, Name string // Key: the field of the order, and which of its points
	At        string // x,y,z in the scan's own coordinates; empty: not marked
}

// mark lists the marks of the order as they lie on the scan of view v: those of the other jaw's scan are
// left out and told of.
func (v *scanView) mark(m *casefile.Marks) {
	if v.Found == "" {
		return
	}
	here := m.MarkedOnScan == v.Found
	if !here && m.MarkedOnScan != "" {
		v.Elsewhere = m.MarkedOnScan
	}
	for _, l := range []struct {
		key, name string
		points    [][]float64
		n         int
	}{{"midline", "Midline", m.MidlineAt, 0}, {"canine", "Canine line, right", m.CanineAt, 0}, {"canine", "Canine line, left", m.CanineAt, 1},
		{"smile", "Smile line, right", m.SmileAt, 0}, {"smile", "Smile line, left", m.SmileAt, 1}} {
		k := lineMark{Key: fmt.Sprintf("line-%s-%d", l.key, l.n), Name: l.name}
		if here && l.n < len(l.points) && len(l.points[l.n]) == 3 {
			p := l.points[l.n]
			k.At = fmt.Sprint(p[0], ",", p[1], ",", p[2])
		}
		v.Lines = append(v.Lines, k)
	}
}
