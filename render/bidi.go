package render

import (
	"slices"

	"golang.org/x/text/unicode/bidi"
)

// The order of letters of a paragraph in which some run from right to left.
//
// Based on: Unicode Standard Annex #9, Unicode Bidirectional Algorithm; the names of the rules (P2 … L2)
// are its own. The classes of letters come from golang.org/x/text/unicode/bidi, whose own runs do not
// tell apart levels of the same direction, which L2 needs.

const (
	maxDepth = 125      // BD2
	removed  = int8(-1) // the level of what X9 takes out
	auto     = int8(-1) // a paragraph whose direction its first strong letter gives
)

// ordering is a paragraph while its levels are found.
type ordering struct {
	runes []rune
	was   []bidi.Class // as the letters have them
	class []bidi.Class // as the rules have made them so far
	level []int8
	match []int // of an isolate's begin its end, of an end its begin; len(runes): none
	base  int8  // of the paragraph
}

// levels finds the embedding level of each letter of a paragraph, by rules P2 to I2, and that of the
// paragraph. base is 0 from left to right, 1 from right to left, or auto.
func levels(runes []rune, base int8) ([]int8, int8) {
	n := len(runes)
	o := &ordering{runes: runes, was: make([]bidi.Class, n), level: make([]int8, n), match: make([]int, n), base: base}
	for i, r := range runes {
		p, _ := bidi.LookupRune(r)
		o.was[i] = p.Class()
	}
	o.class = append(o.class, o.was...)
	o.isolates()
	if base == auto {
		o.base = o.first(0, n)
	}
	o.explicit()
	for _, seq := range o.sequences() {
		seq.weak()
		seq.brackets()
		seq.neutral()
		seq.implicit()
	}
	return o.level, o.base
}

func begins(c bidi.Class) bool { return c == bidi.LRI || c == bidi.RLI || c == bidi.FSI }

// isolates finds which end belongs to which begin (BD9).
func (o *ordering) isolates() {
	var open []int
	for i, c := range o.was {
		o.match[i] = len(o.runes)
		switch {
		case begins(c):
			open = append(open, i)
		case c == bidi.PDI && len(open) > 0:
			j := open[len(open)-1]
			open = open[:len(open)-1]
			o.match[i], o.match[j] = j, i
		}
	}
}

// first is the level that the first strong letter gives (P2, P3).
func (o *ordering) first(from, to int) int8 {
	for i := from; i < to; i++ {
		switch c := o.was[i]; {
		case c == bidi.L:
			return 0
		case c == bidi.R || c == bidi.AL:
			return 1
		case begins(c):
			i = o.match[i]
		}
	}
	return 0
}

// explicit sets the levels that the controls in the text ask for (X1 to X8) and takes these out (X9).
func (o *ordering) explicit() {
	type status struct {
		level    int8
		override bidi.Class // ON: none
		isolate  bool
	}
	stack := []status{{o.base, bidi.ON, false}}
	isolatesOver, embedsOver, valid := 0, 0, 0
	take := func(i int) { // the level and the class that the text around gives
		top := stack[len(stack)-1]
		o.level[i] = top.level
		if top.override != bidi.ON {
			o.class[i] = top.override
		}
	}
	for i, c := range o.was {
		switch {
		case c == bidi.RLE || c == bidi.LRE || c == bidi.RLO || c == bidi.LRO || begins(c):
			isolate := begins(c)
			if isolate {
				take(i)
			} else {
				o.level[i] = removed
			}
			right := c == bidi.RLE || c == bidi.RLO || c == bidi.RLI || c == bidi.FSI && o.first(i+1, o.match[i]) == 1
			next := (stack[len(stack)-1].level + 2) &^ 1
			if right {
				next = (stack[len(stack)-1].level + 1) | 1
			}
			switch {
			case next <= maxDepth && next > 0 && isolatesOver == 0 && embedsOver == 0:
				s := status{next, bidi.ON, isolate}
				if c == bidi.RLO {
					s.override = bidi.R
				} else if c == bidi.LRO {
					s.override = bidi.L
				}
				stack = append(stack, s)
				if isolate {
					valid++
				}
			case isolate:
				isolatesOver++
			case isolatesOver == 0:
				embedsOver++
			}
		case c == bidi.PDI:
			switch {
			case isolatesOver > 0:
				isolatesOver--
			case valid > 0:
				embedsOver = 0
				for !stack[len(stack)-1].isolate {
					stack = stack[:len(stack)-1]
				}
				stack = stack[:len(stack)-1]
				valid--
			}
			take(i)
		case c == bidi.PDF:
			o.level[i] = removed
			switch {
			case isolatesOver > 0:
			case embedsOver > 0:
				embedsOver--
			case !stack[len(stack)-1].isolate && len(stack) > 1:
				stack = stack[:len(stack)-1]
			}
		case c == bidi.BN:
			o.level[i] = removed
		case c == bidi.B:
			o.level[i] = o.base
		default:
			take(i)
		}
	}
}

