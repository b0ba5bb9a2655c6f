package render

import (
	"sort"

	"golang.org/x/text/unicode/bidi"
)

// sequence is an isolating run sequence: places of letters that one level and one text around them have.
type sequence struct {
	o        *ordering
	at       []int
	level    int8
	sos, eos bidi.Class
}

func (s *sequence) class(k int) bidi.Class {
	switch {
	case k < 0:
		return s.sos
	case k >= len(s.at):
		return s.eos
	}
	return s.o.class[s.at[k]]
}

func (s *sequence) set(k int, c bidi.Class) { s.o.class[s.at[k]] = c }

func numeral(c bidi.Class) bool { return c == bidi.EN || c == bidi.AN }

// weak resolves marks, numbers and what stands among them (W1 to W7).
func (s *sequence) weak() {
	for k := range s.at { // W1
		if s.class(k) != bidi.NSM {
			continue
		}
		before := s.class(k - 1)
		if begins(before) || before == bidi.PDI {
			before = bidi.ON
		}
		s.set(k, before)
	}
	strong := s.sos
	for k := range s.at { // W2, W3
		switch c := s.class(k); {
		case c == bidi.L || c == bidi.R || c == bidi.AL:
			strong = c
			if c == bidi.AL {
				s.set(k, bidi.R)
			}
		case c == bidi.EN && strong == bidi.AL:
			s.set(k, bidi.AN)
		}
	}
	for k := range s.at { // W4
		c, before, after := s.class(k), s.class(k-1), s.class(k+1)
		if k > 0 && k+1 < len(s.at) && before == after && (c == bidi.ES && before == bidi.EN || c == bidi.CS && numeral(before)) {
			s.set(k, before)
		}
	}
	for k := 0; k < len(s.at); k++ { // W5
		from := k
		for k < len(s.at) && s.class(k) == bidi.ET {
			k++
		}
		if from > 0 && s.class(from-1) == bidi.EN || k < len(s.at) && s.class(k) == bidi.EN {
			for j := from; j < k; j++ {
				s.set(j, bidi.EN)
			}
		}
	}
	strong = s.sos
	for k := range s.at { // W6, W7
		switch c := s.class(k); {
		case c == bidi.ES || c == bidi.ET || c == bidi.CS:
			s.set(k, bidi.ON)
		case c == bidi.L || c == bidi.R:
			strong = c
		case c == bidi.EN && strong == bidi.L:
			s.set(k, bidi.L)
		}
	}
}

// leading is a class as neutral letters see it: numbers count as R; ON: it gives no direction.
func leading(c bidi.Class) bidi.Class {
	switch {
	case c == bidi.L:
		return bidi.L
	case c == bidi.R || numeral(c):
		return bidi.R
	}
	return bidi.ON
}

// paired is the other bracket of a pair, as canonical equivalents have it (BD14, BD15).
func paired(r rune) rune {
	switch r {
	case 0x2329:
		return 0x232a
	case 0x232a:
		return 0x2329
	}
	return []rune(bidi.ReverseString(string(r)))[0]
}

// canonical makes the two brackets that are canonical equivalents of others those others.
func canonical(r rune) rune {
	switch r {
	case 0x2329:
		return 0x3008
	case 0x232a:
		return 0x3009
	}
	return r
}

// pairs finds the pairs of brackets (BD16).
func (s *sequence) pairs() (out [][2]int) {
	type opened struct {
		want rune
		k    int
	}
	var stack []opened
	for k, i := range s.at {
		r := s.o.runes[i]
		p, _ := bidi.LookupRune(r)
		if !p.IsBracket() || s.class(k) != bidi.ON {
			continue
		}
		if p.IsOpeningBracket() {
			if len(stack) == 63 {
				return nil
			}
			stack = append(stack, opened{canonical(paired(r)), k})
			continue
		}
		for d := len(stack) - 1; d >= 0; d-- {
			if stack[d].want == canonical(r) {
				out = append(out, [2]int{stack[d].k, k})
				stack = stack[:d]
				break
			}
		}
	}
	sort.Slice(out, func(a, b int) bool { return out[a][0] < out[b][0] })
	return out
}

// brackets gives the brackets of a pair one direction (N0).
func (s *sequence) brackets() {
	own := directionOf(s.level)
	for _, p := range s.pairs() {
		found, other := false, false
		for k := p[0] + 1; k < p[1]; k++ {
			switch leading(s.class(k)) {
			case own:
				found = true
			case bidi.L, bidi.R:
				other = true
			}
		}
		to := own
		if !found {
			if !other {
				continue
			}
			before := bidi.ON
			for k := p[0] - 1; before == bidi.ON; k-- {
				before = leading(s.class(k))
			}
			to = before // it is the other direction, or the own one
		}
		for _, k := range p {
			s.set(k, to)
			for j := k + 1; j < len(s.at) && s.o.was[s.at[j]] == bidi.NSM; j++ {
				s.set(j, to)
			}
		}
	}
}

// neutral gives what has no direction that of both its sides, or else that of its level (N1, N2).
func (s *sequence) neutral() {
	for k := 0; k < len(s.at); k++ {
		from := k
		for k < len(s.at) && leading(s.class(k)) == bidi.ON {
			k++
		}
		to := leading(s.class(from - 1))
		if to != leading(s.class(k)) {
			to = directionOf(s.level)
		}
		for j := from; j < k; j++ {
			s.set(j, to)
		}
	}
}

// implicit raises what runs against its level (I1, I2).
func (s *sequence) implicit() {
	for k, i := range s.at {
		switch c := s.class(k); {
		case s.level%2 == 0 && c == bidi.R, s.level%2 == 1 && c != bidi.R:
			s.o.level[i]++
		case s.level%2 == 0 && numeral(c):
			s.o.level[i] += 2
		}
	}
}
