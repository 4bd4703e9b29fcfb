package bowing

// tally counts what a plan changes, to be compared before its cost: changes of
// the printed text (a slur split, a slur added: one each) in the high bits,
// changes of the reading in the low ones.
type tally int64

const textChange tally = 1 << 32

func (t tally) text() int  { return int(t / textChange) }
func (t tally) signs() int { return int(t % textChange) }

// Fewest: what must be is a constraint, what is changed for it is counted. It
// must be that marks hold (where they turn inside a slur it is split), that no
// slur surely outlasts the bow, and that every strong place comes down which the
// cheapest plan that keeps the text has down. Among all such plans the one with the
// fewest changes of the text is wanted, then the fewest retakes and links, then
// the least cost. A fresh start after a rest is no change of the reading here: the
// rest gives it for nothing. Strong places that the cheapest plan leaves up, such
// as a stretch that rights itself, may stay up.
//
// Strict: no change of the text at all, then the fewest places where the bow
// does not simply alternate (after rests too) from the opening as written, then
// the least cost. Without marks that is the reading as written; marks that
// alternation does not meet force one change each, put where it costs least.
//
// m.mode picks between them; weighted and keepText count nothing.
type mode int8

const (
	weighted mode = iota
	keepText      // weighted, but the text changes only where it must
	fewest
	strict
)

// mustSplit: the slur turns, or lasts longer than the bow surely can.
func (m *model) mustSplit(b int) bool {
	c := &m.cuts[b]
	return c.at > 0 && (c.turn || m.bow(b).Use.Least >= surelyOut)
}

// nodeTally counts the changes of text in a state of bow b.
func (m *model) nodeTally(b, s int) tally {
	if isSplit(s) {
		return textChange
	}
	if g := m.bindAt(b, s); g != nil && g.first == b {
		return textChange
	}
	return 0
}

// linkTally counts the change of reading at link i between two states.
func (m *model) linkTally(i, sa, sb int) tally {
	l := m.links[i]
	if m.under(l.b, sb) || exit(sa) != entry(sb) {
		return 0
	}
	if m.mode == strict {
		if m.into[l.b] == i {
			return 1
		}
		return 0
	}
	if m.sameAs(i, entry(sb)).kind == AfterRest {
		return 0
	}
	return 1
}

// pinned forbids states that the mode rules out: a slur left whole that must be
// split, in fewest what leaves up a strong place that has to come down, in strict
// another opening.
func (m *model) pinned(b, s int) bool {
	switch m.mode {
	case keepText:
		return m.mustSplit(b) && !isSplit(s)
	case fewest:
		return m.mustSplit(b) && !isSplit(s) || m.righted[b] && (entry(s) == Up || m.under(b, s))
	case strict:
		return b == m.opening && m.fixed[b] == None && entry(s) != m.written[b]
	}
	return false
}

// setMode reads the mode from the options, once strokes and marks are known.
func (m *model) setMode() {
	switch {
	case m.o.Strict:
		m.mode = strict
	case m.o.Fewest:
		m.mode = keepText
		m.righted = m.rightedBy(m.solve(m.problem()))
		m.mode = fewest
	}
}

// rightedBy marks the strong places that come down in a plan.
func (m *model) rightedBy(states []int) []bool {
	out := make([]bool, len(m.bowed))
	for b, s := range states {
		out[b] = m.callsDown(b) && entry(s) == Down && !m.under(b, s)
	}
	return out
}