// sequences cuts the paragraph into isolating run sequences (BD13, X10).
func (o *ordering) sequences() (out []*sequence) {
	var kept []int
	for i, l := range o.level {
		if l != removed {
			kept = append(kept, i)
		}
	}
	var runs [][2]int // of kept
	runOf := map[int]int{}
	for k := 0; k < len(kept); {
		from := k
		for ; k < len(kept) && o.level[kept[k]] == o.level[kept[from]]; k++ {
			runOf[kept[k]] = len(runs)
		}
		runs = append(runs, [2]int{from, k})
	}
	around := func(k int) int8 {
		if k < 0 || k >= len(kept) {
			return o.base
		}
		return o.level[kept[k]]
	}
	for r := range runs {
		if i := kept[runs[r][0]]; o.was[i] == bidi.PDI && o.match[i] < len(o.runes) {
			continue // it goes on with a run before
		}
		s := &sequence{o: o, level: o.level[kept[runs[r][0]]]}
		last := r
		for {
			s.at = append(s.at, kept[runs[last][0]:runs[last][1]]...)
			end := s.at[len(s.at)-1]
			if !begins(o.was[end]) || o.match[end] == len(o.runes) {
				break
			}
			last = runOf[o.match[end]]
		}
		after := around(runs[last][1])
		if begins(o.was[s.at[len(s.at)-1]]) {
			after = o.base
		}
		s.sos, s.eos = directionOf(max(s.level, around(runs[r][0]-1))), directionOf(max(s.level, after))
		out = append(out, s)
	}
	return out
}

func directionOf(level int8) bidi.Class {
	if level%2 == 1 {
		return bidi.R
	}
	return bidi.L
}

// settled gives what is white at the end of a line the paragraph's level (L1); the line is the letters
// from..to of the paragraph.
func settled(runes []rune, level []int8, base int8, from, to int) []int8 {
	line := append([]int8(nil), level[from:to]...)
	white := true // from here to the end of the line or to a tabulator
	for i := len(line) - 1; i >= 0; i-- {
		p, _ := bidi.LookupRune(runes[from+i])
		switch c := p.Class(); {
		case c == bidi.S || c == bidi.B:
			line[i], white = base, true
		case line[i] == removed:
		case c == bidi.WS || begins(c) || c == bidi.PDI:
			if white {
				line[i] = base
			}
		default:
			white = false
		}
	}
	return line
}

// turned returns the places of a line's letters in the order in which they are seen from left to right (L2).
// What X9 takes out is not among them.
func turned(level []int8) []int {
	var out []int
	highest := int8(0)
	for i, l := range level {
		if l != removed {
			out, highest = append(out, i), max(highest, l)
		}
	}
	for l := highest; l > 0; l-- {
		for i := 0; i < len(out); i++ {
			j := i
			for j < len(out) && level[out[j]] >= l {
				j++
			}
			slices.Reverse(out[i:j])
			i = max(i, j-1)
		}
	}
	return out
}
